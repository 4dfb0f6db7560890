from __future__ import annotations

import itertools
import json
import random
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from report_samples import demand, place, playable, rich_result, two_flutes
from test_command_line import fails_with_one_line
from test_report_json import SCHEMA, faults

from annotate import since
from annotate.cli import cli
from annotate.decision import Decision, Result
from annotate.findings import InputError
from annotate.report import json_report, text
from fingering_db.fingering import Fingering

COMPOSER = Path(__file__).parents[2] / "examples/composer/low-water.musicxml"
# An invented draft: (bar, beat, pitches, status).
DRAFT = [
    ("2", 1, "C5 D6", "playable"),
    ("3", 1, "B4 C#6", "doubtful"),
    ("5", 1, "C5 D6", "playable"),
    ("6", 2, "C#5 C6", "unplayable"),
    ("9", 1, "C5 D6", "playable"),
    ("12", 3, "E5 F6", "unplayable"),
]  # fmt: skip


def draft(rows, part: str = "Flute", part_id: str = "P1", fingering: str = "T 2 3 | Eb") -> list[Decision]:
    """An invented draft as decisions."""
    return [
        playable(
            demand(number, place(bar, beat, part, part_id=part_id), asked),
            status=status,
            fingering="" if status == "unplayable" else fingering,
        )
        for number, (bar, beat, asked, status) in enumerate(rows, start=1)
    ]


def result(*decisions: Decision) -> Result:
    named = [replace(one, demand=replace(one.demand, id=f"d{number}")) for number, one in enumerate(decisions, start=1)]
    return Result("invented.musicxml", ("open-hole-b",), tuple(named), parts_read=("Flute",))


def stored(tmp_path: Path, old: Result) -> Path:
    path = tmp_path / "old.json"
    path.write_text(json_report.render(old), encoding="utf-8")
    return path


def compared(tmp_path: Path, old: Result, new: Result) -> since.Since:
    return since.compare(since.load(stored(tmp_path, old)), new)


def figures(found: since.Since) -> tuple[int, int, int, int, int]:
    """new, solved, changed, gone, unchanged"""
    return len(found.new), len(found.solved), len(found.changed), len(found.gone), found.unchanged


@pytest.mark.parametrize("one", [rich_result(), two_flutes(), Result("empty.xml", ("alto",))])
def test_a_report_compared_with_itself_has_no_changes(tmp_path, one):
    assert figures(compared(tmp_path, one, one)) == (0, 0, 0, 0, len(one.first_flute()))


def test_inserted_bars_make_nothing_new(tmp_path):
    moved = [(str(int(bar) + 4 * (int(bar) > 4)), beat, asked, status) for bar, beat, asked, status in DRAFT]
    assert figures(compared(tmp_path, result(*draft(DRAFT)), result(*draft(moved)))) == (0, 0, 0, 0, 6)


def test_a_chord_put_in_among_equal_ones_is_the_new_one(tmp_path):
    same = [(str(bar), 1, "C5 D6", "playable") for bar in (2, 4, 9, 11)]
    more = [*same[:2], ("6", 1, "C5 D6", "playable"), *same[2:]]
    found = compared(tmp_path, result(*draft(same)), result(*draft(more)))
    assert [entry.bar for entry in found.new] == ["6"] and found.unchanged == 4


def test_a_chord_rewritten_at_its_place_is_the_same_demand(tmp_path):
    new = list(DRAFT)
    new[3] = ("6", 2, "C5 C#6", "playable")
    found = compared(tmp_path, result(*draft(DRAFT)), result(*draft(new)))
    assert figures(found) == (0, 1, 0, 0, 5)
    (pair,) = found.solved
    assert [str(pitch) for pitch in pair.was.pitches] == ["C#5", "C6"]
    assert pair.now and [str(pitch) for pitch in pair.now.pitches] == ["C5", "C#6"]


def test_a_chord_rewritten_after_inserted_bars_is_still_found(tmp_path):
    new = [(str(int(bar) + 3), beat, asked, status) for bar, beat, asked, status in DRAFT]
    new[3] = ("9", 2, "C5 C#6", "playable")
    assert figures(compared(tmp_path, result(*draft(DRAFT)), result(*draft(new)))) == (0, 1, 0, 0, 5)


def test_what_is_not_asked_any_more_is_solved_if_it_was_a_problem_and_gone_otherwise(tmp_path):
    found = compared(tmp_path, result(*draft(DRAFT)), result(*draft([DRAFT[2], DRAFT[4], DRAFT[5]])))
    assert figures(found) == (0, 2, 0, 1, 3)
    assert [pair.now for pair in found.solved] == [None, None]
    assert [entry.bar for entry in found.gone] == ["2"]


def test_a_worse_status_another_fingering_and_other_pitches_are_changes(tmp_path):
    new = draft([("2", 1, "C5 D6", "doubtful"), *DRAFT[1:4], ("9", 1, "C5 Eb6", "playable"), DRAFT[5]])
    new[2] = replace(new[2], fingering=Fingering.parse("T 2 3 |"))
    found = compared(tmp_path, result(*draft(DRAFT)), result(*new))
    assert figures(found) == (0, 0, 3, 0, 3)


def test_another_spelling_is_no_change(tmp_path):
    new = [(bar, beat, asked.replace("C#", "Db"), status) for bar, beat, asked, status in DRAFT]
    assert figures(compared(tmp_path, result(*draft(DRAFT)), result(*draft(new)))) == (0, 0, 0, 0, 6)


def test_a_piece_moved_by_a_semitone_has_changed_everywhere_and_nothing_is_new(tmp_path):
    higher = {"C5 D6": "C#5 D#6", "B4 C#6": "C5 D6", "C#5 C6": "D5 C#6", "E5 F6": "F5 F#6"}
    new = [(bar, beat, higher[asked], status) for bar, beat, asked, status in DRAFT]
    found = compared(tmp_path, result(*draft(DRAFT)), result(*draft(new)))
    assert (len(found.new), len(found.gone)) == (0, 0)
    assert len(found.changed) + len(found.solved) == 6


def test_parts_are_compared_by_name_when_their_ids_have_moved(tmp_path):
    old = draft(DRAFT, "Flute 1", "P1") + draft(DRAFT[:2], "Flute 2", "P2", fingering="Tb |")
    new = draft(DRAFT, "Flute 1", "P2") + draft(DRAFT[:2], "Flute 2", "P3", fingering="Tb |")
    assert figures(compared(tmp_path, result(*old), result(*new))) == (0, 0, 0, 0, 8)
    gone = compared(tmp_path, result(*old), result(*draft(DRAFT[:2], "Flute 2", "P1", fingering="Tb |")))
    assert gone.unchanged == 2 and len(gone.solved) + len(gone.gone) == 6


def test_cutting_and_inserting_at_random_keeps_every_untouched_demand(tmp_path):
    # Every chord is different here, so that what stays is known.
    chance = random.Random(7)
    notes = [f"{step}{octave}" for octave in (4, 5) for step in "CDEFGAB"]
    old = [(str(3 * n), 1, f"{a} {b}", "playable") for n, (a, b) in enumerate(itertools.pairwise(notes), 1)]
    for _ in range(20):
        kept = sorted(chance.sample(range(len(old)), 8))
        shift, new = 0, []
        for index in kept:
            shift += chance.choice((0, 0, 1, 5))
            bar, beat, asked, status = old[index]
            new.append((str(int(bar) + shift), beat, asked, status))
        found = compared(tmp_path, result(*draft(old)), result(*draft(new)))
        assert (len(found.new), found.unchanged, len(found.gone)) == (0, 8, len(old) - 8)


def test_the_counts_add_up_whatever_two_drafts_hold(tmp_path):
    chance = random.Random(11)
    for _ in range(60):
        drafts = []
        for _ in range(2):
            bars = sorted(chance.sample(range(1, 30), 10))
            rows = [
                (str(bar), chance.choice((1, 2)), chance.choice(("C5 D6", "B4 C#6", "E5 F6")),
                 chance.choice(("playable", "doubtful", "unplayable")))
                for bar in bars
            ]  # fmt: skip
            drafts.append(draft(rows))
        found = compared(tmp_path, result(*drafts[0]), result(*drafts[1]))
        paired = len([pair for pair in found.solved if pair.now]) + len(found.changed) + found.unchanged
        vanished = len([pair for pair in found.solved if not pair.now]) + len(found.gone)
        assert (paired + vanished, paired + len(found.new)) == (10, 10)


def test_a_long_piece_is_compared_in_a_moment(tmp_path):
    import time

    rows = [(str(bar), beat, "C5 D6", "playable") for bar in range(1, 1001) for beat in (1, 3)]
    cut = [(bar, beat, "C5 D#6" if int(bar) % 50 == 0 else asked, status) for bar, beat, asked, status in rows[100:]]
    old, new = since.load(stored(tmp_path, result(*draft(rows)))), result(*draft(cut))
    begin = time.process_time()
    found = since.compare(old, new)
    assert time.process_time() - begin < 3.0
    assert (len(found.changed), len(found.new), len(found.gone)) == (38, 0, 100)


def test_the_json_report_with_changes_fits_its_schema(tmp_path):
    new = result(*draft([*DRAFT[1:3], ("6", 2, "C5 C#6", "playable"), ("30", 1, "E5 F6", "playable")]))
    data = json.loads(json_report.render(new, compared(tmp_path, result(*draft(DRAFT)), new)))
    assert faults(data, SCHEMA) == []
    assert list(data)[-1] == "since"
    assert data["since"]["unchanged"] == 2
    ids = [one["id"] for key in ("new", "solved", "changed") for one in data["since"][key] if one["id"]]
    assert set(ids) <= {one["id"] for one in data["demands"]}


def test_what_is_gone_from_a_part_without_a_name_is_told_in_the_language_of_the_report(tmp_path):
    def at(bar, part_id):
        number = int(part_id[1:])
        return playable(demand(number, place(bar, 1, f"Part {number}", part_id=part_id, number=number), "C5 D6"))

    old, new = result(at("1", "P1"), at("9", "P3"), at("9", "P4")), result(at("1", "P1"), at("2", "P3"), at("4", "P3"))
    told = text.render(new, language="de", since=compared(tmp_path, old, new))
    assert "Stimme 4, Takt 9" in " ".join(told.replace("\u00a0", " ").split()) and "Part" not in told
    named = result(*draft(DRAFT[:1], "Part 4", "P4"), *draft(DRAFT, "Part 3", "P3"))
    changed = compared(tmp_path, named, result(*draft(DRAFT[:1], "Part 4", "P4")))
    assert {one.was.number for one in changed.solved if one.was.part == "Part 4"} <= {0}


def test_a_report_of_a_score_of_another_name_is_told(tmp_path):
    old, new = result(*draft(DRAFT)), replace(result(*draft(DRAFT)), score="scores/other.musicxml")
    for now, told in ((new, True), (replace(old, score="elsewhere/invented.musicxml"), False)):
        lines = " ".join(text.render(now, since=compared(tmp_path, old, now)).split())
        assert ("made from 'invented.musicxml', and this is 'other.musicxml'" in lines) == told


def test_the_text_report_tells_the_changes_first(tmp_path):
    new = [*DRAFT[:1], ("4", 1, "E5 F6", "playable"), *DRAFT[1:]]
    new[4] = ("6", 2, "C5 C#6", "playable")
    told = text.render(result(*draft(new)), since=compared(tmp_path, result(*draft(DRAFT)), result(*draft(new))))
    section = " ".join(told.split("\n\n")[2].split())
    assert section.endswith(
        "1 new, 1 solved, 0 changed, 0 gone, 5 unchanged new bar 4, beat 1: E5 & F6 playable "
        "solved bar 6, beat 2: C♯5 & C6 unplayable → C5 & C♯6 playable"
    )
    narrow = text.render(
        result(*draft(new)), width=40, ascii=True, since=compared(tmp_path, result(*draft(DRAFT)), result(*draft(new)))
    )
    assert narrow.isascii() and max(map(len, narrow.splitlines())) <= 40


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "is no JSON"),
        (b"{", "is no JSON"),
        (b'{"version": ' + b"[" * 100_000, "is no JSON"),
        (b"\xff\x00\xfe", "is no text"),
        (b"[1]", "is no report"),
        (b"{}", "names no version"),
        (b'{"version": 2, "demands": []}', "is of version 2, not 1"),
        (b'{"version": true, "flutes": [], "demands": []}', "is of version True"),
        (b'{"version": 1, "results": []}', "is no report: Object missing required field `flutes`"),
        (b'{"version": 1, "flutes": [], "demands": [{"id": "d1"}]}', "$.demands[0]"),
        (b'{"version": 1, "flutes": [], "demands": 3}', "$.demands"),
    ],
)
def test_what_is_no_report_is_one_clear_line(tmp_path, content, expected):
    (tmp_path / "old.json").write_bytes(content)
    with pytest.raises(InputError) as caught:
        since.load(tmp_path / "old.json")
    message = str(caught.value)
    assert str(tmp_path / "old.json") in message and expected in message and "\n" not in message
    assert "expected what `ventwise check SCORE --format json` printed" in message


def test_a_pitch_or_status_that_cannot_be_is_an_error(tmp_path):
    whole = json.loads(json_report.render(result(*draft(DRAFT))))
    for key, value in (("written", ["H5"]), ("status", "easy"), ("beat", "two")):
        broken = json.loads(json.dumps(whole))
        broken["demands"][2][key] = value
        (tmp_path / "old.json").write_text(json.dumps(broken), encoding="utf-8")
        with pytest.raises(InputError, match="is no report"):
            since.load(tmp_path / "old.json")


def test_a_report_saved_by_a_shell_in_utf_16_is_read(tmp_path):
    path = stored(tmp_path, result(*draft(DRAFT)))
    path.write_text(path.read_text(encoding="utf-8"), encoding="utf-16")
    assert len(since.load(path).entries) == 6


def test_the_command_says_what_has_changed(tmp_path):
    old = tmp_path / "old.json"
    runner = CliRunner()
    old.write_text(runner.invoke(cli, ["check", str(COMPOSER), "--format", "json"]).stdout, encoding="utf-8")
    done = runner.invoke(cli, ["check", str(COMPOSER), "--since", str(old)], standalone_mode=False)
    assert done.return_value == 1
    assert "0 new, 0 solved, 0 changed, 0 gone, 10 unchanged" in " ".join(done.stdout.split())
    # The unplayable semitone of bar 6 made an octave.
    score = COMPOSER.read_bytes()
    chord = score.index(b"<alter>1</alter>", score.index(b"<chord/>", score.index(b'<measure number="6"')))
    better = tmp_path / "better.musicxml"
    better.write_bytes(score[:chord] + score[chord:].replace(b"<alter>1</alter>", b"", 1).replace(b">4<", b">5<", 1))
    done = runner.invoke(cli, ["check", str(better), "--since", str(old), "--format", "json"])
    data = json.loads(done.stdout)
    assert faults(data, SCHEMA) == []
    (solved,) = data["since"]["solved"]
    assert (solved["bar"], solved["was"]["status"]) == ("6", "unplayable")
    assert solved["now"]["status"] != "unplayable"
    assert data["since"]["unchanged"] == 9


@pytest.mark.parametrize("name", ["nowhere.json", "broken.json", ""])
def test_a_bad_earlier_report_gives_one_line_and_exit_2(tmp_path, name, ventwise):
    (tmp_path / "broken.json").write_text("{", encoding="utf-8")
    fails_with_one_line(ventwise("check", COMPOSER, "--since", tmp_path / name), name, "expected")
