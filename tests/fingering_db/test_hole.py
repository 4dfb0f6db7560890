"""Tone holes, against finite elements and published limits.

The finite elements are scikit-fem's; tests/references/tone_hole_elements.py makes the stored numbers and says how.
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tone_hole_elements

from fingering_db.acoustics.air import air_at
from fingering_db.acoustics.arrays import GeometryError
from fingering_db.acoustics.hole import (
    HoleGeometry,
    Opening,
    closed_shunt,
    flanged_length,
    inner_length,
    matching_length,
    open_shunt,
    opening_impedance,
    outer_length,
    perforated_shunt,
    series_impedance,
    series_length,
)
from fingering_db.acoustics.tube import lossless_impedance
from fingering_db.mechanism import OPEN, PERFORATION, SHUT
from fingering_db.sounding import Flute

AIR = air_at(25.0)
FREQ = np.geomspace(150.0, 2600.0, 200)
HOLE = HoleGeometry(bore=9.5e-3, radius=7.15e-3, chimney=2.3e-3, rim=0.5e-3, pad_radius=9.3e-3, pad_rise=2.5e-3)
STORED: dict[str, Any] = json.loads(Path(tone_hole_elements.STORED).read_text(encoding="utf-8"))


def _finest(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [row for row in rows if row["mesh"] == max(other["mesh"] for other in rows)]


@pytest.mark.parametrize(("t_over_b", "published"), [(0.5, -0.255), (1.0, -0.285)])
def test_series_length_of_a_closed_hole_is_that_of_finite_elements(t_over_b: float, published: float) -> None:
    # published: finite elements made for this project before; Nederveen et al. 1998 name "about 28 %".
    hole = replace(HOLE, radius=0.75 * 9.5e-3, chimney=t_over_b * 0.75 * 9.5e-3)
    (row,) = (row for row in _finest(STORED["closed_series"]) if row["t_over_b"] == t_over_b)
    formula = series_length(hole, is_open=False) / (hole.radius * 0.75**2)
    assert row["t_a_over_bd2"] == pytest.approx(published, abs=0.01)
    assert formula == pytest.approx(row["t_a_over_bd2"], abs=0.02)


def test_the_finite_elements_still_give_what_is_stored() -> None:
    # A coarse mesh, remade here: within what the meshes 16 and 24 differ by, twice.
    (row,) = (row for row in _finest(STORED["closed_series"]) if row["t_over_b"] == 0.5)
    assert tone_hole_elements.series_length(0.75, 0.5, 8) == pytest.approx(row["t_a_over_bd2"], abs=0.015)
    (inside,) = (row for row in STORED["opening_inside"] if row["r_over_b"] == 0.35)
    assert tone_hole_elements.opening_inside(0.35, 0.02) == pytest.approx(inside["d_in_over_r"], abs=1e-3)


def test_the_series_length_grows_as_the_square_of_the_hole_in_the_bores_convention() -> None:
    # In the hole's convention it would go with the fourth power.
    narrow, wide = (replace(HOLE, radius=r, chimney=r) for r in (3e-3, 6e-3))
    ratio = series_length(wide, is_open=False) / series_length(narrow, is_open=False)
    assert ratio == pytest.approx(2.0 * 2.0**2, rel=1e-9)  # b d²


@pytest.mark.parametrize(("d", "limit"), [(1e-6, 0.82), (1.0, 0.16)])
def test_the_inner_length_has_the_published_limits(d: float, limit: float) -> None:
    # Nederveen et al. 1998, Acustica 84:957 (abstract).
    assert inner_length(d * 9.5e-3, 9.5e-3) / (d * 9.5e-3) == pytest.approx(limit, abs=0.02)


@pytest.mark.parametrize("d", [0.5, 0.75, 1.0])
def test_the_inner_length_is_that_of_finite_elements_when_the_matching_volume_is_counted(d: float) -> None:
    (row,) = (row for row in _finest(STORED["inner"]) if row["d"] == d)
    assert inner_length(d * 9.5e-3, 9.5e-3) / (d * 9.5e-3) == pytest.approx(row["t_i_over_b"], abs=0.01)


def test_the_matching_length_is_the_volume_between_bore_and_chimney() -> None:
    # Volume under a chimney of radius b between the bore's surface and the plane that touches the bore's top.
    for d in (0.2, 0.5, 0.75, 1.0):
        y = (np.arange(20000) + 0.5) / 20000 * d
        gap = 1.0 - np.sqrt(1.0 - y**2)  # [bore radii]
        volume = 4.0 * np.mean(gap * np.sqrt(d**2 - y**2)) * d
        assert matching_length(d, 1.0) == pytest.approx(volume / (np.pi * d**2), rel=0.02)


def test_lengths_of_an_opening_are_those_of_finite_elements() -> None:
    for row in STORED["opening_inside"]:
        ratio = row["r_over_b"]
        formula = 0.82 * (1.0 - 1.35 * ratio + 0.31 * ratio**3)
        assert formula == pytest.approx(row["d_in_over_r"], rel=0.005)
    for row in STORED["opening_outside"]:
        flanged = flanged_length(1.0, row["flange_over_r"] - 1.0)
        assert flanged == pytest.approx(row["d_out_over_r"], abs=0.01)


@pytest.mark.parametrize("hole_mm", [13.4, 14.3])
def test_the_whole_length_of_a_perforation_is_that_of_finite_elements(hole_mm: float) -> None:
    (row,) = (row for row in STORED["opening_whole"] if row["hole_mm"] == hole_mm)
    opening = Opening(radius=row["opening_mm"] / 2e3, plate=row["plate_mm"] / 1e3, cup=1.3 * hole_mm / 2e3)
    freq = np.array([300.0, 1200.0])
    reactance = opening_impedance(freq, opening, hole_mm / 2e3, AIR).imag
    length = reactance * np.pi * opening.radius**2 / (2 * np.pi * freq * AIR.rho)
    assert length / opening.radius == pytest.approx(row["length_over_r"], rel=0.005)


def test_a_perforation_resists_by_its_wall_and_radiates_like_a_piston_in_a_wall() -> None:
    # Thin-layer resistance sqrt(2 rho mu omega) tp/(pi r³); piston ρω²/(4πc) (unflanged), low frequency.
    freq = np.array([500.0])
    omega = 2 * np.pi * 500.0
    opening = Opening(3.375e-3, 3.5e-3, 9e-3)
    expected = np.sqrt(2 * AIR.rho * AIR.mu * omega) * 3.5e-3 / (np.pi * 3.375e-3**3)
    expected += AIR.rho * omega**2 / (4 * np.pi * AIR.c)
    assert opening_impedance(freq, opening, 7e-3, AIR).real[0] == pytest.approx(expected, rel=1e-9)


def test_a_perforation_that_shrinks_to_nothing_becomes_the_closed_hole() -> None:
    closed = closed_shunt(FREQ, HOLE, AIR)
    apart = [
        np.abs(perforated_shunt(FREQ, HOLE, (Opening(r, 3.5e-3, 9e-3),), AIR) / closed - 1.0).max()
        for r in (1e-4, 1e-5, 1e-6)
    ]
    assert apart[0] > apart[1] > apart[2]
    assert apart[2] < 1e-5


def test_openings_act_side_by_side(monkeypatch: pytest.MonkeyPatch) -> None:
    # Two alike are one whose impedance is half.
    one = Opening(3.3e-3, 3.5e-3, 9e-3)
    both = perforated_shunt(FREQ, HOLE, (one, one), AIR)
    monkeypatch.setattr("fingering_db.acoustics.hole.opening_impedance", lambda *given: opening_impedance(*given) / 2.0)
    assert np.abs(perforated_shunt(FREQ, HOLE, (one,), AIR) / both - 1.0).max() < 1e-12


def test_a_closed_hole_is_the_spring_of_its_air() -> None:
    # Low frequency: Zs = ρc²/(jωV), V chimney less the pad plus matching volume.
    freq = np.array([30.0])
    volume = np.pi * HOLE.radius**2 * (HOLE.chimney - 0.05 * HOLE.radius + matching_length(HOLE.radius, HOLE.bore))
    spring = AIR.rho * AIR.c**2 / (1j * 2 * np.pi * 30.0 * volume)
    assert closed_shunt(freq, HOLE, AIR).imag[0] == pytest.approx(spring.imag, rel=0.05)


def test_an_open_hole_is_an_inertance_of_its_four_lengths() -> None:
    # t_e = t + t_m + t_i + t_r at low frequency; viscosity left out.
    thin = replace(AIR, mu=1e-18)
    freq = np.array([50.0])
    length = HOLE.chimney + matching_length(HOLE.radius, HOLE.bore) + inner_length(HOLE.radius, HOLE.bore)
    length += outer_length(HOLE)
    expected = 2 * np.pi * 50.0 / AIR.c * lossless_impedance(HOLE.radius, AIR) * length
    assert open_shunt(freq, HOLE, thin).imag[0] == pytest.approx(expected, rel=1e-3)


def test_a_pad_far_away_leaves_a_rim_between_flanged_and_unflanged() -> None:
    # Levine & Schwinger: 0.6133 b without a rim; 0.8216 b in an infinite wall.
    far = replace(HOLE, pad_rise=1.0)
    assert outer_length(replace(far, rim=1e-12)) == pytest.approx(0.6133 * HOLE.radius, rel=1e-3)
    assert outer_length(replace(far, rim=10.0)) == pytest.approx(0.8216 * HOLE.radius, rel=2e-2)
    lengths = [outer_length(replace(HOLE, pad_rise=rise)) for rise in (1.5e-3, 2.5e-3, 5e-3, 10e-3)]
    assert (np.diff(lengths) < 0.0).all()


def test_holes_are_reciprocal_in_every_state_they_have(flute: Flute) -> None:
    for hole, element in zip(flute.instrument.holes, flute.elements(FREQ), strict=True):
        states = [OPEN, SHUT] + ([PERFORATION] if hole.perforation_mm else [])
        port = element.two_port(np.array(states, dtype=np.uint8))
        assert np.abs(port.a * port.d - port.b * port.c - 1.0).max() < 1e-10
        assert (element.shunt[states].real > 0.0).all()  # passive
        assert np.isnan(element.shunt[[s for s in range(5) if s not in states]].real).all()


def test_a_pinhole_that_is_shut_leaves_the_tube_as_it_was() -> None:
    pinhole = replace(HOLE, radius=1e-4)
    k_a = np.abs(series_impedance(FREQ, pinhole, AIR, is_open=False)) / lossless_impedance(HOLE.bore, AIR)
    leak = lossless_impedance(HOLE.bore, AIR) / np.abs(closed_shunt(FREQ, pinhole, replace(AIR, mu=1e-18)))
    assert k_a.max() < 1e-6
    assert leak.max() < 1e-4


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"radius": 0.0}, "radius must be above 0"),
        ({"radius": 10e-3}, "wider than its bore"),
        ({"pad_rise": -1.0}, "-1.0"),
    ],
)
def test_a_hole_that_cannot_be_is_refused_with_its_value(change: dict[str, float], message: str) -> None:
    with pytest.raises(GeometryError, match=message):
        replace(HOLE, **change)


@pytest.mark.parametrize("radius", [0.0, 7.15e-3])
def test_an_opening_must_fit_its_hole(radius: float) -> None:
    with pytest.raises(GeometryError, match=str(radius)):
        opening_impedance(FREQ, Opening(radius, 3.5e-3, 9e-3), 7.15e-3, AIR)
