"""What is measured on pages would be seen: each measure fails where it should; and columns pass in a program at hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from measure import Wanted, read, wanted
from pages import NOTE, STAFF, TEXT, Box, Pages
from programs import MARK, PROGRAMS
from table import DENSE, EXAMPLES, LEFT, drawn, reading, reading_of

from annotate.files.writing import ROWS
from annotate.marking import EVERY, FIRST, FULL, Style

ROWS_OF_TWO = (("A", 1.0), ("B", 2.5))


def direction(text: str) -> str:
    words = f"<words>{MARK}{text}{MARK}</words>"
    return f'<direction placement="above"><direction-type>{words}</direction-type></direction>'


FILE = f"<part><measure>{direction('B')}{direction('A')}<note/></measure></part>".encode()
STAFF_BOX = Box(STAFF, 0, 0.0, 6.0, 100.0, 10.0)
HEAD = Box(NOTE, 0, 10.0, 7.0, 11.0, 8.0)
BEFORE = Pages((STAFF_BOX, HEAD), 1, 110.0)


def page(rows: tuple[tuple[str, float], ...] = ROWS_OF_TWO, left: float = 10.0, pages: int = 1) -> Pages:
    """A page drawn by hand: a staff, a note, and rows of one sign."""
    signs = [Box(TEXT, 0, left, top, left + 1.0, top + 1.0, text) for text, top in rows]
    return Pages((STAFF_BOX, HEAD, *signs), pages, 110.0)


def test_a_file_tells_its_rows_from_top_to_bottom() -> None:
    assert wanted(FILE) == [Wanted(("A", "B"), below=False)]


def test_a_mark_in_its_place_has_no_fault() -> None:
    found = read(FILE, BEFORE, page())
    assert found.faults() == [] and found.whole == found.marks == 1
    assert found.highest == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("spoiled", "fault"),
    [
        (page((("A", 2.5), ("B", 1.0))), "1 of 1 marks not whole"),
        (page((("B", 2.5),)), "1 of 1 marks not whole"),
        (page((("A", -4.0), ("B", 2.5))), "1 of 1 marks not whole"),
        (page((("A", 2.0), ("B", 2.5))), "1 overlaps among marks"),
        (page((("A", 6.0), ("B", 7.5))), "1 overlaps with notes"),
        (page((("A", -12.0), ("B", -10.5))), "2 signs climb, up to 18 staff spaces"),
        (page(left=109.5), "2 run off the page"),
        (page(pages=2), "2 pages of 1"),
    ],
)
def test_what_is_wrong_on_a_page_is_seen(spoiled: Pages, fault: str) -> None:
    assert fault in read(FILE, BEFORE, spoiled).faults()


@pytest.mark.parametrize(("top", "hits"), [(8.0, 0), (7.3, 1)])
def test_where_ink_is_known_a_sign_over_an_empty_corner_of_a_word_runs_into_nothing(top: float, hits: int) -> None:
    """The word's box begins at 7.0, the ink of its last letters lower."""
    word = Box(
        TEXT, 0, 7.0, 7.0, 11.0, 9.0, "word", (Box(TEXT, 0, 7.0, 7.0, 9.0, 9.0), Box(TEXT, 0, 9.0, top, 11.0, 9.0))
    )
    signs = page((("A", 5.0), ("B", 6.5)))
    before = replace(BEFORE, boxes=(STAFF_BOX, word))
    after = replace(signs, boxes=(word, *(box for box in signs.boxes if box is not HEAD)))
    assert read(FILE, before, after).with_others == hits + 1  # the staff


PRESENT = [
    pytest.param(one.name, marks=pytest.mark.skipif(bool(one.absent()), reason=one.absent()), id=one.name)
    for one in PROGRAMS
]
QUICK = [one for one in PRESENT if one.id != "LilyPond"]


@pytest.mark.parametrize("program", QUICK)
def test_marks_run_into_nothing_and_stay_near_their_staff_on_the_page(program: str) -> None:
    assert reading(program, EXAMPLES[0], Style()).marks > 5
    for path in (EXAMPLES[0], *DENSE) if program == "Verovio" else EXAMPLES[:1]:
        found = reading(program, path, Style())
        assert found.faults() == [] and found.pages == found.pages_before, path.stem


@pytest.mark.slow
@pytest.mark.parametrize("path", LEFT, ids=lambda path: path.parent.name)
@pytest.mark.parametrize("program", PRESENT)
def test_every_example_is_left_without_a_fault_in_every_program(program: str, path: Path) -> None:
    found = reading_of(program, path)
    assert found.marks >= 4 and found.pages == found.pages_before
    assert [fault for fault in found.faults() if program != "MuseScore 4 (engine)" or "not whole" not in fault] == []


@pytest.mark.slow
@pytest.mark.parametrize("path", DENSE, ids=lambda path: path.stem)
@pytest.mark.parametrize("program", PRESENT)
def test_dense_scores_are_marked_without_a_fault_in_every_program(program: str, path: Path) -> None:
    found = reading(program, path, Style())
    assert found.pages == found.pages_before
    # LilyPond places each row by itself: a word of the score may come between technique and number.
    assert [fault for fault in found.faults() if program != "LilyPond" or not fault.endswith("not whole")] == []


@pytest.mark.parametrize("program", [one for one in QUICK if one.id == "MuseScore 3"])
def test_columns_do_not_climb_where_rows_do(program: str) -> None:
    """The rows of a dense score are the control that must fail."""
    dense = next(path for path in DENSE if path.stem == "narrow-steps")
    rows, columns = reading(program, dense, Style(EVERY, ROWS, FULL)), reading(program, dense, Style(EVERY))
    assert rows.highest > 40 and rows.pages > 1.5 * rows.pages_before
    assert columns.highest < rows.highest / 3 and columns.pages == columns.pages_before
    assert columns.with_ours == columns.with_notes == columns.with_others == 0


@pytest.mark.parametrize("program", [one for one in QUICK if one.id == "Verovio"])
def test_a_row_that_is_not_drawn_is_missed_on_a_real_page(program: str) -> None:
    data, pages = drawn(program, EXAMPLES[0], Style(FIRST))
    lost = next(box for box in pages.of(TEXT) if MARK in box.text)
    poorer = replace(pages, boxes=tuple(box for box in pages.boxes if box is not lost))
    before = drawn(program, EXAMPLES[0], None)[1]
    assert read(data, before, poorer).whole < read(data, before, pages).whole
