"""What hands would do: efforts, awkward holds, and answers that differ in sound or hand."""

from itertools import combinations

import numpy as np
import pytest

from fingering_db.fingering import Fingering
from fingering_db.hand import AWKWARD, awkward, effort_of
from fingering_db.idle import IDLE_CENTS
from fingering_db.mechanism import chart_of
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.ranking import find
from fingering_db.touches import HELD

DYADS = ["C5 D6", "B4 C#6", "C#5 F#5", "E5 C#6", "A4 B5", "F5 D6"]


def names(text: str) -> set[str]:
    return {one.name for one in awkward(Fingering.parse(text))}


def test_the_efforts_of_all_fingerings_at_once_are_those_of_each(made: Model) -> None:
    for number in range(0, len(made.reach.placements), 97):
        assert made.effort[number] == pytest.approx(effort_of(made.reach.fingering(number)))


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("T 2 3 |", "no foot key"),
        ("T 1 2 3 G# | C#", "G sharp with a low foot key"),
        ("T 1 2 3 | 1 3 tr1", "trill key between closed fingers, right 2"),
        ("T 1 2 3 | 2 tr2 Eb", "trill key between closed fingers, right 3"),
        ("2 |", "nothing left to hold the flute by"),
    ],
)
def test_an_awkward_hold_is_known_and_costs(text: str, name: str) -> None:
    assert name in names(text)
    touches = sum(held.touch.effort for held in Fingering.parse(text).held)
    assert effort_of(Fingering.parse(text)) > touches


def test_no_note_of_the_chart_is_awkward_but_for_a_lifted_little_finger(made: Model) -> None:
    for note in chart_of(made.instrument):
        assert names(str(note.fingering)) <= {"no foot key"}, str(note.pitch)


def test_every_way_of_holding_names_touches_that_exist() -> None:
    for one in AWKWARD:
        for finger, touches in one.fingers.items():
            assert all(touch == "" or (finger, touch) in HELD for touch in touches), one.name


@pytest.mark.parametrize("dyad", DYADS)
def test_answers_differ_in_sound_or_hand_never_only_by_an_idle_key(made: Model, dyad: str) -> None:
    best = find(made, tuple(map(Pitch.parse, dyad.split())), 60.0, limit=20).best
    assert len(best) > 3
    for one, two in combinations(best, 2):
        moved = [a != b for a, b in zip(one.fingering.touches[:-1], two.fingering.touches[:-1], strict=True)]
        heard = np.abs(np.subtract(one.deviation_cents, two.deviation_cents)).max()
        # An answer that stepped aside for the one with E flat was within IDLE_CENTS of it: twice as much in all.
        assert sum(moved) > 1 or heard > 1.0, (
            f"{one.fingering}, {two.fingering}: {heard:.1f} cents, {IDLE_CENTS} are idle"
        )


def test_the_best_known_multiphonic_is_held_with_the_little_finger_on_e_flat(made: Model) -> None:
    best = find(made, (Pitch.parse("C5"), Pitch.parse("D6")), 30.0, limit=10).best
    assert str(best[0].fingering) == "T 2 3 | Eb"
    assert sum(one.fingering.touches[:5] == best[0].fingering.touches[:5] for one in best) < 4
