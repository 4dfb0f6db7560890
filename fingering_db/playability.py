"""How surely a resonance sounds, alone and together with others: a model with stated evidence, never a promise.

The one feature that sorts best is relative modal amplitude: r = a/(f1 E(f)), where a = 2/(dX/dω) says how strongly the
mode
couples to the embouchure, f1 is the fingering's lowest resonance and E(f) the smooth curve on which the plain
fingerings of
the same flute lie. Derived for this project from the 38 notes of the standard chart and a handful of published
playable/unplayable resonances (Wolfe, Smith, Tann & Fletcher 2001, JSV 243:127, supplement): a hypothesis, in-sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.acoustics.resonance import Crossings

PLAYABLE_CONFIDENCE = 0.5  # at least this: expected to sound
DOUBTFUL_CONFIDENCE = 0.15  # at least this: may sound; below: not expected to
HIGHEST_PLAIN_HZ = 2200.0  # above, plain fingerings have too few resonances to tell the curve


@dataclass(frozen=True, slots=True)
class PlainCurve:
    """E(f): log of a/f1 of plain fingerings as a cubic in f [kHz]. coefficients: constant term first."""

    coefficients: tuple[float, float, float, float]

    def __call__(self, hz: RealArray) -> RealArray:
        """a/f1 of a plain fingering [m³/(Pa s²) / Hz] at hz; held constant above the range of the fit."""
        khz = np.minimum(hz, 1.25 * HIGHEST_PLAIN_HZ) / 1000.0
        return np.asarray(np.exp(np.polynomial.polynomial.polyval(khz, self.coefficients)))


def fit_plain_curve(crossings: Crossings) -> PlainCurve:
    """E(f) by least squares from the resonances of plain (first-register) fingerings."""
    ratio = np.log(crossings.modal_amplitude / lowest(crossings))
    used = crossings.hz < HIGHEST_PLAIN_HZ
    c = np.polynomial.polynomial.polyfit(crossings.hz[used] / 1000.0, ratio[used], 3)
    return PlainCurve((float(c[0]), float(c[1]), float(c[2]), float(c[3])))


def lowest(crossings: Crossings) -> RealArray:
    """For each crossing the lowest resonance of its row [Hz]."""
    first: IndexArray = np.searchsorted(crossings.row, crossings.row, side="left")
    return np.asarray(crossings.hz[first])


def relative_amplitude(crossings: Crossings, curve: PlainCurve) -> RealArray:
    """r of each crossing [1]: 1 for a plain tube, under about 0.6 for resonances that players do not report."""
    return np.asarray(crossings.modal_amplitude / (lowest(crossings) * curve(crossings.hz)))


# Where a resonance turns from unreported to played, and how sharply; in-sample (see the module's docstring).
_MIDDLE_R, _WIDTH_R = 0.62, 0.045
_SHALLOW_DB, _SHALLOW_WIDTH_DB = 6.0, 1.5
_FLAT_DB, _FLAT_WIDTH_DB = 6.0, 1.5
_STRONG_BETWEEN = 0.6


def strength(crossings: Crossings, curve: PlainCurve) -> RealArray:
    """How surely each resonance sounds alone, 0 to 1, shape of crossings; under 0.5: not expected to.

    A logistic of r; a minimum that is very shallow or hardly stands out is marked down, for there r is an artefact of a
    small slope."""
    by_amplitude = _logistic((relative_amplitude(crossings, curve) - _MIDDLE_R) / _WIDTH_R)
    by_depth = _logistic((_SHALLOW_DB - crossings.depth_db) / _SHALLOW_WIDTH_DB)
    by_prominence = _logistic((crossings.prominence_db - _FLAT_DB) / _FLAT_WIDTH_DB)
    return np.asarray(by_amplitude * by_depth * by_prominence)


def marked_down(between: RealArray) -> RealArray:
    """Factor on the confidence of a set for each resonance between its lowest and highest that is not asked for, from
    its
    strength: a strong one takes the jet for itself (ours; no measurement)."""
    return np.asarray(1.0 - (1.0 - _STRONG_BETWEEN) * between)


def _logistic(x: RealArray) -> RealArray:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))
