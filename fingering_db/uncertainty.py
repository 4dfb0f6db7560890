"""How well the things are known that a pitch is computed from (data/uncertainty.toml)."""

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from fingering_db.instrument import Instrument

CENTS_PER_KELVIN = 2.9  # from c ∝ √T at 25 °C (derived; tested)

_FILE = resources.files("fingering_db") / "data" / "uncertainty.toml"
_OF_SMALL_OPENINGS = frozenset({"perforation_mm", "vent_mm", "plate_mm"})


@dataclass(frozen=True, slots=True)
class Dimension:
    """A dimension of the holes. fields: of `instrument.Hole`, they err together; sigma_mm: one standard deviation for a flute
    in C; why: where it comes from."""

    name: str
    fields: tuple[str, ...]
    sigma_mm: float
    why: str

    @property
    def of_small_openings(self) -> bool:
        """Whether it matters only where a key is down with something open in it."""
        return _OF_SMALL_OPENINGS.issuperset(self.fields)


@cache
def dimensions() -> tuple[Dimension, ...]:
    """Every dimension with an error of its own."""
    return tuple(
        Dimension(row["name"], tuple(row["fields"]), float(row["sigma_mm"]), row["why"])
        for row in _table()["dimensions"]
    )


def temperature_sigma_k() -> float:
    """Standard deviation of the mean air temperature in the tube [K]."""
    return float(_table()["temperature"]["sigma_k"])


def lip_sigma_mm() -> float:
    """Standard deviation of the lip that a player sets [mm of equivalent length], for a flute in C."""
    return float(_table()["lip"]["sigma_mm"])


def common_cents(instrument: Instrument) -> float:
    """What is alike for all resonances [cents]: the model's own error (predicted, not in-sample) and temperature, as
    squares."""
    return math.hypot(instrument.model_cents, CENTS_PER_KELVIN * temperature_sigma_k())


def band_cents(instrument: Instrument) -> float:
    """Uncertainty ± [cents] of a note that no dimension of the holes moves (a plain one in the middle of the compass):
    what is common, and the setting of the lip. Most fingerings have more: bands.py."""
    return math.hypot(common_cents(instrument), _LIP_CENTS)


_LIP_CENTS = 5.0  # what the lip's error comes to on A4 of the flute in C


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(_FILE.read_text(encoding="utf-8"))
