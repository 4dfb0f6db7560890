"""How to blow for two tones at once, and published pairs found with their published fingerings."""

import numpy as np
import pytest

from fingering_db.at_once import EASY, at_once
from fingering_db.fingering import Fingering
from fingering_db.model import Model, sound_of
from fingering_db.pitch import Pitch
from fingering_db.ranking import answers, eased, find, sounds, together_of


def hz(text):
    return tuple(Pitch.parse(name).hz() for name in text.split())


def test_the_published_pair_is_easy_and_soft_and_the_surer_tone_is_sought_first(made: Model):
    found = at_once(made, Fingering.parse("T 2 3 | Eb"), hz("C5 D6"))
    assert found is not None and found.share >= EASY
    assert (found.first, found.second, found.soft) == (0, 1, True)
    held = {round(one.hz): one.holds for one in sounds(made, Fingering.parse("T 2 3 | Eb"))}
    assert held[516] > held[1170]  # C5 against D6
    assert found.speed_m_s is not None and 8.0 <= found.speed_m_s[0] <= found.speed_m_s[1] <= 30.0
    assert found.share == pytest.approx(together_of(made, Fingering.parse("T 2 3 | Eb"), (516.0, 1169.7)), abs=1e-6)


def test_of_three_the_least_easy_pair_is_told_and_one_pitch_has_none(made: Model):
    three = at_once(made, Fingering.parse("T 1 3 | tr2"), hz("D5+50 C#6 B6"))
    pairs = [at_once(made, Fingering.parse("T 1 3 | tr2"), hz(text)) for text in ("D5+50 C#6", "C#6 B6", "D5+50 B6")]
    assert three is not None and three.share == min(one.share for one in pairs if one)
    assert at_once(made, Fingering.parse("T 1 3 | tr2"), hz("C#6")) is None


def test_strong_tones_that_no_jet_sounds_at_once_lose_a_third_and_are_not_vetoed():
    assert eased(np.array([0.9, 0.9, 0.9, 0.9]), np.array([0.0, 0.15, 0.4, np.nan])) == pytest.approx(
        [0.6, 0.9, 0.9, 0.9]
    )


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
