"""The honest baseline: every sound projected on the frequencies around the pitches, vectorised with numpy, what is alike from
some hole down to the end worked out once; nothing kept from chord to chord, nothing ranked."""

import numpy as np

from fingering_db.halves import tabulate
from fingering_db.model import Model

_SAMPLE_CENTS, _LIPS, _BLOCK = 7.5, 13, 8192


def project(model: Model, hz: np.ndarray, tolerance_cents: float, bounds_m: tuple[float, float]) -> np.ndarray:
    """Rows of `reach.states` with a resonance within the tolerance of every pitch for one of some lips between the bounds."""
    count = 2 * int(np.ceil(tolerance_cents / _SAMPLE_CENTS)) + 1
    freq = hz[:, None] * 2.0 ** (np.linspace(-tolerance_cents, tolerance_cents, count) / 1200.0)
    tables, slope = tabulate(model.flute, model.halves, freq.ravel()), model.flute.lip_slope(freq.ravel())
    found = []
    for start in range(0, len(model.reach.states), _BLOCK):
        rows = np.arange(start, min(start + _BLOCK, len(model.reach.states)))
        p, u = tables.pressure_and_flow(model.halves.upper_of[rows], model.halves.lower_of[rows])
        lips = ((p.real * u.imag - p.imag * u.real) / ((u.real**2 + u.imag**2) * slope)).reshape(-1, *freq.shape)
        served = np.zeros(len(rows), dtype=bool)
        for lip in np.linspace(*bounds_m, _LIPS):
            served |= ((lips[:, :, :-1] > lip) & (lips[:, :, 1:] <= lip)).any(axis=2).all(axis=1)
        found.append(rows[served])
    return np.concatenate(found)
