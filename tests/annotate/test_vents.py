"""The flute with vents in a score: examples/researcher/vent-ladder.musicxml, ten places of one pattern."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from lxml import etree

from annotate import pipeline, questions
from annotate.choosing.desks import desk
from annotate.decision import Result
from annotate.drawing.diagram import plain_rows, rows
from annotate.marking import Style
from annotate.report import answers_json, answers_text, text
from annotate.wording import legend
from fingering_db.fingering import Fingering

LADDER = Path(__file__).parents[2] / "examples/researcher/vent-ladder.musicxml"


@pytest.fixture(scope="module")
def both() -> Result:
    return pipeline.look(LADDER, pipeline.Options(flutes=("vented-b", "open-hole-b"))).result


def marked(target: Path, carrier: str) -> tuple[list[str], str]:
    """Texts above the staff, and the legend under it."""
    style = Style("every", carrier, "full")
    pipeline.annotate(
        pipeline.look(LADDER, pipeline.Options(flutes=("vented-b",))), target, in_place=False, style=style
    )
    score = etree.parse(target)
    above, below = (
        [text.strip("\u2063") for text in score.xpath(f"//direction[@placement='{side}']//words/text()")]
        for side in ("above", "below")
    )
    return above, "  ".join(below)


def test_all_ten_places_can_be_played_with_vents(both: Result) -> None:
    with_vents = [one.status for one in both.decisions if one.flute == "vented-b"]
    assert len(with_vents) == 10 and "unplayable" not in with_vents


def test_the_report_says_which_of_them_another_flute_reaches_otherwise(both: Result) -> None:
    head = text.render(both).split("\n\n────")[0]
    told = " ".join(head.split())
    other, lacking = told.split("open-hole-b plays with another fingering than vented-b: ")[1], told.split("lacks: ")[1]
    answers: dict[str, list[str]] = {}
    for one in both.decisions:
        answers.setdefault(one.demand.place.bar, []).append(f"{one.status} {one.fingering}")
    for bar, (vented, plain) in answers.items():
        same_status = vented.split()[0] == plain.split()[0]
        assert (f"(bar {bar}:" in lacking.split("open-hole-b plays")[0]) == (not same_status)
        assert (f"(bar {bar}:" in other or f"(bar {bar})" in other) == (same_status and vented != plain)
    worst = {(one.demand.place.bar, one.flute): max(map(abs, one.deviation_cents)) for one in both.decisions}
    compared = re.findall(r"bar (\d+): (\d+) cents off, (\d+) on vented-b", other)
    assert compared and all(
        (plain, vented) == (f"{worst[bar, 'open-hole-b']:.0f}", f"{worst[bar, 'vented-b']:.0f}")
        for bar, plain, vented in compared
    )
    assert max(map(len, head.splitlines())) <= 80


@pytest.mark.parametrize(
    ("carrier", "drawing", "signs", "thumb", "hands"),
    [
        ("rows", r"[●○◎◉◐]{3}.*", "●○◎◉~", r"[●○◎◉◐]{3} Tv.*", "upper row: left hand"),
        ("column", r"[●○◎◉◐]{2}", "●○◎◉", "Tv[●○◎]", "left: thumb over 1 2 3; right: 1 2 3 over E♭ key"),
    ],
)
def test_the_legend_of_a_marked_score_names_every_sign_that_occurs(
    tmp_path: Path, carrier: str, drawing: str, signs: str, thumb: str, hands: str
) -> None:
    above, words = marked(tmp_path / "marked.musicxml", carrier)
    drawn = [row for row in above if re.fullmatch(drawing, row)]
    assert {sign for row in drawn for sign in row} >= set(signs)
    explained = set(re.findall(r"(?:^|  )(\S) ", words))
    assert {sign for row in drawn for sign in row if not sign.isalnum() and sign not in " ♯♭"} <= explained
    assert ("?" in above) == ("?" in explained) and ("~" in explained) == ("~" in signs)
    assert any(re.fullmatch(thumb, row) for row in above)
    assert "v at a key: its vent open" in words and hands in words


def test_a_vent_or_a_hole_named_in_a_note_of_a_contrary_move_is_in_the_legend() -> None:
    plain = "".join(legend([Fingering.parse("T 1 2 |")]))
    assert "vent" not in plain and "hole" not in plain
    assert "v at a key: its vent open" in legend([Fingering.parse("T 1 2 |")], contrary=[Fingering.parse("2v |")])
    assert "o at a key: its hole open" in legend([Fingering.parse("T 1 2 |")], contrary=[Fingering.parse("| 1o")])
    assert "v at a key: its vent open" in legend([Fingering.parse("Tv |")], plain=True)


@pytest.mark.parametrize(
    ("fingering", "upper", "lower"),
    [("Tv 1v 2v 3 | 1v", "◉◉● Tv", "◉○○"), ("T 2ov 3o | 1ov", "○◐◎ T", "◐○○"), ("Tb 1 |", "●○○ T♭", "○○○")],
)
def test_every_state_of_a_vented_key_has_a_sign_of_its_own(fingering: str, upper: str, lower: str) -> None:
    assert rows(Fingering.parse(fingering)) == (upper, lower)
    plain = "".join(plain_rows(Fingering.parse(fingering)))
    assert plain.translate(str.maketrans("@-ov&", "●○◎◉◐"))[:3] == upper[:3]


def test_the_report_explains_the_signs_and_letters_that_it_shows(both: Result) -> None:
    told = " ".join(text.render(both).split("How to read the fingerings")[1].split("────")[0].split())
    for piece in (
        "left hand | right hand",
        "● down",
        "◉ down, vent open",
        "v at a key: its vent open",
        "T thumb",
        "E♭ ",
    ):
        assert piece in told
    assert "gizmo" not in told and "trill" not in told


def test_find_tells_the_size_of_each_set_as_text_and_as_json() -> None:
    answer = questions.find(desk("vented-b"), ("C5", "D6"), 30.0, 8)
    lines = [line for line in answers_text.render([answer]).splitlines() if "confidence" in line]
    sizes = [int(found[1]) for line in lines if (found := re.search(r" (\d+) places? ", line))]
    data = json.loads(answers_json.render([answer]))["results"]
    assert sizes == [row["set_size"] for row in data] and sizes[0] == 9
    widths = [len(line) for line in answers_text.render([answer]).splitlines()]
    assert max(widths) <= 80
    # The size is the number of places that `shifts` lists.
    (moved,) = questions.shifts([desk("vented-b")], data[0]["fingering"])
    assert len(moved.reached) == sizes[0]
