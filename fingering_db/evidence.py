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
from fingering_db.playability import HALF_AT, PLAYABLE_CONFIDENCE, holding, relative_amplitude, worth
from fingering_db.ranking import find
from fingering_db.two_features import features, left_out

_WITHIN_CENTS = 60.0
_UNREPORTED_BELOW_HZ = 2200.0  # what is not reported counts up to here, above C7 nobody asked
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
            found += [(text, note, known, True, within) for note in row.get(key, [])]
    return found


def threshold(values: RealArray, played: BoolArray) -> float:
    """Between two neighbouring values, shape (n,), the value that parts what plays from the rest with the fewest errors, both
    kinds weighing the same in all. The one number that is fitted."""
    edges = np.unique(values)
    trials = np.concatenate([[edges[0] - 1.0], (edges[1:] + edges[:-1]) / 2.0])
    plays, others = values[played], values[~played]
    errors = [(plays < at).mean() + ((others >= at).mean() if len(others) else 0.0) for at in trials]
    return float(trials[int(np.argmin(errors))])


IN_USE = "mean of the two (in use)"


def measures(of: Model, crossings: Crossings) -> Mapping[str, RealArray]:
    """Measures of every crossing, the larger the surer; nothing in them is fitted to what plays and does not."""
    like = of.curve.size.likened(crossings)
    share = holding(like).share
    return {
        "everything plays": np.ones(len(share)),
        "depth of the minimum": -like.depth_db,
        "relative amplitude": relative_amplitude(crossings, of.curve),
        "jets that hold it": share,
        "jets, beside the chart's notes": share / of.curve.holds(like.hz),
        IN_USE: worth(crossings, of.curve, share),
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


def guesses(values: RealArray, played: BoolArray, names: RealArray) -> BoolArray:
    """Whether each row lies above the threshold with the fewest errors (both kinds weighing the same) on the rows of all other
    fingerings."""
    above = np.zeros(len(values), dtype=bool)
    for name in np.unique(names):
        rest = names != name
        above[~rest] = values[~rest] >= threshold(values[rest], played[rest])
    return above


@dataclass(frozen=True, slots=True)
class Measured:
    """A measure on rows: order, its interval (`ordered`, `interval`); with their fingering left out, how many rows that play are
    missed, and how many of the others pass for playing; how many there are of both."""

    order: float
    low: float
    high: float
    missed: int
    passed: int
    plays: int
    others: int

    def __str__(self) -> str:
        order = f"{self.order:.2f} ({self.low:.2f}-{self.high:.2f})"
        return f"{order}, {self.missed} of {self.plays} + {self.passed} of {self.others}"


def measured(of: Model) -> tuple[Mapping[str, tuple[Measured, Measured]], tuple[tuple[Row, float], ...]]:
    """Every measure, and the two fitted features with the fingering left out, first without the rows that are merely not
    reported, then with these counted as silent; and every row with the measure in use."""
    rows, crossings = evidence(of)
    index = [row.index for row in rows]
    names, known = np.array([row.fingering for row in rows]), np.array([row.known for row in rows])
    found = measures(of, crossings)
    pair = features(crossings, of.curve)[index]
    table: dict[str, list[Measured]] = {}
    for used in (known != UNREPORTED, np.ones(len(rows), dtype=bool)):
        plays, own = known[used] == PLAYS, names[used]
        for measure, values in found.items():
            given = values[index][used]
            table.setdefault(measure, []).append(_measured(given, plays, own, guesses(given, plays, own)))
        predicted = left_out(pair[used], plays, own)
        table.setdefault(_TWO, []).append(_measured(predicted, plays, own, predicted >= 0.5))
    told = zip(rows, found[IN_USE][index].tolist(), strict=True)
    return {measure: (both[0], both[1]) for measure, both in table.items()}, tuple(told)


_TWO = "two features, fitted"


def _measured(values: RealArray, played: BoolArray, names: RealArray, above: BoolArray) -> Measured:
    low, high = interval(values, played, names)
    missed, passed = int((played & ~above).sum()), int((above & ~played).sum())
    return Measured(ordered(values, played), low, high, missed, passed, int(played.sum()), int((~played).sum()))


def report(name: str, tell: Callable[[str], None]) -> None:
    """Tell the table of measures, then every row by its worth."""
    table, rows = measured(model(load(name)))
    for known in (PLAYS, SILENT, UNREPORTED):
        tell(f"{sum(row.known == known for row, _ in rows)} {known}")
    tell("order: share of pairs (one plays, one does not) sorted rightly, 5-95 % by bootstrap of fingerings;")
    tell(
        "then, each fingering judged by the best threshold (or the fit) on the others, how many that play are missed, and"
    )
    tell("how many of the others pass for playing.")
    tell(f"{'':<32}{'not reported left out':<36}not reported counted as silent")
    for measure, (first, second) in table.items():
        tell(f"{measure:<32}{first!s:<36}{second}")
    tell(f"The one in use, with the strength one half at {HALF_AT:g}:")
    for row, value in sorted(rows, key=lambda entry: entry[1]):
        wrong = "MISSED" if (value >= HALF_AT) != row.played else ""
        tell(f"{row.known:<13}{row.note:<7}{row.fingering:<22}{value:5.2f}  {wrong}".rstrip())


OCTAVES = (("C4-B4", 60), ("C5-B5", 72), ("C6-B6", 84))


@dataclass(frozen=True, slots=True)
class Share:
    """How many of some chords are playable: two tones, each within the tolerance, expected to sound."""

    playable: int
    asked: int

    def __add__(self, other: Share) -> Share:
        return Share(self.playable + other.playable, self.asked + other.asked)

    def __str__(self) -> str:
        return f"{100.0 * self.playable / self.asked:.0f} %" if self.asked else "–"


def dyads(of: Model, tolerance_cents: float = 30.0) -> Mapping[int, tuple[Share, ...]]:
    """Two-note chords whose upper note is at most C7, by interval [semitones] and octave of the lower note (OCTAVES)."""
    return {semitones: tuple(_dyads(of, semitones, low, tolerance_cents) for _, low in OCTAVES) for semitones in WIDTHS}


WIDTHS = range(1, 25)


def _dyads(of: Model, semitones: int, lowest: int, tolerance_cents: float) -> Share:
    good, lows = 0, [midi for midi in range(lowest, lowest + 12) if midi + semitones <= _HIGHEST]
    for low in lows:
        chord = (Pitch.from_midi(low), Pitch.from_midi(low + semitones))
        best = find(of, chord, tolerance_cents, limit=1, jets=False).best
        good += bool(best and not best[0].one_note and best[0].confidence >= PLAYABLE_CONFIDENCE)
    return Share(good, len(lows))


_HIGHEST = 96  # C7


def report_dyads(name: str, tell: Callable[[str], None]) -> None:
    """Tell the table as Markdown."""
    tell("| interval, semitones | " + " | ".join(f"lower note {octave}" for octave, _ in OCTAVES) + " |")
    tell("|---|---|---|---|")
    for semitones, shares in dyads(model(load(name))).items():
        tell(f"| {semitones} | " + " | ".join(map(str, shares)) + " |")


if __name__ == "__main__":
    (report_dyads if "dyads" in sys.argv[1:] else report)("open-hole-b", print)
