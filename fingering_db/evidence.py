"""What is known to play and not to play, and what measures of a resonance make of it.

`python -m fingering_db.evidence` prints every measure beside its baselines. `.. dyads` prints the share of two-note chords
that are playable, by interval and octave."""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.chart import chart
from fingering_db.fingering import Fingering
from fingering_db.instrument import DATA, load
from fingering_db.mechanism import hole_states
from fingering_db.model import Model, model
from fingering_db.pitch import Pitch
from fingering_db.playability import PLAYABLE_CONFIDENCE, holding, relative_amplitude, strength
from fingering_db.ranking import find

_WITHIN_CENTS = 60.0
_UNREPORTED_BELOW_HZ = 2200.0  # what is not reported counts up to here, above C7 nobody asked
NOT_TOLD = (
    str(Fingering.parse("T 2 3 | Eb")),
    "A5",
)  # listed as unplayed, but only not reported: counts like the others
PLAYS, SILENT, UNREPORTED = "plays", "silent", "not reported"


@dataclass(frozen=True, slots=True)
class Row:
    """A resonance of which something is known. known: PLAYS, SILENT, or UNREPORTED: not among the notes given for a fingering
    whose notes are given. published: else a note of the standard chart. index: its crossing."""

    fingering: str
    note: str
    known: str
    published: bool
    index: int

    @property
    def played(self) -> bool:
        """Whether it is known to play."""
        return self.known == PLAYS


def evidence(of: Model) -> tuple[tuple[Row, ...], Crossings]:
    """All rows that the model has a resonance for, and the crossings of their fingerings."""
    wanted = _wanted(of)
    fingerings = list(dict.fromkeys(fingering for fingering, *_ in wanted))
    states = np.array([hole_states(of.instrument, Fingering.parse(text)) for text in fingerings])
    crossings = of.resonances(of.flute.bore_impedance(states, of.grid))
    rows: dict[int, Row] = {}
    for fingering, note, known, published, within in wanted:
        own = np.flatnonzero(crossings.row == fingerings.index(fingering))
        cents = np.abs(1200.0 * np.log2(crossings.hz[own] / Pitch.parse(note).hz(of.instrument.a4_hz)))
        if cents.min() <= within:
            index = int(own[cents.argmin()])
            rows[index] = Row(fingering, note, known, published, index)
    for fingering in {row.fingering for row in rows.values() if row.published}:
        for index in np.flatnonzero(crossings.row == fingerings.index(fingering)).tolist():
            if index not in rows and crossings.hz[index] < _UNREPORTED_BELOW_HZ:
                note = str(Pitch.from_hz(float(crossings.hz[index]), of.instrument.a4_hz))
                rows[index] = Row(fingering, note, UNREPORTED, True, index)
    return tuple(rows[index] for index in sorted(rows)), crossings


def _wanted(of: Model) -> list[tuple[str, str, str, bool, float]]:
    """(fingering, note, what is known, published, within cents)."""
    found = [(str(note.fingering), str(note.pitch), PLAYS, False, _WITHIN_CENTS) for note in chart(of.instrument.chart)]
    table = tomllib.loads((DATA / "evidence.toml").read_text(encoding="utf-8"))
    for row in table["rows"]:
        text = str(Fingering.parse(row["fingering"]))
        within = float(row.get("within_cents", _WITHIN_CENTS))
        for key, known in (("played", PLAYS), ("unplayed", SILENT)):
            found += [(text, note, known, True, within) for note in row.get(key, []) if (text, note) != NOT_TOLD]
    return found


def threshold(values: RealArray, played: BoolArray) -> float:
    """Between two neighbouring values, shape (n,), the value that parts what plays from the rest with the fewest errors, both
    kinds weighing the same in all. The one number that is fitted."""
    edges = np.unique(values)
    trials = np.concatenate([[edges[0] - 1.0], (edges[1:] + edges[:-1]) / 2.0])
    plays, others = values[played], values[~played]
    errors = [(plays < at).mean() + ((others >= at).mean() if len(others) else 0.0) for at in trials]
    return float(trials[int(np.argmin(errors))])


def measures(of: Model, crossings: Crossings, rows: tuple[Row, ...]) -> Mapping[str, RealArray]:
    """Measures of every crossing, the larger the surer, none of them fitted to what plays, but for the confidence in use."""
    like = of.curve.size.likened(crossings)
    share = holding(like).share
    notes = [row.index for row in rows if not row.published]
    octaves = np.log2(like.hz / 1000.0)
    # What notes of the chart have at the same height: the log of their shares as a cubic in octaves.
    line = np.polynomial.polynomial.polyfit(octaves[notes], np.log(np.maximum(share[notes], 1e-3)), 3)
    beside = share / np.exp(np.polynomial.polynomial.polyval(octaves, line))
    amplitude = relative_amplitude(crossings, of.curve)
    return {
        "everything plays": np.ones(len(share)),
        "depth of the minimum": -like.depth_db,
        "relative amplitude": amplitude,
        "strength in use (fitted)": strength(crossings, of.curve),
        "holds": share,
        "holds beside the chart": beside,
        "both, geometric mean": np.sqrt(np.clip(amplitude, 0.0, 1.2) * np.clip(beside, 0.0, 1.2)),
    }


def ordered(values: RealArray, played: BoolArray) -> float:
    """Share of (playing, other) pairs of rows in which the playing one has the larger value, equals counting half."""
    first, second = values[played][:, None], values[~played]
    return float((first > second).mean() + 0.5 * (first == second).mean())


def interval(values: RealArray, played: BoolArray, names: RealArray) -> tuple[float, float]:
    """5 to 95 % of `ordered` when fingerings are drawn again with replacement (bootstrap, 400 times)."""
    random = np.random.default_rng(10)
    found: list[float] = []
    every = np.unique(names)
    while len(found) < 400:
        at = np.concatenate([np.flatnonzero(names == name) for name in random.choice(every, len(every))])
        if 0 < played[at].sum() < len(at):
            found.append(ordered(values[at], played[at]))
    low, high = np.percentile(found, [5, 95])
    return float(low), float(high)


def misses(values: RealArray, played: BoolArray, names: RealArray) -> int:
    """Rows that lie on the wrong side of the threshold with the fewest errors (both kinds weighing the same) on the rows of
    all other fingerings."""
    wrong = 0
    for name in np.unique(names):
        rest = names != name
        at = threshold(values[rest], played[rest])
        wrong += int(((values[~rest] >= at) != played[~rest]).sum())
    return wrong


def report(name: str, tell: Callable[[str], None]) -> None:
    """Tell the table of measures, then every row by its worth."""
    of = model(load(name))
    rows, crossings = evidence(of)
    index = [row.index for row in rows]
    names = np.array([row.fingering for row in rows])
    known = np.array([row.known for row in rows])
    told = known != UNREPORTED
    found = {measure: values[index] for measure, values in measures(of, crossings, rows).items()}
    tell(f"{(known == PLAYS).sum()} play, {(known == SILENT).sum()} published silent, {(~told).sum()} not reported")
    tell(
        "order: share of pairs (one plays, one does not) sorted rightly, 5-95 % by bootstrap of fingerings; missed: each"
    )
    tell(
        "fingering judged by the best threshold on the others. Left: unreported rows left out; right: counted as silent"
    )
    for measure, values in found.items():
        cells = []
        for used in (told, np.ones(len(rows), dtype=bool)):
            given = (values[used], known[used] == PLAYS, names[used])
            low, high = interval(*given)
            cells.append(f"{ordered(*given[:2]):.2f} ({low:.2f}-{high:.2f}), {misses(*given)} of {used.sum()} missed")
        tell(f"{measure:<30} {cells[0]:<38} {cells[1]}")
    for row, value in sorted(zip(rows, found["both, geometric mean"], strict=True), key=lambda entry: entry[1]):
        tell(f"{row.known:<13}{row.note:<7}{row.fingering:<18}{value:5.2f}")


OCTAVES = (("C4-B4", 60), ("C5-B5", 72), ("C6-B6", 84))


def dyads(of: Model, tolerance_cents: float = 30.0) -> Mapping[int, tuple[float, ...]]:
    """Share of two-note chords that are playable (two notes, within the tolerance, expected to sound), by interval
    [semitones] and octave of the lower note (OCTAVES), of those whose upper note is at most C7; NaN where there is none."""
    found: dict[int, tuple[float, ...]] = {}
    for semitones in range(1, 25):
        shares = []
        for _, lowest in OCTAVES:
            lows = [midi for midi in range(lowest, lowest + 12) if midi + semitones <= 96]
            good = 0
            for low in lows:
                best = find(of, (Pitch.from_midi(low), Pitch.from_midi(low + semitones)), tolerance_cents, limit=1).best
                good += bool(best and not best[0].one_note and best[0].confidence >= PLAYABLE_CONFIDENCE)
            shares.append(good / len(lows) if lows else float("nan"))
        found[semitones] = tuple(shares)
    return found


def report_dyads(name: str, tell: Callable[[str], None]) -> None:
    """Tell the table as Markdown."""
    tell("| interval, semitones | " + " | ".join(f"lower note {octave}" for octave, _ in OCTAVES) + " |")
    tell("|---|---|---|---|")
    for semitones, shares in dyads(model(load(name))).items():
        tell(f"| {semitones} | " + " | ".join("–" if np.isnan(s) else f"{100.0 * s:.0f} %" for s in shares) + " |")


if __name__ == "__main__":
    (report_dyads if "dyads" in sys.argv[1:] else report)("open-hole-b", print)
