"""How a marked score reads on a page: are our signs there, in order, in one place; do they collide; how far do they climb."""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations, product

from lxml import etree
from pages import NOTE, OTHER, STAFF, TEXT, Box, Pages
from programs import MARK, plain

_TOUCH = 0.15  # staff spaces by which two boxes must run into each other in both directions
_SAME_COLUMN = 0.7  # staff spaces between the left edges of what stands above one note
_APART = 1.4  # staff spaces between two rows of one mark, at most
HIGHEST = 14.0  # staff spaces above what stands beneath, at most


@dataclass(frozen=True)
class Wanted:
    """What was written at one note: rows from top to bottom."""

    rows: tuple[str, ...]
    below: bool


@dataclass(frozen=True)
class Reading:
    """One score in one program. whole: marks that stand on the page with all rows, in order, in one place, of `marks`.
    overlaps in pairs of boxes; others_before: overlaps of the score's own texts in the unmarked page. highest: staff spaces
    from the top of a mark of ours down to the staff or what of the score stands between. cut: boxes beyond the page."""

    marks: int
    whole: int
    with_ours: int
    with_notes: int
    with_others: int
    others_before: int
    highest: float
    too_high: int
    cut: int
    pages: int
    pages_before: int

    def faults(self) -> list[str]:
        """What a reader would complain of."""
        told = []
        if self.whole < self.marks:
            told.append(f"{self.marks - self.whole} of {self.marks} marks not whole")
        if self.with_ours:
            told.append(f"{self.with_ours} overlaps among marks")
        if self.with_notes:
            told.append(f"{self.with_notes} overlaps with notes")
        if self.with_others > self.others_before:
            told.append(f"{self.with_others} overlaps with other signs")
        if self.too_high:
            told.append(f"{self.too_high} signs climb, up to {self.highest:.0f} staff spaces")
        if self.cut:
            told.append(f"{self.cut} run off the page")
        if self.pages > 1.5 * self.pages_before:
            told.append(f"{self.pages} pages of {self.pages_before}")
        return told


def read_text(text: str) -> str:
    """As a reader sees it: no invisible sign, ligatures taken apart."""
    return unicodedata.normalize("NFKC", plain(text))


def wanted(data: bytes) -> list[Wanted]:
    """Our marks in a file, by the notes they stand at, in its order; rows written above come bottom first."""
    found: list[Wanted] = []
    for bar in etree.fromstring(data).iter("measure"):
        above: list[str] = []
        below: list[str] = []
        for each in bar:
            if each.tag == "direction" and any(MARK in str(one.text) for one in each.iter("words")):
                rows = [read_text(str(one.text)) for one in each.iter("words")]
                if each.get("placement") == "below":
                    below += rows
                else:
                    above[:0] = rows
            elif each.tag == "note":
                found += [Wanted(tuple(above), below=False)] if above else []
                found += [Wanted(tuple(below), below=True)] if below else []
                above, below = [], []
    return found


def read(marked: bytes, before: Pages, after: Pages) -> Reading:
    """Measure a marked score beside the same score unmarked."""
    marks = wanted(marked)
    ours = _ours(marks, before, after)
    texts = [box for box in after.of(TEXT) if not any(box is one for one in ours)]
    others = [*texts, *after.of(OTHER), *after.of(STAFF)]
    above = [box for box in ours if not _is_below(box, marks)]
    heights = [_height(box, others + after.of(NOTE), after.of(STAFF)) for box in above]
    return Reading(
        marks=len(marks),
        whole=sum(_whole(marks, one, after.of(STAFF)) for one in (above, [box for box in ours if box not in above])),
        with_ours=sum(_run_into(one, two) for one, two in combinations(ours, 2)),
        with_notes=_pairs(ours, after.of(NOTE)),
        with_others=_pairs(ours, others),
        others_before=_pairs(before.of(TEXT), [*before.of(OTHER), *before.of(STAFF)]),
        highest=max(heights, default=0.0),
        too_high=sum(height > HIGHEST for height in heights),
        cut=sum(box.x0 < 0 or box.x1 > after.width for box in ours),
        pages=after.count,
        pages_before=before.count,
    )


def _ours(marks: list[Wanted], before: Pages, after: Pages) -> list[Box]:
    """Boxes of texts that we wrote. Where the score has the same text itself, those as high as there are the score's."""
    rows = Counter(row for mark in marks for row in mark.rows)
    own: dict[str, list[float]] = {}
    for box in before.of(TEXT):
        own.setdefault(read_text(box.text), []).append(box.y1 - box.y0)
    found = []
    for text, count in rows.items():
        alike = [box for box in after.of(TEXT) if read_text(box.text) == text]
        for height in own.get(text, []):
            if alike:
                alike.remove(min(alike, key=lambda box: abs(box.y1 - box.y0 - height)))
        found += alike[: max(count, len(alike))]
    return found


def _is_below(box: Box, marks: list[Wanted]) -> bool:
    return any(mark.below and read_text(box.text) in mark.rows for mark in marks)


def _run_into(one: Box, two: Box) -> bool:
    wide, high = one.overlap(two)
    if wide <= _TOUCH or high <= _TOUCH:
        return False
    return not (one.ink or two.ink) or any(
        min(piece.overlap(other)) > 0.0 for piece, other in product(one.ink or (one,), two.ink or (two,))
    )


def _pairs(ours: Iterable[Box], others: Iterable[Box]) -> int:
    there = list(others)
    return sum(_run_into(one, two) for one in ours for two in there)


def _staff_below(box: Box, staves: list[Box]) -> Box | None:
    under = [staff for staff in staves if staff.page == box.page and staff.y0 > box.y0]
    return min(under, key=lambda staff: staff.y0, default=None)


def _height(box: Box, score: list[Box], staves: list[Box]) -> float:
    """From the top of a sign down to its staff, or to what of the score stands highest between the two."""
    staff = _staff_below(box, staves)
    if staff is None:
        return 0.0
    between = [
        one.y0
        for one in score
        if one.page == box.page and box.y1 <= one.y0 + _TOUCH < staff.y0 and one.x0 < box.x1 and one.x1 > box.x0
    ]
    return min([staff.y0, *between]) - box.y0


def _whole(marks: list[Wanted], ours: list[Box], staves: list[Box]) -> int:
    """How many marks are found on the page as one column: the rows in order, left edges together, no gaps."""
    columns = [column for group in _by_staff(ours, staves) for column in _columns(group)]
    seen = Counter(tuple(read_text(box.text) for box in column) for column in columns)
    asked = Counter(mark.rows for mark in marks)
    return sum(min(count, seen[rows]) for rows, count in asked.items())


def _by_staff(ours: list[Box], staves: list[Box]) -> list[list[Box]]:
    groups: dict[tuple[int, float], list[Box]] = {}
    for box in ours:
        staff = _staff_below(box, staves)
        groups.setdefault((box.page, staff.y0 if staff else -1.0), []).append(box)
    return list(groups.values())


def _columns(boxes: list[Box]) -> list[list[Box]]:
    """Boxes above one staff, by left edge, then parted where there is a gap; each from top to bottom."""
    by_edge: list[list[Box]] = []
    for box in sorted(boxes, key=lambda one: one.x0):
        if by_edge and box.x0 - by_edge[-1][0].x0 < _SAME_COLUMN:
            by_edge[-1].append(box)
        else:
            by_edge.append([box])
    found = []
    for group in by_edge:
        column: list[Box] = []
        for box in sorted(group, key=lambda one: one.y0):
            if column and box.y0 - column[-1].y1 > _APART:
                found.append(column)
                column = []
            column.append(box)
        found.append(column)
    return found
