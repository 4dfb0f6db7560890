"""The open end, against the integrals of Levine & Schwinger 1948."""

import numpy as np
import pytest
from exact_acoustics import gas, levine_schwinger, open_end_impedance

from fingering_db.acoustics.air import air_at
from fingering_db.acoustics.ends import open_end_admittance, unflanged_reflection

# ka: |R|, l/a. Levine & Schwinger 1948, Phys. Rev. 73:383.
PUBLISHED = {
    0.1: (0.9951, 0.6110),
    0.5: (0.8964, 0.5818),
    1.0: (0.6951, 0.5274),
    1.5: (0.5008, 0.4713),
    2.0: (0.3462, 0.4169),
    3.0: (0.1543, 0.3083),
}


@pytest.mark.parametrize("ka", PUBLISHED)
def test_the_integrals_give_the_published_end(ka: float) -> None:
    assert levine_schwinger(ka) == pytest.approx(PUBLISHED[ka], abs=1e-3)


@pytest.mark.parametrize("ka", [*PUBLISHED, 0.02, 0.3, 0.7, 2.5])
def test_the_formula_of_silva_is_near_the_integrals(ka: float) -> None:
    # Silva et al. 2009, JSV 322:255.
    modulus, length = unflanged_reflection(np.array([ka]))
    exact_modulus, exact_length = levine_schwinger(ka)
    assert modulus[0] == pytest.approx(exact_modulus, abs=0.003)
    assert length[0] == pytest.approx(exact_length, abs=0.011)


def test_the_end_of_a_flute_is_that_of_the_integrals_within_a_tenth_of_a_millimetre() -> None:
    freq = np.linspace(150.0, 2600.0, 50)
    air = air_at(25.0)
    exact = open_end_impedance(freq, 9.5e-3, gas(25.0))
    impedance = 1.0 / open_end_admittance(freq, 9.5e-3, air)
    per_metre = 2 * np.pi * freq * air.rho / (np.pi * 9.5e-3**2)
    assert np.abs((impedance - exact).imag / per_metre).max() < 1e-4
    assert impedance.real == pytest.approx(exact.real, rel=0.04)


def test_a_low_end_radiates_as_a_piston_without_flange() -> None:
    # Low-frequency limit of Levine & Schwinger: Z = Z0 [(ka)²/4 + j 0.6133 ka].
    freq = np.array([20.0, 40.0])
    air = air_at(25.0)
    ka = 2 * np.pi * freq / air.c * 9.5e-3
    ratio = 1.0 / open_end_admittance(freq, 9.5e-3, air) / (air.rho * air.c / (np.pi * 9.5e-3**2))
    assert ratio.real == pytest.approx(ka**2 / 4, rel=1e-3)
    assert ratio.imag == pytest.approx(0.6133 * ka, rel=1e-3)
