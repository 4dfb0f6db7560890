"""The embouchure: stopper cavity and the lip's inertance."""

from __future__ import annotations

import numpy as np

from fingering_db.acoustics.air import Air
from fingering_db.acoustics.arrays import RealArray, RealLike

EQUIVALENT_RADIUS = 9.5e-3  # [m] bore of the tube whose inertance the lip lengths are given in (19 mm)


def lip_reactance(freq: RealArray, lip_m: RealLike, air: Air) -> RealArray:
    """Reactance ωρL/S of inner correction, chimney and lip side together [Pa s/m³].

    lip_m: equivalent length of a 19-mm tube [m]. One series inertance, not jZ tan kL: at C7 kL is 2.7. After Coltman
    1966, JASA 40:99 (abstract): lip coverage, hence L, grows with pitch."""
    return np.asarray(2.0 * np.pi * freq * lip_over_inertance(air) * lip_m)


def lip_over_inertance(air: Air) -> float:
    """ρ/S [kg/m⁷·m³ = Pa s²/m⁴]: inertance per metre of equivalent tube."""
    return float(air.rho / (np.pi * EQUIVALENT_RADIUS**2))
