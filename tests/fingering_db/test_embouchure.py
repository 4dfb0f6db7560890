"""The lip side: one inertance."""

import numpy as np
import pytest
from exact_acoustics import gas

from fingering_db.acoustics.air import air_at
from fingering_db.acoustics.embouchure import lip_over_inertance
from fingering_db.sounding import Flute

AIR = air_at(25.0)


def test_the_lip_is_the_inertance_of_a_short_19_mm_tube() -> None:
    # A short lossless tube of length L is jωρL/S; 40 mm at 20 Hz is short.
    k, z0 = 2 * np.pi * 20.0 / AIR.c, AIR.rho * AIR.c / (np.pi * 9.5e-3**2)
    assert 2 * np.pi * 20.0 * lip_over_inertance(AIR) * 0.040 == pytest.approx(z0 * np.tan(k * 0.040), rel=1e-4)


def test_inertance_and_reactance_agree_and_scale(flute: Flute) -> None:
    freq = np.array([300.0, 600.0])
    air = gas(25.0)
    expected = 2 * np.pi * freq * air.rho / (np.pi * 9.5e-3**2)
    assert flute.lip_slope(freq) == pytest.approx(expected, rel=1e-9)
    assert lip_over_inertance(AIR) == pytest.approx(air.rho / (np.pi * 9.5e-3**2), rel=1e-9)


def test_the_lip_law_grows_with_pitch_over_the_whole_scale(flute: Flute) -> None:
    # Coltman 1966 (abstract): lip coverage grows with pitch.
    lip = flute.lip_law_m(np.geomspace(247.0, 2093.0, 50))
    assert (np.diff(lip) > 0.0).all()
    assert 0.025 < lip[0] < lip[-1] < 0.075
