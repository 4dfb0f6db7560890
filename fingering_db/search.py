"""Which reachable fingerings sound given pitches: every one is tried, exactly.

The tube is cut once. Looking down from the cut, the admittance depends on the lower holes only; from the cut up to the
embouchure, the chain matrix depends on the upper holes only. Both are tabulated; a fingering is one pair of them.

A resonance stands where X_bore(f) + ωL·ρ/S rises through zero. Solved for the lip length L this gives, for each
frequency, the lip at which a fingering sounds it. Between two neighbouring frequencies a resonance stands for the lips
from the value at the second up to the value at the first, where these fall. So one lip for all pitches, free between
two bounds, is an intersection of intervals, and no fingering is looped over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, IndexArray, RealArray, StateArray
from fingering_db.acoustics.tube import TwoPort
from fingering_db.mechanism import Reach
from fingering_db.sounding import Flute

_LIP_TRIALS = 13  # between the bounds, then once more around the best of them
_SAMPLE_CENTS = 2.5  # far finer than a resonance is wide (30 cents and more), so none hides between two samples
_COARSE_CENTS = 7.5
_BLOCK = 8192  # sounds at a time: bounds memory
CENT = 2.0 ** (1.0 / 1200.0)


@dataclass(frozen=True, slots=True)
class Halves:
    """Distinct states of the holes above and below the cut, and which pair each sound is.

    cut: holes[:cut] are above. upper: shape (n_upper, cut); lower: (n_lower, n_holes - cut). upper_of, lower_of:
    shape (n_sounds,), rows of the two.
    """

    cut: int
    upper: StateArray
    lower: StateArray
    upper_of: IndexArray
    lower_of: IndexArray


def halve(reach: Reach) -> Halves:
    """Cut where the two tables together are smallest (a chain matrix weighs four admittances)."""

    def weight(cut: int) -> int:
        upper, lower = (np.sort(_keys(half)) for half in (reach.states[:, :cut], reach.states[:, cut:]))
        return int(4 * np.count_nonzero(np.diff(upper)) + np.count_nonzero(np.diff(lower)))

    cut = min(range(1, reach.states.shape[1]), key=weight)
    upper, upper_of = _distinct(reach.states[:, :cut])
    lower, lower_of = _distinct(reach.states[:, cut:])
    return Halves(cut, upper, lower, upper_of, lower_of)


def _keys(states: StateArray) -> IndexArray:
    """One number for each row of states."""
    return np.asarray(states.astype(np.int64) @ (5 ** np.arange(states.shape[1], dtype=np.int64)))


def _distinct(states: StateArray) -> tuple[StateArray, IndexArray]:
    _, first, inverse = np.unique(_keys(states), return_index=True, return_inverse=True)
    return states[first], inverse.astype(np.intp)


@dataclass(frozen=True, slots=True)
class HalfTables:
    """Both halves of the tube at some frequencies: above (stopper cavity included), entries of shape (n_upper, m);
    below, shape (n_lower, m)."""

    above: TwoPort
    below: ComplexArray

    def impedance(self, upper: IndexArray, lower: IndexArray) -> ComplexArray:
        """Bore and stopper cavity at the embouchure [Pa s/m³] for pairs of rows, shape (n, m)."""
        through, flow = self._pressure_and_flow(upper, lower)
        return np.asarray(through / flow)

    def reactance(self, upper: IndexArray, lower: IndexArray) -> RealArray:
        """Imaginary part of the same, shape (n, m); real arithmetic, a good deal faster."""
        p, u = self._pressure_and_flow(upper, lower)
        return np.asarray((p.imag * u.real - p.real * u.imag) / (u.real**2 + u.imag**2))

    def _pressure_and_flow(self, upper: IndexArray, lower: IndexArray) -> tuple[ComplexArray, ComplexArray]:
        load = np.take(self.below, lower, axis=0)  # take: ten times faster than indexing here
        pressure = np.take(self.above.b, upper, axis=0) * load
        pressure += np.take(self.above.a, upper, axis=0)
        flow = np.take(self.above.d, upper, axis=0) * load
        flow += np.take(self.above.c, upper, axis=0)
        return pressure, flow


def tabulate(flute: Flute, halves: Halves, freq: RealArray) -> HalfTables:
    """Both tables at freq, shape (m,) [Hz]."""
    elements, spacing, wave = flute.elements(freq), flute.spacing_m(), flute.body_wave(freq)
    # What is alike from some hole down to the end is worked out once: `row` tells which line of `below` each half has.
    below, row = flute.end_admittance(freq)[None, :], np.zeros(len(halves.lower), dtype=np.intp)
    for index in range(len(elements) - 1, halves.cut - 1, -1):
        pairs, row = np.unique(5 * row + halves.lower[:, index - halves.cut], return_inverse=True)
        below = elements[index].carry(below[pairs // 5], (pairs % 5).astype(np.uint8))
        if spacing[index] > 0.0:
            below = wave.carry(below, spacing[index])
    below = below[row]
    above = elements[0].two_port(halves.upper[:, 0])
    for index in range(1, halves.cut):
        if spacing[index] > 0.0:
            above = above.then(wave.along(spacing[index]))
        above = above.then(elements[index].two_port(halves.upper[:, index]))
    whole, cavity = flute.head_two_port(freq).then(above), flute.cavity_admittance(freq)
    return HalfTables(whole._replace(c=whole.c + cavity * whole.a, d=whole.d + cavity * whole.b), below)


def lips_across(flute: Flute, halves: Halves, tables: HalfTables, freq: RealArray, sounds: IndexArray) -> RealArray:
    """The lip [m] that each sound would need at each frequency, shape (*freq.shape, n): sounds last, for speed.

    freq: shape (k, s), s growing frequencies around each of k targets [Hz]; tables: of freq.ravel(); sounds: shape
    (n,)."""
    reactance = tables.reactance(halves.upper_of[sounds], halves.lower_of[sounds])
    lips = np.ascontiguousarray(reactance.T) / -flute.lip_slope(freq.ravel())[:, None]
    return np.asarray(lips.reshape(*freq.shape, len(sounds)))


def matching(
    flute: Flute, halves: Halves, targets_hz: RealArray, tolerance_cents: float, bounds_m: tuple[float, float]
) -> tuple[IndexArray, RealArray]:
    """Rows of sounds that have a resonance within the tolerance of every target with ONE lip between the bounds.

    Returns (sounds, lips), shapes (n,): for each a lip [m] with about the least largest deviation.

    First with few frequencies: a change of sign between two of them is proof of a resonance, and a row that stays far
    from the bounds is out. What is left undecided is looked at with frequencies so near each other that none hides.
    """
    offsets = _offsets(tolerance_cents, _COARSE_CENTS)
    freq = targets_hz[:, None] * CENT**offsets
    tables = tabulate(flute, halves, freq.ravel())
    every = np.arange(len(halves.upper_of))
    served, chosen, undecided = [], [], []
    for start in range(0, len(every), _BLOCK):
        rows = every[start : start + _BLOCK]
        lips = lips_across(flute, halves, tables, freq, rows)
        # Between samples a lip is taken to move no farther than the largest step of its row.
        margin = np.abs(np.diff(lips, axis=1)).max(axis=1)
        near = (lips.min(axis=1) - margin <= bounds_m[1]) & (lips.max(axis=1) + margin >= bounds_m[0])
        kept = np.flatnonzero(near.all(axis=0))
        best, off = _best_between(np.take(lips, kept, axis=2), offsets, bounds_m)
        found = np.isfinite(off)
        served.append(rows[kept[found]])
        chosen.append(best[found])
        undecided.append(rows[kept[~found]])
    more, their_lips = _finely(flute, halves, targets_hz, tolerance_cents, bounds_m, np.concatenate(undecided))
    sounds, lips = np.concatenate([*served, more]), np.concatenate([*chosen, their_lips])
    order = np.argsort(sounds)
    return sounds[order], lips[order]


def _finely(
    flute: Flute,
    halves: Halves,
    targets_hz: RealArray,
    tolerance_cents: float,
    bounds_m: tuple[float, float],
    rows: IndexArray,
) -> tuple[IndexArray, RealArray]:
    """As `matching`, for some rows, with frequencies _SAMPLE_CENTS apart."""
    offsets = _offsets(tolerance_cents, _SAMPLE_CENTS)
    freq = targets_hz[:, None] * CENT**offsets
    lips = lips_across(flute, halves, tabulate(flute, halves, freq.ravel()), freq, rows)
    first, second = lips[:, :-1], lips[:, 1:]
    stretches = (second < first) & (second <= bounds_m[1]) & (first > bounds_m[0])
    possible = np.asarray(stretches.any(axis=1)).all(axis=0)
    rows, lips = rows[possible], lips[:, :, possible]
    best, off = _best_between(lips, offsets, bounds_m)
    # The lips that serve may be few and lie between the trials, but the lower end of each stretch is among the samples.
    open_rows = np.flatnonzero(~np.isfinite(off))
    ends = np.clip(lips[:, :, open_rows].reshape(freq.size, len(open_rows)), *bounds_m)
    best[open_rows], off[open_rows] = _best_of(lips[:, :, open_rows], offsets, ends)
    served = np.isfinite(off)
    return rows[served], best[served]


def _offsets(tolerance_cents: float, step_cents: float) -> RealArray:
    return np.linspace(-tolerance_cents, tolerance_cents, 2 * int(np.ceil(tolerance_cents / step_cents)) + 1)


def _best_between(lips: RealArray, offsets: RealArray, bounds_m: tuple[float, float]) -> tuple[RealArray, RealArray]:
    """As `_best_of`, with lips evenly between the bounds for trial, and then some around the best of these."""
    count = _LIP_TRIALS if bounds_m[1] > bounds_m[0] else 1
    trials = np.linspace(*bounds_m, count)
    best, least = _best_of(lips, offsets, trials[:, None] * np.ones(lips.shape[2]))
    served = np.flatnonzero(np.isfinite(least))
    if count == 1 or not len(served):
        return best, least
    step = trials[1] - trials[0]
    around = np.clip(best[served] + step * np.array([-0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75])[:, None], *bounds_m)
    best[served], least[served] = _best_of(lips[:, :, served], offsets, around)
    return best, least


def _best_of(lips: RealArray, offsets: RealArray, trials: RealArray) -> tuple[RealArray, RealArray]:
    """Of trial lips, shape (t, n) [m], the one for each row with the least largest deviation over the targets, and that
    deviation [cents], inf where none of the trials serves every target. lips: as lips_across gives them."""
    first, second = lips[:, :-1], lips[:, 1:]
    step = offsets[1] - offsets[0]
    slope = step / np.where(first > second, first - second, np.inf)
    zero = offsets[:-1, None] + slope * first  # deviation of a lip on each stretch: zero - slope * lip
    best, least = np.zeros(lips.shape[2]), np.full(lips.shape[2], np.inf)
    for trial in trials:
        inside = (second <= trial) & (trial < first)
        off = np.abs(zero - slope * trial)
        off[~inside] = np.inf
        worst = off.min(axis=1).max(axis=0)
        better = worst < least
        best[better], least[better] = trial[better], worst[better]
    return best, least
