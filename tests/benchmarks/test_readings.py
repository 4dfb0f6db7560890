"""The reading of chords on scores made for it: no false multiphonic, none with a word missed. The table gets into the README."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import readings
from generated_scores import HELD, PLAYERS, SCORES, TIMBRAL, TREMOLO, WORDED, generated
from readme import README, filled


def test_no_chord_of_two_players_is_a_multiphonic_and_none_with_a_word_is_missed() -> None:
    tally = readings.judged()
    assert tally.of(PLAYERS, readings.MULTIPHONIC) == 0
    assert tally.notes == 0
    for truth in (TREMOLO, TIMBRAL):
        assert tally.of(truth, readings.MULTIPHONIC) == tally.all_of(truth) >= SCORES // 2
    for truth in (WORDED, HELD):
        assert tally.all_of(truth) > 100
        assert tally.of(truth, readings.MULTIPHONIC) == tally.all_of(truth)
    assert tally.all_of(PLAYERS) > 500


def test_the_table_stands_in_the_readme() -> None:
    text = README.read_text(encoding="utf-8")
    assert filled(text, "readings", readings.table(readings.judged())) == text


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 11))
def test_scores_of_other_seeds_are_read_as_surely(seed: int) -> None:
    tally = readings.Tally()
    for score in generated(seed):
        readings.judge(score, tally)
    assert tally.wrong == []


def test_the_scores_are_the_same_every_time_and_of_all_sizes_and_languages() -> None:
    first, again = list(generated(count=22)), list(generated(count=22))
    assert [one.data for one in first] == [one.data for one in again]
    assert len(list(generated())) == SCORES
    sizes = {one.data.count(b"<score-part ") for one in first}
    assert sizes == {1, 2, 3, 4, 5, 8, 14, 18, 24, 30, 36}
