"""The tables of a catalogue: every multiphonic of every sound, the easiest of each cell, the map of dyads, a difference."""

import csv
import io
import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate

from annotate.language import Words
from fingering_db.catalogue import Batch, Multiphonic
from fingering_db.model import Model
from fingering_db.pitch import Pitch

VERSION = 1
Dyads = Mapping[tuple[int, int], Multiphonic]
"""The easiest dyad of each cell: lower note [quarter-tones from A4], interval [quarter-tones]."""
_EASIER = 0.1
"""So much more ease is told as easier: ours."""
HEADER = ("pitches", "hz", "confidence", "ease", "fingering", "lip_mm")
DYAD_HEADER = ("lower", "interval_cents", "ease", "confidence", "fingering", "pitches", "sounds", "pattern", "place")
ONLY_SECOND, ONLY_FIRST, EASIER, HARDER, ALIKE = "only_second", "only_first", "easier", "harder", "alike"


def note(quarter: int) -> Pitch:
    """The note so many quarter-tones from A4, a quarter-tone as +50 cents."""
    return Pitch.from_midi(69.0 + quarter / 2.0)


def notes(one: Multiphonic) -> tuple[Pitch, ...]:
    """The notes of a cell, to the nearest quarter-tone; sounding."""
    return tuple(map(note, accumulate(one.cell)))


def dyads(found: Sequence[Multiphonic]) -> Dyads:
    """Those of two notes, by cell."""
    return {(one.cell[0], one.cell[1]): one for one in found if len(one.cell) == 2}


@dataclass(slots=True)
class AllSounds:
    """The table of every sound's sets, filled batch by batch."""

    model: Model
    count: int = 0
    _out: io.StringIO = field(default_factory=lambda: io.StringIO(newline=""))

    def __post_init__(self) -> None:
        csv.writer(self._out, lineterminator="\n").writerow(HEADER)

    def add(self, batch: Batch) -> None:
        writer = csv.writer(self._out, lineterminator="\n")
        known: dict[int, str] = {}
        rows = zip(
            batch.sounds.tolist(), batch.hz.tolist(), batch.confidence.tolist(), batch.ease.tolist(), batch.lips.tolist(),
            strict=True,
        )  # fmt: skip
        for sound, hz, confidence, ease, lip in rows:
            if sound not in known:
                known[sound] = str(self.model.reach.fingering(int(self.model.easiest[sound])))
            pitches = " ".join(str(Pitch.from_hz(one)) for one in hz)
            told = " ".join(f"{one:.1f}" for one in hz)
            writer.writerow((pitches, told, f"{confidence:.2f}", f"{ease:.2f}", known[sound], f"{lip * 1e3:.1f}"))
        self.count += len(batch.sounds)

    def content(self) -> bytes:
        return self._out.getvalue().encode("ascii")


def _table(header: Sequence[str], rows: Iterator[Sequence[object]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")


def dyad_table(found: Dyads) -> bytes:
    """The map of dyads, one row for each cell that some fingering gives."""
    return _table(DYAD_HEADER, (_dyad(cell, one) for cell, one in sorted(found.items())))


def _dyad(cell: tuple[int, int], one: Multiphonic) -> tuple[object, ...]:
    pitches = " ".join(str(Pitch.from_hz(hz)) for hz in one.hz)
    figures = (f"{one.ease:.2f}", f"{one.confidence:.2f}")
    return (note(cell[0]), cell[1] * 50, *figures, one.fingering, pitches, one.sounds, one.pattern, one.place)


def as_json(found: Sequence[Multiphonic], flute: str, least: float, sets: int) -> bytes:
    """The easiest multiphonic of each cell, with the field names of the report."""
    data = {
        "version": VERSION,
        "flute": flute,
        "least_confidence": least,
        "sets_found": sets,
        "multiphonics": [
            {
                "pitches": [_pitch(hz) for hz in one.hz],
                "band_cents": [round(band, 1) for band in one.band_cents],
                "confidence": round(one.confidence, 2),
                "ease": round(one.ease, 2),
                "fingering": str(one.fingering),
                "lip_mm": round(one.lip_mm, 1),
                "pattern": one.pattern,
                "place": one.place,
                "different_sounds": one.sounds,
            }
            for one in found
        ],
    }
    return (json.dumps(data, indent=1, allow_nan=False) + "\n").encode("ascii")


def _pitch(hz: float) -> dict[str, object]:
    pitch = Pitch.from_hz(hz)
    return {"name": pitch.name, "cents": round(pitch.cents, 1), "hz": round(hz, 2)}


def kind_of(one: Multiphonic | None, other: Multiphonic | None) -> str:
    """What a second flute makes of a dyad of the first."""
    if one is None or other is None:
        return ONLY_SECOND if one is None else ONLY_FIRST
    if other.ease >= one.ease + _EASIER:
        return EASIER
    return HARDER if other.ease <= one.ease - _EASIER else ALIKE


def difference(first: Dyads, second: Dyads) -> dict[tuple[int, int], str]:
    """For every cell that one of two flutes has what the second makes of it."""
    return {cell: kind_of(first.get(cell), second.get(cell)) for cell in sorted({*first, *second})}


def difference_table(first: Dyads, second: Dyads, names: tuple[str, str]) -> bytes:
    """The difference, one row for each cell."""
    own = (f"{what} {name}" for name in names for what in ("ease", "fingering"))
    header = ("lower", "interval_cents", "what", *own)

    def row(cell: tuple[int, int], what: str) -> tuple[object, ...]:
        told: list[object] = []
        for one in (first.get(cell), second.get(cell)):
            told += [f"{one.ease:.2f}", one.fingering] if one else ["", ""]
        return (note(cell[0]), cell[1] * 50, what, *told)

    return _table(header, (row(*one) for one in difference(first, second).items()))


@dataclass(frozen=True, slots=True)
class Shape:
    """A pattern that stands at several places and what it sounds, place by place from the top of the tube; '' for what is not
    moved."""

    pattern: str
    multiphonics: tuple[Multiphonic, ...]

    @property
    def dyads(self) -> tuple[Multiphonic, ...]:
        """Those of two notes."""
        return tuple(one for one in self.multiphonics if len(one.cell) == 2)

    @property
    def places(self) -> tuple[str, ...]:
        """The places where it stands here, from the top."""
        return tuple(dict.fromkeys(one.place for one in self.multiphonics if one.place))

    def title(self, words: Words) -> str:
        return self.pattern or words.text("catalogue.no_pattern")


def groups(found: Sequence[Multiphonic], place_names: Sequence[str]) -> tuple[Shape, ...]:
    """Those that stand at most places first, what is not moved last; inside from the top of the tube, then by pitch."""
    order = {name: at for at, name in enumerate(place_names)}
    stands, by_pattern = defaultdict[str, set[str]](set), defaultdict[str, list[Multiphonic]](list)
    for one in found:
        stands[one.pattern].add(one.place)
    for one in found:
        by_pattern[one.pattern if len(stands[one.pattern]) > 1 else ""].append(one)
    made = [
        Shape(pattern, tuple(sorted(own, key=lambda one: (order.get(one.place, 0), one.hz))))
        for pattern, own in by_pattern.items()
    ]
    return tuple(sorted(made, key=lambda one: (not one.pattern, -len(one.places), one.pattern)))
