"""A baseline: relative amplitude and the jet margin of linear jet theory, joined by a fitted logistic.

The verdicts rested on it before the jet was modelled; `evidence` measures what is used now against it."""

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.playability import PlainCurve, relative_amplitude

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
