"""How surely a resonance sounds, alone and together with others: a model with stated evidence, never a promise.

Two features sort what is known. Relative modal amplitude r = a/(f1 E(f)): a = 2/(dX/dω) says how strongly the mode
couples to the embouchure, f1 is the fingering's lowest resonance, and E(f) the smooth curve on which the plain
fingerings of the same flute lie. Jet margin: how far the mode can outgrow the others for some delay of the jet. Derived
for this project from the notes of the standard chart and 23 published resonances, three of them unplayable
(data/evidence.toml): a hypothesis with that much behind it. Depth, prominence and quality alone sort worse (their
ranges overlap).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.acoustics.jet import Modes, broad_jets, held_share, padded, pair_share, stated_jets
from fingering_db.acoustics.resonance import Crossings

PLAYABLE_CONFIDENCE = 0.5  # at least this: expected to sound
DOUBTFUL_CONFIDENCE = 0.15  # at least this: may sound; below: not expected to
HIGHEST_PLAIN_HZ = 2200.0  # above, plain fingerings have too few resonances to tell the curve


@dataclass(frozen=True, slots=True)
class Size:
    """A flute's size against the flute in C: lengths (2 an octave below), and area of the bore. All limits of this module
    are those of the flute in C; a flute of another size is looked at as if it were that one (frequencies grow as 1/length,
    impedances as 1/area: similarity, derived; that players and their jets follow it is ours)."""

    length: float = 1.0
    area: float = 1.0

    def likened(self, crossings: Crossings) -> Crossings:
        """The crossings as they would be on a flute in C of the same shape."""
        return replace(
            crossings,
            hz=crossings.hz * self.length,
            slope=crossings.slope * (self.area / self.length),
            resistance=crossings.resistance * self.area,
        )


@dataclass(frozen=True, slots=True)
class PlainCurve:
    """E(f): log of a/f1 of plain fingerings as a cubic in f [kHz], f and a likened to the flute in C by `size`.
    coefficients: constant term first."""

    coefficients: tuple[float, float, float, float]
    size: Size = Size()

    def __call__(self, hz: RealArray) -> RealArray:
        """a/f1 of a plain fingering [m³/(Pa s²) / Hz] at hz; held constant above the range of the fit."""
        khz = np.minimum(hz, 1.25 * HIGHEST_PLAIN_HZ) / 1000.0
        return np.asarray(np.exp(np.polynomial.polynomial.polyval(khz, self.coefficients)))


def fit_plain_curve(crossings: Crossings, size: Size) -> PlainCurve:
    """E(f) by least squares from the resonances of plain (first-register) fingerings of a flute of this size."""
    like = size.likened(crossings)
    ratio = np.log(like.modal_amplitude / lowest(like))
    used = like.hz < HIGHEST_PLAIN_HZ
    c = np.polynomial.polynomial.polyfit(like.hz[used] / 1000.0, ratio[used], 3)
    return PlainCurve((float(c[0]), float(c[1]), float(c[2]), float(c[3])), size)


@dataclass(frozen=True, slots=True)
class Holding:
    """Of each crossing: share of the stated jets that hold it, and their speeds from and to [m/s]; NaN for crossings that
    were not asked for, speeds also where no jet holds. Shape (n,)."""

    share: RealArray
    speed_low: RealArray
    speed_high: RealArray


def holding(like: Crossings, wanted: BoolArray | None = None) -> Holding:
    """What the jets make of the crossings wanted, shape of crossings; all without it. Crossings likened to the flute in C:
    speeds are the same on a flute of another size (frequency times length is)."""
    modes, place = modes_of(like)
    chosen = np.zeros(modes.hz.shape, dtype=bool)
    chosen[like.row, place] = True if wanted is None else wanted
    found = held_share(modes, stated_jets(), chosen)
    return Holding(*(part[like.row, place].astype(np.float64) for part in found))


def pairs(like: Crossings, wanted: BoolArray) -> RealArray:
    """How easily two crossings of a row sound at once, the least over the pairs of those wanted, shape (n_rows,), NaN for
    rows with fewer than two: share of broad jets (acoustics/jet.py). Likened to the flute in C."""
    modes, place = modes_of(like)
    chosen = np.zeros(modes.hz.shape, dtype=bool)
    chosen[like.row, place] = wanted
    asked = chosen[:, :, None] & chosen[:, None, :]
    own = np.arange(asked.shape[1])
    asked[:, own, own] = False
    least = np.where(asked, pair_share(modes, broad_jets(), chosen), np.inf).min(axis=(1, 2), initial=np.inf)
    return np.where(np.isfinite(least), least, np.nan)


def modes_of(like: Crossings) -> tuple[Modes, IndexArray]:
    """The crossings with one line per row, and the place of each in its line."""
    place: IndexArray = np.arange(len(like.row)) - np.searchsorted(like.row, like.row, side="left")
    return padded(like, int(like.row.max(initial=-1)) + 1), place


def lowest(crossings: Crossings) -> RealArray:
    """For each crossing the lowest resonance of its row [Hz]."""
    first: IndexArray = np.searchsorted(crossings.row, crossings.row, side="left")
    return np.asarray(crossings.hz[first])


def relative_amplitude(crossings: Crossings, curve: PlainCurve) -> RealArray:
    """r of each crossing [1]: 1 for a plain tube, under about 0.6 for resonances that players do not report."""
    like = curve.size.likened(crossings)
    return np.asarray(like.modal_amplitude / (lowest(like) * curve(like.hz)))


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


_WELL_FED = np.pi - float(np.arccos(-0.7))  # half-width of the phases around π at which -cos ≥ 0.7
_DELAYS = 13
_JET_GAIN = 2e6  # [Pa s/m³]: ours, above the resistance of every minimum that is reported to play (C7 on C4: 1.2e6)


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
    """What the strength of each resonance rests on, shape (n, 2): r, and log2 of the jet margin; both bounded."""
    r = np.clip(relative_amplitude(crossings, curve), 0.0, 1.2)
    margin = np.log2(np.clip(jet_margin(curve.size.likened(crossings)), 0.5, 4.0))
    return np.stack([r, margin], axis=1)


@dataclass(frozen=True, slots=True)
class Calibration:
    """Logistic of the features: constant, and a weight for each."""

    constant: float
    weights: tuple[float, float]

    def __call__(self, values: RealArray) -> RealArray:
        """Probability-like figure 0..1 for features of shape (n, 2)."""
        return _logistic(self.constant + values @ np.array(self.weights))


# Printed by `python -m fingering_db.calibration`; in-sample, see there for what it predicts of fingerings left out.
CALIBRATION = Calibration(-12.03, (14.84, 4.24))
_THIN = 0.04  # no resonance is surer than 1 - _THIN or less sure than _THIN: the evidence is a few dozen rows
_SHALLOW_DB, _SHALLOW_WIDTH_DB = 6.0, 1.5
_FLAT_DB, _FLAT_WIDTH_DB = 6.0, 1.5
_STRONG_BETWEEN = 0.6
_FADES_OVER_HZ = 400.0
_HIGHEST_PLAYED_HZ = 2600.0  # E7 of the flute in C: ours


def strength(crossings: Crossings, curve: PlainCurve, calibration: Calibration = CALIBRATION) -> RealArray:
    """How surely each resonance sounds alone, 0 to 1, shape of crossings; under 0.5: not expected to.

    A logistic of the features; a minimum that is very shallow or hardly stands out is marked down, for there r is an
    artefact of a small slope (limits: ours, below every minimum that is reported to play)."""
    like = curve.size.likened(crossings)
    by_depth = _logistic((_SHALLOW_DB - like.depth_db) / _SHALLOW_WIDTH_DB)
    by_prominence = _logistic((crossings.prominence_db - _FLAT_DB) / _FLAT_WIDTH_DB)
    sure = calibration(features(crossings, curve)) * by_depth * by_prominence
    bounded = _THIN + (1.0 - 2.0 * _THIN) * sure
    # Above the plain fingerings' range nothing is known: towards the middle; far above, where no flute is played, to none.
    beyond = np.clip((like.hz - HIGHEST_PLAIN_HZ) / _FADES_OVER_HZ, 0.0, 1.0)
    played = np.clip((_HIGHEST_PLAYED_HZ + 2.0 * _FADES_OVER_HZ - like.hz) / (2.0 * _FADES_OVER_HZ), 0.0, 1.0)
    return np.asarray((0.5 + (bounded - 0.5) * (1.0 - 0.5 * beyond)) * played)


def one_jet(hz: RealArray, resistance: RealArray) -> RealArray:
    """How well one jet can feed several modes at once, 0 to 1, shape (n,).

    hz, resistance: shape (n, k), the modes of each row, resistance likened to the flute in C. The largest over the
    jet's delay of the least of -cos ω_kτ - R_k/g (linear jet theory, from memory): above 0 all can grow."""
    delay = np.linspace(0.3, 2.2, _SHARED_DELAYS) / (2.0 * hz.min(axis=1, keepdims=True))
    angle = 2.0 * np.pi * hz[:, None, :] * delay[:, :, None]
    feed = (-np.cos(angle) - (resistance / _JET_GAIN)[:, None, :]).min(axis=2).max(axis=1)
    return np.asarray(np.clip(feed, 0.0, 1.0))


_SHARED_DELAYS = 96
_WELL_SHARED = 0.4  # from here on one jet is no obstacle: an octave, the easiest pair, has 0.5


def shared(feed: RealArray) -> RealArray:
    """Factor on the confidence of a set that one jet feeds no better than this (ours; no measurement)."""
    return np.asarray(np.clip(feed / _WELL_SHARED, 0.0, 1.0))


def marked_down(between: RealArray) -> RealArray:
    """Factor on the confidence of a set for each resonance between its lowest and highest that is not asked for, from
    its strength: a strong one takes the jet for itself (ours; no measurement)."""
    return np.asarray(1.0 - (1.0 - _STRONG_BETWEEN) * between)


def _logistic(x: RealArray) -> RealArray:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))
