"""Glissandi: what slide and fingers can do, followed without jumping from one resonance to another."""

import itertools
from dataclasses import replace

import msgspec
import numpy as np
import pytest
from minima import cents

from fingering_db.fingering import Fingering
from fingering_db.glide import HALF_HOLE, KEY_LIFT, SLIDE
from fingering_db.glide_by_fingers import finger_glides
from fingering_db.glide_by_slide import slide_glides
from fingering_db.instrument import load
from fingering_db.mechanism import hole_states
from fingering_db.model import model
from fingering_db.pitch import Pitch
from fingering_db.ranking import sounds
from fingering_db.sounding import Flute
from fingering_db.track import Stage, follow, sweep


def pitches(text):
    return tuple(Pitch.parse(name) for name in text.split())


@pytest.fixture(scope="module")
def drawn():
    return model(load("open-hole-b-slide"))


def one_by_one(instrument, stage, lip_m, near_hz):
    """The resonance nearest to near_hz, from a scan a tenth of a cent apart: nothing of track.py or resonance.py."""
    holes = list(instrument.holes)
    for index, share in stage.open:
        holes[index] = msgspec.structs.replace(
            holes[index], perforation_mm=holes[index].perforation_mm * share**0.5 or 1e-6
        )
    flute = Flute(msgspec.structs.replace(instrument, holes=tuple(holes)), stage.slide_mm)
    freq = near_hz * 2.0 ** (np.arange(-300, 301) / 12000.0)
    reactance = flute.bore_impedance(stage.row(), freq).imag[0] + flute.lip_slope(freq) * lip_m
    rising = np.flatnonzero((reactance[:-1] < 0.0) & (reactance[1:] >= 0.0))
    exact = freq[rising] - reactance[rising] * (freq[rising + 1] - freq[rising]) / np.diff(reactance)[rising]
    return exact[np.abs(exact - near_hz).argmin()]


@pytest.mark.parametrize("way", ["slide", "half-hole"])
def test_following_gives_what_looking_at_each_stage_by_itself_gives(made, way):
    instrument = made.instrument
    if way == "slide":
        states = hole_states(instrument, Fingering.parse("T 2 3 | Eb"))
        stages = [Stage(states, float(slide)) for slide in np.linspace(0.0, 45.0, 16)]
        start = np.array([516.0, 1170.0])
    else:
        states = hole_states(instrument, Fingering.parse("T 1 2 | Eb"))
        hole = [hole.name for hole in instrument.holes].index("A#4")
        stages = [Stage(states, 0.0, ((hole, share),)) for share in np.linspace(0.0, 1.0, 21)]
        start = np.array([439.5, 880.0])
    lips = np.linspace(0.043, 0.046, len(stages))
    found = follow(made, sweep(made, stages), start, lips[:, None])[:, :, 0]
    for number in range(0, len(stages), 4):
        for k in range(2):
            exact = one_by_one(instrument, stages[number], lips[number], found[number, k])
            assert abs(cents(found[number, k], exact)) < 0.1


def test_trial_lips_side_by_side_are_those_of_each_alone(made):
    states = hole_states(made.instrument, Fingering.parse("1 | Eb"))
    stages = [Stage(states, slide) for slide in (0.0, 3.0, 6.0)]
    lips = np.array([[0.042, 0.044, 0.046]] * 3)
    swept = sweep(made, stages)
    together = follow(made, swept, np.array([523.0]), lips)
    for column in range(3):
        alone = follow(made, swept, np.array([523.0]), lips[:, column : column + 1])
        assert together[:, :, column] == pytest.approx(alone[:, :, 0], rel=1e-7)


def test_the_slide_moves_the_components_of_a_multiphonic_by_different_amounts(made):
    # About -95, -46, -78 cents for 20 mm in an earlier, independent trial.
    at_rest = sounds(made, Fingering.parse("T 2 3 | Eb"))
    out = sounds(made, Fingering.parse("T 2 3 | Eb"), slide_mm=20.0)
    moved = [cents(two.hz, one.hz) for one, two in zip(at_rest[:3], out[:3], strict=True)]
    assert moved == pytest.approx([-95.0, -46.0, -78.0], abs=6.0)


def test_c5_to_b4_takes_about_twenty_millimetres_of_slide(drawn):
    best = slide_glides(drawn, pitches("C5"), pitches("B4"), 30.0)[0]
    assert best.means == SLIDE
    assert best.path[0].slide_mm == 0.0
    assert best.path[-1].slide_mm == pytest.approx(20.0, abs=2.0)
    assert best.worst_cents < 10.0 and best.jump_cents == 0.0
    falls = [point.sounds[0].hz for point in best.path]
    assert all(later < earlier for earlier, later in itertools.pairwise(falls))


def test_an_octave_is_beyond_the_slide(drawn):
    assert slide_glides(drawn, pitches("C5"), pitches("C4"), 60.0) == ()


def test_a_flute_without_a_slide_has_no_slide_glides(made):
    assert slide_glides(made, pitches("C5"), pitches("B4"), 30.0) == ()


def test_a_multiphonic_slides_on_other_fingerings_than_the_best_known_one(drawn):
    found = slide_glides(drawn, pitches("C5 D6"), pitches("B4 C#6"), 30.0)
    assert found and found[0].confidence >= 0.5
    hands = {glide.path[0].fingering.touches[:-1] for glide in found}
    assert Fingering.parse("T 2 3 |").touches[:-1] not in hands
    for glide in found:
        assert glide.worst_cents <= 30.0
        assert len({point.fingering for point in glide.path}) == 1


def test_a4_to_a_sharp_4_goes_by_the_left_second_finger_with_the_b_plate_held(made):
    found = [one for one in finger_glides(made, pitches("A4"), pitches("A#4"), 30.0) if one.means == KEY_LIFT]
    assert found[0].moving == ("2",)
    assert found[0].path[0].fingering.touches[0] == "Tb" or "1" in str(found[0].path[0].fingering).split("|")[1]
    assert 0.0 < found[0].jump_cents < 100.0


def test_fingers_that_only_roll_do_not_jump(made):
    rolling = [one for one in finger_glides(made, pitches("A4"), pitches("A#4-45"), 20.0) if one.means == HALF_HOLE]
    assert rolling and rolling[0].jump_cents == 0.0
    shares = [dict(point.open).get("2") for point in rolling[0].path[1:-1]]
    assert shares == sorted(shares)


def test_the_lip_centres_one_pitch_as_far_as_it_bends_and_never_two(made):
    one = finger_glides(made, pitches("A4"), pitches("A#4-45"), 20.0)[0]
    low = replace(one, start_cents=(0.0,), end_cents=(-44.0,))
    assert (low.centred(30.0).start_cents, low.centred(30.0).end_cents, low.centred(30.0).lip_cents) == (
        (22.0,),
        (-22.0,),
        22.0,
    )
    assert low.centred(10.0).end_cents == (-34.0,)
    two = replace(low, start_cents=(0.0, 0.0), end_cents=(-44.0, -44.0))
    assert two.centred(30.0) == two


def test_a_foot_key_never_glides(made):
    assert finger_glides(made, pitches("B3"), pitches("C4"), 60.0) == ()


def test_no_fingers_reach_across_registers(made):
    assert finger_glides(made, pitches("C4"), pitches("C#6"), 60.0) == ()
    assert finger_glides(made, pitches("C5"), pitches("C4"), 60.0) == ()


def test_the_way_back_is_as_far(drawn):
    down = slide_glides(drawn, pitches("C5"), pitches("B4"), 30.0)[0]
    states = hole_states(drawn.instrument, down.path[0].fingering)
    flutes = [Flute(drawn.instrument, slide) for slide in (0.0, down.path[-1].slide_mm)]
    assert flutes[1].spacing_m()[0] - flutes[0].spacing_m()[0] == pytest.approx(down.path[-1].slide_mm * 1e-3)
    assert states.shape == (len(drawn.instrument.holes),)


def test_open_holes_leave_every_way_by_lifting_a_key_that_closed_ones_have(made):
    closed = model(load("closed-hole-c"))
    for start, end in (("A4", "G4"), ("G4", "A4")):
        first, second = (
            {
                (str(one.path[0].fingering), str(one.path[-1].fingering))
                for one in finger_glides(flute, pitches(start), pitches(end), 30.0)
            }
            for flute in (closed, made)
        )
        assert first
        assert first <= second


def test_a_glide_goes_at_least_half_of_the_way_and_never_the_other(made):
    for start, end in (("C#5", "C5"), ("A4", "G4"), ("F#5", "G5")):
        asked = 100.0 * (pitches(end)[0].midi - pitches(start)[0].midi)
        found = finger_glides(made, pitches(start), pitches(end), 60.0)
        assert found
        assert all(one.moved_cents[0] / asked >= 0.5 for one in found)


def test_a_falling_key_jumps_as_far_as_the_same_key_rising(made):
    up, down = (
        next(one for one in finger_glides(made, pitches(a), pitches(b), 30.0) if one.means == KEY_LIFT)
        for a, b in (("A4", "A#4"), ("A#4", "A4"))
    )
    assert (up.path[0].fingering, up.jump_cents) == (down.path[-1].fingering, pytest.approx(down.jump_cents, abs=0.5))
    assert [point.t for point in down.path] == pytest.approx([point.t for point in up.path])
