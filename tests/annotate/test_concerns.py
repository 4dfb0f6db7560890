"""What is told of one place by itself (invented decisions; speeds as the jet model tells them)."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from report_samples import demand, place

from annotate.choosing.concerns import concerns, dynamic_at, usual_speed
from annotate.choosing.desk import Desk
from annotate.decision import Alternative, Decision, Sound, Status
from annotate.demand import Kind
from annotate.score import Event, Note, Part
from fingering_db.fingering import Fingering
from fingering_db.instrument import load
from fingering_db.message import Message
from fingering_db.model import model
from fingering_db.pitch import Pitch

DESK = Desk("open-hole-b", model(load("open-hole-b")), 440.0)


def decision(low=(20.0, 30.0), high=(22.0, 60.0), seconds=2.0, fingering="T 2 3 | Eb"):
    pitches = Pitch.parse("C5"), Pitch.parse("D6")
    notes = tuple(Note(n, n + 1, pitch, pitch) for n, pitch in enumerate(pitches))
    event = Event(notes, "1", 0, Fraction(1), Fraction(4), Fraction(4), 0.0, seconds, "1", 1)
    asked = replace(demand(1, place("1"), "C5 D6"), events=(event,), kind=Kind.MULTIPHONIC)
    sounds = tuple(
        Sound(pitch.hz(), pitch, 0.9, 5.0, 0.5, speeds) for pitch, speeds in zip(pitches, (low, high), strict=True)
    )
    return Decision(asked, "x", Status.PLAYABLE, Message("x.y"), Fingering.parse(fingering), sounds=sounds)


def part(*dynamics):
    return Part("P1", 1, "Flute", "", dynamics=tuple((Fraction(onset), 1, sign) for onset, sign in dynamics))


def codes(one, *dynamics):
    return [each.code for each in concerns(part(*dynamics), one, DESK)]


def test_the_usual_speed_of_c5_is_some_thirty_metres_a_second():
    """One pascal a hertz, Bernoulli, air of 1.19 kg/m3."""
    assert usual_speed(523.25, 25.0) == pytest.approx((2 * 523.25 / 1.1846) ** 0.5, rel=0.005)


def test_what_is_held_at_low_air_only_is_told_under_ff_and_what_is_held_at_high_air_only_under_pp():
    quiet, loud = decision((12.0, 20.0), (12.0, 25.0)), decision((50.0, 80.0), (48.0, 90.0))
    assert "P10" in codes(quiet, (0, "ff")) and "P10" not in codes(quiet, (0, "pp"))
    assert "P10" in codes(loud, (0, "pp")) and "P10" not in codes(loud, (0, "ff"))
    assert "P10" not in codes(quiet, (0, "mf")) + codes(quiet)


def test_the_dynamic_in_force_is_the_last_one_that_is_one():
    event = decision().demand.events[0]
    assert dynamic_at(part((0, "pp"), (2, "ff"), (3, "sfz"), (5, "p")), event) == "ff"
    assert dynamic_at(part((5, "p")), event) == ""


def test_a_sound_longer_than_a_breath_is_told_sooner_when_loud():
    assert "P11" in codes(decision(seconds=13.0)) and "P11" not in codes(decision(seconds=11.0))
    assert "P11" in codes(decision(seconds=9.0), (0, "ff"))


NONE = Message("at_once.none")


def easily(low):
    speeds = Message("at_once.speeds", low=low, high=low + 5)
    return Message("at_once.hardest", said=Message("at_once.easy", how=Message("at_once.soft", speed=speeds)))


def test_the_tone_that_holds_at_less_air_speaks_first_where_no_jet_sounds_both():
    apart = replace(decision((20.0, 50.0), (40.0, 60.0)), at_once=NONE)
    found = concerns(part(), apart, DESK)
    told = dict(found[0].message.values)
    assert (found[0].code, str(told["first"]), str(told["last"])) == ("P12", "C5", "D6")
    assert "P12" not in codes(replace(apart, at_once=easily(12)))  # how to blow says it
    assert "P12" not in codes(replace(apart, at_once=None))  # of one note there is nothing to seek
    assert "P12" not in codes(replace(decision((20.0, 50.0), (22.0, 60.0)), at_once=NONE))
    event = apart.demand.events[0]
    into = replace(event, notes=(replace(event.notes[0], slur_stops=("1",)), event.notes[1]))
    assert "P12" not in codes(replace(apart, demand=replace(apart.demand, events=(into,))))


def test_under_pp_what_sounds_at_once_with_little_air_is_not_called_loud():
    loud = decision((50.0, 80.0), (48.0, 90.0))
    assert "P10" in codes(replace(loud, at_once=easily(60)), (0, "pp"))
    assert "P10" not in codes(replace(loud, at_once=easily(15)), (0, "pp"))


def test_an_awkward_hold_is_told_and_the_lifted_little_finger_is_none():
    assert "H4" in codes(decision(fingering="T 2 3 G# | 1 2 3 C#"))
    assert "H4" not in codes(decision(fingering="T 2 3 |"))


def test_an_alternative_that_fits_the_dynamic_is_the_cure():
    other = Alternative(Fingering.parse("T 2 3 |"), (0.0, 0.0), (5.0, 5.0), 0.9)
    quiet = replace(decision((3.0, 4.0), (3.0, 5.0)), alternatives=(other,))
    (finding,) = (one for one in concerns(part((0, "ff")), quiet, DESK) if one.code == "P10")
    assert "T 2 3 |" in str(finding.advice)
