"""Exact forms that the package approximates, by scipy; written from the literature, sharing nothing with the package.

Everything uses exp(+jωt) and SI units. Coefficients and formulas are from memory of the sources named, and agree with
the check values that the tests quote.
"""

from functools import cache
from typing import Any, NamedTuple

import numpy as np
from scipy.integrate import quad
from scipy.interpolate import CubicSpline
from scipy.special import iv, j1, jv, kv, y1


class Gas(NamedTuple):
    """Dry air: c [m/s], rho [kg/m³], mu [Pa s], kappa [W/(m K)], cp [J/(kg K)], gamma."""

    c: float
    rho: float
    mu: float
    kappa: float
    cp: float
    gamma: float


def gas(celsius: float) -> Gas:
    """Chaigne & Kergomard, Acoustics of Musical Instruments, ch. 5."""
    kelvin = 273.15 + celsius
    return Gas(
        331.45 * np.sqrt(kelvin / 273.15), 1.2929 * 273.15 / kelvin, 1.708e-5 * (1 + 0.0029 * celsius),
        5.77e-3 * (1 + 0.0033 * celsius) * 4.184, 240 * 4.184, 1.402,
    )  # fmt: skip


def cramer_speed(celsius: float, carbon_dioxide: float = 0.0004, pressure: float = 101325.0) -> float:
    """Speed of sound in dry air [m/s]. Cramer 1993, JASA 93:2510, eq. 15 without its terms in humidity."""
    t, xc, p = celsius, carbon_dioxide, pressure
    return (
        331.5024 + 0.603055 * t - 0.000528 * t**2
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * xc
        - 2.15e-13 * p**2 + 29.179762 * xc**2
    )  # fmt: skip


def zwikker_kosten(freq: Any, radius: float, air: Gas) -> tuple[Any, Any]:
    """Propagation constant [1/m] and characteristic impedance [Pa s/m³] of a round tube, Zwikker & Kosten 1949."""
    omega = 2 * np.pi * np.asarray(freq, dtype=float)
    area = np.pi * radius**2

    def shear(x: Any) -> Any:
        return 2 * jv(1, x) / (x * jv(0, x))

    series = 1j * omega * air.rho / area / (1 - shear(radius * np.sqrt(-1j * omega * air.rho / air.mu)))
    thermal = shear(radius * np.sqrt(-1j * omega * air.rho * air.cp / air.kappa))
    shunt = 1j * omega * area / (air.rho * air.c**2) * (1 + (air.gamma - 1) * thermal)
    return np.sqrt(series * shunt), np.sqrt(series / shunt)


def levine_schwinger(ka: float) -> tuple[float, float]:
    """|R| and l/a of an unflanged open end. Levine & Schwinger 1948, Phys. Rev. 73:383, integrals for ka < 3.83.

    x = ka sin θ takes the square root at the upper limit away.
    """

    def modulus(angle: float) -> float:
        x = ka * np.sin(angle)
        return np.arctan2(j1(x), -y1(x)) / x

    def near(angle: float) -> float:
        x = ka * np.sin(angle)
        return np.log(np.pi * j1(x) * np.hypot(j1(x), y1(x))) / x

    def far(x: float) -> float:
        return np.log(1 / (2 * iv(1, x) * kv(1, x))) / (x * np.hypot(x, ka))

    damping = quad(modulus, 0, np.pi / 2, epsabs=1e-10)[0]
    length = quad(near, 0, np.pi / 2, epsabs=1e-10)[0] + quad(far, 0, 50, epsabs=1e-10, limit=200)[0]
    # Beyond 50 the logarithm is ln x and the root x.
    length += (1 + np.log(50.0)) / 50.0
    return float(np.exp(-2 * ka / np.pi * damping)), float(length / np.pi)


@cache
def _end_splines() -> tuple[Any, Any]:
    ka = np.linspace(0.02, 0.9, 45)
    modulus, length = np.array([levine_schwinger(float(x)) for x in ka]).T
    return CubicSpline(ka, modulus), CubicSpline(ka, length)


def open_end_impedance(freq: Any, radius: float, air: Gas) -> Any:
    """Impedance of an unflanged open end [Pa s/m³] from the Levine–Schwinger integrals."""
    ka = 2 * np.pi * np.asarray(freq, dtype=float) / air.c * radius
    modulus, length = _end_splines()
    reflection = -modulus(ka) * np.exp(-2j * ka * length(ka))
    return air.rho * air.c / (np.pi * radius**2) * (1 + reflection) / (1 - reflection)


def cone(freq: Any, length: float, near: float, far: float, c: float, rho: float) -> tuple[Any, Any, Any, Any]:
    """Chain matrix a, b, c, d of a lossless cone (spherical waves; small angle). near, far: radii [m]."""
    k = 2 * np.pi * np.asarray(freq, dtype=float) / c
    x1 = near * length / (far - near)
    x2 = x1 + length
    cos, sin = np.cos(k * length), np.sin(k * length)
    a = far / near * cos - sin / (k * x1)
    d = near / far * cos + sin / (k * x2)
    b = 1j * rho * c / (np.pi * near * far) * sin
    return a, b, (a * d - 1) / b, d
