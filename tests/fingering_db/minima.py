"""Minima of |Z| as the published rows mean them: prominence at least 3 dB over the lower of the two adjacent maxima."""

from typing import NamedTuple

import numpy as np

from fingering_db.fingering import Fingering
from fingering_db.mechanism import hole_states
from fingering_db.sounding import Flute


class Minimum(NamedTuple):
    """hz [Hz]; level_db, |Z| in dB re 1 MPa s/m³; prominence_db."""

    hz: float
    level_db: float
    prominence_db: float


def minima(impedance: np.ndarray, freq: np.ndarray, least_db: float = 3.0) -> list[Minimum]:
    """Local minima of one |Z|, shape (m,), lowest first; the grid's ends count as maxima."""
    level = 20.0 * np.log10(np.abs(impedance) / 1e6)
    inner = level[1:-1]
    low = np.flatnonzero((inner < level[:-2]) & (inner < level[2:])) + 1
    high = np.concatenate([[0], np.flatnonzero((inner > level[:-2]) & (inner > level[2:])) + 1, [len(level) - 1]])
    found = []
    for at in low:
        beside = min(level[high[high < at][-1]], level[high[high > at][0]])
        found.append(Minimum(float(freq[at]), float(level[at]), float(beside - level[at])))
    return [one for one in found if one.prominence_db >= least_db]


def total(flute: Flute, text: str, freq: np.ndarray, lip_mm: float | None = None) -> np.ndarray:
    """Impedance at the lip, shape (m,), of one fingering; lip by the law unless given."""
    states = hole_states(flute.instrument, Fingering.parse(text))[None, :]
    lip = flute.lip_law_m(freq) if lip_mm is None else lip_mm * 1e-3
    return flute.bore_impedance(states, freq)[0] + 1j * flute.lip_slope(freq) * lip


def cents(hz: float | np.ndarray, of: float) -> np.ndarray:
    """1200 log2(hz / of)."""
    return np.asarray(1200.0 * np.log2(np.asarray(hz) / of))
