"""The jet stepped through time: against exact decay, its own finer steps, and the balance of describing functions."""

import numpy as np
import pytest

from fingering_db.acoustics import jet, jet_time
from fingering_db.acoustics.jet import Jets, Modes
from fingering_db.instrument import load
from fingering_db.model import model


def plain_tube(count=5):
    """Resonances like those of a long plain tube: harmonics, losses growing with the root of frequency."""
    number = np.arange(1, count + 1)
    return Modes(300.0 * number[None, :], np.full((1, count), 4e-4), 1e5 * np.sqrt(number)[None, :])


def repeated(modes, times):
    return Modes(*(np.repeat(part, times, axis=0) for part in (modes.hz, modes.amplitude, modes.resistance)))


def jets(speeds, distance=6e-3, thickness=0.9e-3):
    speeds = np.asarray(speeds, dtype=float)
    return Jets(np.full(len(speeds), distance), np.full(len(speeds), thickness), speeds, 0.0, 1)


def test_without_jet_the_decay_is_that_of_the_quality_factor():
    modes = Modes(np.array([[440.0]]), np.array([[4e-4]]), np.array([[1.2e5]]))
    seconds, start = 0.12, 1e-4  # so weak that the vortices take nothing
    decay = modes.amplitude[0, 0] * modes.resistance[0, 0] / 2.0
    stepped = jet_time.step(modes, jets([0.0]), np.array([[start]]), seconds)
    t = np.linspace(seconds * 2 / 3, seconds, 2001)
    assert stepped.rms[0, 0] == pytest.approx(np.sqrt(np.mean((start * np.exp(-decay * t)) ** 2) / 2), rel=0.01)


def test_halving_the_step_converges():
    tube, speeds = plain_tube(), np.linspace(8.0, 30.0, 6)
    start = np.zeros((6, 5))
    start[:, 0] = 1.0
    rms = [
        jet_time.step(repeated(tube, 6), jets(speeds), start, 0.08, rate=24_000 * 2**halved).rms[:, 0]
        for halved in range(4)
    ]
    errors = [np.abs(rms[n] - rms[n + 1]).max() for n in range(3)]
    assert errors[1] < 0.65 * errors[0] and errors[2] < 0.65 * errors[1]  # first order halves it
    assert errors[2] < 0.02 * rms[3].max()


def test_a_mode_by_itself_swings_as_far_as_its_balance_says():
    alone = Modes(np.array([[440.0]]), np.array([[4e-4]]), np.array([[1.2e5]]))
    speeds = np.linspace(8.0, 60.0, 12)
    balance = np.array([found.amplitude[0, 0] for found in jet.each_jet(alone, jets(speeds))])
    stepped = jet_time.step(repeated(alone, 12), jets(speeds), np.full((12, 1), 2.0), 0.3)
    sounding = np.isfinite(balance)
    assert sounding.sum() >= 8
    np.testing.assert_allclose(np.sqrt(2.0) * stepped.rms[sounding, 0], balance[sounding], rtol=0.12)
    assert (stepped.rms[~sounding, 0] < jet.LEAST_SPEED).all()


def test_a_plain_tube_goes_up_through_its_registers_and_falls_back_later():
    """Order and hysteresis: Terrien, Vergez & Fabre 2013, Journal of Sound and Vibration 332 (from memory)."""
    levels = np.geomspace(11.0, 110.0, 14)
    way = np.concatenate([levels, levels[::-1]])
    tube, start = plain_tube(3), np.array([[2.0, 0.0, 0.0]])
    registers = []
    for speed in way:  # each level rests until it is steady, and goes on from what sounded before
        rms = jet_time.step(tube, jets([speed], distance=4e-3), start, 0.08, rate=24_000).rms
        start = np.maximum(np.sqrt(2.0) * rms, 0.01)
        registers.append(int(rms.argmax()))
    up, down = registers[: len(levels)], registers[len(levels) :][::-1]
    assert set(up) == {0, 1, 2} and (np.diff(up) >= 0).all() and (np.diff(down) >= 0).all()
    assert all(after >= before for before, after in zip(up, down, strict=True))
    assert up != down  # falls back at lower speeds than it rose at


def compare(rows, count, seed):
    """(fingering, mode) pairs held by describing functions, and by stepping, over some jets of the stated ones."""
    of = model(load("open-hole-b"))
    random = np.random.default_rng(seed)
    chosen = random.choice(len(of.reach.states), rows, replace=False)
    modes = jet.padded(of.resonances(of.bore(chosen)), rows)
    every = jet.stated_jets()
    number = random.choice(len(every.speed), count, replace=False)
    some = Jets(every.distance[number], every.thickness[number], every.speed[number], 0.0, 1)
    balanced = np.sum([found.held for found in jet.each_jet(modes, some)], axis=0)
    stepped = np.zeros_like(balanced)
    for mode in range(modes.hz.shape[1]):
        with_it = np.flatnonzero(np.isfinite(modes.hz[:, mode]))
        runs = np.repeat(with_it, count)
        own = Modes(*(part[runs] for part in (modes.hz, modes.amplitude, modes.resistance)))
        tiled = Jets(*(np.tile(part, len(with_it)) for part in (some.distance, some.thickness, some.speed)), 0.0, 1)
        start = np.zeros(own.hz.shape)
        start[:, mode] = 2.0
        rms = jet_time.step(own, tiled, start, 0.2).rms
        wins = (rms.argmax(axis=1) == mode) & (rms[:, mode] > jet.LEAST_SPEED / np.sqrt(2.0))
        stepped[with_it, mode] = wins.reshape(len(with_it), count).sum(axis=1)
    return modes, balanced, stepped


@pytest.mark.parametrize(("rows", "count"), [(6, 8), pytest.param(200, 16, marks=pytest.mark.slow)])
def test_what_stepping_never_holds_is_not_held_by_the_balance(rows, count):
    modes, balanced, stepped = compare(rows, count, seed=rows)
    real = np.isfinite(modes.hz)
    never = real & (stepped == 0)
    differing = never & (balanced > 0)
    for row, mode in zip(*np.nonzero(differing), strict=True):
        print(
            f"row {row}, {modes.hz[row, mode]:.0f} Hz: balance at {balanced[row, mode]} of {count} jets, stepping at none"
        )
    print(f"{never.sum()} of {real.sum()} modes never held by stepping, {differing.sum()} of these held by balance")
    assert np.corrcoef(balanced[real], stepped[real])[0, 1] > 0.8
    assert balanced[never].mean() < 0.02 * count
