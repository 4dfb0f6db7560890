"""Waiting for saves: each is told once, and only when it is complete."""

from itertools import islice
from pathlib import Path

from annotate.watching import look, saves

SCORE = Path("a.musicxml")


def told(looks, count):
    """How many looks had been taken when each of the first `count` paths was told."""
    taken = []

    def seen(_path):
        taken.append(1)
        return looks[min(len(taken), len(looks)) - 1]

    return [len(taken) for _ in islice(saves([SCORE], every=0.0, pause=lambda _: None, seen=seen), count)]


def test_a_score_is_told_at_once_and_again_after_a_save():
    assert told([(1, 10, 7), (1, 10, 7), (2, 12, 7), (2, 12, 7)], 2) == [1, 4]


def test_a_file_written_in_two_halves_is_told_once_when_it_is_whole():
    assert told([(1, 10, 7), (2, 3, 7), (3, 9, 7), (3, 9, 7), (3, 9, 7), (4, 10, 7), (4, 10, 7)], 3) == [1, 4, 7]


def test_a_new_file_renamed_over_the_old_one_is_a_save():
    assert told([(1, 10, 7), None, (1, 10, 8), (1, 10, 8)], 2) == [1, 4]


def test_a_look_at_a_file_tells_its_size_and_none_where_there_is_no_file(tmp_path):
    path = tmp_path / "a"
    assert look(path) is None
    path.write_bytes(b"abc")
    found = look(path)
    assert found is not None and found[1] == 3
