"""A flute's file made its player's: lip, temperature and small corrections of lengths from notes played on known fingerings.

Regularised least squares with bounds. Each correction has a scale, one standard deviation of what is expected before anybody has
played (`_corrections`; ours), and never goes beyond BOUND of them; a note counts by what reading it and the model's own error
leave open. So a few notes move little, and what no note tells stays where it was. With normal errors (Bayes) the matrix of the
fit is also the inverse covariance of the corrections: from it come their ± and which note would tell most. A note far from
what the others tell loses weight (Tukey's biweight, from memory)."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import msgspec
import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray, StateArray
from fingering_db.acoustics.resonance import rising_zeros
from fingering_db.chart import ChartNote
from fingering_db.fitting import deviations, hole_places, length_scale, with_hole_places
from fingering_db.instrument import Instrument
from fingering_db.mechanism import chart_of, hole_states
from fingering_db.model import grid_for, size_of
from fingering_db.pitch import Pitch
from fingering_db.played import PlayedNote
from fingering_db.sounding import Flute
from fingering_db.uncertainty import temperature_sigma_k

READING_CENTS = 5.0
"""One standard deviation of a pitch read off a tuner, and of how evenly it is held: ours."""
BOUND = 3.0
OUTLYING = 4.685
"""Standard deviations, from which on a note does not count: 95 % efficient on normal errors (from memory)."""
NOT_COUNTED = 0.3
"""A note with less weight than this is told as one that does not fit."""
NEXT_NOTES = 3

_ALIKE_K = 5.0  # of the air where the table does not tell it, with whatever else moves all notes alike: ours
_TAKE_CENTS = 5.0  # what one take may be off as a whole: ours
_PRIOR_NOTES = 10.0  # so many notes the error of the flute's model is worth beside those played: ours
_ROUNDS, _STEP, _SWEEPS = 4, 1e-3, 300
_LOOKS, _SETTLED_CENTS = 2, 0.1  # of four steps each
_NEAR_CENTS = 150.0  # a resonance farther from the written note is another one
_GUESS_CENTS = 35.0  # how near something must lie to be named as what a wrong row may have been


class NothingPlayedError(ValueError):
    """No row is near enough to its note, on the flute as it is, for anything to be told from it."""


@dataclass(frozen=True, slots=True)
class Told:
    """A played note. before, after: played minus computed [cents], NaN where the flute has no resonance near the note;
    left_out: the same when every row of this note and fingering is left out of the fit. weight: 1 where it counts in full."""

    note: PlayedNote
    before: float
    after: float
    left_out: float
    weight: float

    @property
    def counts(self) -> bool:
        return self.weight >= NOT_COUNTED


@dataclass(frozen=True, slots=True)
class Moved:
    """A quantity before and after, and its standard deviation after."""

    kind: str
    before: float
    after: float
    sigma: float


@dataclass(frozen=True, slots=True)
class PlayerFit:
    """instrument: the flute as this player plays it. moved: lip, temperature, head joint, stopper; farthest_mm: the farthest
    that a hole went beyond the head joint's part. next_notes: those of the chart that would tell most now. open_cents: standard
    deviation left on the chart's notes before and after, the model's own error left aside (rms)."""

    instrument: Instrument
    notes: tuple[Told, ...]
    moved: tuple[Moved, ...]
    farthest_mm: float
    next_notes: tuple[ChartNote, ...]
    open_cents: tuple[float, float]

    def figures(self) -> tuple[tuple[float, float], ...]:
        """(rms, worst) [cents] before, after and left out, of the notes that count."""
        counted = [one for one in self.notes if one.counts]
        each = np.array([(one.before, one.after, one.left_out) for one in counted]).T
        return tuple((float(np.sqrt(np.mean(cents**2))), float(np.abs(cents).max())) for cents in each)

    def is_better(self) -> bool:
        """Whether notes that were left out are predicted better than by the flute as it was."""
        (before, _), _, (left_out, _) = self.figures()
        return left_out < before


def fit_player(instrument: Instrument, notes: tuple[PlayedNote, ...]) -> PlayerFit:
    """The flute fitted to notes played on it. Raises NothingPlayedError where no note can be used."""
    problem = _Problem.of(instrument, notes)
    near = problem.near()
    if not near.any():
        raise NothingPlayedError
    used = problem.only(near)
    start = np.zeros(len(used.corrections))
    before = used.residuals(start)
    x, weights, jacobian = _solve(used, start)
    if weights.max() < NOT_COUNTED:
        raise NothingPlayedError
    fitted, after = used.changed(x), used.residuals(x)
    left_out = _left_out(used, x, jacobian)
    error = _model_cents(used, left_out, weights)
    told = iter(zip(before.tolist(), after.tolist(), left_out.tolist(), weights.tolist(), strict=True))
    unusable = (math.nan, math.nan, math.nan, 0.0)
    rows = tuple(Told(note, *(next(told) if there else unusable)) for note, there in zip(notes, near, strict=True))
    covariance: RealArray = np.asarray(np.linalg.inv(_matrix(used, jacobian, weights)), dtype=float)
    next_notes, open_cents = _most_telling(used, x, covariance, rows)
    fitted = msgspec.structs.replace(fitted, model_cents=round(error, 1))
    return PlayerFit(fitted, rows, used.moved(x, covariance), used.farthest_mm(x), next_notes, open_cents)


@dataclass(frozen=True, slots=True)
class _Correction:
    """One quantity that the fit may move. kind: 'at_c4', 'per_octave', 'curve', 'temperature', 'head', 'stopper', 'hole' or
    'take'; at: which hole (the open end last) or take. scale: [mm], [K] or, for a take, [cents]. limit: in scales."""

    kind: str
    scale: float
    at: int = 0
    limit: float = BOUND


def _corrections(instrument: Instrument, takes: int, sigma_k: float) -> tuple[_Correction, ...]:
    """What may move, and how far: lips differ more than flutes do; a head joint is drawn out by some millimetres to tune; holes
    of flutes of one make lie within about half a millimetre of each other. Lengths grow as the flute, lips as its inertance.
    Ours."""
    long, size = length_scale(instrument), size_of(instrument)
    lip = size.length / size.area
    found = [
        _Correction("at_c4", 6.0 * lip),
        _Correction("per_octave", 2.5 * lip),
        _Correction("curve", 0.5 * lip),
        _Correction("temperature", sigma_k),
        _Correction("head", 4.0 * long),
        _Correction("stopper", 1.0 * long),
    ]
    places = hole_places(instrument)
    gaps = np.diff(places, prepend=places[0] - np.inf, append=np.inf)
    for at in range(len(places)):
        room = 0.4 * min(gaps[at], gaps[at + 1])
        found.append(_Correction("hole", 0.5 * long, at, min(BOUND, room / (0.5 * long))))
    if takes > 1:
        found += [_Correction("take", _TAKE_CENTS, at) for at in range(takes)]
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """Notes and what may be corrected. celsius: told for each note, NaN where not. played: cents beside the written
    note. take: number of each note's; alike: rows of the same note. Corrections x, shape
    (n_corrections,), are in their scales."""

    instrument: Instrument
    corrections: tuple[_Correction, ...]
    states: StateArray
    pitches: tuple[Pitch, ...]
    celsius: RealArray
    played: RealArray
    take: RealArray
    alike: RealArray

    @classmethod
    def of(cls, instrument: Instrument, notes: tuple[PlayedNote, ...]) -> _Problem:
        celsius = np.array([note.temperature_c for note in notes])
        takes = sorted({note.take for note in notes})
        written = [note.note.transposed(instrument.transposition_semitones) for note in notes]
        target = np.array([pitch.hz(instrument.a4_hz) for pitch in written])
        sigma_k = _ALIKE_K if np.isnan(celsius).any() else temperature_sigma_k()
        same = Counter((note.fingering, note.note) for note in notes)
        return cls(
            instrument,
            _corrections(instrument, len(takes), sigma_k),
            np.array([hole_states(instrument, note.fingering) for note in notes]),
            tuple(written),
            celsius,
            1200.0 * np.log2(np.array([note.hz for note in notes]) / target),
            np.array([takes.index(note.take) for note in notes]),
            np.array([same[note.fingering, note.note] for note in notes], dtype=float),
        )

    def only(self, rows: BoolArray) -> _Problem:
        pitches = tuple(pitch for pitch, there in zip(self.pitches, rows, strict=True) if there)
        arrays = {name: getattr(self, name)[rows] for name in ("states", "celsius", "played", "take", "alike")}
        return replace(self, pitches=pitches, **arrays)

    def near(self) -> BoolArray:
        """Whether each note's fingering has a resonance near the note on the flute as it is, shape (n,)."""
        cents = self.computed(np.zeros(len(self.corrections)))
        return np.asarray(np.abs(np.nan_to_num(cents, nan=np.inf)) <= _NEAR_CENTS)

    def changed(self, x: RealArray) -> Instrument:
        """The flute with its corrections; its air as warm as it was on average where every note tells it."""
        flute = self.instrument
        moved = dict.fromkeys(("at_c4", "per_octave", "curve", "temperature", "head", "stopper"), 0.0)
        places = hole_places(flute)
        for one, value in zip(self.corrections, (x * self.scales).tolist(), strict=True):
            if one.kind == "hole":
                places[one.at] += value
            elif one.kind != "take":
                moved[one.kind] = value
        law = ("at_c4", "per_octave", "curve")
        lip = {f"{name}_mm": getattr(flute.lip, f"{name}_mm") + moved[name] for name in law}
        return msgspec.structs.replace(
            with_hole_places(flute, places + moved["head"]),
            lip=msgspec.structs.replace(flute.lip, **lip),
            head=msgspec.structs.replace(flute.head, stopper_mm=max(0.5, flute.head.stopper_mm + moved["stopper"])),
            temperature_c=self.air_c() + moved["temperature"],
        )

    def air_c(self) -> float:
        """The air's temperature before the fit [°C]."""
        told = not np.isnan(self.celsius).any()
        return float(self.celsius.mean()) if told else self.instrument.temperature_c

    def computed(self, x: RealArray) -> RealArray:
        """Cents from each written note to the flute's resonance near it, take included, shape (n,); NaN where there is none."""
        cents = np.empty(len(self.pitches))
        for rows, flute in self._as_warm(x):
            cents[rows] = resonance_cents(flute, self.states[rows], tuple(self.pitches[row] for row in rows))
        return np.asarray(cents + self._takes @ (x * self.scales))

    def _as_warm(self, x: RealArray) -> Iterator[tuple[IndexArray, Instrument]]:
        """The corrected flute for the notes of each temperature of the air."""
        changed = self.changed(x)
        warmer = changed.temperature_c - self.air_c()
        known = np.where(np.isnan(self.celsius), changed.temperature_c, self.celsius + warmer)
        for celsius in np.unique(known):
            yield np.flatnonzero(known == celsius), msgspec.structs.replace(changed, temperature_c=float(celsius))

    @property
    def _takes(self) -> RealArray:
        """1 where a correction is that of a note's take, shape (n, n_corrections)."""
        own = [(self.take == one.at) & (one.kind == "take") for one in self.corrections]
        return np.stack(own, axis=1).astype(float)

    def residuals(self, x: RealArray) -> RealArray:
        """Played minus computed, shape (n,) [cents]."""
        return self.played - self.computed(x)

    def jacobian(self, x: RealArray) -> RealArray:
        """Cents per scale of each correction, shape (n, n_corrections): how far the reactance rises at the resonance by a small
        step, over its slope there."""
        takes = self._takes * self.scales
        cents = self.computed(x) - self._takes @ (x * self.scales)
        hz = np.array([pitch.hz(self.instrument.a4_hz) for pitch in self.pitches]) * 2.0 ** (cents / 1200.0)
        slope = (self._reactance(x, hz * math.exp(_STEP)) - self._reactance(x, hz * math.exp(-_STEP))) / (2.0 * _STEP)
        here = self._reactance(x, hz)
        steps = _STEP * np.where(x > 0.0, -1.0, 1.0)  # towards the middle: within the bounds
        columns = [(self._reactance(x + step, hz) - here) for step in np.diag(steps)]
        return np.asarray(takes - 1200.0 / math.log(2.0) * np.stack(columns, axis=1) / steps / slope[:, None])

    def _reactance(self, x: RealArray, hz: RealArray) -> RealArray:
        """Of bore and lip at a frequency of each note's own, shape (n,) [Pa s/m³]."""
        found = np.empty(len(hz))
        for rows, instrument in self._as_warm(x):
            flute, freq = Flute(instrument), hz[rows][:, None]
            lip = flute.lip_slope(freq) * flute.lip_law_m(freq)
            found[rows] = (flute.bore_impedance(self.states[rows], freq).imag + lip)[:, 0]
        return found

    @property
    def scales(self) -> RealArray:
        return np.array([one.scale for one in self.corrections])

    @property
    def limits(self) -> RealArray:
        """Shape (n_corrections,), in scales."""
        return np.array([one.limit for one in self.corrections])

    @property
    def spread_cents(self) -> float:
        """One standard deviation of a note about what is right for this player: reading, and the model's own error."""
        return math.hypot(READING_CENTS, self.instrument.model_cents)

    @property
    def variances(self) -> RealArray:
        """Shape (n,) [cents²]: the model's error is the same each time a note is played, so n takes of it have it in full."""
        return READING_CENTS**2 + self.alike * self.instrument.model_cents**2

    def moved(self, x: RealArray, covariance: RealArray) -> tuple[Moved, ...]:
        """Lip, temperature, head joint and stopper."""
        flute = self.instrument
        before = {"at_c4": flute.lip.at_c4_mm, "per_octave": flute.lip.per_octave_mm, "curve": flute.lip.curve_mm}
        before |= {"temperature": self.air_c(), "head": 0.0, "stopper": flute.head.stopper_mm}
        sigmas = np.sqrt(np.diag(covariance)) * self.scales
        return tuple(
            Moved(one.kind, before[one.kind], before[one.kind] + float(value * one.scale), float(sigma))
            for one, value, sigma in zip(self.corrections, x, sigmas, strict=True)
            if one.kind in before
        )

    def farthest_mm(self, x: RealArray) -> float:
        """The largest correction of a hole's place."""
        return max(abs(float(v)) * one.scale for one, v in zip(self.corrections, x, strict=True) if one.kind == "hole")


def resonance_cents(instrument: Instrument, states: StateArray, pitches: tuple[Pitch, ...]) -> RealArray:
    """As `fitting.deviations`, with more steps; NaN where there is no resonance near the pitch."""
    cents = moved = deviations(instrument, states, pitches)
    for _ in range(_LOOKS):
        if np.abs(moved).max() < _SETTLED_CENTS:
            break
        near = tuple(pitch.transposed(float(off) / 100.0) for pitch, off in zip(pitches, cents, strict=True))
        moved = deviations(instrument, states, near)
        cents = cents + moved
    return np.where(np.abs(moved) < _SETTLED_CENTS, cents, np.nan)


def biweight(residuals: RealArray, spread: float) -> RealArray:
    """Weights 0..1, shape (n,): 1 in the middle, 0 from OUTLYING spreads on."""
    u = residuals / (OUTLYING * spread)
    return np.asarray(np.where(np.abs(u) < 1.0, (1.0 - u**2) ** 2, 0.0))


def _centre(residuals: RealArray, spread: float) -> float:
    """The residual that most others lie near; of equals the one nearer to nothing. Wrong rows do not draw it, as they would a
    mean."""
    votes = [float(biweight(residuals - one, spread).sum()) - 1e-4 * abs(float(one)) for one in residuals]
    return float(residuals[int(np.argmax(votes))])


def _matrix(problem: _Problem, jacobian: RealArray, weights: RealArray) -> RealArray:
    """Inverse covariance of the corrections, in their scales: shape (n_corrections, n_corrections)."""
    scaled = jacobian * (weights / problem.variances)[:, None]
    return np.asarray(jacobian.T @ scaled + np.eye(jacobian.shape[1]))


def _step(problem: _Problem, jacobian: RealArray, weights: RealArray, wanted: RealArray) -> RealArray:
    """Corrections with least squares of `wanted - jacobian @ x` and x within the limits."""
    right = jacobian.T @ (weights / problem.variances * wanted)
    return within_box(_matrix(problem, jacobian, weights), right, problem.limits)


def within_box(matrix: RealArray, right: RealArray, limits: RealArray) -> RealArray:
    """The x, |x| <= limits, with least x·matrix·x/2 - right·x: one coordinate after the other, which finds it for every symmetric
    positive definite matrix (Gauss and Seidel, projected; from memory, tested against scipy)."""
    x: RealArray = np.clip(np.linalg.solve(matrix, right), -limits, limits).astype(float)
    for _ in range(_SWEEPS):
        before = x.copy()
        for at in range(len(x)):
            best = (right[at] - matrix[at] @ x) / matrix[at, at] + x[at]
            x[at] = min(max(best, -limits[at]), limits[at])
        if np.abs(x - before).max() < 1e-9:
            break
    return x


def _solve(problem: _Problem, x: RealArray) -> tuple[RealArray, RealArray, RealArray]:
    """Corrections, weights and the jacobian there."""
    residuals = problem.residuals(x)
    weights = biweight(residuals - _centre(residuals, problem.spread_cents), problem.spread_cents)
    jacobian = problem.jacobian(x)
    for _ in range(_ROUNDS):
        x = _step(problem, jacobian, weights, problem.residuals(x) + jacobian @ x)
        weights = biweight(problem.residuals(x), problem.spread_cents)
    # Small corrections: the jacobian hardly changes, so one look at it near the end is enough.
    jacobian = problem.jacobian(x)
    x = _step(problem, jacobian, weights, problem.residuals(x) + jacobian @ x)
    return x, biweight(problem.residuals(x), problem.spread_cents), jacobian


def _left_out(problem: _Problem, x: RealArray, jacobian: RealArray) -> RealArray:
    """Residual of each note when all rows of it are left out, shape (n,) [cents]; the jacobian stays that of all."""
    wanted = problem.residuals(x) + jacobian @ x
    found = np.empty(len(wanted))
    kinds = [(state.tobytes(), pitch) for state, pitch in zip(problem.states, problem.pitches, strict=True)]
    for own in dict.fromkeys(kinds):
        rows = np.array([one == own for one in kinds])
        others = np.where(rows, 0.0, 1.0)
        weights = others
        if others.any():
            weights = others * biweight(wanted - _centre(wanted[~rows], problem.spread_cents), problem.spread_cents)
        for _ in range(_ROUNDS):
            moved = _step(problem, jacobian, weights, wanted)
            weights = others * biweight(wanted - jacobian @ moved, problem.spread_cents)
        found[rows] = (wanted - jacobian @ moved)[rows]
    return found


def _model_cents(problem: _Problem, left_out: RealArray, weights: RealArray) -> float:
    """Error of the fitted flute [cents rms]: what the left-out notes tell, beside the flute's own figure as if that were
    _PRIOR_NOTES notes (a scaled inverse chi-squared prior, from memory). Rows of one note count as one."""
    share = np.where(weights >= NOT_COUNTED, 1.0 / problem.alike, 0.0)
    known = _PRIOR_NOTES * problem.instrument.model_cents**2
    return math.sqrt((known + float(share @ left_out**2)) / (_PRIOR_NOTES + float(share.sum())))


def _most_telling(
    problem: _Problem, x: RealArray, covariance: RealArray, told: tuple[Told, ...]
) -> tuple[tuple[ChartNote, ...], tuple[float, float]]:
    """The chart's notes after which all of its notes are least uncertain, one after the other, and how uncertain they were before
    the fit and are now [cents rms]."""
    notes = chart_of(problem.instrument)
    rows = tuple(PlayedNote(0, note.fingering, note.pitch, 440.0) for note in notes)
    every = replace(_Problem.of(problem.instrument, rows), corrections=problem.corrections)
    found_there = np.isfinite(every.computed(x))
    notes, every = tuple(note for note, there in zip(notes, found_there, strict=True) if there), every.only(found_there)
    jacobian = every.jacobian(x)
    # A take is not the player: what the chart's notes are does not depend on it.
    jacobian[:, [one.kind == "take" for one in problem.corrections]] = 0.0
    open_cents = tuple(
        float(np.sqrt(np.mean(np.sum((jacobian @ matrix) * jacobian, axis=1))))
        for matrix in (np.eye(len(covariance)), covariance)
    )
    played = {(one.note.fingering, one.note.note) for one in told if one.counts}
    left = [at for at, note in enumerate(notes) if (note.fingering, note.pitch) not in played and note.judged]
    found: list[ChartNote] = []
    while left and len(found) < NEXT_NOTES:
        shared = jacobian @ covariance @ jacobian.T
        variance = np.diag(shared) + problem.spread_cents**2
        best = max(left, key=lambda at: float((shared[:, at] ** 2).sum() / variance[at]))
        column = covariance @ jacobian[best]
        covariance = covariance - np.outer(column, column) / variance[best]
        left.remove(best)
        found.append(notes[best])
    return tuple(found), (open_cents[0], open_cents[1])


def mistaken_for(fitted: Instrument, note: PlayedNote) -> tuple[str, ChartNote | float] | None:
    """What a row that does not fit may have been: ('resonance', its frequency [Hz]) for another resonance of its fingering,
    ('note', of the chart) for another fingering; None where nothing is near."""
    flute, grid = Flute(fitted), grid_for(fitted)
    states = hole_states(fitted, note.fingering)[None, :]
    lip = 1j * flute.lip_slope(grid) * flute.lip_law_m(grid)
    found = rising_zeros(flute.bore_impedance(states, grid) + lip, grid).hz
    off = _apart(found, note.hz)
    written = note.note.transposed(fitted.transposition_semitones).hz(fitted.a4_hz)
    if len(off) and off.min() <= _GUESS_CENTS and abs(1200.0 * math.log2(note.hz / written)) > _NEAR_CENTS:
        return "resonance", float(found[off.argmin()])
    others = [one for one in chart_of(fitted) if one.fingering != note.fingering]
    hz = np.array([one.pitch.transposed(fitted.transposition_semitones).hz(fitted.a4_hz) for one in others])
    off = _apart(hz, note.hz)
    return ("note", others[int(off.argmin())]) if len(off) and off.min() <= _GUESS_CENTS else None


def _apart(hz: RealArray, other: float) -> RealArray:
    return np.asarray(np.abs(1200.0 * np.log2(hz / other)))
