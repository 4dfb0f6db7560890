"""Which reachable fingerings sound given pitches: every one is tried, exactly.

The tube is cut below the thumb-and-left-hand part. Looking down from the cut, the admittance depends on the lower
holes only;
from the cut up to the embouchure, the chain matrix depends on the upper holes only. Both are tabulated; a fingering is
one
pair of them.

A resonance stands where X_bore(f) + ωL·ρ/S rises through zero. Solved for the lip length L this gives, for each
frequency, the lip
at which a fingering sounds it; a resonance lies inside a window of frequencies exactly for the lips between the two
values
at the window's ends. So one lip for all pitches, free between two bounds, is an intersection of intervals: no lip is
skipped and no fingering is looped over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, IndexArray, RealArray, StateArray
from fingering_db.acoustics.tube import TwoPort
from fingering_db.mechanism import Reach
from fingering_db.sounding import Flute

_LIP_TRIALS = 33
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
    best: Halves | None = None
    for cut in range(1, reach.states.shape[1]):
        upper, upper_of = _distinct(reach.states[:, :cut])
        lower, lower_of = _distinct(reach.states[:, cut:])
        if best is None or 4 * len(upper) + len(lower) < 4 * len(best.upper) + len(best.lower):
            best = Halves(cut, upper, lower, upper_of, lower_of)
    assert best is not None
    return best


def _distinct(states: StateArray) -> tuple[StateArray, IndexArray]:
    keys = states.astype(np.int64) @ (5 ** np.arange(states.shape[1], dtype=np.int64))
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    return states[first], inverse.astype(np.intp)


@dataclass(frozen=True, slots=True)
class HalfTables:
    """Both halves of the tube at some frequencies: above (stopper cavity included), entries of shape (n_upper, m);
    below,
    shape (n_lower, m)."""

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
    below = flute.end_admittance(freq) * np.ones((len(halves.lower), 1))
    for index in range(len(elements) - 1, halves.cut - 1, -1):
        below = elements[index].carry(below, halves.lower[:, index - halves.cut])
        if spacing[index] > 0.0:
            below = wave.carry(below, spacing[index])
    above = elements[0].two_port(halves.upper[:, 0])
    for index in range(1, halves.cut):
        if spacing[index] > 0.0:
            above = above.then(wave.along(spacing[index]))
        above = above.then(elements[index].two_port(halves.upper[:, index]))
    whole, cavity = flute.head_two_port(freq).then(above), flute.cavity_admittance(freq)
    return HalfTables(whole._replace(c=whole.c + cavity * whole.a, d=whole.d + cavity * whole.b), below)


def lips_in_window(
    flute: Flute, halves: Halves, targets_hz: RealArray, tolerance_cents: float
) -> tuple[RealArray, RealArray, RealArray]:
    """Which lips put a resonance of each fingering at the upper edge of each target's window, at the target, at the
    lower.

    targets_hz: shape (k,). Returns three arrays of shape (n_sounds, k) [m]; a resonance lies in the window for lips
    between
    the first and the third, for none where the first is not below the third."""
    freq = np.concatenate([targets_hz * CENT**edge for edge in (tolerance_cents, 0.0, -tolerance_cents)])
    reactance = tabulate(flute, halves, freq).reactance(halves.upper_of, halves.lower_of)
    lips = -reactance / flute.lip_slope(freq)
    upper, exact, lower = np.split(lips, 3, axis=1)
    return upper, exact, lower


def matching(
    flute: Flute, halves: Halves, targets_hz: RealArray, tolerance_cents: float, bounds_m: tuple[float, float]
) -> tuple[IndexArray, RealArray]:
    """Rows of sounds that have a resonance within the tolerance of every target with ONE lip between the bounds.

    Returns (sounds, lips), shapes (n,): for each the lip [m] with the least largest deviation."""
    upper, exact, lower = lips_in_window(flute, halves, targets_hz, tolerance_cents)
    low = np.maximum(upper.max(axis=1), bounds_m[0])
    high = np.minimum(lower.min(axis=1), bounds_m[1])
    sounds = np.flatnonzero(low <= high)
    lips = _least_deviation(upper[sounds], exact[sounds], lower[sounds], low[sounds], high[sounds])
    return sounds, lips


def _least_deviation(
    upper: RealArray, exact: RealArray, lower: RealArray, low: RealArray, high: RealArray
) -> RealArray:
    """The lip between low and high, shape (n,), whose largest deviation over the targets is least.

    A longer lip lowers every resonance, nearly evenly from the window's upper edge to the target and on to its lower
    edge;
    good to a cent or two, and the deviations shown are computed afterwards."""
    trials = np.linspace(low, high, _LIP_TRIALS)[:, :, None]
    over, under = exact - upper, lower - exact
    # Where the target is not between the edges the line from edge to edge serves.
    straight = ~((over > 0.0) & (under > 0.0))
    over = np.where(straight, (lower - upper) / 2.0, over)
    under = np.where(straight, over, under)
    middle = np.where(straight, (lower + upper) / 2.0, exact)
    off = np.where(trials < middle, (middle - trials) / over, (trials - middle) / under)
    best = off.max(axis=2).argmin(axis=0)
    return np.asarray(trials[best, np.arange(len(low)), 0])
