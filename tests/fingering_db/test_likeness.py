"""What is offered in the place of a multiphonic (invented pitches)."""

import math

import numpy as np
import pytest

from fingering_db.model import Model
from fingering_db.nearby import _best, difference, harmonic, moved, nearby
from fingering_db.pitch import Pitch


def midi(text: str) -> np.ndarray:
    return np.array([Pitch.parse(name).midi for name in text.split()])


@pytest.mark.parametrize(
    ("asked", "liker", "less"),
    [
        ("C5 D6", "C5 C#6", "B4 D6"),  # a ninth stays one
        ("C5 E5", "C5 F5", "C#5 F#5"),  # a note is kept
        ("C5 F5", "C5 G5", "C5 A5"),  # fourths and fifths are of a kind
        ("D5 C#6", "D#5 D6", "D5 D5+50"),  # a seventh moved is more like it than another interval on the same note
        ("A4 B5", "A4 A#5", "A5 B5"),  # the register stays
    ],
)
def test_the_more_musical_of_two_sets_is_liker(asked: str, liker: str, less: str) -> None:
    near, far = difference(np.stack([midi(liker), midi(less)]), midi(asked))
    assert near < far


def test_the_set_itself_does_not_differ() -> None:
    assert difference(midi("C5 D6")[None, :], midi("C5 D6"))[0] == 0.0


def test_a_quarter_tone_is_kept_in_a_chord_but_not_by_the_semitone_beside_a_note_alone() -> None:
    assert moved(midi("C5 D6")[None, :], midi("C5+50 D6")).tolist() == [[0.0, 0.0]]
    assert moved(np.stack([midi("C5"), midi("C#5"), midi("B4")]), midi("C5+50")).tolist() == [[0.5], [0.5], [1.5]]


def test_beside_a_quarter_tone_the_semitones_around_it_are_offered_first(made: Model) -> None:
    found = nearby(made, (Pitch.parse("F4+50"),), 20.0)
    assert {str(one.pitches[0]) for one in found[:2]} == {"F4", "F#4"}
    assert [one.moved for one in found[:2]] == [0.5, 0.5]


def test_octaves_twelfths_and_whole_harmonic_rows_are_one_note() -> None:
    assert harmonic(np.stack([midi("C5 C6"), midi("C5 G6"), midi("C5 D6")])).tolist() == [True, True, False]
    assert harmonic(np.stack([midi("C4 C5 G5"), midi("C4 C5 A5")])).tolist() == [True, False]


@pytest.mark.parametrize("asked", ["E5 F5", "G5 D6", "C#4 D#4", "A5 B5"])
def test_a_multiphonic_is_replaced_by_multiphonics_that_are_not_one_note(made: Model, asked: str) -> None:
    found = nearby(made, tuple(map(Pitch.parse, asked.split())), 30.0)
    for one in found:
        notes = np.array([pitch.midi for pitch in one.pitches])
        assert len(notes) == 2 and one.candidate.confidence >= 0.5
        assert not harmonic(notes[None, :])[0]
        assert one.candidate.worst_cents <= 30.0


@pytest.mark.parametrize("asked", ["C5 D#6", "D5 E6 C#7"])
def test_what_is_kept_of_a_set_is_what_a_search_tells_first(
    made: Model, monkeypatch: pytest.MonkeyPatch, asked: str
) -> None:
    pitches = tuple(map(Pitch.parse, asked.split()))
    kept = nearby(made, pitches, 30.0)
    monkeypatch.setattr("fingering_db.nearby._KEPT_TOLERANCE", math.nan)  # so everything is searched for
    _best.cache_clear()
    assert kept and nearby(made, pitches, 30.0) == kept
