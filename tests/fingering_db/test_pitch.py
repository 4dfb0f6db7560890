"""Pitches, against music21."""

import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fingering_db.pitch import Pitch, PitchError

SPELLED = st.builds(
    Pitch, st.sampled_from("CDEFGAB"), st.integers(-2, 2), st.integers(0, 8), st.integers(-60, 60).map(float)
)


@given(SPELLED)
def test_number_and_frequency_are_those_of_music21(pitch: Pitch) -> None:
    accidental = {-2: "--", -1: "-", 0: "", 1: "#", 2: "##"}[pitch.alter]
    other = music21.pitch.Pitch(f"{pitch.step}{accidental}{pitch.octave}")
    other.microtone = pitch.cents
    assert pitch.midi == pytest.approx(other.ps, abs=1e-6)
    assert pitch.hz() == pytest.approx(other.frequency, rel=1e-6)


@given(SPELLED)
def test_what_is_written_is_read_back(pitch: Pitch) -> None:
    assert Pitch.parse(str(pitch)) == pitch


@given(st.floats(12.0, 110.0))
def test_the_nearest_note_is_within_half_a_semitone(midi: float) -> None:
    near = Pitch.from_midi(midi)
    assert -50.0 < near.cents <= 50.0
    assert near.midi == pytest.approx(midi, abs=1e-6)


@given(st.floats(12.0, 110.0), st.sampled_from([415.0, 440.0, 442.0]))
def test_a_frequency_comes_back(midi: float, a4: float) -> None:
    hz = Pitch.from_midi(midi).hz(a4)
    assert Pitch.from_hz(hz, a4).hz(a4) == pytest.approx(hz, rel=1e-8)


@pytest.mark.parametrize(
    ("text", "midi"), [("a4", 69.0), ("C5+50", 72.5), ("B♭3", 58.0), ("F##4", 67.0), ("Cb4", 59.0)]
)
def test_pitches_are_read_as_musicians_write_them(text: str, midi: float) -> None:
    assert Pitch.parse(text).midi == midi


@pytest.mark.parametrize("text", ["", "H4", "C", "C4+", "C###4", "440", "C4 D4"])
def test_what_is_no_pitch_is_refused_with_what_was_expected(text: str) -> None:
    with pytest.raises(PitchError, match="expected a note with octave"):
        Pitch.parse(text)


@given(SPELLED, st.integers(-24, 24))
def test_moving_by_semitones_moves_the_number(pitch: Pitch, semitones: int) -> None:
    assert pitch.transposed(semitones).midi == pytest.approx(pitch.midi + semitones, abs=1e-6)


def test_octaves_keep_the_spelling() -> None:
    assert str(Pitch.parse("Bb3").transposed(12)) == "Bb4"
    assert str(Pitch.parse("Bb3").transposed(1)) == "B3"
