"""Air, against Cramer 1993."""

import msgspec
import numpy as np
import pytest
from exact_acoustics import cramer_speed
from minima import cents, minima, total

from fingering_db.acoustics.air import air_at
from fingering_db.acoustics.arrays import GeometryError
from fingering_db.instrument import Instrument
from fingering_db.sounding import Flute
from fingering_db.uncertainty import CENTS_PER_KELVIN


@pytest.mark.parametrize(("celsius", "speed"), [(20.0, 343.36), (25.0, 346.27)])
def test_speed_of_sound_is_that_of_cramer(celsius: float, speed: float) -> None:
    # Cramer 1993, JASA 93:2510: the equation, and its value to two decimals.
    assert cramer_speed(celsius) == pytest.approx(speed, abs=0.005)
    assert air_at(celsius).c == pytest.approx(cramer_speed(celsius), abs=0.02)


def test_density_is_that_of_an_ideal_gas_of_dry_air() -> None:
    # p M / (R T), M = 28.9647 g/mol (dry air), 1 atm.
    for celsius in (0.0, 20.0, 30.0):
        ideal = 101325.0 * 28.9647e-3 / (8.314463 * (celsius + 273.15))
        assert air_at(celsius).rho == pytest.approx(ideal, rel=1e-3)


def test_prandtl_number_is_that_of_air() -> None:
    # mu Cp / kappa = 0.71 for air near room temperature (textbook value).
    air = air_at(25.0)
    assert air.mu * air.cp / air.kappa == pytest.approx(0.71, abs=0.01)


@pytest.mark.parametrize("celsius", [-20.1, 60.1, float("nan")])
def test_a_temperature_no_player_stands_is_refused_with_its_value(celsius: float) -> None:
    with pytest.raises(GeometryError, match=str(celsius)):
        air_at(celsius)


@pytest.mark.parametrize("text", ["T 1 2 3 | 1 2 3 C", "T 1 2 | Eb", "1 | Eb", "T 2 3 | Eb"])
def test_a_flute_rises_by_2_9_cents_per_kelvin(open_hole: Instrument, text: str) -> None:
    # c grows as the root of T: 1200 log2(298.65/297.65)/2 = 2.9 cents/K at 25 °C, if nothing else matters (derived).
    freq = np.geomspace(240.0, 2000.0, 10000)
    one_kelvin = []
    for celsius in (24.0, 26.0):
        flute = Flute(msgspec.structs.replace(open_hole, temperature_c=celsius))
        one_kelvin.append(np.array([one.hz for one in minima(total(flute, text, freq, lip_mm=38.0), freq, 20.0)]))
    rise = cents(one_kelvin[1], 1.0) - cents(one_kelvin[0], 1.0)
    assert rise / 2.0 == pytest.approx(2.9, abs=0.2)
    assert pytest.approx(2.9) == CENTS_PER_KELVIN
