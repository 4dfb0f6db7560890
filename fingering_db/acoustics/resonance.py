"""Resonances of an input impedance: where its reactance rises through zero, and how strongly the mode couples."""

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, ComplexArray, IndexArray, RealArray

DEPTH_REFERENCE = 1e6  # [Pa s/m³] 0 dB of a minimum's depth


@dataclass(frozen=True, slots=True)
class Crossings:
    """Rising zeros of the reactance in rows of an impedance, one entry per zero, ordered by row, then frequency.

    row: index of the impedance's row. left: grid index before the zero. hz: frequency [Hz]. slope: dX/dω [Pa s²/m³].
    resistance: Re Z [Pa s/m³].
    """

    row: IndexArray
    left: IndexArray
    hz: RealArray
    slope: RealArray
    resistance: RealArray

    @property
    def depth_db(self) -> RealArray:
        """|Z| at the zero in dB re 1 MPa s/m³."""
        return np.asarray(20.0 * np.log10(np.maximum(self.resistance, 1.0) / DEPTH_REFERENCE))

    @property
    def modal_amplitude(self) -> RealArray:
        """a = 2/(dX/dω) [m³/(Pa s²)]: how strongly the mode couples to the embouchure (equal to Y_max ω/Q)."""
        return np.asarray(2.0 / self.slope)


def rising_zeros(impedance: ComplexArray, freq: RealArray) -> Crossings:
    """Resonances of rows of impedance on a common frequency grid.

    impedance: shape (n, m) [Pa s/m³]. freq: shape (m,), growing in equal steps of its logarithm [Hz]. A zero is found
    when the reactance is below zero at one grid point and not at the next, and placed by a rational function through
    four points, which has room for the pole beside it. Accuracy on a given grid: see the tests.
    """
    reactance = impedance.imag
    rises: BoolArray = (reactance[:, :-1] < 0.0) & (reactance[:, 1:] >= 0.0)
    row, left = np.nonzero(rises)
    hz, slope, resistance = _refine(impedance, freq, row, left)
    return Crossings(row, left, hz, slope, resistance)


def _refine(
    impedance: ComplexArray, freq: RealArray, row: IndexArray, left: IndexArray
) -> tuple[RealArray, RealArray, RealArray]:
    """Zero [Hz], slope dX/dω and resistance there, from Z(x) = (p0 + p1 x + p2 x²)/(1 + q x) through the four grid
    points around each rise, x counted in grid steps from the left one; Newton, held between the two points of the
    rise."""
    x = np.arange(-1.0, 3.0)
    columns = np.clip(left[:, None] + np.arange(-1, 3), 0, len(freq) - 1)
    z = impedance[row[:, None], columns]
    # Third divided differences of Z (1 + q x) vanish for a quadratic: one linear equation for q.
    third = np.array([-1.0, 3.0, -3.0, 1.0])
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -(z @ third) / ((z * x) @ third)
    q[~np.isfinite(q)] = 0.0
    y = z * (1.0 + q[:, None] * x)
    p0, p1, p2 = y[:, 1], (y[:, 2] - y[:, 0]) / 2.0, (y[:, 2] - 2.0 * y[:, 1] + y[:, 0]) / 2.0
    lower, upper = z[:, 1].imag, z[:, 2].imag
    at = lower / (lower - upper)
    for _ in range(6):
        value, slope = _rational(p0, p1, p2, q, at)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = np.clip(at - value.imag / slope.imag, 0.0, 1.0)
        at = np.where(np.isfinite(at), at, 0.5)
    value, slope = _rational(p0, p1, p2, q, at)
    steepness = np.where(slope.imag > 0.0, slope.imag, upper - lower)
    step = np.log(freq[1] / freq[0])
    hz = freq[left] * np.exp(at * step)
    return np.asarray(hz), np.asarray(steepness / (2.0 * np.pi * hz * step)), np.asarray(value.real)


def _rational(
    p0: ComplexArray, p1: ComplexArray, p2: ComplexArray, q: ComplexArray, at: RealArray
) -> tuple[ComplexArray, ComplexArray]:
    """The rational function at `at`, and its derivative."""
    below = 1.0 + q * at
    value = (p0 + at * (p1 + at * p2)) / below
    return value, (p1 + 2.0 * at * p2 - q * value) / below
