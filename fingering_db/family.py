"""The other flutes that are shipped, made from open-hole-b by stated rules.

`python -m fingering_db.family` prints what the rules give and how well each plays its chart; `--write` stores the files.
Needs scipy (in the extra `fit`)."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from fingering_db.fitting import chart_cents, deviations, figures, fit
from fingering_db.instrument import DATA, Finger, Instrument, Lip, Placement, load
from fingering_db.instrument_text import as_toml
from fingering_db.mechanism import chart_of, hole_states

replace = msgspec.structs.replace

# The open end lies this far below the centre of the hole whose place it takes, on a flute in C: 0.5 of the foot's hole
# diameter; only where a search for the end starts.
_END_BEYOND_MM = 7.5
VENT_MM = 6.5
SCALED = "scaled from the flute in C by rule, measured on no instrument: less certain"
# Cups with a vent, and the touch whose finger opens it (ours): a vent opens only while its own finger holds its cup.
VENTS = {"C#5": ("L1", "1"), "C5": ("thumb", "T"), "B4": ("L2", "2"), "G#4": ("L3", "3"), "G4": ("R1", "1")}


@dataclass(frozen=True, slots=True)
class FluteSize:
    """A flute of another size. bore_mm: typical. semitones: sounding minus written. lowest: hole below which the tube
    ends."""

    name: str
    title: str
    family: str
    semitones: int
    bore_mm: float
    lowest_hole: str
    chart: str
    model_cents: float


SIZES = (
    FluteSize("piccolo", "piccolo, closed keys, no foot below D", "piccolo", 12, 11.0, "D#4", "no-foot", 25.0),
    FluteSize("alto", "alto flute in G, closed keys, C foot", "alto", -5, 26.0, "C#4", "c-foot", 20.0),
    FluteSize("bass", "bass flute in C, closed keys, C foot", "bass", -12, 29.5, "C#4", "c-foot", 25.0),
)


def family() -> dict[str, Instrument]:
    """Every shipped flute but the default one, by name."""
    default = load("open-hole-b")
    open_c = c_foot(default)
    closed_c = closed(open_c)
    made = [open_c, closed_c, vented(default), *(sized(closed_c, size) for size in SIZES)]
    return {instrument.name: instrument for instrument in made}


def c_foot(of: Instrument) -> Instrument:
    """With the open end in place of the low C hole, where C4 is in tune; all else as it was."""
    place = next(hole.position_mm for hole in of.holes if hole.name == "C4")
    shorter = replace(
        of,
        name="open-hole-c",
        title="flute in C, perforated keys, C foot",
        chart="c-foot",
        holes=tuple(hole for hole in of.holes if hole.name != "C4"),
        fingers=_without(of.fingers, lambda placement: "C4" in placement.shuts),
    )
    return _end_in_tune(shorter, place + _END_BEYOND_MM)


def _end_in_tune(flute: Instrument, start_mm: float) -> Instrument:
    """The open end placed so that the lowest chart note is in tune (Newton, 0.01 mm)."""
    note = chart_of(flute)[0]
    states = np.array([hole_states(flute, note.fingering)])
    end, step = start_mm, 1.0

    def off(at: float) -> float:
        placed = replace(flute, body=replace(flute.body, end_mm=at))
        return float(deviations(placed, states, (note.pitch.transposed(flute.transposition_semitones),))[0])

    for _ in range(4):
        end -= off(end) * step / (off(end + step) - off(end))
    return replace(flute, body=replace(flute.body, end_mm=round(end, 1)))


def closed(of: Instrument) -> Instrument:
    """Without perforations in the keys."""
    return replace(
        of,
        name="closed-hole-c",
        title="flute in C, closed keys, C foot",
        holes=tuple(replace(hole, perforation_mm=0.0) for hole in of.holes),
        fingers=_without(of.fingers, lambda placement: bool(placement.uncovers)),
    )


def vented(of: Instrument) -> Instrument:
    """With five vents in the cups of the body; each placement that holds a vented cup also comes with its vent open."""
    by_touch = {place: hole for hole, place in VENTS.items()}

    def more(finger: Finger) -> Finger:
        placements: list[Placement] = []
        for one in finger.placements:
            placements.append(one)
            hole = by_touch.get((finger.name, one.touch.removesuffix("o")))
            if hole is not None:
                placements.append(replace(one, touch=f"{one.touch}v", vents=(hole,)))
        return replace(finger, placements=tuple(placements))

    return replace(
        of,
        name="vented-b",
        title="flute in C, perforated keys, five vents, B foot",
        holes=tuple(replace(hole, vent_mm=VENT_MM if hole.name in VENTS else 0.0) for hole in of.holes),
        fingers=tuple(map(more, of.fingers)),
    )


def sized(of: Instrument, size: FluteSize) -> Instrument:
    """Another size of `of`: lengths along the tube, stopper and taper times 2^(-semitones/12), diameters, chimneys, rims
    and pads times the ratio of the bores, the lip law likewise; then fitted to its chart as the flute in C was."""
    long = 2.0 ** (-size.semitones / 12.0)
    wide = size.bore_mm / of.body.bore_mm
    at = next(index for index, hole in enumerate(of.holes) if hole.name == size.lowest_hole)
    kept = of.holes[: at + 1]
    gone = {hole.name for hole in of.holes} - {hole.name for hole in kept}
    end = of.holes[at + 1].position_mm + _END_BEYOND_MM if gone else of.body.end_mm
    start = replace(
        of,
        name=size.name,
        title=size.title,
        family=size.family,
        chart=size.chart,
        model_cents=size.model_cents,
        transposition_semitones=size.semitones,
        remark=SCALED,
        head=replace(
            of.head,
            bore_at_embouchure_mm=round(of.head.bore_at_embouchure_mm * wide, 1),
            taper_mm=round(of.head.taper_mm * long, 1),
            stopper_mm=round(of.head.stopper_mm * long, 1),
        ),
        body=replace(of.body, bore_mm=size.bore_mm, end_mm=end * long),
        lip=_lip(of.lip, long, wide, size.semitones / 12.0),
        holes=tuple(
            replace(
                hole,
                position_mm=hole.position_mm * long,
                diameter_mm=round(hole.diameter_mm * wide, 1),
                chimney_mm=round(hole.chimney_mm * wide, 2),
                rim_mm=round(hole.rim_mm * wide, 2),
                pad_rise_mm=round(hole.pad_rise_mm * wide, 2),
            )
            for hole in kept
        ),
        fingers=_without(of.fingers, lambda placement: bool(gone & {*placement.shuts})),
    )
    return _rounded(fit(start, tuple(note for note in chart_of(start) if note.judged)))


def _lip(lip: Lip, long: float, wide: float, octaves: float) -> Lip:
    """The law of a flute of another size. Inertance grows as length over area, and the law's length is that of a 19-mm
    tube; the written note decides, `octaves` above the same written note on the flute in C."""
    factor = long / wide**2
    constant = lip.at_c4_mm - lip.per_octave_mm * octaves + lip.curve_mm * octaves**2
    return replace(
        lip,
        at_c4_mm=factor * constant,
        per_octave_mm=factor * (lip.per_octave_mm - 2.0 * lip.curve_mm * octaves),
        curve_mm=factor * lip.curve_mm,
        spare_mm=round(factor * lip.spare_mm, 1),
    )


def _rounded(of: Instrument) -> Instrument:
    lip = replace(
        of.lip,
        at_c4_mm=round(of.lip.at_c4_mm, 2),
        per_octave_mm=round(of.lip.per_octave_mm, 2),
        curve_mm=round(of.lip.curve_mm, 2),
    )
    holes = tuple(replace(hole, position_mm=round(hole.position_mm, 1)) for hole in of.holes)
    return replace(of, lip=lip, holes=holes, body=replace(of.body, end_mm=round(of.body.end_mm, 1)))


def _without(fingers: tuple[Finger, ...], unwanted: Callable[[Placement], bool]) -> tuple[Finger, ...]:
    return tuple(
        replace(finger, placements=tuple(one for one in finger.placements if not unwanted(one))) for finger in fingers
    )


def report(say: Callable[[str], None]) -> dict[str, Instrument]:
    """Make the family and say how well each plays its chart."""
    made = family()
    for name, instrument in made.items():
        notes = chart_of(instrument)
        cents = chart_cents(instrument, notes)
        judged = np.array([note.judged for note in notes])
        lip = instrument.lip
        say(f"{name}: {figures(cents[judged])} over {judged.sum()} notes (in-sample), end {instrument.body.end_mm} mm")
        say(f"  lip law {lip.at_c4_mm:.1f} + {lip.per_octave_mm:.1f} x + {lip.curve_mm:.1f} x² mm")
        far = [f"{note.pitch} {off:+.0f}" for note, off in zip(notes, cents, strict=True) if abs(off) > 15.0]
        say(f"  off by more than 15 cents: {', '.join(far) or 'none'}")
    return made


def _write(made: dict[str, Instrument], folder: Path) -> None:
    for name, instrument in made.items():
        about = f"{instrument.title[0].upper()}{instrument.title[1:]}. Made by `python -m fingering_db.family`; "
        text = as_toml(instrument, f"{about}where each\nnumber comes from: SOURCES.md.")
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    _made = report(print)
    if "--write" in sys.argv[1:]:
        _write(_made, Path(str(DATA / "instruments")))
