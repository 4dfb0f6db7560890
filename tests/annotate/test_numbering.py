from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import etree
from report_samples import demand, pitches, place, playable, two_flutes, unplayable

from annotate.cli import cli
from annotate.decision import Decision, PathPoint
from annotate.drawing import diagram
from annotate.marking import FIRST, Style, mark_parts
from annotate.numbering import numbered
from annotate.report import text
from annotate.report.content import build
from annotate.report.json_report import as_data
from annotate.score import Event, Note, Part
from fingering_db.fingering import Fingering

COMPOSER = Path(__file__).parents[2] / "examples/composer/low-water.musicxml"
A, B, C = map(Fingering.parse, ("T 2 3 | Eb", "T 2 3 |", "Tb 1 | tr1"))


def event(quarter: int, start: int = 0) -> Event:
    note = Note(start or 100 * (quarter + 1), start + 50, *pitches("C5 C5"))
    at = Fraction(quarter)
    return Event(
        (note,), str(quarter + 1), quarter, Fraction(1), at, Fraction(1), float(quarter), quarter + 1.0, "1", 1
    )


def decided(quarter: int, fingering: Fingering, part_id: str = "P1", **more: object) -> Decision:
    """An invented decision on the note that begins after so many quarters of a second each."""
    at = place(str(quarter + 1), seconds=float(quarter), part_id=part_id)
    asked = replace(demand(quarter + 1, at, "C5 D6"), events=(event(quarter),))
    return playable(asked, fingering=fingering, **more)


def gliding(start: Fingering, end: Fingering, quarter: int = 0) -> Decision:
    """An invented slide from one fingering to another, two quarters long."""
    path = (PathPoint(0.0, 0.0, (), 0.0, start), PathPoint(1.0, 0.0, (), 0.0, end))
    glide = decided(quarter, start, path=path)
    return replace(glide, demand=replace(glide.demand, events=(event(quarter), event(quarter + 2))))


def part_of(decisions: list[Decision]) -> Part:
    """Their notes, and one more in the last bar."""
    events = tuple(one.demand.events[0] for one in decisions)
    end = events[-1]
    note = replace(end.notes[0], start=end.start + 60, end=end.start + 80)
    more = replace(end, notes=(note,), onset=end.onset + Fraction(1, 2))
    return Part("P1", 1, "Flute", "", events=(*events, more))


def rows(decisions: list[Decision], **more: object) -> list[tuple[str, ...]]:
    return [one.rows for one in mark_parts([(part_of(decisions), decisions)], Style(**more))[0].marks]


def test_each_distinct_fingering_has_a_number_in_the_order_of_appearance():
    assert numbered([decided(0, A), decided(1, B), decided(2, A), decided(3, C)]) == {A: 1, B: 2, C: 3}


def test_parts_share_the_numbers_in_the_order_of_time():
    first = [decided(0, A), decided(8, B)]
    second = [decided(4, C, part_id="P2"), decided(9, A, part_id="P2")]
    assert numbered([*first, *second]) == {A: 1, C: 2, B: 3}


def test_what_cannot_be_played_has_no_number():
    refused = unplayable(demand(1, place("1"), "C5 C6"), fingering=A)
    assert numbered([refused, decided(3, B)]) == {B: 1}


def test_the_end_of_a_glissando_has_a_number_of_its_own():
    glide = gliding(A, C)
    assert numbered([glide, decided(1, B)]) == {A: 1, B: 2, C: 3}
    assert [one[-1] for one in rows([glide, decided(1, B)], diagrams="first")] == ["[1]", "[2]", "[3]"]


def test_places_carry_numbers_and_the_list_stands_under_the_last_bar():
    decisions = [decided(0, A), decided(1, B), decided(2, A)]
    assert rows(decisions, diagrams=FIRST) == [("mult.", "[1]"), ("[2]",), ("[1]",)]
    below = [one.below for one in mark_parts([(part_of(decisions), decisions)], Style(FIRST))[0].marks]
    assert below[:2] == [(), ()] and below[2][-2:] == ("[1] T ○●● | ○○○ E♭", "[2] T ○●● | ○○○")
    assert "fingerings by number" in " ".join(below[2])
    assert max(map(len, below[2])) <= 24


def test_parts_share_their_numbers_and_one_list_stands_in_the_first_part():
    parts = [(Part(f"P{n}", n, "Flute", "", events=(event(n, 1000 * n),)),
              [replace(decided(n, one, part_id=f"P{n}"), demand=replace(decided(n, one).demand, events=(event(n, 1000 * n),)))])
             for n, one in ((1, A), (2, B))]  # fmt: skip
    first, second = mark_parts(parts, Style(FIRST))
    assert [one.rows for one in (*first.marks, *second.marks)] == [("mult.", "[1]"), ("mult.", "[2]")]
    assert first.marks[0].below and not second.marks[0].below


@pytest.mark.parametrize(
    ("diagrams", "quarters", "numbers"),
    [("changes", 1, ["[1]", "[2]"]), ("changes", 2, []), ("every", 1, []), ("every", 2, [])],
)
def test_where_diagrams_would_stand_too_close_there_are_numbers_unless_every_one_is_asked_for(
    diagrams, quarters, numbers
):
    told = [row for one in rows([decided(0, A), decided(quarters, B)], diagrams=diagrams) for row in one]
    assert [row for row in told if row.startswith("[")] == numbers
    assert ("○○" in told) == (not numbers)


def test_both_ends_of_a_glissando_have_a_number_where_one_of_them_has_no_room():
    assert [one[-1] for one in rows([decided(-1, B), gliding(A, C)])] == ["[1]", "[2]", "[3]"]
    assert [one[-1] for one in rows([decided(-4, B), gliding(A, C)])] == ["●○", "●●", "t1"]


def test_a_place_with_room_is_drawn_and_a_run_without_is_listed_in_the_order_of_its_numbers():
    decisions = [decided(0, C), decided(4, A), decided(5, B), decided(6, A)]
    assert [one[-1] for one in rows(decisions)] == ["t1", "[1]", "[2]", "[1]"]
    below = [one.below for one in mark_parts([(part_of(decisions), decisions)], Style())[0].marks]
    assert "left: thumb" in " ".join(below[0]) and "[1]" not in below[0][-1].split(" ..")[-1]
    assert below[-1] == ("[1] T ○●● | ○○○ E♭", "[2] T ○●● | ○○○")


def test_the_json_report_tells_the_numbers_last_in_each_demand_of_the_first_flute():
    data = as_data(build(replace(two_flutes(), numbers={A: 1, B: 2})))
    assert [list(one)[-2:] for one in data["demands"]] == [["number", "number_to"]] * 4
    assert [(one["number"], one["number_to"]) for one in data["demands"]] == [(1, None)] + [(None, None)] * 3


def test_the_json_report_tells_the_number_of_the_end_of_a_glissando_that_ends_with_another_fingering():
    result = replace(
        two_flutes(), decisions=(gliding(A, C), decided(1, B), gliding(B, B, 4)), numbers={A: 1, B: 2, C: 3}
    )
    told = as_data(build(result))["demands"]
    assert [(one["number"], one["number_to"]) for one in told] == [(1, 3), (2, None), (2, None)]


def test_the_json_report_tells_the_numbers_of_the_page_and_none_where_all_is_drawn(tmp_path):
    out = tmp_path / "o.musicxml"
    CliRunner().invoke(cli, ["annotate", str(COMPOSER), "-o", str(out)])
    page = "\n".join(etree.parse(out).xpath("//words/text()")).replace("\u2063", "")
    listed = {
        drawn: int(number) for number, drawn in re.findall(r"\[(\d+)\] (\S+ \S+ \| .*?)(?=  \[|$)", page, re.MULTILINE)
    }
    told = json.loads(CliRunner().invoke(cli, ["check", str(COMPOSER), "--format", "json"]).stdout)["demands"]
    read = [(Fingering.parse(one["fingering"]), one["number"]) for one in told if one["fingering"]]
    assert listed and {diagram.line(one): number for one, number in read if number} == listed
    assert any(number is None for _, number in read)


def test_the_text_report_has_the_table_when_it_is_asked_for():
    result = two_flutes()
    assert "Fingerings by number" not in text.render(result)
    told = text.render(result, numbered=True)
    assert re.search(r"\[1\] +○●● T +T 2 3 \| Eb\n +○○○ E♭ +C5 & D6 \(bar 12\)\n", told)


@pytest.mark.parametrize("width", [40, 60, 80])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_table_keeps_to_the_width(width, ascii_only):
    result = replace(two_flutes(), decisions=tuple(decided(n, fingering) for n, fingering in enumerate([A, B, C, A])))
    told = text.render(result, numbered=True, width=width, ascii=ascii_only)
    assert max(map(len, told.splitlines())) <= width
    assert told.isascii() or not ascii_only
    assert "[3]" in told


@pytest.mark.parametrize("carrier", ["rows", "column", "ascii"])
def test_in_every_carrier_the_score_has_each_diagram_once_and_its_numbers(tmp_path, carrier):
    out, clean = tmp_path / "o.musicxml", tmp_path / "c.musicxml"
    words = ["annotate", str(COMPOSER), "-o", str(out), "--diagrams", "first", "--carrier", carrier]
    report = CliRunner().invoke(cli, words).stdout
    ours = [text for text in etree.parse(out).xpath("//words/text()") if text.endswith("\u2063")]
    told = [row.strip("\u2063") for one in ours for row in re.split(r"\n|  ", one)]
    numbers = [int(row.strip("[]?")) for row in told if re.fullmatch(r"\[\d+\]\??", row)]
    distinct = sorted(set(numbers))
    assert distinct == list(range(1, len(distinct) + 1)) and len(numbers) > len(distinct)
    assert [int(row[1 : row.index("]")]) for row in told if re.match(r"\[\d+\] .*\|", row)] == distinct
    assert f"[{distinct[-1]}] " in report and f"[{distinct[-1] + 1}]" not in report
    CliRunner().invoke(cli, ["strip", str(out), "-o", str(clean)])
    assert clean.read_bytes() == COMPOSER.read_bytes()
