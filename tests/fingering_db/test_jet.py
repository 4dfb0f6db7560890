"""The jet by describing functions: formulas against scipy, batches against single rows, published notes in order."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from fingering_db.acoustics import jet
from fingering_db.acoustics.jet import Modes

SOME = Modes(
    np.array([[523.0, 875.0, 1170.0, 1700.0], [330.0, 655.0, 1000.0, np.nan]]),
    np.array([[4e-4, 2e-4, 3.5e-4, 2e-4], [4.5e-4, 4e-4, 3e-4, np.nan]]),
    np.array([[1.2e5, 2.5e5, 2.6e5, 5e5], [8e4, 1.6e5, 2.4e5, np.nan]]),
)


def reckon(modes: Modes) -> SimpleNamespace:
    every = np.isfinite(modes.hz)
    holds, low, high = jet.held_share(modes, jet.stated_jets(), every)
    together = jet.pair_share(modes, jet.broad_jets(), every)
    return SimpleNamespace(holds=holds, speed_low=low, speed_high=high, together=together)


def one_jet(distance=6e-3, thickness=0.9e-3, speed=25.0, spread=0.0, strips=1):
    return jet.Jets(np.array([distance]), np.array([thickness]), np.array([speed]), spread, strips)


@pytest.mark.parametrize("z", [0.003, 0.2, 1.0, 4.0, 60.0, 900.0])
def test_means_over_a_cycle_are_the_integrals(z):
    shift = jet.OFFSET / jet.HALF_WIDTH
    zero = np.arccos(np.clip(shift / z, -1.0, 1.0))
    first = quad(lambda t: np.tanh(z * np.cos(t) - shift) * np.cos(t), 0, np.pi, points=[zero], limit=400)[0]
    slope = quad(lambda t: np.cosh(min(abs(z * np.cos(t) - shift), 300)) ** -2, 0, np.pi, points=[zero], limit=400)[0]
    assert jet.fundamental(np.array(z)) == pytest.approx(2 * first / np.pi, rel=1e-3)
    assert jet.mean_slope(np.array(z)) == pytest.approx(slope / np.pi, rel=4e-3)


@pytest.mark.parametrize("speed", [14.0, 25.0, 40.0])
@pytest.mark.parametrize("mode", [0, 2])
def test_the_balance_is_the_root_of_both_equations(mode, speed):
    """Amplitude and frequency together by scipy, from the equations as written, against the batch's matrix product."""
    w, h = 6e-3, 0.9e-3
    omega, a, r = 2 * np.pi * SOME.hz[0, mode], SOME.amplitude[0, mode], SOME.resistance[0, mode]
    k = jet.AIR_DENSITY * (4 / np.pi) * np.sqrt(2 * h * w) * 0.4 * h * speed / w
    tau, gain = w / (0.4 * speed), np.exp(0.4 * w / h) / (0.4 * speed)
    s, c1 = jet.HOLE_AREA, jet.AIR_DENSITY / 2 / 0.36 * 8 / (3 * np.pi)

    def surplus(level):
        d1 = float(jet.fundamental(np.array(gain * level)))
        pitch = brentq(
            lambda x: x**2 * (1 - a / s * k * d1 / level * np.cos(x * tau)) - omega**2, 0.8 * omega, 1.3 * omega
        )
        return k * d1 * pitch * np.sin(pitch * tau) - r * s * level - c1 * level**2

    levels = np.geomspace(0.2, 40, 300)
    fed = [level for level in levels if surplus(level) >= 0]
    (found,) = jet.each_jet(SOME, one_jet(w, h, speed))
    if not fed:
        assert np.isnan(found.amplitude[0, mode])
    else:
        assert found.amplitude[0, mode] == pytest.approx(brentq(surplus, fed[-1], 1.02 * fed[-1]), rel=0.03)


def test_rows_by_themselves_give_what_the_batch_gives():
    whole = reckon(SOME)
    for row in range(2):
        single = Modes(*(part[row : row + 1] for part in (SOME.hz, SOME.amplitude, SOME.resistance)))
        own = reckon(single)
        np.testing.assert_allclose(own.holds[0], whole.holds[row], atol=1e-6)
        np.testing.assert_allclose(own.together[0], whole.together[row], atol=1e-6)
    assert np.isnan(whole.holds[1, 3]) and whole.holds[0, 0] > 0.2
    assert np.array_equal(whole.together, whole.together.transpose(0, 2, 1))
    assert not np.diagonal(whole.together, axis1=1, axis2=2).any()


def test_strips_at_one_distance_are_one_jet():
    (whole,), (split,) = (list(jet.each_jet(SOME, one_jet(strips=count))) for count in (1, 5))
    np.testing.assert_allclose(whole.amplitude, split.amplitude, rtol=1e-4)
    np.testing.assert_allclose(whole.growth, split.growth, rtol=1e-3, atol=0.05)


def test_a_mode_of_the_higher_octave_is_held_at_higher_air_speeds():
    octaves = Modes(np.array([[300.0, 600.0, 1200.0]]), np.array([[4e-4] * 3]), np.array([[1e5, 1.5e5, 2.2e5]]))
    held = reckon(octaves)
    assert (np.diff(held.speed_low[0]) > 0.0).all()


def test_two_modes_looked_at_by_themselves_sound_at_once_as_among_all():
    random = np.random.default_rng(5)
    hz = np.cumsum(random.uniform(150.0, 450.0, (40, 7)), axis=1) + 150.0
    modes = Modes(hz, random.uniform(1e-4, 5e-4, hz.shape), random.uniform(5e4, 5e5, hz.shape))
    every = jet.pair_share(modes, jet.broad_jets(), np.ones(hz.shape, dtype=bool))
    pair = np.sort([random.choice(7, 2, replace=False) for _ in hz], axis=1)
    wanted = np.zeros(hz.shape, dtype=bool)
    np.put_along_axis(wanted, pair, True, axis=1)
    own = (np.arange(len(hz)), *pair.T)
    alone = jet.pair_share(modes, jet.broad_jets(), wanted)[own]
    np.testing.assert_array_equal(alone, every[own])
    assert (alone > 0.0).sum() > 10
