"""The log on the disk: whole lines, torn ends, many writers; its table, given back and merged."""

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fingering_db import log_table, player_log
from fingering_db.fingering import Fingering
from fingering_db.log_table import not_lost, write
from fingering_db.pitch import Pitch
from fingering_db.played import PlayedError
from fingering_db.player_log import add, new_id, read
from fingering_db.trials import Trial

PITCHES = (Pitch.parse("C5"), Pitch.parse("Bb5-12.5"))
ONE = Trial("a1", "2026-05-02T19:30:00+00:00", "", "open-hole-b", "", Fingering.parse("T 2 3 | Eb"), PITCHES, True)
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=30).map(lambda text: text.strip())


def trials(count: int) -> list[Trial]:
    return [
        replace(ONE, id=new_id(), remark=f'the {number}th, "so"\nit\'s', worked=number % 2 == 0)
        for number in range(count)
    ]


def test_what_was_added_is_read_in_its_order_and_once(tmp_path: Path) -> None:
    where, some = tmp_path / "data/log", trials(5)
    assert read(where) == player_log.Log()
    assert add(where, some[:3]) == tuple(some[:3])
    assert add(where, some) == tuple(some[3:])
    assert add(where, some) == ()
    assert read(where) == player_log.Log(tuple(some))
    assert oct(where.stat().st_mode)[-3:] == "600"


def test_a_line_that_a_killed_run_left_is_set_aside_wherever_it_was_cut(tmp_path: Path) -> None:
    where, (first, second, third) = tmp_path / "log", trials(3)
    add(where, [first])
    whole = where.read_bytes()
    add(where, [second])
    both = where.read_bytes()
    for cut in range(len(whole) + 1, len(both), 7):
        where.write_bytes(both[:cut])
        assert read(where).trials == ((first, second) if cut == len(both) - 1 else (first,))
        add(where, [third])
        assert read(where) == player_log.Log((first, third), 1)
        assert where.read_bytes().startswith(both[:cut])
    where.write_bytes(both[:-1])  # all but the end of the line
    add(where, [third])
    assert read(where) == player_log.Log((first, second, third))


def test_a_damaged_line_costs_that_line_alone(tmp_path: Path) -> None:
    where, some = tmp_path / "log", trials(3)
    add(where, some)
    whole = bytearray(where.read_bytes())
    for at in range(0, whole.index(b"\n"), 11):
        where.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        assert read(where) == player_log.Log(tuple(some[1:]), 1)


def _adds(where: str) -> list[Trial]:
    mine = trials(12)
    for one in mine:
        add(Path(where), [one])
    return mine


def test_writers_at_the_same_time_lose_nothing(tmp_path: Path) -> None:
    where = tmp_path / "log"
    with ProcessPoolExecutor(4, mp_context=get_context("fork")) as pool:
        said = [one for own in pool.map(_adds, [str(where)] * 4) for one in own]
    log = read(where)
    assert not log.left_aside
    assert sorted(log.trials, key=lambda one: one.id) == sorted(said, key=lambda one: one.id)


def test_what_is_no_log_is_told_and_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "log"
    folder.mkdir()
    with pytest.raises(player_log.LogError):
        add(folder, [ONE])
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(player_log.LogError, match="is no file"):
        read(pipe)


def test_the_log_is_where_the_variable_says_and_nowhere_where_it_says_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert player_log.path() is None  # in tests nobody's own log is touched
    monkeypatch.setenv("VENTWISE_DATA", str(tmp_path))
    assert player_log.path() == tmp_path / player_log.NAME
    monkeypatch.delenv("VENTWISE_DATA")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    assert player_log.path() == tmp_path / "home/ventwise" / player_log.NAME


@given(TEXT, TEXT, TEXT, st.floats(-99, 99), st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_table_gives_back_what_was_written(flute: str, remark: str, source: str, cents: float, worked: bool) -> None:
    pitch = Pitch.parse(player_log.exact(Pitch("C", 1, 5, cents)))
    # A carriage return alone is an end of line to whatever reads the table.
    texts = {
        "flute": flute or "mine",
        "remark": remark.replace("\r", " ").strip(),
        "source": source.replace("\r", " ").strip(),
    }
    one = replace(
        ONE, pitches=(pitch,), worked=worked, **{**texts, "flute": texts["flute"].replace("\r", " ").strip() or "x"}
    )
    table = write([one])
    assert log_table.read(table.encode("utf-8"), "", "") == (one,)
    assert not any(cell.startswith(("=", "@")) for cell in table.replace('"', ",").split(","))


def test_logs_of_two_players_merge_without_loss_and_tell_whose_they_are() -> None:
    mine, theirs = trials(3), trials(2)
    rows = log_table.read(write(theirs).encode(), "kim.csv", "kim")
    assert {(one.player, one.source) for one in rows} == {("kim", "kim.csv")}
    merged = (*mine, *not_lost(rows, mine))
    assert len(merged) == 5
    # Back at the other player's, who exports all again: each trial once, with who tried it.
    back = log_table.read(write(merged).encode(), "ada.csv", "ada")
    own = [replace(one, player="kim") for one in theirs]
    added = not_lost(back, own)
    assert [one.player for one in added] == ["ada"] * 3
    assert not_lost(back, (*own, *added)) == ()


def test_the_same_id_with_another_content_loses_neither() -> None:
    changed = replace(ONE, worked=False)
    (kept,) = not_lost([changed], [ONE])
    assert kept.id != ONE.id and replace(kept, id=ONE.id) == changed
    assert not_lost([changed], [ONE, kept]) == ()


def test_rows_without_an_id_are_told_apart_and_are_the_same_when_read_again() -> None:
    table = b"flute,fingering,outcome\nmine,T 2 3 | Eb,worked\nmine,T 2 3 | Eb,worked\nmine,T 2 3 | Eb,failed\n"
    once, again = (log_table.read(table, name, "") for name in ("a.csv", "b.csv"))
    assert len({one.id for one in once}) == 3
    assert not_lost(again, once) == ()


def test_every_mistake_of_a_table_is_told() -> None:
    table = "flute,fingering,outcome,pitches,time,id\n,T 9 |,maybe,H4,noon,ä\nmine,1 |,worked,C5,2026-05-02,x\n"
    with pytest.raises(PlayedError) as raised:
        log_table.read(table.encode(), "", "")
    told = [dict(one.values)["column"] for one in raised.value.mistakes]
    assert told == ["fingering", "pitches", "outcome", "time", "flute", "id"]
    with pytest.raises(PlayedError):
        log_table.read(b"", "", "")
    with pytest.raises(PlayedError):
        log_table.read(b"fingering,outcome\n", "", "")
