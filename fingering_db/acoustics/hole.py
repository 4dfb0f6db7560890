"""Tone holes as T networks: series Za/2, shunt Zs, series Za/2.

a bore radius, b hole radius, d = b/a, t chimney height on the axis from the top of the bore circle to the rim. The
series length is in the *bore* convention (Za = jkZ0 t_a, growing as b d²); the matching volume below the chimney (t_m)
is part of the chimney's length.
"""

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.air import Air
from fingering_db.acoustics.arrays import ComplexArray, GeometryError, RealArray, RealLike, require_positive
from fingering_db.acoustics.tube import lossless_impedance, propagation


@dataclass(frozen=True, slots=True)
class HoleGeometry:
    """One tone hole, lengths in [m]. bore, radius: of tube and hole. chimney: height to the rim. rim: width of the rim.
    pad_radius, pad_rise: of the pad that hangs over the open hole."""

    bore: float
    radius: float
    chimney: float
    rim: float
    pad_radius: float
    pad_rise: float

    def __post_init__(self) -> None:
        require_positive(bore=self.bore, radius=self.radius, chimney=self.chimney, pad_rise=self.pad_rise)
        if self.radius > self.bore:
            raise GeometryError(f"a hole of radius {self.radius!r} is wider than its bore {self.bore!r}")


@dataclass(frozen=True, slots=True)
class Opening:
    """A small hole in a closed key, [m]: its radius (several side by side in shape (n, 1)), the thickness of the plate it goes
    through, the radius of the cup around it."""

    radius: RealLike
    plate: float
    cup: float


def matching_length(radius: float, bore: float) -> float:
    """Length [m] that stands for the volume between chimney and bore: (b d/8)(1 + 0.207 d³).

    Nederveen et al. 1998, Acustica 84:957 (from memory; needed, tested with finite elements)."""
    d = radius / bore
    return radius * d / 8.0 * (1.0 + 0.207 * d**3)


def inner_length(radius: float, bore: float) -> float:
    """Inner correction t_i [m] of the shunt branch; 0.82 b for a small hole to 0.16 b for d = 1.

    Dubos et al. 1999, Acustica 85:153; Dalmont et al. 2002, Acustica 88:567 (from memory; within 0.01 b, tested)."""
    d = radius / bore
    return radius * (0.822 - 0.095 * d - 1.566 * d**2 + 2.138 * d**3 - 1.640 * d**4 + 0.502 * d**5)


def series_length(hole: HoleGeometry, *, is_open: bool) -> float:
    """Series length t_a [m], negative, bore convention.

    Lefebvre & Scavone 2012, JASA 131:3153 (from memory; closed within 0.02 b d² of finite elements, tested)."""
    b, d = hole.radius, hole.radius / hole.bore
    if is_open:
        return float(-b * d**2 * (0.35 - 0.06 * np.tanh(2.7 * hole.chimney / b)))
    return float(-b * d**2 * (0.12 + 0.17 * np.tanh(2.4 * hole.chimney / b)))


def outer_length(hole: HoleGeometry) -> float:
    """Outer correction t_r [m] of an open hole with a rim and a pad hanging over it.

    Dalmont, Nederveen & Joly 2001, JSV 244:505 (from memory; within 0.05 b for pad radius / b ≥ 1.2, rise / b ≥ 0.15,
    checked with finite elements)."""
    b, w, h = hole.radius, hole.rim, hole.pad_rise
    pad = b / (3.5 * (h / b) ** 0.8 * (h / b + 3.0 * w / b) ** -0.4 + 30.0 * (h / hole.pad_radius) ** 2.6)
    return float(flanged_length(b, w) + pad)


def flanged_length(radius: RealLike, width: RealLike) -> RealLike:
    """End correction [m] of a round opening with a flange of this width around it, 0.6133 to 0.8216 times the radius.

    Dalmont, Nederveen & Joly 2001, JSV 244:505 (from memory; within 0.005 radius of finite elements, tested)."""
    q = radius / (radius + width)
    return radius * (0.8216 + q * (0.6133 - 0.8216) + 0.057 * q * (1.0 - q**5))


def series_impedance(freq: RealArray, hole: HoleGeometry, air: Air, *, is_open: bool) -> ComplexArray:
    """Za = jkZ0 t_a [Pa s/m³], shape of freq [Hz]."""
    k = 2.0 * np.pi * freq / air.c
    return np.asarray(1j * k * lossless_impedance(hole.bore, air) * series_length(hole, is_open=is_open))


def open_shunt(freq: RealArray, hole: HoleGeometry, air: Air) -> ComplexArray:
    """Shunt impedance of an open hole [Pa s/m³]: inner correction, chimney with losses, radiation under the pad.

    Low-frequency radiation (kb)²/4 + jk t_r: good below kb = 0.5 (3.7 kHz for b = 7.5 mm)."""
    k = 2.0 * np.pi * freq / air.c
    zh = lossless_impedance(hole.radius, air)
    radiation = zh * ((k * hole.radius) ** 2 / 4.0 + 1j * k * outer_length(hole))
    return _through_chimney(freq, hole, air, np.asarray(radiation), shorter=0.0)


def closed_shunt(freq: RealArray, hole: HoleGeometry, air: Air) -> ComplexArray:
    """Shunt impedance of a hole closed by a pad [Pa s/m³].

    The pad enters the chimney by 0.05 b (Dickens 2007, thesis). The inner correction is kept, so that a perforation
    that shrinks to nothing becomes the closed hole (tested)."""
    gamma, zc = propagation(freq, hole.radius, air)
    k = 2.0 * np.pi * freq / air.c
    inner = 1j * k * lossless_impedance(hole.radius, air) * inner_length(hole.radius, hole.bore)
    return np.asarray(inner + zc / np.tanh(gamma * _chimney(hole, shorter=0.05 * hole.radius)))


def perforated_shunt(freq: RealArray, hole: HoleGeometry, openings: tuple[Opening, ...], air: Air) -> ComplexArray:
    """Shunt impedance of a hole whose key is down with one or more small openings in it [Pa s/m³].

    Openings act side by side. See `opening_impedance`."""
    admittance = sum(1.0 / opening_impedance(freq, opening, hole.radius, air) for opening in openings)
    return _through_chimney(freq, hole, air, np.asarray(1.0 / admittance), shorter=0.05 * hole.radius)


def opening_impedance(freq: RealArray, opening: Opening, hole_radius: float, air: Air) -> ComplexArray:
    """Impedance of a small round opening through a key's plate [Pa s/m³].

    Inertance of plate and both ends, viscous loss of a thin layer on its wall, radiation of a small piston. Inner end
    derived with finite elements (within 0.3 %, tested); outer end: a hole flanged by the cup; resistive terms are the
    standard ones. For radius up to half the hole's. Raises GeometryError for a radius that is not between 0 and the
    hole's."""
    r, plate = opening.radius, opening.plate
    if not np.all((r > 0.0) & (r < hole_radius)):
        raise GeometryError(f"an opening of radius {r!r} does not fit a hole of radius {hole_radius!r}")
    omega = 2.0 * np.pi * freq
    ratio = r / hole_radius
    inside = 0.82 * r * (1.0 - 1.35 * ratio + 0.31 * ratio**3)
    outside = flanged_length(r, opening.cup - r)
    inertance = 1j * omega * air.rho * (plate + inside + outside) / (np.pi * r**2)
    viscous = np.sqrt(2.0 * air.rho * air.mu * omega) * plate / (np.pi * r**3)
    radiated = air.rho * omega**2 / (4.0 * np.pi * air.c)
    return np.asarray(inertance + viscous + radiated)


def _chimney(hole: HoleGeometry, shorter: float) -> float:
    return hole.chimney + matching_length(hole.radius, hole.bore) - shorter


def _through_chimney(freq: RealArray, hole: HoleGeometry, air: Air, end: ComplexArray, shorter: float) -> ComplexArray:
    """Impedance `end` at the rim seen from the bore, inner correction included."""
    gamma, zc = propagation(freq, hole.radius, air)
    tanh = np.tanh(gamma * _chimney(hole, shorter))
    k = 2.0 * np.pi * freq / air.c
    inner = 1j * k * lossless_impedance(hole.radius, air) * inner_length(hole.radius, hole.bore)
    return np.asarray(inner + zc * (end + zc * tanh) / (zc + end * tanh))
