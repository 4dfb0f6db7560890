"""The tube cut once: every reachable fingering is a pair of an upper and a lower half.

Looking down from the cut, pressure and flow depend on the lower holes only; from the cut up to the embouchure, the chain
matrix depends on the upper holes only. Both are tabulated on a grid of frequencies; a fingering is one pair of them, and
none is looped over.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, IndexArray, RealArray, StateArray
from fingering_db.acoustics.tube import TwoPort
from fingering_db.mechanism import Reach, keys
from fingering_db.sounding import Flute


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
        upper, lower = (np.sort(keys(half)) for half in (reach.states[:, :cut], reach.states[:, cut:]))
        return int(4 * np.count_nonzero(np.diff(upper)) + np.count_nonzero(np.diff(lower)))

    cut = min(range(1, reach.states.shape[1]), key=weight)
    upper, upper_of = _distinct(reach.states[:, :cut])
    lower, lower_of = _distinct(reach.states[:, cut:])
    return Halves(cut, upper, lower, upper_of, lower_of)


def _distinct(states: StateArray) -> tuple[StateArray, IndexArray]:
    _, first, inverse = np.unique(keys(states), return_index=True, return_inverse=True)
    return states[first], inverse.astype(np.intp)


class Ends(NamedTuple):
    """Pressure and flow just below the cut for one flow at the open end, shape (n_lower, m) each [common factor]."""

    pressure: ComplexArray
    flow: ComplexArray


@dataclass(frozen=True, slots=True)
class HalfTables:
    """Both halves of the tube at some frequencies: above (stopper cavity included), entries of shape (n_upper, m);
    below, shape (n_lower, m) each. None of the entries has a pole: they are sums of products along the tube."""

    above: TwoPort
    below: Ends

    def pressure_and_flow(self, upper: IndexArray, lower: IndexArray) -> tuple[ComplexArray, ComplexArray]:
        """Both at the embouchure for pairs of rows, shape (n, m); their ratio is the impedance of bore and stopper cavity
        [Pa s/m³]."""
        # take: ten times faster than indexing here
        p, u = np.take(self.below.pressure, lower, axis=0), np.take(self.below.flow, lower, axis=0)
        pressure = np.take(self.above.a, upper, axis=0) * p
        pressure += np.take(self.above.b, upper, axis=0) * u
        flow = np.take(self.above.c, upper, axis=0) * p
        flow += np.take(self.above.d, upper, axis=0) * u
        return pressure, flow

    def at(self, upper: IndexArray, lower: IndexArray, column: IndexArray) -> tuple[ComplexArray, ComplexArray]:
        """Both for pairs of rows at one column of the grid each, any shapes that go together."""
        m = self.below.pressure.shape[1]
        above, below = upper * m + column, lower * m + column
        a, b, c, d = (np.take(entry.reshape(-1), above) for entry in self.above)
        p, u = (np.take(entry.reshape(-1), below) for entry in self.below)
        return np.asarray(a * p + b * u), np.asarray(c * p + d * u)

    def impedance(self, upper: IndexArray, lower: IndexArray) -> ComplexArray:
        """Bore and stopper cavity at the embouchure [Pa s/m³] for pairs of rows, shape (n, m)."""
        pressure, flow = self.pressure_and_flow(upper, lower)
        return np.asarray(pressure / flow)


def tabulate(flute: Flute, halves: Halves, freq: RealArray) -> HalfTables:
    """Both tables at freq, shape (m,) [Hz]."""
    tables = below_head(flute, halves, freq)
    whole, cavity = flute.head_two_port(freq).then(tables.above), flute.cavity_admittance(freq)
    return HalfTables(whole._replace(c=whole.c + cavity * whole.a, d=whole.d + cavity * whole.b), tables.below)


def below_head(flute: Flute, halves: Halves, freq: RealArray) -> HalfTables:
    """As `tabulate`, of the tube from the first hole on: pressure and flow just above it."""
    elements, spacing, wave = flute.elements(freq), flute.spacing_m(), flute.body_wave(freq)
    # What is alike from some hole down to the end is worked out once: `row` tells which line of `below` each half has.
    end = wave.along(spacing[-1])
    load = flute.open_end(freq)
    pressure, flow = (end.a + end.b * load)[None, :], (end.c + end.d * load)[None, :]
    row = np.zeros(len(halves.lower), dtype=np.intp)
    for index in range(len(elements) - 1, halves.cut - 1, -1):
        pairs, row = np.unique(5 * row + halves.lower[:, index - halves.cut], return_inverse=True)
        piece = elements[index].two_port((pairs % 5).astype(np.uint8))
        if spacing[index] > 0.0:
            piece = wave.along(spacing[index]).then(piece)
        p, u = pressure[pairs // 5], flow[pairs // 5]
        pressure, flow = piece.a * p + piece.b * u, piece.c * p + piece.d * u
    above = elements[0].two_port(halves.upper[:, 0])
    for index in range(1, halves.cut):
        if spacing[index] > 0.0:
            above = above.then(wave.along(spacing[index]))
        above = above.then(elements[index].two_port(halves.upper[:, index]))
    return HalfTables(above, Ends(pressure[row], flow[row]))
