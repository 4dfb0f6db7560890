import itertools

import pytest

from annotate.drawing import diagram
from fingering_db.fingering import Fingering

BREAKS_AN_IMPORTER = set('\\{$#"%')
LEFT = (("", "T", "Tb", "Tv"), ("", "1", "1v"), ("", "2", "2o", "2ov"), ("", "3"), ("", "G#"))
RIGHT = (("", "1", "1o", "1ov", "Bb"), ("", "2", "tr1"), ("", "3", "tr2"), ("", "Eb", "C#", "C", "B", "gz"))
FINGERINGS = [
    Fingering((*left, *right)) for left, right in itertools.product(itertools.product(*LEFT), itertools.product(*RIGHT))
][::97]


def test_the_best_known_multiphonic_is_drawn_left_hand_above_right_hand():
    assert diagram.rows(Fingering.parse("T 2 3 | Eb")) == ("○●● T", "○○○ E♭")


def test_no_finger_at_all_is_six_open_circles():
    assert diagram.rows(Fingering.parse("|")) == ("○○○", "○○○")


def test_side_and_foot_keys_follow_the_circles_with_proper_accidentals():
    assert diagram.rows(Fingering.parse("Tb 1 G# | Bb C#")) == ("●○○ T♭ G♯", "○○○ B♭ C♯")
    assert diagram.rows(Fingering.parse("T 1 2 3 | tr1 tr2 gz")) == ("●●● T", "○○○ tr1 tr2 gz")


def test_open_hole_open_vent_and_both_have_signs_of_their_own():
    upper, lower = diagram.rows(Fingering.parse("Tv 1v 2o 3ov | 1"))
    assert upper.split() == ["◉◎◐", "Tv"]
    assert lower == "●○○"
    assert len({*upper[:3], "●", "○"}) == 5


def test_the_plain_form_says_the_same_with_plain_circles():
    assert diagram.plain_rows(Fingering.parse("T 2 3 | Eb")) == ("-@@ T", "--- E♭")
    assert diagram.plain_rows(Fingering.parse("T 1 2 3 G# | 1o 2 3 C#")) == ("@@@ T G♯", "o@@ C♯")


@pytest.mark.parametrize("draw", [diagram.rows, diagram.plain_rows])
def test_every_fingering_has_two_rows_of_three_keys_and_no_character_that_breaks_an_importer(draw):
    for fingering in FINGERINGS:
        rows = draw(fingering)
        assert len(rows) == 2
        assert all(len(row.split()[0]) == 3 for row in rows), fingering
        assert not BREAKS_AN_IMPORTER & set("".join(rows)), fingering
        assert draw is diagram.rows or "".join(rows).translate({ord("♯"): "#", ord("♭"): "b"}).isascii()


@pytest.mark.parametrize("draw", [diagram.rows, diagram.plain_rows])
def test_different_fingerings_never_look_alike(draw):
    assert len({draw(one) for one in FINGERINGS}) == len(FINGERINGS)


def test_only_the_signs_tried_in_notation_programs_are_used():
    assert set(diagram.PLAIN_SIGNS) <= set("\u25cf\u25cb\u25d0\u25c9\u25ce\u29bf")
