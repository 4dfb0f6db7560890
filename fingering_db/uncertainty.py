"""How far a computed pitch may lie from the played one."""

from __future__ import annotations

import math

from fingering_db.instrument import Instrument

CENTS_PER_KELVIN = 2.9  # from c ∝ √T at 25 °C (derived; tested)
_TEMPERATURE_K = 2.0  # how well the mean air temperature in the tube is known: ours


def band_cents(instrument: Instrument) -> float:
    """Uncertainty ± [cents] of a deviation: rms of the model on its chart (in-sample) and temperature, added as
    squares.

    The lip can pull beyond it: see `Lip.bend_cents`."""
    return math.hypot(instrument.model_cents, CENTS_PER_KELVIN * _TEMPERATURE_K)
