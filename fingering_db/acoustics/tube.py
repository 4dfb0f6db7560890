"""Cylindrical and slightly conical tubes with losses at the wall. exp(+jωt)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fingering_db.acoustics.air import Air
from fingering_db.acoustics.arrays import ComplexArray, RealArray, RealLike, require_positive

TAPER_SLICES = 24  # cylinders standing for the head taper; 24 differ from 96 by less than 0.05 cent (tested)


class TwoPort(NamedTuple):
    """A chain matrix: p_near = a p_far + b u_far, u_near = c p_far + d u_far.

    Each entry has the same shape, batch axes first, frequency last. a, d [1]; b [Pa s/m³]; c [m³/(Pa s)].
    """

    a: ComplexArray
    b: ComplexArray
    c: ComplexArray
    d: ComplexArray

    def then(self, far: TwoPort) -> TwoPort:
        """This two-port with `far` joined to its far end; batch axes broadcast."""
        return TwoPort(
            self.a * far.a + self.b * far.c,
            self.a * far.b + self.b * far.d,
            self.c * far.a + self.d * far.c,
            self.c * far.b + self.d * far.d,
        )

    def admittance(self, load: ComplexArray) -> ComplexArray:
        """Admittance at the near end [m³/(Pa s)] with the admittance `load` at the far end; shapes broadcast."""
        return (self.c + self.d * load) / (self.a + self.b * load)


def lossless_impedance(radius: float, air: Air) -> float:
    """Z0 = ρc/(πa²) [Pa s/m³] for a radius [m]."""
    return float(air.rho * air.c / (np.pi * radius**2))


class Wave(NamedTuple):
    """How a plane wave travels in a tube: propagation constant gamma [1/m], characteristic impedance zc [Pa s/m³]."""

    gamma: ComplexArray
    zc: ComplexArray

    def along(self, length: RealLike) -> TwoPort:
        """Two-port of a piece of the tube of this length, ≥ 0 [m]."""
        angle = self.gamma * length
        cosh, sinh = np.cosh(angle), np.sinh(angle)
        return TwoPort(cosh, self.zc * sinh, sinh / self.zc, cosh)

    def carry(self, load: ComplexArray, length: float) -> ComplexArray:
        """Admittance before a piece of this length, ≥ 0 [m], with the admittance `load` behind it [m³/(Pa s)]."""
        tanh = np.tanh(self.gamma * length)
        return np.asarray((load + tanh / self.zc) / (1.0 + self.zc * tanh * load))


def propagation(freq: RealArray, radius: RealLike, air: Air) -> Wave:
    """The wave in a tube with viscous and thermal losses at its wall.

    freq > 0 [Hz] and radius > 0 [m]: shapes that broadcast; both results have the common shape. Keefe 1984, JASA 75:58,
    expansion for large r_v = a√(ωρ/μ) (from memory; within 0.2 % of the exact Zwikker–Kosten form for r_v of 60 to 400,
    tested); r_v is 60 to 400 in a flute. Raises GeometryError for a radius that is not positive.
    """
    require_positive(radius=float(np.min(radius)))
    omega = 2.0 * np.pi * freq
    r_v = radius * np.sqrt(omega * air.rho / air.mu)
    alpha = omega / air.c * (1.045 / r_v + 1.080 / r_v**2 + 0.750 / r_v**3)
    phase = omega / air.c * (1.0 + 1.045 / r_v)
    z0 = air.rho * air.c / (np.pi * np.square(radius))
    zc = z0 * ((1.0 + 0.369 / r_v) - 1j * (0.369 / r_v + 1.149 / r_v**2 + 0.303 / r_v**3))
    return Wave(np.asarray(alpha + 1j * phase), np.asarray(zc))


def taper(
    freq: RealArray, length: float, near_radius: float, far_radius: float, air: Air, slices: int = TAPER_SLICES
) -> TwoPort:
    """Two-port of a slightly conical tube as `slices` cylinders with the radius at the middle of each.

    freq: shape (m,) [Hz]. The error falls as 1/slices² (tested); good for tapers of a few per cent, where no spherical
    wave is needed.
    """
    require_positive(length=length, near_radius=near_radius, far_radius=far_radius)
    middle = (np.arange(slices) + 0.5) / slices
    radius = near_radius + (far_radius - near_radius) * middle
    return _in_a_row(propagation(freq, radius[:, None], air).along(length / slices))


def _in_a_row(pieces: TwoPort) -> TwoPort:
    """Two-ports along the first axis, joined one behind the other; neighbours first, then pairs of them and so on."""
    while len(pieces.a) > 1:
        even = len(pieces.a) // 2 * 2
        near, far = (TwoPort(*(entry[start:even:2] for entry in pieces)) for start in (0, 1))
        joined = near.then(far)
        rest = TwoPort(*(entry[even:] for entry in pieces))
        pieces = TwoPort(*(np.concatenate(pair) for pair in zip(joined, rest, strict=True)))
    return TwoPort(*(entry[0] for entry in pieces))


def stopped_admittance(freq: RealArray, length: float, radius: float, air: Air) -> ComplexArray:
    """Admittance of a tube closed by a rigid stopper, tanh(ΓL)/Zc [m³/(Pa s)]; arguments as in `cylinder`."""
    gamma, zc = propagation(freq, radius, air)
    return np.tanh(gamma * length) / zc
