"""Resonances for every lip at once: the falling branches of the lip length that makes a frequency a resonance.

The reactance of bore and lip rises through zero at frequency f when the lip's equivalent length is L(f) = -X(f) S/(ωρ) and
L falls there. So each resonance is a stretch of f on which L falls, from a greatest length, where it begins to exist, down
to a least one, where it ceases; on it a lip belongs to one frequency. Pressure and flow at the embouchure per unit at the
tube's far end have no poles (sums of products of the pieces' chain matrices): between grid points they are taken as cubics,
good to a thousandth of a cent at 6 cents a step (tested), however near to each other the extremes of L lie."""

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, ComplexArray, IndexArray, RealArray

_MOST_STEPS = 30
_DONE = 1e-8  # grid steps: far below what is kept of a place
_INSIDE = 16  # steps in which a stretch is looked through for turning points


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Tubes seen from the embouchure on a grid. pressure, flow: shape (n, m), for the same far end [Pa and m³/s, any common
    factor]. lip_slope: shape (m,), ωρ/S [Pa s/m⁴] on the grid, whose steps of the logarithm of frequency are equal."""

    pressure: ComplexArray
    flow: ComplexArray
    lip_slope: RealArray

    @property
    def growth(self) -> float:
        """Logarithm of the ratio of neighbouring frequencies."""
        return float(np.log(self.lip_slope[1] / self.lip_slope[0]))

    def lips(self) -> RealArray:
        """The lip [m] that each frequency of the grid needs, shape (n, m)."""
        p, u = self.pressure, self.flow
        return np.asarray((p.real * u.imag - p.imag * u.real) / ((u.real**2 + u.imag**2) * self.lip_slope))

    def at(self, row: IndexArray, x: RealArray) -> tuple[RealArray, RealArray, RealArray]:
        """Lip [m], its derivative [m per grid step] and resistance [Pa s/m³] at x [grid steps] in these rows, shape (n,)."""
        left = np.minimum(np.maximum(x.astype(np.intp), 1), self.flow.shape[1] - 3)
        four = row * self.flow.shape[1] + left + np.arange(-1, 3)[:, None]
        z, dz = between(self.pressure.reshape(-1)[four], self.flow.reshape(-1)[four], x - left)
        slope = self.lip_slope[0] * np.exp(self.growth * x)
        lip = -z.imag / slope
        return lip, -dz.imag / slope - self.growth * lip, z.real


def between(pressure: ComplexArray, flow: ComplexArray, t: RealArray) -> tuple[ComplexArray, ComplexArray]:
    """Impedance and its derivative [per grid step] at t [grid steps], shape (n,), of the cubics through pressure and flow at -1,
    0, 1, 2, shape (4, n)."""
    powers = np.stack([np.ones_like(t), t, t * t, t * t * t])
    value, steep = _LAGRANGE @ powers, _LAGRANGE_STEEP @ powers[:3]
    u = (value * flow).sum(axis=0)
    z = (value * pressure).sum(axis=0) / u
    return z, ((steep * pressure).sum(axis=0) - z * (steep * flow).sum(axis=0)) / u


_LAGRANGE = (
    np.array([[0.0, -2.0, 3.0, -1.0], [6.0, -3.0, -6.0, 3.0], [0.0, 6.0, 3.0, -3.0], [0.0, -1.0, 0.0, 1.0]]) / 6.0
)
"""Weights of the values at -1, 0, 1, 2, one line each, over the powers of t: the cubic through them (Lagrange)."""
_LAGRANGE_STEEP = _LAGRANGE[:, 1:] * [1.0, 2.0, 3.0]


@dataclass(frozen=True, slots=True, eq=False)
class Branches:
    """Falling stretches, ordered by row, then frequency. row: shape (n,). top, bottom: shape (n,), where it begins and ends
    [grid steps, growing]; longest, shortest: shape (n,), the lip there [m]."""

    row: IndexArray
    top: RealArray
    bottom: RealArray
    longest: RealArray
    shortest: RealArray


def branches(line: Line, lips: RealArray, low_m: float, high_m: float) -> Branches:
    """Every branch with some lip between low_m and high_m [m]; lips: `line.lips()`. Ends between the two are found exactly,
    others stand at a grid point."""
    row, x, lip, is_top = _turning_points(line, lips, low_m, high_m)
    begins = np.flatnonzero(is_top[:-1] & ~is_top[1:] & (row[:-1] == row[1:]))
    begins = begins[(lip[begins] > low_m) & (lip[begins + 1] < high_m)]
    return Branches(row[begins], x[begins], x[begins + 1], lip[begins], lip[begins + 1])


def _turning_points(
    line: Line, lips: RealArray, low_m: float, high_m: float
) -> tuple[IndexArray, RealArray, RealArray, BoolArray]:
    """(row, x, lip, whether it is a maximum) of the extremes of the lip, ordered by row and x; the grid's ends count."""
    m = lips.shape[1]
    falls = lips[:, 1:] < lips[:, :-1]
    row, at = np.nonzero(falls[:, 1:] != falls[:, :-1])
    at += 1
    value = lips[row, at]
    step = np.maximum(np.abs(value - lips[row, at - 1]), np.abs(lips[row, at + 1] - value))
    near = (value + step >= low_m) & (value - step <= high_m)
    hidden_row, hidden_at = _hidden(lips, low_m, high_m)
    fine_row, fine_x, fine_top = _extremes(
        line,
        np.concatenate([row[near], hidden_row]),
        np.concatenate([at[near] - 1.0, hidden_at]),
        np.concatenate([at[near] + 1.0, hidden_at + 1.0]),
    )
    ends = np.arange(len(lips))
    rows = np.concatenate([row[~near], fine_row, ends, ends])
    xs = np.concatenate([at[~near].astype(float), fine_x, np.zeros(len(ends)), np.full(len(ends), m - 1.0)])
    values = np.concatenate([value[~near], line.at(fine_row, fine_x)[0], lips[:, 0], lips[:, -1]])
    tops = np.concatenate([falls[row[~near], at[~near]], fine_top, falls[:, 0], ~falls[:, -1]])
    order = np.lexsort((xs, rows))
    rows, xs, values, tops = rows[order], xs[order], values[order], tops[order]
    # Two looks at neighbouring grid points may find the same extreme.
    once = np.ones(len(rows), dtype=bool)
    once[1:] = (rows[1:] != rows[:-1]) | (xs[1:] - xs[:-1] > 1e-6) | (tops[1:] != tops[:-1])
    return rows[once], xs[once], values[once], tops[once]


def _hidden(lips: RealArray, low_m: float, high_m: float) -> tuple[IndexArray, IndexArray]:
    """Cells (row, left) whose two ends differ as their neighbours' do, and in which the lip may turn twice all the same: where
    a parabola through the steps of three cells comes near the other sign inside the middle one."""
    step = np.diff(lips, axis=1)
    before, here, after = step[:, :-2], step[:, 1:-1], step[:, 2:]
    small = np.abs(here)
    alike = (small < np.abs(before)) & (small < np.abs(after))
    row, at = np.nonzero(alike)
    before, here, after = before[row, at], here[row, at], after[row, at]
    low, high = np.sort(np.stack([lips[row, at + 1], lips[row, at + 2]]), axis=0)
    bend, tilt = before - 2.0 * here + after, after - before
    least = here - bend / 24.0 - tilt**2 / (8.0 * bend)
    alike = (np.sign(before) == np.sign(here)) & (np.sign(after) == np.sign(here)) & (low <= high_m) & (high >= low_m)
    turned = alike & ((np.sign(least) != np.sign(here)) | (np.abs(least) < 0.2 * np.abs(here)))
    return row[turned], at[turned] + 1


def _extremes(
    line: Line, row: IndexArray, left: RealArray, right: RealArray
) -> tuple[IndexArray, RealArray, BoolArray]:
    """Extremes of the lip between left and right, shape (n,) [grid steps]: (row, x, whether a maximum)."""
    if not len(row):
        return row, left, np.zeros(0, dtype=bool)
    x = left[:, None] + np.linspace(0.0, 1.0, _INSIDE + 1) * (right - left)[:, None]
    steep = line.at(np.repeat(row, x.shape[1]), x.ravel())[1].reshape(x.shape)
    which, at = np.nonzero((steep[:, :-1] < 0.0) != (steep[:, 1:] < 0.0))
    rising = steep[which, at] >= 0.0
    rows, low, high = row[which], x[which, at], x[which, at + 1]
    first, second = steep[which, at], steep[which, at + 1]
    middle = low
    for _ in range(12):  # regula falsi with halving of the end that stays (Illinois)
        middle = (low * second - high * first) / (second - first)
        value = line.at(rows, middle)[1]
        same = (value >= 0.0) == (first >= 0.0)
        low, high = np.where(same, middle, low), np.where(same, high, middle)
        first, second = np.where(same, value, 0.5 * first), np.where(same, 0.5 * second, value)
    return rows, middle, rising


def crossings(line: Line, lips: RealArray, found: Branches, lip_m: float) -> tuple[IndexArray, RealArray]:
    """Where branches have this lip [m]: (branch, x [grid steps]), ordered by branch."""
    which = np.flatnonzero((found.longest >= lip_m) & (found.shortest <= lip_m))
    above = lips > lip_m
    m = lips.shape[1]
    at = np.flatnonzero((above[:, :-1] & ~above[:, 1:]).ravel())
    key = at + at // (m - 1)  # row * m + left
    top, bottom = found.top[which], found.bottom[which]
    start = found.row[which] * float(m)
    cell = np.searchsorted(key + 1.0, start + top, side="right")
    left = np.append(key, -1)[cell] - start
    # The cell of the change of sign, cut at the branch's own ends; where there is none, the whole branch.
    inside = (cell < len(key)) & (left < bottom)
    low = np.maximum(np.where(inside, left, 0.0), top)
    high = np.minimum(np.where(inside, left + 1.0, m), bottom)
    return which, solve(line, found.row[which], low, high, np.full(len(which), lip_m))


def solve(line: Line, row: IndexArray, low: RealArray, high: RealArray, lip_m: RealArray) -> RealArray:
    """Where the lip falls to lip_m between low and high, shape (n,) [grid steps]; it must fall all the way."""
    low, high, x = low.copy(), high.copy(), 0.5 * (low + high)
    open_ = np.arange(len(x))
    for _ in range(_MOST_STEPS):
        value, steep, _ = line.at(row[open_], x[open_])
        off = value - lip_m[open_]
        low[open_] = np.where(off > 0.0, x[open_], low[open_])
        high[open_] = np.where(off > 0.0, high[open_], x[open_])
        with np.errstate(divide="ignore", invalid="ignore"):
            better = x[open_] - off / steep
        inside = (better >= low[open_]) & (better <= high[open_])
        better = np.where(inside, better, 0.5 * (low[open_] + high[open_]))
        moved = np.abs(better - x[open_])
        x[open_] = better
        open_ = open_[moved > _DONE]
        if not len(open_):
            break
    return x
