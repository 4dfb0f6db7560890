"""The pages of a part: what stands above each demand, drawn where the engraver kept room for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from lxml import etree

from annotate.drawing import picture
from annotate.marking import Stand
from annotate.output import clean, display_width
from annotate.pack.engraving import SVG, UNIT, Draw, Room, Sheet, engrave
from annotate.pack.look import look
from fingering_db.fingering import Fingering

_LETTER = 0.62  # width of a letter of the words above a diagram, in their size, at the most: bold letters of Times
_FAR = 4  # quarters to the next diagram from which on both have room by themselves
_SLIP = 0.6  # mm between neighbours


@dataclass(frozen=True, slots=True)
class Above:
    """What stands above a note [mm]: words over a drawing. shapes: SVG text of the drawing, '' for none; scale: mm of one of
    its points."""

    words: tuple[str, ...]
    shapes: str
    drawn: tuple[float, float]
    scale: float

    @property
    def width(self) -> float:
        """[mm]"""
        widest = max((display_width(row) for row in self.words), default=0)
        return max(self.drawn[0], widest * _LETTER * look().printed.note_text)

    @property
    def height(self) -> float:
        """[mm]"""
        return self.drawn[1] + len(self.words) * look().printed.note_text * 1.15 + look().printed.gap


def above(stand: Stand) -> Above:
    """The words and the drawing of a stand."""
    words = tuple(clean(row) for row in stand.notes)
    if stand.drawn is None:
        return Above(words, "", (0.0, 0.0), 0.0)
    shapes, width, height = _drawing(stand.drawn, stand.contrary)
    scale = look().printed.diagram / height
    return Above(words, shapes, (width * scale, height * scale), scale)


@lru_cache(maxsize=1024)
def _drawing(fingering: Fingering, contrary: Fingering | None) -> tuple[str, float, float]:
    """SVG text, width and height [points]: the same fingerings come again and again."""
    drawing = picture.drawing(fingering, contrary=contrary)
    return picture.svg(drawing), *picture.size(drawing)


def pages(
    mei: str,
    stands: Sequence[Stand],
    names: Mapping[int, str],
    sheet: Sheet,
    together: Sequence[tuple[str, str]] = (),
) -> list[etree._Element]:
    """The pages of a part as SVG trees; groups of class `vw-room` hold what was drawn above the note named by their
    `data-note`. names: of the notes, by their byte offset; together: of notes that no turn of a page is to part."""
    shown = [(stand, above(stand)) for stand in stands if stand.event.start in names]
    shown = [one for one in shown if one[1].words or one[1].shapes]
    return engrave(mei, _rooms(shown, names, sheet), sheet, _drawer(shown, names), together)


def _rooms(shown: Sequence[tuple[Stand, Above]], names: Mapping[int, str], sheet: Sheet) -> list[Room]:
    gaps = [
        (sheet.kept(one[1].width) + sheet.kept(two[1].width)) / 2.0 + _SLIP
        if 0 < two[0].event.onset - one[0].event.onset < _FAR
        else 0.0
        for one, two in pairwise(shown)
    ]
    # A syllable keeps its distance from another one only: one ends each row.
    beside = [own or _SLIP * bool(before) for before, own in zip([0.0, *gaps], [*gaps, 0.0], strict=True)][: len(shown)]
    return [
        Room(names[stand.event.start], what.width, what.height, gap)
        for (stand, what), gap in zip(shown, beside, strict=True)
    ]


def _drawer(shown: Sequence[tuple[Stand, Above]], names: Mapping[int, str]) -> Draw:
    def draw(number: int, group: etree._Element, x: float, top: float) -> None:
        stand, what = shown[number]
        group.set("data-note", names[stand.event.start])
        wide, high = what.width * UNIT, what.height * UNIT
        mark = {"x": _number(x - wide / 2), "y": _number(top), "width": _number(wide), "height": _number(high)}
        etree.SubElement(group, f"{SVG}rect", mark | {"class": "mark", "fill": "none", "stroke": "none"})
        size = look().printed.note_text * UNIT
        for row, text in enumerate(what.words):
            at = {"x": _number(x), "y": _number(top + size * (0.8 + 1.15 * row)), "text-anchor": "middle"}
            line = etree.SubElement(
                group, f"{SVG}text", at | {"font-size": _number(size), "class": "vw-note", "font-weight": "bold"}
            )
            line.text = text
        if what.shapes:
            at_top = top + len(what.words) * size * 1.15
            scale = what.scale * UNIT
            move = f"translate({_number(x - what.drawn[0] * UNIT / 2)} {_number(at_top)}) scale({scale:.4f})"
            own = etree.SubElement(group, f"{SVG}g", {"transform": move, "class": "vw-diagram"})
            own.extend(list(etree.fromstring(what.shapes.encode())))

    return draw


def _number(value: float) -> str:
    return f"{value:.0f}"
