"""The embouchure: stopper cavity and the lip's inertance."""

import numpy as np

from fingering_db.acoustics.air import Air

EQUIVALENT_RADIUS = 9.5e-3  # [m] bore of the tube whose inertance the lip lengths are given in (19 mm)


def lip_over_inertance(air: Air) -> float:
    """ρ/S [kg/m⁷·m³ = Pa s²/m⁴]: inertance per metre of equivalent tube, of inner correction, chimney and lip side together.

    One series reactance ωρL/S, not Z tan kL: at C7 kL is 2.7. After Coltman 1966, JASA 40:99 (abstract): lip coverage,
    hence L, grows with pitch."""
    return float(air.rho / (np.pi * EQUIVALENT_RADIUS**2))
