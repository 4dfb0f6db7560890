"""Fingerings as text."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fingering_db.chart import chart
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import load
from fingering_db.mechanism import choices
from fingering_db.touches import FINGERS

TOUCHES = [[option.touch for option in options] for options in choices(load("open-hole-b"))]
# Every suffix and the gizmo, for flutes with vents; typed from the description of the notation.
ALL_TOUCHES = [
    ["", "T", "Tv", "Tb"],
    ["", "1", "1v"],
    ["", "2", "2o", "2v", "2ov"],
    ["", "3", "3o", "3v", "3ov"],
    ["", "G#"],
    ["", "1", "1o", "1v", "1ov", "Bb"],
    ["", "2", "2o", "tr1"],
    ["", "3", "3o", "tr2"],
    ["", "Eb", "C#", "C", "B", "gz"],
]
PLACED = st.tuples(*(st.sampled_from(options) for options in ALL_TOUCHES)).map(Fingering)


def test_the_flute_uses_no_touch_beyond_the_notation() -> None:
    assert all(set(own) <= set(every) for own, every in zip(TOUCHES, ALL_TOUCHES, strict=True))
    assert len(FINGERS) == len(ALL_TOUCHES)


@given(PLACED)
def test_what_is_written_is_read_back(fingering: Fingering) -> None:
    assert Fingering.parse(str(fingering)) == fingering


@given(PLACED, st.randoms(use_true_random=False))
def test_case_order_blanks_and_signs_are_forgiven(fingering: Fingering, chance: object) -> None:
    left, right = str(fingering).split("|")
    hands = []
    for hand in (left, right):
        tokens = hand.split()
        chance.shuffle(tokens)  # type: ignore[attr-defined]
        hands.append("  ".join(token.upper() if chance.random() < 0.5 else token.lower() for token in tokens))  # type: ignore[attr-defined]
    text = "|".join(hands).replace("#", "♯")
    assert Fingering.parse(text) == fingering
    assert str(Fingering.parse(text)) == str(fingering)


@given(PLACED)
def test_each_finger_stands_once_and_hands_are_parted_by_one_bar(fingering: Fingering) -> None:
    text = str(fingering)
    assert text.count("|") == 1
    assert len(text.replace("|", " ").split()) == sum(bool(touch) for touch in fingering.touches)


def test_the_chart_is_written_as_it_is_written() -> None:
    assert str(Fingering.parse("t 1 2 3|c 3 2 1")) == "T 1 2 3 | 1 2 3 C"
    assert str(Fingering.parse(" | ")) == "|"
    assert str(Fingering.parse("2OV 3o tv | BB eb")) == "Tv 2ov 3o | Bb Eb"
    for note in chart("flute"):
        assert Fingering.parse(str(note.fingering)) == note.fingering


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("T 2 3 Eb", r"expected left hand \| right hand, for example T 2 3 \| Eb"),
        ("T | 1 | Eb", r"expected left hand \| right hand"),
        ("", r"expected left hand \| right hand"),
        ("T 4 | Eb", r"'4' is no left-hand touch; expected T Tb 1 2 3 G#"),
        ("T 1o | Eb", r"'1o' is no left-hand touch"),
        ("T | 2v", r"'2v' is no right-hand touch; expected 1 2 3 Bb tr1 tr2 Eb C# C B gz"),
        ("T,2,3 | Eb", r"'T,2,3' is no left-hand touch"),
        ("T 23 | Eb", r"'23' is no left-hand touch"),
        ("T 2 2o | Eb", r"2 and 2o need the same finger \(L2\)"),
        ("T | 2 tr1", r"2 and tr1 need the same finger \(R2\)"),
        ("T | C B", r"C and B need the same finger \(R4\)"),
        ("Eb | T", r"'Eb' is no left-hand touch"),
    ],
)
def test_malformed_text_is_refused_with_what_was_expected(text: str, said: str) -> None:
    with pytest.raises(FingeringError, match=said):
        Fingering.parse(text)


@given(st.text(max_size=30))
def test_any_other_text_is_refused_or_read_never_anything_else(text: str) -> None:
    try:
        fingering = Fingering.parse(text)
    except FingeringError as error:
        assert "expected" in str(error) or "need the same finger" in str(error)
    else:
        assert Fingering.parse(str(fingering)) == fingering
