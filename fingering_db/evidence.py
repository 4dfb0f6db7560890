"""What is known to play and not to play, and what measures of a resonance make of it.

`python -m fingering_db.evidence` prints every measure beside its baselines. `.. dyads` prints the share of two-note chords
that are playable, by interval and octave."""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.chart import chart
from fingering_db.fingering import Fingering
from fingering_db.instrument import DATA, load
from fingering_db.mechanism import hole_states
from fingering_db.model import Model, model
from fingering_db.pitch import Pitch
from fingering_db.playability import HALF_AT, PLAYABLE_CONFIDENCE, PlainCurve, holding, relative_amplitude, worth
from fingering_db.ranking import find, likely_within

# Prior on the weights of the two features: keeps thin evidence from steep slopes. Ours, chosen among six pairs by looking at
# the table, so even the prediction for fingerings left out is not free of that look.
_RIDGE = (1e-4, 1e-3)
_WELL_FED = np.pi - float(np.arccos(-0.7))  # half-width of the phases around π at which -cos ≥ 0.7
_DELAYS = 13
_JET_GAIN = 2e6  # [Pa s/m³]: ours, above the resistance of every minimum that is reported to play (C7 on C4: 1.2e6)


def jet_margin(crossings: Crossings) -> RealArray:
    """How far each mode can outgrow every other mode of its row for some delay of the jet, shape of crossings [1];
    crossings likened to the flute in C.

    Linear jet theory (from memory): with a delay τ mode n grows in proportion to a_n (-g cos ω_n τ - R_n), a_n its
    modal amplitude, R_n its resistance, g the gain of the jet. The margin is the largest ratio of that to the best
    growing other mode, over delays that feed the mode itself well (-cos ≥ 0.7); above 1 the jet can prefer the mode, 0
    where it cannot grow at all."""
    amplitude, omega, loss, own = _by_row(crossings)
    phase = np.linspace(np.pi - _WELL_FED, np.pi + _WELL_FED, _DELAYS)
    delay = phase / (2.0 * np.pi * crossings.hz[:, None])
    # Growth of all modes of the row, for the delays of each crossing: (n_crossings, delays, modes)
    row = crossings.row
    angle = omega[row][:, None, :] * delay[:, :, None]
    growth = amplitude[row][:, None, :] * (-np.cos(angle) - loss[row][:, None, :])
    at = np.arange(len(own))
    itself = np.maximum(growth[at, :, own], 0.0)
    growth[at, :, own] = 0.0
    others = np.maximum(growth.max(axis=2), 1e-9 * crossings.modal_amplitude[:, None])
    return np.asarray((itself / others).max(axis=1))


def _by_row(crossings: Crossings) -> tuple[RealArray, RealArray, RealArray, IndexArray]:
    """Modal amplitude, angular frequency and resistance over jet gain with one line per row, shape (n_rows, most), 0
    where a row has fewer; and the place of each crossing in its line."""
    place: IndexArray = np.arange(len(crossings.row)) - np.searchsorted(crossings.row, crossings.row, side="left")
    shape = (int(crossings.row.max(initial=-1)) + 1, int(place.max(initial=0)) + 1)
    amplitude, omega, loss = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    amplitude[crossings.row, place] = crossings.modal_amplitude
    omega[crossings.row, place] = 2.0 * np.pi * crossings.hz
    loss[crossings.row, place] = crossings.resistance / _JET_GAIN
    return amplitude, omega, loss, place


def features(crossings: Crossings, curve: PlainCurve) -> RealArray:
    """Relative amplitude, and log2 of the jet margin, shape (n, 2); both bounded."""
    r = np.clip(relative_amplitude(crossings, curve), 0.0, 1.2)
    margin = np.log2(np.clip(jet_margin(curve.size.likened(crossings)), 0.5, 4.0))
    return np.stack([r, margin], axis=1)


def left_out(values: RealArray, played: BoolArray, names: RealArray) -> RealArray:
    """Probability-like figure of each row from the rows of all other fingerings, shape (n,). values: shape (n, 2); played,
    names (of fingerings): shape (n,)."""
    predicted = np.empty(len(values))
    for name in np.unique(names):
        weights = fitted(values[names != name], played[names != name])
        predicted[names == name] = _logistic(weights[0] + values[names == name] @ weights[1:])
    return predicted


def fitted(values: RealArray, played: BoolArray) -> RealArray:
    """Constant and two weights, shape (3,): ridge-regularised logistic regression by Newton's method, both kinds of rows
    weighing the same in all."""
    weight = np.where(played, 0.5 / max(played.sum(), 1), 0.5 / max((~played).sum(), 1))
    design = np.column_stack([np.ones(len(values)), values])
    penalty = np.diag([0.0, *_RIDGE])
    x = np.zeros(3)
    for _ in range(100):
        p = _logistic(design @ x)
        gradient = design.T @ (weight * (p - played)) + penalty @ x
        hessian = (design * (weight * p * (1.0 - p))[:, None]).T @ design + penalty
        x = x - np.linalg.solve(hessian + 1e-12 * np.eye(3), gradient)
    return x


def _logistic(x: RealArray) -> RealArray:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))


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


def bootstrap_interval(values: RealArray, played: BoolArray, names: RealArray) -> tuple[float, float]:
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
    low, high = bootstrap_interval(values, played, names)
    missed, passed = int((played & ~above).sum()), int((above & ~played).sum())
    return Measured(ordered(values, played), low, high, missed, passed, int(played.sum()), int((~played).sum()))


def report(name: str, tell: Callable[[str], None]) -> None:
    """Tell the table of measures, then every row by its worth."""
    table, rows = measured(model(load(name)))
    for known in (PLAYS, SILENT, UNREPORTED):
        tell(f"{sum(row.known == known for row, _ in rows)} {known}")
    tell("order: share of pairs (one plays, one does not) sorted rightly, 5-95 % by bootstrap of fingerings;")
    tell("then, each fingering judged by the best threshold (or the fit) on the others, how many that play are missed,")
    tell("and how many of the others pass for playing.")
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


def dyad_shares(of: Model, tolerance_cents: float = 30.0) -> Mapping[int, tuple[Share, ...]]:
    """Two-note chords whose upper note is at most C7, by interval [semitones] and octave of the lower note (OCTAVES)."""
    return {semitones: tuple(_dyads(of, semitones, low, tolerance_cents) for _, low in OCTAVES) for semitones in WIDTHS}


WIDTHS = range(1, 25)


def _dyads(of: Model, semitones: int, lowest: int, tolerance_cents: float) -> Share:
    good, lows = 0, [midi for midi in range(lowest, lowest + 12) if midi + semitones <= _HIGHEST]
    for low in lows:
        chord = (Pitch.from_midi(low), Pitch.from_midi(low + semitones))
        good += any(
            not one.one_note
            and one.confidence >= PLAYABLE_CONFIDENCE
            and likely_within(one.deviation_cents, one.band_cents, tolerance_cents)
            for one in find(of, chord, 2.0 * tolerance_cents, limit=_RANKED).best
        )
    return Share(good, len(lows))


_HIGHEST = 96  # C7
_RANKED = 100  # answers of a chord that are looked at, as `check` does


def report_dyads(name: str, tell: Callable[[str], None]) -> None:
    tell("| interval, semitones | " + " | ".join(f"lower note {octave}" for octave, _ in OCTAVES) + " |")
    tell("|---|---|---|---|")
    for semitones, shares in dyad_shares(model(load(name))).items():
        tell(f"| {semitones} | " + " | ".join(map(str, shares)) + " |")


if __name__ == "__main__":
    (report_dyads if "dyads" in sys.argv[1:] else report)("open-hole-b", print)
