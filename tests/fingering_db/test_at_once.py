"""How to blow for two tones at once, and published pairs found with their published fingerings."""

import numpy as np
import pytest

from fingering_db.at_once import EASY, FIRM, OWN, SOFT, at_once
from fingering_db.fingering import Fingering
from fingering_db.model import Model, sound_of
from fingering_db.pitch import Pitch
from fingering_db.ranking import answers, eased, find, sounds, together_of


def hz(text):
    return tuple(Pitch.parse(name).hz() for name in text.split())


def test_the_published_pair_is_easy_at_less_air_than_either_takes_and_the_tone_held_there_speaks_first(made: Model):
    found = at_once(made, Fingering.parse("T 2 3 | Eb"), hz("C5 D6"))
    assert found is not None and found.share >= EASY and found.way == SOFT
    assert (found.first, found.second) == (1, 0)  # D6: at so little air the noise keeps C5 alive
    assert found.speed_m_s is not None and 8.0 <= found.speed_m_s[0] <= found.speed_m_s[1] <= 30.0
    assert found.share == pytest.approx(together_of(made, Fingering.parse("T 2 3 | Eb"), (516.0, 1169.7)), abs=1e-6)


@pytest.mark.parametrize("chord", ["C5 D6", "B4 C#6", "D5 F#6", "G#4 F#5"])
def test_nobody_is_told_to_seek_a_tone_at_air_that_does_not_hold_it_alone(made: Model, chord: str):
    best = find(made, tuple(map(Pitch.parse, chord.split())), 30.0, limit=1).best[0]
    found = at_once(made, best.fingering, hz(chord))
    assert found is not None and found.speed_m_s is not None and found.way in (FIRM, SOFT, OWN)
    heard = sounds(made, best.fingering)
    alone = [min(heard, key=lambda one, hz=hz: abs(one.hz - hz)).speed_m_s for hz in hz(chord)]
    if found.way == FIRM:  # the ranges of `sounds` are those of other jets: some room
        low, high = alone[found.first]
        assert low <= found.speed_m_s[1] * 1.3 and found.speed_m_s[0] <= high * 1.3
    else:
        assert not any(low <= found.speed_m_s[0] and found.speed_m_s[1] <= high for low, high in alone)


def test_of_three_the_least_easy_pair_is_told_and_one_pitch_has_none(made: Model):
    three = at_once(made, Fingering.parse("T 1 3 | tr2"), hz("D5+50 C#6 B6"))
    pairs = [at_once(made, Fingering.parse("T 1 3 | tr2"), hz(text)) for text in ("D5+50 C#6", "C#6 B6", "D5+50 B6")]
    assert three is not None and three.share == min(one.share for one in pairs if one)
    assert at_once(made, Fingering.parse("T 1 3 | tr2"), hz("C#6")) is None


def test_strong_tones_that_hardly_a_jet_sounds_at_once_lose_a_third_and_those_that_none_does_are_a_doubt_not_vetoed():
    assert eased(np.full(5, 0.9), np.array([0.0, 1e-9, 0.15, 0.4, np.nan])) == pytest.approx([0.45, 0.6, 0.9, 0.9, 0.9])


# C5 D6 and the notes of `T 1 3 | tr2`: Wolfe, Smith, Tann & Fletcher 2001, JSV 243:127.
@pytest.mark.parametrize(
    ("chord", "fingering", "within"),
    [
        ("C5 D6", "T 2 3 | Eb", 30.0),
        ("C#6 B6", "T 1 3 | tr2", 30.0),
        ("D5+50 B6", "T 1 3 | tr2", 30.0),
        ("D5+50 C#6", "T 1 3 | tr2", 30.5),  # one lip for both: a third of a cent beyond the tolerance (SOURCES.md)
        ("D5+50 C#6 B6", "T 1 3 | tr2", 30.5),
    ],
)
def test_published_combinations_are_found_with_their_fingerings(made: Model, chord, fingering, within):
    pitches = tuple(map(Pitch.parse, chord.split()))
    found = answers(made, pitches, within)
    at = np.flatnonzero(found.rows == sound_of(made, Fingering.parse(fingering)))
    assert len(at) == 1 and found.confidence[at[0]] >= 0.5


def test_c5_and_d6_come_first_with_the_published_fingering_and_a_published_silent_tone_with_none(made: Model):
    best = find(made, (Pitch.parse("C5"), Pitch.parse("D6")), 30.0, limit=3).best
    assert str(best[0].fingering) == "T 2 3 | Eb" and best[0].together >= EASY
    silent = together_of(made, Fingering.parse("T 1 3 | tr2"), (605.0, 1452.0))  # D5+50 with the silent F#6
    assert silent < together_of(made, Fingering.parse("T 1 3 | tr2"), (605.0, 1126.0))


def test_b4_and_c_sharp_6_are_found_with_the_fingering_that_sounds_them(made: Model):
    best = find(made, (Pitch.parse("B4"), Pitch.parse("C#6")), 30.0, limit=10).best
    assert "T 2 3 | 3 Eb" in [str(one.fingering) for one in best]
