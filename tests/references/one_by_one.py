"""Resonances, and whether a fingering answers a set of pitches with one lip, looked for slowly by scanning and brentq.

A fingering answers when some lip between the bounds puts a resonance (the reactance of bore and lip rising through
zero) within the tolerance of every target. Nothing is shared with fingering_db/search.py or resonance.py.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

CENT = 2.0 ** (1.0 / 1200.0)


def zeros(freq: Any, reactance: Any) -> Any:
    """Rising zeros [Hz] of a reactance sampled a cent or so apart: brentq on the spline through the samples."""
    smooth = CubicSpline(freq, reactance)
    rising = np.flatnonzero((reactance[:-1] < 0.0) & (reactance[1:] >= 0.0))
    return np.array([brentq(smooth, freq[at], freq[at + 1], xtol=1e-9) for at in rising])


def answering(
    bore: Callable[[Any], Any],
    slope: Callable[[Any], Any],
    targets: Any,
    tolerances: tuple[float, float],
    bounds: tuple[float, float],
    lip_step: float,
) -> tuple[Any, Any]:
    """For each row whether it answers within the first, the narrower, and within the second tolerance; shapes (n,).

    bore(freq) gives impedances (n, m); slope(freq) the lip's reactance per metre. tolerances: multiples of half a cent.
    Frequencies are scanned half a cent apart inside each window, lips `lip_step` [m] apart: between two neighbouring
    frequencies the reactance rises through zero for the lips that make it negative at the first and not at the second.
    """
    count = int((bounds[1] - bounds[0]) / lip_step) + 1
    narrow, wide = tolerances
    inner = round(2 * (wide - narrow))
    every: list[Any] = [True, True]
    for target in targets:
        freq = target * CENT ** np.linspace(-wide, wide, round(4 * wide) + 1)
        # A lip shorter than this leaves the reactance negative.
        turning = (-bore(freq).imag / slope(freq) - bounds[0]) / lip_step
        for index, part in enumerate((turning[:, inner : len(freq) - inner], turning)):
            every[index] = every[index] & _lips(part, count)
    return every[0].any(axis=1), every[1].any(axis=1)


def _lips(turning: Any, count: int) -> Any:
    """For which of `count` lips some rise through zero lies between two neighbouring columns, shape (n, count)."""
    at = np.clip(np.ceil(turning), 0, count).astype(int)
    row, column = np.nonzero(at[:, 1:] < at[:, :-1])
    change = np.zeros((len(turning), count + 1), dtype=int)
    np.add.at(change, (row, at[row, column + 1]), 1)
    np.add.at(change, (row, at[row, column]), -1)
    return change.cumsum(axis=1)[:, :-1] > 0
