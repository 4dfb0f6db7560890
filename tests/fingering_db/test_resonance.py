"""Resonances on a grid, against brentq, and what a lossless line must do."""

import functools
from dataclasses import replace

import numpy as np
import one_by_one
import pytest
from minima import cents

from fingering_db.acoustics.air import air_at
from fingering_db.acoustics.hole import HoleGeometry, closed_shunt, series_impedance
from fingering_db.acoustics.resonance import Crossings, rising_zeros
from fingering_db.acoustics.tube import TwoPort, propagation
from fingering_db.model import Model
from fingering_db.playability import strength


def cylinder(freq, length, radius, air):
    return propagation(freq, radius, air).along(length)


def _sampled(made: Model, rows: np.ndarray, step_cents: float) -> tuple[np.ndarray, np.ndarray]:
    """A grid over the model's range and the impedances of some sounds on it, lip by the law."""
    count = int(1200.0 * np.log2(made.grid[-1] / made.grid[0]) / step_cents) + 1
    freq = made.grid[0] * 2.0 ** (np.arange(count) * step_cents / 1200.0)
    lip = 1j * made.flute.lip_slope(freq) * made.flute.lip_law_m(freq)
    return freq, made.flute.bore_impedance(made.reach.states[rows], freq) + lip


def _apart(made: Model, rows: np.ndarray, crossings: Crossings) -> np.ndarray:
    """Cents from each crossing to the nearest zero of brentq, shape (n_crossings,)."""
    freq, impedance = _sampled(made, rows, 0.5)
    exact = [one_by_one.zeros(freq, row.imag) for row in impedance]
    pairs = zip(crossings.row, crossings.hz, strict=True)
    return np.array([np.abs(cents(exact[row], hz)).min() for row, hz in pairs])


def test_zeros_on_a_fine_grid_are_those_of_brentq(made: Model, random: np.random.Generator) -> None:
    rows = random.choice(len(made.reach.states), 80, replace=False)
    freq, impedance = _sampled(made, rows, 3.0)
    crossings = rising_zeros(impedance, freq)
    apart = _apart(made, rows, crossings)
    assert len(apart) > 350
    assert apart.max() < 0.1


def test_zeros_on_the_models_grid_are_good_enough_where_a_resonance_sounds(
    made: Model, random: np.random.Generator
) -> None:
    # Measured on 300 sounds: 0.005 cent for 99 of 100, 3.9 at worst (a shallow one); 6 of 1,589 shallow zeros are missed.
    rows = random.choice(len(made.reach.states), 80, replace=False)
    crossings = made.resonances(made.bore(rows))
    sounding = (strength(crossings, made.curve) >= 0.5) & (crossings.hz < 2100.0)
    apart = _apart(made, rows, crossings)[sounding]
    assert len(apart) > 200
    assert np.percentile(apart, 95) < 0.05
    assert apart.max() < 1.0


def test_slope_and_depth_are_those_of_the_curve(made: Model, random: np.random.Generator) -> None:
    rows = random.choice(len(made.reach.states), 40, replace=False)
    freq, impedance = _sampled(made, rows, 3.0)
    crossings = rising_zeros(impedance, freq)
    assert crossings.modal_amplitude == pytest.approx(2.0 / crossings.slope)
    fine, curve = _sampled(made, rows, 0.5)
    sounding = np.flatnonzero((crossings.hz < 2100.0) & (strength(crossings, made.curve) >= 0.5))
    assert len(sounding) > 100
    for at in sounding:
        whole = curve[crossings.row[at]]
        slope = np.interp(crossings.hz[at], fine, np.gradient(whole.imag, 2 * np.pi * fine))
        assert crossings.slope[at] == pytest.approx(slope, rel=0.05)
        level = 20 * np.log10(np.abs(np.interp(crossings.hz[at], fine, whole)) / 1e6)
        assert crossings.depth_db[at] == pytest.approx(level, abs=1.0)


def test_a_single_resonator_has_its_textbook_numbers() -> None:
    # Z = R + j(ωM - 1/ωC): zero at 1/sqrt(MC), slope 2M, so a = 1/M; depth R; no falling zero is listed.
    mass, resistance, resonance = 300.0, 2e4, 700.0
    freq = 300.0 * 2.0 ** (np.arange(250) * 10.0 / 1200.0)
    omega, at = 2 * np.pi * freq, 2 * np.pi * resonance
    series = resistance + 1j * mass * (omega - at**2 / omega)
    found = rising_zeros(np.stack([series, -series.conj(), 0 * series + 1.0]), freq)
    assert list(found.row) == [0, 1]
    assert found.hz == pytest.approx([resonance] * 2, rel=1e-6)
    assert found.modal_amplitude == pytest.approx([1.0 / mass] * 2, rel=1e-4)
    assert found.depth_db[0] == pytest.approx(20 * np.log10(resistance / 1e6), abs=1.0)


def test_rows_without_a_resonance_give_none() -> None:
    freq = np.geomspace(200.0, 400.0, 50)
    found = rising_zeros(np.ones((3, 50), dtype=complex), freq)
    assert len(found.hz) == 0


def test_in_a_line_without_losses_zeros_and_poles_alternate() -> None:
    # Foster's reactance theorem: the reactance rises everywhere but at its poles, so between two zeros lies one pole.
    # Six closed holes and a stopped end; what is left of the losses rounds the poles off.
    air = replace(air_at(25.0), mu=1e-18)
    freq = np.geomspace(100.0, 4000.0, 40000)
    hole = HoleGeometry(bore=9.5e-3, radius=7e-3, chimney=2.3e-3, rim=0.5e-3, pad_radius=9e-3, pad_rise=2.5e-3)
    half, shunt = series_impedance(freq, hole, air, is_open=False) / 2, 1.0 / closed_shunt(freq, hole, air)
    diagonal = 1.0 + half * shunt
    closed = TwoPort(diagonal, half * (1.0 + diagonal), shunt, diagonal)
    parts = [part for n in range(6) for part in (cylinder(freq, 0.06 + 0.01 * n, 9.5e-3, air), closed)]
    reactance = 1.0 / functools.reduce(TwoPort.then, parts).admittance(np.zeros(len(freq), dtype=complex))
    x = reactance.imag
    at = np.flatnonzero(np.diff(np.signbit(x)))
    is_zero = x[at] < x[at + 1]
    assert len(at) >= 12
    assert (is_zero[1:] != is_zero[:-1]).all()
    pole = np.isin(np.arange(len(x) - 1), at[~is_zero])
    assert (np.diff(x)[~pole] > 0.0).all()
