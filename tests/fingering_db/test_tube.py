"""Tubes: Keefe's expansion against the exact Zwikker–Kosten form, and what any passive two-port obeys."""

import functools
from dataclasses import replace

import numpy as np
import pytest
from exact_acoustics import cone, gas, zwikker_kosten
from minima import cents, minima, total

from fingering_db.acoustics.air import air_at
from fingering_db.acoustics.arrays import GeometryError
from fingering_db.acoustics.ends import open_end_admittance
from fingering_db.acoustics.tube import (
    TAPER_SLICES,
    TwoPort,
    lossless_impedance,
    propagation,
    stopped_admittance,
    taper,
)
from fingering_db.sounding import Flute

AIR = air_at(25.0)
FREQ = np.geomspace(150.0, 2600.0, 300)
CHECKED = np.array([262.0, 440.0, 1000.0, 2000.0])
# Air whose viscosity is as good as nothing: the package's losses all come from mu.
STILL = replace(AIR, mu=1e-18)


def cylinder(freq, length, radius, air):
    return propagation(freq, radius, air).along(length)


def test_losses_are_those_of_zwikker_and_kosten() -> None:
    # Zwikker & Kosten 1949, evaluated twice independently; a = 9.5 mm, 25 °C.
    exact, _ = zwikker_kosten(CHECKED, 9.5e-3, gas(25.0))
    assert exact.real == pytest.approx([0.05127, 0.06628, 0.09964, 0.14069], abs=1e-5)
    gamma, _ = propagation(CHECKED, 9.5e-3, AIR)
    assert gamma.real == pytest.approx(exact.real, rel=2e-3)


def test_phase_velocity_is_that_of_zwikker_and_kosten() -> None:
    exact, _ = zwikker_kosten(CHECKED, 9.5e-3, gas(25.0))
    assert 2 * np.pi * CHECKED / exact.imag == pytest.approx([342.63, 343.46, 344.41, 344.95], abs=0.01)
    gamma, _ = propagation(CHECKED, 9.5e-3, AIR)
    assert 2 * np.pi * CHECKED / gamma.imag == pytest.approx([342.63, 343.46, 344.41, 344.95], abs=0.01)


@pytest.mark.parametrize("radius", [3.5e-3, 6.7e-3, 8.5e-3, 9.5e-3])
def test_keefes_expansion_holds_over_the_whole_range_of_a_flute(radius: float) -> None:
    freq = FREQ[radius * np.sqrt(2 * np.pi * FREQ * AIR.rho / AIR.mu) >= 60.0]
    exact, exact_zc = zwikker_kosten(freq, radius, gas(25.0))
    gamma, zc = propagation(freq, radius, AIR)
    assert gamma.real == pytest.approx(exact.real, rel=2e-3)
    assert gamma.imag == pytest.approx(exact.imag, rel=1e-4)
    assert np.abs(zc / exact_zc - 1.0).max() < 1e-3


def test_an_open_cylinder_has_its_minima_where_the_exact_forms_put_them() -> None:
    # 600 mm, a = 9.5 mm, 25 °C: from Zwikker–Kosten and Levine–Schwinger, derived twice.
    freq = np.arange(200.0, 1800.0, 0.05)
    load = open_end_admittance(freq, 9.5e-3, AIR)
    impedance = 1.0 / propagation(freq, 9.5e-3, AIR).carry(load, 0.6)
    found = [one.hz for one in minima(impedance, freq)]
    assert found == pytest.approx([283.0, 567.5, 852.5, 1137.5, 1422.75, 1708.0], abs=0.5)


def _close(one: TwoPort, other: TwoPort, rel: float) -> bool:
    scale = lossless_impedance(9.5e-3, AIR)
    sizes = (1.0, scale, 1.0 / scale, 1.0)
    return all(np.abs(x - y).max() < rel * size for x, y, size in zip(one, other, sizes, strict=True))


def test_a_tube_cut_in_seven_pieces_is_the_tube() -> None:
    piece = cylinder(FREQ, 0.6 / 7, 9.5e-3, AIR)
    joined = functools.reduce(TwoPort.then, [piece] * 7)
    assert _close(joined, cylinder(FREQ, 0.6, 9.5e-3, AIR), 1e-11)


def test_carrying_an_admittance_is_multiplying_chain_matrices() -> None:
    load = open_end_admittance(FREQ, 9.5e-3, AIR)
    carried = propagation(FREQ, 9.5e-3, AIR).carry(load, 0.3)
    assert np.abs(cylinder(FREQ, 0.3, 9.5e-3, AIR).admittance(load) / carried - 1.0).max() < 1e-11


def test_a_stopped_tube_is_a_cylinder_with_nothing_flowing_at_its_end() -> None:
    end = np.zeros(len(FREQ), dtype=complex)
    stopped = cylinder(FREQ, 0.017, 8.5e-3, AIR).admittance(end)
    assert np.abs(stopped_admittance(FREQ, 0.017, 8.5e-3, AIR) / stopped - 1.0).max() < 1e-12


@pytest.mark.parametrize(
    "port",
    [
        cylinder(FREQ, 0.4, 9.5e-3, AIR),
        taper(FREQ, 0.134, 8.5e-3, 9.5e-3, AIR),
        cylinder(FREQ, 0.01, 3.5e-3, AIR).then(taper(FREQ, 0.2, 9.5e-3, 7e-3, AIR)),
    ],
)
def test_tubes_are_reciprocal(port: TwoPort) -> None:
    assert np.abs(port.a * port.d - port.b * port.c - 1.0).max() < 1e-11


def test_without_viscosity_a_tube_is_lossless() -> None:
    port = cylinder(FREQ, 0.4, 9.5e-3, STILL)
    k = 2 * np.pi * FREQ / STILL.c
    z0 = STILL.rho * STILL.c / (np.pi * 9.5e-3**2)
    assert np.abs(port.a - np.cos(0.4 * k)).max() < 1e-6
    assert np.abs(port.b - 1j * z0 * np.sin(0.4 * k)).max() < 1e-6 * z0


def test_a_taper_converges_to_the_cone_at_order_two() -> None:
    # Exact spherical waves in a lossless cone; halving the slices' length must quarter the error.
    exact = np.array(cone(FREQ, 0.134, 8.5e-3, 9.5e-3, STILL.c, STILL.rho))
    scale = np.array([1.0, STILL.rho * STILL.c / (np.pi * 9.5e-3**2), 0.0, 1.0])
    scale[2] = 1.0 / scale[1]
    errors = [
        (np.abs(np.array(taper(FREQ, 0.134, 8.5e-3, 9.5e-3, STILL, slices)) - exact).max(axis=1) / scale).max()
        for slices in (6, 12, 24, 48)
    ]
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert rates == pytest.approx(2.0, abs=0.1)
    assert errors[2] < 5e-4


def _resonances(flute: Flute, text: str, slices: int, monkeypatch: pytest.MonkeyPatch) -> np.ndarray:
    monkeypatch.setattr("fingering_db.sounding.taper", functools.partial(taper, slices=slices))
    freq = np.geomspace(240.0, 2200.0, 4000)
    reactance = total(flute, text, freq).imag
    at = np.flatnonzero((reactance[:-1] < 0) & (reactance[1:] >= 0))
    return np.asarray(freq[at] - reactance[at] * (freq[at + 1] - freq[at]) / (reactance[at + 1] - reactance[at]))


@pytest.mark.parametrize("text", ["T 1 2 3 | 1 2 3 C", "T 2 3 | Eb", "| Eb", "1 2 3 G# | 1"])
def test_the_slices_of_the_head_are_fine_enough(flute: Flute, text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # Whole fingerings up to 2.2 kHz: 12 slices within 0.15 cent of 48, the package's 24 within 0.05 cent of 96.
    twelve, shipped, many, most = (
        cents(_resonances(flute, text, slices, monkeypatch), 1.0) for slices in (12, TAPER_SLICES, 48, 96)
    )
    assert len(twelve) >= 3
    assert np.abs(twelve - many).max() < 0.15
    assert np.abs(shipped - most).max() < 0.05


@pytest.mark.parametrize("radius", [0.0, -1e-3, float("nan")])
def test_a_tube_without_width_is_refused_with_its_value(radius: float) -> None:
    with pytest.raises(GeometryError, match=f"radius must be above 0, got {radius!r}"):
        propagation(FREQ, radius, AIR)
    with pytest.raises(GeometryError, match="far_radius"):
        taper(FREQ, 0.1, 8e-3, radius, AIR)
