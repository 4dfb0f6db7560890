"""Music drawn by Verovio with room kept for what stands above notes.

Room is kept by words that no reader ever sees: as high and as wide as what will stand there, centred on the notehead.
Verovio moves them clear of notes, slurs, words and the system above, and where they came to stand they are taken out and what
they stood for is drawn. Side by side they get room by syllables as wide, likewise taken out."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Self

from lxml import etree

from annotate.findings import InputError
from annotate.pack.resting import join_rests
from annotate.pack.turns import STAFF, fits, replanned, with_breaks
from fingering_db.message import Message

MEI = "{http://www.music-encoding.org/ns/mei}"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
UNIT = 100.0
"""SVG units of a millimetre."""
LEFT_MM = 4.0
"""Free at the left of the music, for the numbers of bars."""
_BESIDE_MM, _NUMBER_MM = 0.4, 2.3  # from a number of a bar to its system, and its size: three figures fit LEFT_MM
_ROOM, _WIDE = "vw-r", "vw-w"
# Of Verovio's Times, in sizes of the font: how far a line reaches above its base, its height, from line to line, width of l.
_ABOVE, _LINE, _NEXT, _L = 0.663, 0.878, 0.959, 0.279
_HEAD_SHARE = 0.25  # size of the words that keep room above the first page, in that of all words
_LOW_MM = 4.0  # room up to this height is kept by one line, higher room by two
_TAKEN_OUT = re.compile(
    rf'<g id="(?:(?P<room>{_ROOM}\d+)" class="dir|{_WIDE}\d+" class="syl|'
    r'[^"]*" class="(?:(?P<number>mNum)[^"]*|pgHead|[^"]*placeholder[^"]*))">'
)
_TAG = re.compile(r"<(/?)g\b[^>]*?(/?)>")
_AT = re.compile(r'<text(?: x="([-\d.]+)")?(?: y="([-\d.]+)")?')
_SYLLABLE = 4.5  # staff half-spaces: size of syllables, and of all words


@dataclass(frozen=True, slots=True)
class Room:
    """Room to keep above a note. note: its name; width, height [mm]; beside: how far at least from its note to that of the
    next room [mm], 0 where that is far away anyhow."""

    note: str
    width: float
    height: float
    beside: float = 0.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is drawn on. width, height [mm]; staff: height of five lines [mm]; head: kept free above the first page [mm];
    by_itself: every page is as high as it needs and no higher."""

    width: float
    height: float
    staff: float
    head: float = 0.0
    by_itself: bool = False

    @property
    def font(self) -> float:
        """Size of words [mm]."""
        return _SYLLABLE * self.staff / 8.0


@dataclass(frozen=True, slots=True)
class _Words:
    """What keeps a room: lines of so many letters, in a share of the size of all words [%]."""

    lines: int
    letters: int
    percent: int

    @classmethod
    def of(cls, width: float, height: float, sheet: Sheet) -> Self:
        """At least so wide and high [mm]."""
        lines = 1 if height <= _LOW_MM else 2
        percent = math.ceil(100.0 * height / (_LINE + (lines - 1) * _NEXT) / sheet.font)
        return cls(lines, math.ceil(width / (percent / 100.0 * sheet.font * _L)), percent)

    def width(self, sheet: Sheet) -> float:
        """[mm]"""
        return self.letters * self.percent / 100.0 * sheet.font * _L


def kept(width: float, height: float, sheet: Sheet) -> float:
    """How wide a room comes out [mm]: words have whole letters."""
    return _Words.of(width, height, sheet).width(sheet)


Draw = Callable[[int, float, float], str]


def mei_of(musicxml: str) -> str:
    """The music of a MusicXML text as MEI, not laid out, bars of rest joined.

    Raises InputError where Verovio makes nothing of it."""
    toolkit = _toolkit()
    toolkit.setInputFrom("xml")
    toolkit.setOptions({"breaks": "none", "xmlIdSeed": 1})
    if not toolkit.loadData(musicxml):
        raise InputError(Message("pack.not_drawn", reason="Verovio"))
    root = etree.fromstring(toolkit.getMEI({"scoreBased": True}).encode(), etree.XMLParser(huge_tree=True))
    join_rests(root)
    _part_words_from_notes(root)
    return etree.tostring(root, encoding="unicode")


def _part_words_from_notes(root: etree._Element) -> None:
    """Words and the note of a metronome mark after them do not stand close together."""
    for rend in root.iter(f"{MEI}rend"):
        before = rend.getprevious()
        if rend.get("glyph.auth") == "smufl" and before is not None and before.tag == rend.tag:
            before.text = f"{(before.text or '').rstrip()}\N{NO-BREAK SPACE}\N{NO-BREAK SPACE}"


def engrave(
    mei: str, rooms: Sequence[Room], sheets: Sequence[Sheet], draw: Draw, together: Sequence[tuple[str, str]] = ()
) -> list[list[str]]:
    """The pages on each of some sheets with staves of one size, as SVG texts. draw(number of the room, x of the middle, y of
    its top) gives what the room was kept for [SVG units, 100 a mm]. together: names of notes that no turn of a page of the
    first sheet parts, where that can be."""
    root, first = etree.fromstring(mei.encode(), etree.XMLParser(huge_tree=True)), sheets[0]
    _keep(root, rooms, first)
    toolkit = _toolkit()
    toolkit.setInputFrom("mei")
    toolkit.setOptions(_options(first) | {"breaks": "auto"})
    _load(toolkit, root)
    found = [_pages(toolkit)]
    for sheet in sheets[1:]:
        toolkit.setOptions(_options(sheet))
        toolkit.redoLayout()
        found.append(_pages(toolkit))
    planned = replanned(found[0], together, first.height * UNIT) if together else None
    if planned:
        toolkit.setOptions(_options(first) | {"breaks": "encoded"})
        _load(toolkit, with_breaks(root, planned))
        again = _pages(toolkit)
        found[0] = again if fits(again, first.height * UNIT) else found[0]
    above = [_ABOVE * _Words.of(one.width, one.height, first).percent / 100.0 * first.font * UNIT for one in rooms]
    return [[_put_in(page, draw, above) for page in pages] for pages in found]


def _load(toolkit: Any, root: etree._Element) -> None:
    if not toolkit.loadData(etree.tostring(root, encoding="unicode")):
        raise InputError(Message("pack.not_drawn", reason="Verovio"))


def _pages(toolkit: Any) -> list[str]:
    return [toolkit.renderToSVG(number) for number in range(1, toolkit.getPageCount() + 1)]


def _toolkit() -> Any:
    import verovio  # noqa: PLC0415 - a large library, for those alone who want pages

    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


def _options(sheet: Sheet) -> dict[str, object]:
    unit = sheet.staff / 8.0 * 10.0
    return {
        "pageWidth": round(sheet.width * 10),
        "pageHeight": round(sheet.height * 10),
        "adjustPageHeight": sheet.by_itself,
        "pageMarginLeft": round(LEFT_MM * 10),
        "pageMarginRight": 0,
        "pageMarginTop": 0,
        "pageMarginBottom": 0,
        "unit": unit,
        "scale": 100,
        "header": "encoded" if sheet.head else "none",
        "footer": "none",
        "xmlIdSeed": 1,
        "svgRemoveXlink": True,
        "svgFormatRaw": True,
        "smuflTextFont": "none",
        "lyricSize": _SYLLABLE,
        "justifyVertically": False,
    }


def _keep(root: etree._Element, rooms: Sequence[Room], sheet: Sheet) -> None:
    """Put in the words and syllables that keep room, and lines above the first page."""
    for head in [*root.iter(f"{MEI}pgHead"), *root.iter(f"{MEI}pgFoot")]:
        parent = head.getparent()
        if parent is not None:
            parent.remove(head)
    if sheet.head:
        first = next(root.iter(f"{MEI}scoreDef"))
        head = etree.Element(f"{MEI}pgHead", {"func": "first"})
        words = etree.SubElement(head, f"{MEI}rend", {"fontsize": f"{_HEAD_SHARE:.0%}", "halign": "left"})
        _lines(words, ["l"] * math.ceil(sheet.head / (_NEXT * _HEAD_SHARE * sheet.font) + 1))
        first.insert(0, head)
    notes = {one.get(_ID): one for one in root.iter(f"{MEI}note")}
    for number, room in enumerate(rooms):
        note = notes.get(room.note)
        bar = note
        while bar is not None and bar.tag != f"{MEI}measure":
            bar = bar.getparent()
        if note is None or bar is None:
            continue
        words = etree.SubElement(
            bar, f"{MEI}dir", {_ID: f"{_ROOM}{number}", "startid": f"#{room.note}", "place": "above"}
        )
        own = _Words.of(room.width, room.height, sheet)
        rend = etree.SubElement(words, f"{MEI}rend", {"halign": "center", "fontsize": f"{own.percent}%"})
        _lines(rend, ["l" * own.letters] * own.lines)
        if room.beside:
            _widen(note, number, room, sheet)


def _widen(note: etree._Element, number: int, room: Room, sheet: Sheet) -> None:
    holder = note.getparent()
    holder = note if holder is None or holder.tag != f"{MEI}chord" else holder
    verses = [int(one.get("n", "1")) for one in holder.iter(f"{MEI}verse") if one.get("n", "1").isdigit()]
    verse = etree.SubElement(holder, f"{MEI}verse", {"n": str(max(verses, default=0) + 1)})
    syllable = etree.SubElement(verse, f"{MEI}syl", {_ID: f"{_WIDE}{number}"})
    syllable.text = "l" * math.ceil(room.beside / (sheet.font * _L))


def _lines(into: etree._Element, lines: Sequence[str]) -> None:
    into.text = lines[0]
    for line in lines[1:]:
        etree.SubElement(into, f"{MEI}lb").tail = line


def _put_in(page: str, draw: Draw, above: Sequence[float]) -> str:
    """What the words stood for, in their places; what kept room for other things goes. above: how far each room reaches above
    the base of its first line [SVG units]."""
    pieces, at = [], 0
    while found := _TAKEN_OUT.search(page, at):
        end = end_of(page, found.end())
        pieces.append(page[at : found.start()])
        if found["number"]:
            staff = STAFF.search(page, end)
            pieces.append(_at_the_left(page[found.start() : end], float(staff[1]) if staff else 0.0))
        elif found["room"]:
            x, base = _place(page[found.end() : end])
            number = int(found["room"].removeprefix(_ROOM))
            pieces.append(draw(number, x, base - above[number]))
        at = end
    return "".join([*pieces, page[at:]])


def end_of(page: str, inside: int) -> int:
    """Where a group ends, from somewhere in its first level."""
    depth = 1
    for tag in _TAG.finditer(page, inside):
        depth += -1 if tag[1] else 0 if tag[2] else 1
        if not depth:
            return tag.end()
    return len(page)


def _place(group: str) -> tuple[float, float]:
    """x and y of its text."""
    found = _AT.search(group)
    return (float(found[1] or 0.0), float(found[2] or 0.0)) if found else (0.0, 0.0)


def _at_the_left(group: str, top: float) -> str:
    """A number of a bar stands beside the upper lines of its staff, where no drawing reaches; Verovio has it over the clef."""
    if abs(_place(group)[0]) > LEFT_MM * UNIT:
        return group  # inside a system
    told, size = re.sub("<[^>]*>", "", group).strip(), _NUMBER_MM * UNIT
    at = f'x="{-_BESIDE_MM * UNIT:.0f}" y="{top + 0.7 * size:.0f}" text-anchor="end" font-size="{size:.0f}px"'
    return f'<g class="mNum"><text {at}>{told}</text></g>'
