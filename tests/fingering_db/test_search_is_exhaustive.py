"""A search finds the same as looking at every fingering by itself.

Agreement: what answers within the tolerance less half a cent (lips 0.1 mm apart) must be found; what is found must
answer within the tolerance and half a cent. In between, at the edge of the tolerance, either is right.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import msgspec
import numpy as np
import one_by_one
import pytest
from minima import cents

from fingering_db.instrument import Instrument, load
from fingering_db.mechanism import Reach, reach
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.search import Halves, halve, matching, tabulate
from fingering_db.sounding import Flute
from fingering_db.touches import FINGERS

EDGE_CENTS = 0.5
LIP_STEP = 1e-4

ASKED = [
    ("C5 D6", 30.0),
    ("C5 D6", 60.0),
    ("A4", 20.0),
    ("B5+50", 20.0),
    ("D5+50 B6", 30.0),
    ("F#5 C6 A6", 50.0),
    ("G6 C7", 60.0),
]


def _bounds(flute: Flute, hz: np.ndarray) -> tuple[float, float]:
    """The law's values at the targets, and 5 mm of a player's range."""
    law = flute.lip_law_m(hz)
    return float(law.min()) - 5e-3, float(law.max()) + 5e-3


def _hz(chord: str) -> np.ndarray:
    return np.array([Pitch.parse(name).hz() for name in chord.split()])


@functools.cache
def _few_fingers() -> tuple[Flute, Reach, Halves]:
    """The shipped flute in the hands of somebody with five fingers: few enough fingerings to look at each."""
    placements = {"thumb": 1, "L1": 1, "L2": 2, "L3": 2, "R3": 3}
    whole = load("open-hole-b")
    fingers = tuple(
        msgspec.structs.replace(finger, placements=finger.placements[: placements[finger.name]])
        for finger in whole.fingers
        if finger.name in placements
    )
    small = msgspec.structs.replace(whole, fingers=fingers)
    every = reach(small)
    return Flute(small), every, halve(every)


@pytest.mark.parametrize(("chord", "tolerance"), ASKED)
def test_of_2000_sounds_those_are_found_that_answer_one_by_one(
    flute: Flute, every: Reach, random: np.random.Generator, chord: str, tolerance: float
) -> None:
    rows = random.choice(len(every.states), 2000, replace=False)
    hz = _hz(chord)
    bounds = _bounds(flute, hz)
    sounds, _ = matching(flute, halve(every), hz, tolerance, bounds)
    found = np.isin(rows, sounds)
    surely, perhaps = one_by_one.answering(
        lambda freq: flute.bore_impedance(every.states[rows], freq),
        flute.lip_slope,
        hz,
        (tolerance - EDGE_CENTS, tolerance + EDGE_CENTS),
        bounds,
        LIP_STEP,
    )
    assert surely.any()
    assert not (found & ~perhaps).any(), f"{(found & ~perhaps).sum()} found that do not answer"
    assert not (surely & ~found).any(), f"{(surely & ~found).sum()} of {surely.sum()} answer and are not found"


@pytest.mark.parametrize(("chord", "tolerance"), [("C5 D6", 40.0), ("C#5+50", 30.0), ("C#5 C#6 G6", 60.0)])
def test_with_few_fingers_the_search_equals_brentq_for_every_fingering(chord: str, tolerance: float) -> None:
    flute, every, halves = _few_fingers()
    hz = _hz(chord)
    bounds = _bounds(flute, hz)
    sounds, lips = matching(flute, halves, hz, tolerance, bounds)
    chosen = dict(zip(sounds.tolist(), lips.tolist(), strict=True))
    missed = []
    for row, worst_with in enumerate(_deviations(flute, every, hz)):
        if row in chosen:
            assert bounds[0] <= chosen[row] <= bounds[1]
            assert worst_with(chosen[row]) <= tolerance + EDGE_CENTS
        elif min(worst_with(lip) for lip in np.linspace(*bounds, 13)) < tolerance - EDGE_CENTS:
            missed.append(every.states[row])
    assert len(chosen) >= 1
    assert not missed, f"{len(missed)} answer and are not found beside {len(chosen)} that are"


def _deviations(flute: Flute, every: Reach, hz: np.ndarray) -> list[Callable[[float], float]]:
    """For every sound a function from a lip [m] to the largest deviation [cents] of the resonances nearest to hz."""
    low, high = hz.min() / 1.1, hz.max() * 1.1
    freq = np.geomspace(low, high, int(1200 * np.log2(high / low)))
    slope = flute.lip_slope(freq)

    def worst(bore: np.ndarray, lip: float) -> float:
        resonances = one_by_one.zeros(freq, bore + slope * lip)
        return max(float(np.abs(cents(resonances, target)).min(initial=np.inf)) for target in hz)

    return [functools.partial(worst, bore) for bore in flute.bore_impedance(every.states, freq).imag]


def test_the_lip_chosen_has_about_the_least_deviation() -> None:
    flute, every, halves = _few_fingers()
    hz = _hz("C5 D6")
    bounds = _bounds(flute, hz)
    sounds, lips = matching(flute, halves, hz, 60.0, bounds)
    assert len(sounds) >= 3
    deviations = _deviations(flute, every, hz)
    for row, chosen in zip(sounds, lips, strict=True):
        assert deviations[row](chosen) <= min(deviations[row](lip) for lip in np.linspace(*bounds, 101)) + 3.0


def test_half_tables_give_the_impedance_of_the_whole(flute: Flute, every: Reach, random: np.random.Generator) -> None:
    halves = halve(every)
    freq = np.geomspace(150.0, 2600.0, 60)
    rows = random.choice(len(every.states), 300, replace=False)
    joined = tabulate(flute, halves, freq).impedance(halves.upper_of[rows], halves.lower_of[rows])
    assert np.abs(joined / flute.bore_impedance(every.states[rows], freq) - 1.0).max() < 1e-10


def test_half_tables_know_the_slide(open_hole: Instrument, every: Reach) -> None:
    out = Flute(open_hole, slide_mm=25.0)
    halves = halve(every)
    freq = np.array([262.0, 880.0])
    rows = np.arange(0, len(every.states), 997)
    joined = tabulate(out, halves, freq).impedance(halves.upper_of[rows], halves.lower_of[rows])
    assert np.abs(joined / out.bore_impedance(every.states[rows], freq) - 1.0).max() < 1e-10


def test_every_sound_is_one_pair_of_halves(every: Reach) -> None:
    halves = halve(every)
    joined = np.hstack([halves.upper[halves.upper_of], halves.lower[halves.lower_of]])
    assert (joined == every.states).all()
    assert len(FINGERS) == every.placements.shape[1]


def test_the_models_tables_are_those_of_its_flute(made: Model, random: np.random.Generator) -> None:
    rows = random.choice(len(made.reach.states), 50, replace=False)
    whole = made.flute.bore_impedance(made.reach.states[rows], made.grid)
    assert np.abs(made.bore(rows) / whole - 1.0).max() < 1e-10
