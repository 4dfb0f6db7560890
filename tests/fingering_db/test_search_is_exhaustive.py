"""A search finds the same as looking at every fingering by itself, the edge of the tolerance included.

Agreement: what answers within the tolerance less a twentieth of a cent must be found; what is found must answer within the
tolerance and a twentieth. In between either is right: so near are the reference's own steps.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace

import msgspec
import numpy as np
import one_by_one
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from minima import cents

from fingering_db.acoustics.resonance import Crossings
from fingering_db.atlas import Atlas
from fingering_db.halves import halve, tabulate
from fingering_db.instrument import Instrument, load
from fingering_db.mechanism import Reach, reach
from fingering_db.model import Model, model, only
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE
from fingering_db.ranking import _order, _resonances_of, answers, find
from fingering_db.search import matching
from fingering_db.setting import drawn, giving
from fingering_db.sounding import Flute
from fingering_db.survey import atlas, survey
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
def _few(name: str, placements: tuple[tuple[str, int], ...]) -> tuple[Model, Atlas]:
    """A shipped flute in the hands of somebody with five fingers, few enough fingerings to look at each: what they reach of it,
    and their atlas. placements: how many of each finger's."""
    whole = load(name)
    most = dict(placements)
    fingers = tuple(
        msgspec.structs.replace(finger, placements=finger.placements[: most[finger.name]])
        for finger in whole.fingers
        if finger.name in most
    )
    small = reach(msgspec.structs.replace(whole, fingers=fingers))
    every = model(whole)
    among = {row.tobytes(): number for number, row in enumerate(every.reach.states)}
    few = only(every, np.array([among[row.tobytes()] for row in small.states]))
    return few, survey(few)


def _few_fingers() -> tuple[Model, Atlas]:
    return _few("open-hole-b", (("thumb", 1), ("L1", 1), ("L2", 2), ("L3", 2), ("R3", 3)))


@pytest.mark.parametrize(("chord", "tolerance"), [("C5 D6", 60.0), ("C#5+50", 30.0), ("C#5 C#6 G6", 60.0)])
def test_with_the_head_joint_out_a_search_among_what_may_answer_finds_what_one_among_all_finds(
    chord: str, tolerance: float
) -> None:
    few, _ = _few_fingers()
    out = drawn(_renumbered(few), 20.0)
    hz, asked = _hz(chord), tuple(map(Pitch.parse, chord.split()))
    bounds = _bounds(out.flute, hz) if len(hz) > 1 else (float(out.flute.lip_law_m(hz)[0]),) * 2
    of_all, (some, left_out) = matching(survey(out), hz, tolerance, bounds), giving(out, (asked,), tolerance, 440.0)
    of_some = matching(survey(some), hz, tolerance, bounds)
    assert len(of_all.sounds) >= 1 and not left_out and len(some.reach.states) < len(out.reach.states)
    assert (some.reach.states[of_some.sounds] == out.reach.states[of_all.sounds]).all()
    assert np.abs(of_some.cents - of_all.cents).max() < 0.01


@pytest.mark.parametrize("chord", ["F4 F#4", "C5 D9", "D9", "C0"])
def test_with_the_head_joint_out_what_no_sound_gives_or_lies_beyond_the_model_has_no_answer(chord: str) -> None:
    out = drawn(_renumbered(_few_fingers()[0]), 20.0)
    assert find(out, tuple(map(Pitch.parse, chord.split())), 30.0).best == ()


def _renumbered(few: Model) -> Model:
    """Each of its sounds held in one way, its own."""
    own = replace(few.reach, sound=np.arange(len(few.reach.states)))
    return replace(few, reach=own, easiest=np.arange(len(few.reach.states)))


def _five_at_random(name: str) -> tuple[Model, Atlas]:
    """Other five fingers for each flute."""
    names = [finger.name for finger in load(name).fingers]
    chosen = np.random.default_rng(len(name)).permutation(names)[:5]
    return _few(name, tuple((str(one), 3) for one in chosen))


@pytest.mark.parametrize(("chord", "tolerance"), ASKED)
def test_of_2000_sounds_those_are_found_that_answer_one_by_one(
    made: Model, random: np.random.Generator, chord: str, tolerance: float
) -> None:
    flute, every = made.flute, made.reach
    rows = random.choice(len(every.states), 2000, replace=False)
    hz = _hz(chord)
    bounds = _bounds(flute, hz)
    found = np.isin(rows, matching(atlas(made), hz, tolerance, bounds).sounds)
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
    few, small = _few_fingers()
    flute, every = few.flute, few.reach
    hz = _hz(chord)
    bounds = _bounds(flute, hz)
    hits = matching(small, hz, tolerance, bounds)
    chosen = dict(zip(hits.sounds.tolist(), hits.lips.tolist(), strict=True))
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
    few, small = _few_fingers()
    hz = _hz("C5 D6")
    bounds = _bounds(few.flute, hz)
    hits = matching(small, hz, 60.0, bounds)
    assert len(hits.sounds) >= 3
    deviations = _deviations(few.flute, few.reach, hz)
    for row, chosen, told in zip(hits.sounds, hits.lips, np.abs(hits.cents).max(axis=1), strict=True):
        assert deviations[row](chosen) == pytest.approx(told, abs=0.05)
        assert told <= min(deviations[row](lip) for lip in np.linspace(*bounds, 101)) + 0.05


QUESTIONS = {
    "name": st.sampled_from(["open-hole-b", "open-hole-c", "closed-hole-c", "vented-b", "alto", "piccolo"]),
    "first": st.floats(48.0, 96.0),
    "steps": st.lists(st.floats(3.0, 19.0), max_size=2),
    "tolerance": st.floats(2.0, 100.0),
    "edge": st.booleans(),
}
OFTEN = settings(deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@settings(OFTEN, max_examples=5)
@given(**QUESTIONS)
def test_of_any_chord_tolerance_and_flute_the_answers_are_those_of_a_fine_grid(
    name: str, first: float, steps: list[float], tolerance: float, edge: bool
) -> None:
    same_as_a_fine_grid(name, first, steps, tolerance, edge)


@pytest.mark.slow
@settings(OFTEN, max_examples=60)
@given(**QUESTIONS)
def test_of_many_more_chords_the_answers_are_those_of_a_fine_grid(
    name: str, first: float, steps: list[float], tolerance: float, edge: bool
) -> None:
    same_as_a_fine_grid(name, first, steps, tolerance, edge)


def same_as_a_fine_grid(name: str, first: float, steps: list[float], tolerance: float, edge: bool) -> None:
    few, small = _five_at_random(name)
    midi = np.cumsum([first + few.instrument.transposition_semitones, *steps])
    hz = 440.0 * 2.0 ** ((midi - 69.0) / 12.0)
    bounds = _bounds(few.flute, hz) if steps else (float(few.flute.lip_law_m(hz)[0]),) * 2
    if not few.grid[0] < hz.min() <= hz.max() < few.grid[-1]:
        return
    known = np.abs(matching(small, hz, 100.0, bounds).cents).max(axis=1)
    if edge and len(known):  # the tolerance at which the best answer just counts
        tolerance = float(known.min()) + 1e-3
    hits = matching(small, hz, tolerance, bounds)
    assert len(hits.sounds) == (known <= tolerance).sum()
    worst = _least_worst(few, hz, bounds)
    found = np.zeros(len(worst), dtype=bool)
    found[hits.sounds] = True
    told = np.abs(hits.cents).max(axis=1)
    assert not (found & (worst > tolerance + 0.05)).any()
    assert not (~found & (worst < tolerance - 0.05)).any()
    assert np.abs(told - worst[hits.sounds]).max(initial=0.0) < 0.05


def _least_worst(few: Model, hz: np.ndarray, bounds: tuple[float, float]) -> np.ndarray:
    """For every sound the least largest deviation [cents] over the lips, by brute force: the reactance a quarter of a cent apart,
    and of each pair of resonances, or each alone, the lip at which they are equally far off."""
    offsets = np.arange(-101.0, 101.01, 0.25)
    lips = []
    for target in hz:
        freq = target * 2.0 ** (offsets / 1200.0)
        lips.append(-few.flute.bore_impedance(few.reach.states, freq).imag / few.flute.lip_slope(freq))
    return np.array([_least(offsets, [own[row] for own in lips], bounds) for row in range(len(few.reach.states))])


def _least(offsets: np.ndarray, lips: list[np.ndarray], bounds: tuple[float, float]) -> float:
    low, high = 0.0, 100.5
    if not _serves(offsets, lips, bounds, high):
        return np.inf
    for _ in range(14):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if _serves(offsets, lips, bounds, middle) else (middle, high)
    return high


def _serves(offsets: np.ndarray, lips: list[np.ndarray], bounds: tuple[float, float], tolerance: float) -> bool:
    """Whether some lip puts a resonance within the tolerance of every target: stretches on which the lip falls, met."""
    spans = [bounds]
    for own in lips:
        inside = np.abs(offsets) < tolerance
        ends = np.interp([-tolerance, tolerance], offsets, own)
        need = np.concatenate([ends[:1], own[inside], ends[1:]])
        falls = need[1:] <= need[:-1]
        turn = np.flatnonzero(np.diff(np.concatenate([[0], falls.astype(int), [0]])))
        stretches = [(need[last], need[first]) for first, last in zip(turn[::2], turn[1::2], strict=True)]
        spans = [
            (max(a, c), min(b, d)) for a, b in spans for c, d in stretches if max(a, c) <= min(b, d)
        ]  # fmt: skip
    return bool(spans)


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


def test_known_resonances_looked_at_by_themselves_are_those_of_the_whole_grid(
    made: Model, random: np.random.Generator
) -> None:
    rows, lips = random.choice(len(made.reach.states), 50, replace=False), random.uniform(0.03, 0.06, 50)
    number, _, hz = _resonances_of(made, rows, lips)
    _, found = made.crossings_at(rows, lips, number, hz)
    grid = made.resonances(made.bore(rows), lips)
    assert found.row.tolist() == grid.row.tolist() and found.left.tolist() == grid.left.tolist()
    # In its last cell the grid has no point on the other side to go by.
    found, grid = (_only(one, one.left < len(made.grid) - 3) for one in (found, grid))
    # By rational functions there, by cubics through pressure and flow here: they part where two resonances nearly merge.
    assert np.abs(cents(found.hz, grid.hz)).max() < 0.05
    for here, there in ((found.slope, grid.slope), (found.resistance, grid.resistance)):
        off = np.abs(here / there - 1.0)
        assert np.quantile(off, 0.95) < 1e-3 and off.max() < 0.1


def _only(of: Crossings, which: np.ndarray) -> Crossings:
    return Crossings(of.row[which], of.left[which], of.hz[which], of.slope[which], of.resistance[which])


def test_the_best_of_many_answers_are_the_first_of_all_in_order(made: Model) -> None:
    found = answers(made, (Pitch.parse("C5"), Pitch.parse("G6")), 60.0)
    every = _order(found, len(found.rows))
    assert len(every) > 2000
    assert (_order(found, 100)[:100] == every[:100]).all()
    unlikely = found.confidence[every] < DOUBTFUL_CONFIDENCE
    assert (np.diff(unlikely.astype(int)) >= 0).all()
    assert (np.diff(found.score[every][~unlikely]) <= 0.0).all()
