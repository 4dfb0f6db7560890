"""How far a computed pitch may lie from the played one."""

from __future__ import annotations

import math

from fingering_db.instrument import Instrument

CENTS_PER_KELVIN = 2.9  # from c ∝ √T at 25 °C (derived; tested)
_TEMPERATURE_K = 2.0  # how well the mean air temperature in the tube is known: ours
_LIP_CENTS = 5.0  # how nearly a player sets the lip that is meant: ours


def band_cents(instrument: Instrument) -> float:
    """Uncertainty ± [cents] of a deviation: error of the model (predicted, not in-sample), temperature and the setting
    of the lip, added as squares. A pitch inside it cannot be told from one in tune: the lip reaches it."""
    return math.hypot(instrument.model_cents, CENTS_PER_KELVIN * _TEMPERATURE_K, _LIP_CENTS)
