"""The way of the hand from one fingering to the next."""

from __future__ import annotations

import random

import msgspec
import numpy as np
import pytest

from fingering_db.fingering import Fingering
from fingering_db.instrument import load
from fingering_db.mechanism import SHUT, VENT, hole_states
from fingering_db.model import model
from fingering_db.motion import AUDIBLE_CENTS, acts_against, against_the_ear, effort, moves, seconds
from fingering_db.ranking import sounds
from fingering_db.sounding import Flute
from fingering_db.touches import FINGERS


@pytest.fixture(scope="module")
def vented():
    return model(load("vented-b"))


def parsed(text):
    return Fingering.parse(text)


@pytest.mark.parametrize(
    ("before", "after", "way"),
    [
        ("|", "T |", "down"),
        ("T |", "|", "up"),
        ("T |", "Tv |", "down"),  # the lever is pressed too
        ("2o |", "2 |", "down"),  # the finger rolls onto the hole
        ("2v |", "2 |", "up"),
        ("2v |", "2ov |", "up"),
        ("2 |", "2ov |", "across"),  # off the hole and onto the lever
        ("T |", "Tb |", "across"),
        ("| B", "| C#", "across"),
    ],
)
def test_which_way_a_finger_goes(before, after, way):
    (move,) = moves(parsed(before), parsed(after))
    assert move.way == way


def test_levers_and_keys_that_open_a_hole_act_against_the_ear_and_no_others(vented):
    held = parsed("T 1 2 3 | 1 2 3")
    told = {}
    for finger, options in zip(FINGERS, vented.reach.choices, strict=True):
        for option in options:
            touches = list(held.touches)
            touches[FINGERS.index(finger)] = option.touch
            for move in moves(held, Fingering(tuple(touches))):
                told[str(move.touch)] = acts_against(vented, held, move)
    assert {touch for touch, against in told.items() if against} == {"Tv", "1v", "2v", "3v", "G#", "Eb"}


def test_the_thumb_vent_raises_what_sounds_and_comes_first(vented):
    found = against_the_ear(vented, parsed("T 2 3 |"), parsed("Tv 2 3 | Eb"), (523.25, 1174.66))
    assert str(found[0].move.after) == "Tv"
    assert found[0].move.way == "down"
    assert min(found[0].cents) > AUDIBLE_CENTS


def test_the_same_move_back_lowers_what_sounds(vented):
    there = against_the_ear(vented, parsed("T 2 3 |"), parsed("Tv 2 3 |"), (523.25, 1174.66))[0]
    up = [523.25 * 2.0 ** (cents / 1200.0) for cents in there.cents[:1]]
    back = against_the_ear(vented, parsed("Tv 2 3 |"), parsed("T 2 3 |"), tuple(up))[0]
    assert back.move.way == "up"
    # The same lip would give just the reverse; the law moves it a little with the pitch.
    assert back.cents[0] == pytest.approx(-there.cents[0], abs=5.0)


def test_an_ordinary_move_is_not_told(vented):
    assert against_the_ear(vented, parsed("T 1 2 3 | Eb"), parsed("T 1 2 | Eb"), (392.0,)) == ()


def test_a_resonance_found_again_is_the_one_that_a_slowly_opening_vent_leads_to(vented):
    """The vent is opened in small steps, each resonance followed from step to step, in an own loop."""
    before = parsed("T 2 3 |")
    hole = [one.name for one in vented.instrument.holes].index("C5")
    states = hole_states(vented.instrument, before)
    assert states[hole] == SHUT
    states[hole] = VENT
    start = [sound.hz for sound in sounds(vented, before)[:3]]
    lip = vented.flute.lip_law_m(np.array([np.exp(np.mean(np.log(start)))]))
    at = np.array(start)
    for share in np.geomspace(1e-4, 1.0, 60):
        holes = list(vented.instrument.holes)
        holes[hole] = msgspec.structs.replace(holes[hole], vent_mm=holes[hole].vent_mm * share**0.5)
        flute = Flute(msgspec.structs.replace(vented.instrument, holes=tuple(holes)))
        now = vented.resonances(flute.bore_impedance(states[None, :], vented.grid), lip).hz
        at = now[np.abs(np.log2(now[:, None] / at)).argmin(axis=0)]
    (found,) = against_the_ear(vented, before, parsed("Tv 2 3 |"), tuple(start))
    first = 1200.0 * np.log2(at / np.array([sound.hz for sound in sounds(vented, before, float(lip[0] * 1e3))[:3]]))
    assert found.cents == pytest.approx(first, abs=2.0)


def test_opening_a_hole_never_lowers_a_resonance(vented):
    """The theorem behind it, on the lowest three resonances of random fingerings."""
    dice = random.Random(5)
    seen = 0
    while seen < 25:
        before = vented.reach.fingering(dice.randrange(len(vented.reach.placements)))
        finger = dice.randrange(len(FINGERS))
        touches = list(before.touches)
        touches[finger] = dice.choice(vented.reach.choices[finger]).touch
        after = Fingering(tuple(touches))
        for move in moves(before, after):
            if acts_against(vented, before, move) and move.way == "down":
                low, high = (sounds(vented, one, 45.0)[0].hz for one in (before, after))
                assert 1200.0 * np.log2(high / low) > -0.5
                seen += 1


def test_more_fingers_need_more_time_and_so_do_small_openings_and_the_far_foot_key():
    few = seconds(moves(parsed("T 1 | Eb"), parsed("T 1 2 | Eb")))
    many = seconds(moves(parsed("1 | Eb"), parsed("T 2 3 | 1 2 3")))
    assert 0.0 == seconds(()) < few < many
    assert seconds(moves(parsed("1 |"), parsed("1 2o |"))) > few
    near, far = (seconds(moves(parsed(f"| {key}"), parsed("| C#"))) for key in ("C", "B"))
    assert few < near < far


def test_a_way_that_moves_less_is_less_effort(vented):
    from_here = parsed("T 2 3 | Eb")
    assert effort(vented, from_here, from_here) == 0.0
    plain = effort(vented, from_here, parsed("T 2 3 | 1 Eb"))
    assert 0.0 < plain < effort(vented, from_here, parsed("T 2 3 | 1 2 Eb"))
    # A vent is one finger as well, and goes against the ear.
    assert plain < effort(vented, from_here, parsed("Tv 2 3 | Eb"))


def test_a_pattern_moved_to_the_thumb_vent_and_away_again_goes_against_the_ear():
    """`shifts` tells it beside each place."""
    from annotate import questions
    from annotate.choosing.desks import desk
    from annotate.report import answers_text

    (answer,) = questions.shifts([desk("vented-b")], "small 4")
    against = {one.hole: one.contrary for one in answer.places}
    assert str(against["C"]).startswith("Tv")
    assert str(against["B"]).startswith("Tv")
    assert against["A"] is None
    assert "contrary on the way here: Tv" in answers_text.render([answer])
