"""A whole flute as a cascade of two-ports: against scikit-rf, and against the flute typed afresh with exact forms."""

import functools

import flute_afresh
import msgspec
import numpy as np
import pytest
import skrf
from minima import cents, total

from fingering_db.acoustics.ends import open_end_admittance
from fingering_db.acoustics.tube import propagation
from fingering_db.chart import chart
from fingering_db.fingering import Fingering
from fingering_db.mechanism import Reach, hole_states
from fingering_db.sounding import Flute

FREQ = np.geomspace(150.0, 2600.0, 120)
TEXTS = [
    "T 1 2 3 | 1 2 3 B",
    "T 2 3 | Eb",
    "T 1 2o 3 | 1 2 3o Eb",
    "1 2o 3o G# | 1o 2o 3o C",
    "T 1 3 | tr2",
    "Tb | tr1 B",
    "|",
]


def _two_port(chain: list[list[np.ndarray]], z0: float) -> skrf.Network:
    """A scikit-rf two-port from [[a, b], [c, d]], entries of shape (m,)."""
    matrix = np.moveaxis(np.array(chain, dtype=complex), 2, 0)
    return skrf.Network(f=FREQ, f_unit="hz", s=skrf.network.a2s(matrix, z0 * np.ones((len(FREQ), 2))), z0=z0)


def _tube(length: float, radius: float, flute: Flute, z0: float) -> skrf.Network:
    gamma, zc = propagation(FREQ, radius, flute.air)
    sinh = np.sinh(gamma * length)
    return _two_port([[np.cosh(gamma * length), zc * sinh], [sinh / zc, np.cosh(gamma * length)]], z0)


def _series(impedance: np.ndarray, z0: float) -> skrf.Network:
    one = np.ones(len(FREQ), dtype=complex)
    return _two_port([[one, impedance], [0 * one, one]], z0)


def _shunt(admittance: np.ndarray, z0: float) -> skrf.Network:
    one = np.ones(len(FREQ), dtype=complex)
    return _two_port([[one, 0 * one], [admittance, one]], z0)


def _cascaded(flute: Flute, states: np.ndarray) -> np.ndarray:
    """Impedance of bore and stopper cavity by scikit-rf's cascade of elementary two-ports, shape (m,)."""
    instrument, air = flute.instrument, flute.air
    bore, narrow, taper_mm = instrument.body.bore_mm / 2e3, instrument.head.bore_at_embouchure_mm / 2e3, 134.0
    assert instrument.head.taper_mm == taper_mm
    z0 = float(air.rho * air.c / (np.pi * bore**2))
    gamma, zc = propagation(FREQ, narrow, air)
    parts = [_shunt(np.tanh(gamma * instrument.head.stopper_mm / 1e3) / zc, z0)]
    parts += [_tube(taper_mm / 24e3, narrow + (bore - narrow) * (n + 0.5) / 24, flute, z0) for n in range(24)]
    place = taper_mm
    for hole, element, state in zip(instrument.holes, flute.elements(FREQ), states, strict=True):
        parts.append(_tube((hole.position_mm - place) / 1e3, bore, flute, z0))
        half = _series(element.half_series[state], z0)
        parts += [half, _shunt(element.shunt[state], z0), half]
        place = hole.position_mm
    parts.append(_tube((instrument.body.end_mm - place) / 1e3, bore, flute, z0))
    end = 1.0 / open_end_admittance(FREQ, bore, air)
    reflection = ((end - z0) / (end + z0)).reshape(-1, 1, 1)
    load = skrf.Network(f=FREQ, f_unit="hz", s=reflection, z0=z0)
    return np.asarray((functools.reduce(lambda one, other: one**other, parts) ** load).z[:, 0, 0])


@pytest.mark.parametrize("text", TEXTS)
def test_a_whole_flute_is_the_cascade_of_scikit_rf(flute: Flute, text: str) -> None:
    states = hole_states(flute.instrument, Fingering.parse(text))
    impedance = flute.bore_impedance(states[None, :], FREQ)[0]
    assert np.abs(impedance / _cascaded(flute, states) - 1.0).max() < 1e-9


def _resonances(impedance: np.ndarray, freq: np.ndarray) -> np.ndarray:
    x = impedance.imag
    at = np.flatnonzero((x[:-1] < 0.0) & (x[1:] >= 0.0))
    return freq[at] - x[at] * (freq[at + 1] - freq[at]) / (x[at + 1] - x[at])


def test_the_flute_typed_afresh_with_exact_forms_sounds_within_half_a_cent(flute: Flute) -> None:
    # Exact Zwikker–Kosten, Levine–Schwinger, 60 slices of taper, keys from a table of its own, no inner correction in a
    # closed hole: every note of the chart and some with perforations, all resonances to 2.05 kHz.
    freq = np.geomspace(220.0, 2050.0, 700)
    lip_mm = flute.lip_law_m(freq) * 1e3
    texts = {str(note.fingering) for note in chart("flute")} | set(TEXTS)
    for text in sorted(texts):
        afresh = flute_afresh.total_impedance(flute.instrument, flute_afresh.keys(text), freq, lip_mm)
        ours, exact = _resonances(total(flute, text, freq), freq), _resonances(afresh, freq)
        assert len(ours) == len(exact) >= 3
        assert np.abs(cents(ours, 1.0) - cents(exact, 1.0)).max() < 0.5, text


def _some(every: Reach, random: np.random.Generator, count: int) -> np.ndarray:
    return every.states[random.choice(len(every.states), count, replace=False)]


def test_no_fingering_gives_out_energy(flute: Flute, every: Reach, random: np.random.Generator) -> None:
    impedance = flute.bore_impedance(_some(every, random, 200), np.geomspace(150.0, 2600.0, 400))
    assert (impedance.real > 0.0).all()


def test_one_frequency_grid_for_all_equals_one_for_each_row(
    flute: Flute, every: Reach, random: np.random.Generator
) -> None:
    states = _some(every, random, 40)
    shared = flute.bore_impedance(states, FREQ)
    own = flute.bore_impedance(states, np.tile(FREQ, (40, 1)))
    assert np.abs(own / shared - 1.0).max() < 1e-12
    rows = random.uniform(200.0, 2500.0, (40, 3))
    mixed = flute.bore_impedance(states, rows)
    for state, row, values in zip(states, rows, mixed, strict=True):
        assert np.abs(values / flute.bore_impedance(state[None, :], row)[0] - 1.0).max() < 1e-12


def test_a_slide_is_that_much_tube_below_the_taper(flute: Flute) -> None:
    # Drawn out by 20 mm = every hole and the end 20 mm further away.
    instrument = flute.instrument
    states = hole_states(instrument, Fingering.parse("T 2 3 | Eb"))[None, :]
    change = msgspec.structs.replace
    holes = tuple(change(hole, position_mm=hole.position_mm + 20.0) for hole in instrument.holes)
    body = change(instrument.body, end_mm=instrument.body.end_mm + 20.0)
    longer = change(instrument, holes=holes, body=body)
    out = Flute(instrument, slide_mm=20.0).bore_impedance(states, FREQ)
    assert np.abs(out / Flute(longer).bore_impedance(states, FREQ) - 1.0).max() < 1e-10
