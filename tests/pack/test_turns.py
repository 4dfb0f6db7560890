"""Pages do not end between notes that belong together."""

from __future__ import annotations

import pytest
from lxml import etree

from annotate.pack.engraving import Sheet, engrave, mei_of
from annotate.pack.part_copy import part_copies

SHEET = Sheet(180.0, 120.0, 7.0, 20.0)


def many_bars(count: int) -> str:
    note = "<note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration><type>quarter</type></note>"
    first = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    bars = "".join(f'<measure number="{n}">{first if n == 1 else ""}{note * 4}</measure>' for n in range(1, count + 1))
    heads = '<part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
    score = f'<score-partwise version="4.0">{heads}<part id="P1">{bars}</part></score-partwise>'
    return mei_of(part_copies(score.encode(), ("P1",))["P1"].data)


def notes_of(pages: list[str]) -> list[list[str]]:
    trees = map(etree.fromstring, pages)
    return [[one.get("id", "") for one in page.iter("{*}g") if one.get("class") == "note"] for page in trees]


@pytest.fixture(scope="module")
def mei() -> str:
    return many_bars(60)


def pages(mei: str, together: tuple[tuple[str, str], ...] = ()) -> list[list[str]]:
    return notes_of(engrave(mei, (), (SHEET,), lambda *_: "", together)[0])


def test_two_notes_that_a_turn_would_part_stand_on_one_page(mei: str) -> None:
    plain = pages(mei)
    assert len(plain) > 2
    pair = plain[0][-1], plain[1][0]
    found = pages(mei, (pair,))
    assert [note for page in found for note in page] == [note for page in plain for note in page]
    assert any(set(pair) <= set(page) for page in found)
    assert len(found) <= len(plain) + 1


def test_pages_stay_as_they_are_where_no_turn_parts_anything(mei: str) -> None:
    plain = pages(mei)
    assert pages(mei, ((plain[0][0], plain[0][-1]),)) == plain
