"""Music drawn by Verovio with room kept for what stands above notes.

Room is kept by words that no reader ever sees: as high and as wide as what will stand there, centred on the notehead.
Verovio moves them clear of notes, slurs, words and the system above, and where they came to stand they are taken out and what
they stood for is drawn. Side by side they get room by syllables as wide, likewise taken out."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from lxml import etree

from annotate.findings import InputError
from annotate.pack.resting import join_rests
from annotate.pack.turns import fits, replanned, with_breaks
from fingering_db.message import Message

MEI = "{http://www.music-encoding.org/ns/mei}"
SVG = "{http://www.w3.org/2000/svg}"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
UNIT = 100.0
"""SVG units of a millimetre."""
LEFT_MM = 4.0
"""Free at the left of the music, for the numbers of bars."""
_BESIDE_MM, _NUMBER_MM = 0.4, 2.3  # from a number of a bar to its system, and its size: three figures fit LEFT_MM
_ROOM, _WIDE = "vw-r", "vw-w"
# Of Verovio's Times, in sizes of the font: how far a line reaches above its base, its height, from line to line, widths.
_ABOVE, _LINE, _NEXT, _M, _L = 0.663, 0.878, 0.959, 0.893, 0.279
_SHARE = 0.25  # size of the words that keep room, in that of all words
_SHARE_TEXT = "25%"
_OUTLINED = ("ellipse", "path", "polygon", "polyline", "rect")
_OUTLINES = "{stroke:currentColor"
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
    endless: one page as high as it needs."""

    width: float
    height: float
    staff: float
    head: float = 0.0
    endless: bool = False

    @property
    def font(self) -> float:
        """Size of the words that keep room [SVG units]."""
        return _SHARE * _SYLLABLE * self.staff / 8.0 * UNIT

    def kept(self, width: float) -> float:
        """How wide a room of this width comes out [mm]: words have whole letters."""
        return self._letters(width) * self.font * _M / UNIT

    def _letters(self, width: float) -> int:
        return max(1, math.ceil(width * UNIT / (self.font * _M)))

    def words(self, width: float) -> str:
        """Letters as wide as that [mm], or a little wider."""
        return "M" * self._letters(width)


Draw = Callable[[int, etree._Element, float, float], None]


def mei_of(musicxml: str) -> str:
    """The music of a MusicXML text as MEI, not laid out, bars of rest joined.

    Raises InputError where Verovio makes nothing of it."""
    toolkit = _toolkit()
    toolkit.setInputFrom("xml")
    toolkit.setOptions({"breaks": "none"})
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
    mei: str, rooms: Sequence[Room], sheet: Sheet, draw: Draw, together: Sequence[tuple[str, str]] = ()
) -> list[etree._Element]:
    """The pages as SVG trees. draw(number of the room, group to draw into, x of the middle, y of its top) puts in what the
    room was kept for [SVG units, 100 a mm]. together: names of notes that no turn of a page parts, where that can be."""
    root = etree.fromstring(mei.encode(), etree.XMLParser(huge_tree=True))
    _keep(root, rooms, sheet)
    pages = _laid_out(root, sheet, "auto")
    if together and not sheet.endless:
        planned = replanned(pages, together, sheet.height * UNIT)
        again = _laid_out(with_breaks(root, planned), sheet, "encoded") if planned else pages
        pages = again if fits(again, sheet.height * UNIT) else pages
    for page in pages:
        _put_in(page, sheet, draw)
    return pages


def _laid_out(root: etree._Element, sheet: Sheet, breaks: str) -> list[etree._Element]:
    toolkit = _toolkit()
    toolkit.setInputFrom("mei")
    toolkit.setOptions(_options(sheet) | {"breaks": breaks})
    if not toolkit.loadData(etree.tostring(root, encoding="unicode")):
        raise InputError(Message("pack.not_drawn", reason="Verovio"))
    pages = []
    for number in range(1, toolkit.getPageCount() + 1):
        plain = etree.XMLParser(huge_tree=True, remove_blank_text=True)
        pages.append(etree.fromstring(toolkit.renderToSVG(number).encode(), plain))
    return pages


def _toolkit() -> Any:
    import verovio  # noqa: PLC0415 - a large library, for those alone who want pages

    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


def _options(sheet: Sheet) -> dict[str, object]:
    unit = sheet.staff / 8.0 * 10.0
    return {
        "pageWidth": round(sheet.width * 10),
        "pageHeight": 60000 if sheet.endless else round(sheet.height * 10),
        "adjustPageHeight": sheet.endless,
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
        words = etree.SubElement(head, f"{MEI}rend", {"fontsize": _SHARE_TEXT, "halign": "left"})
        _lines(words, ["l"] * _line_count(sheet.head, sheet))
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
        rend = etree.SubElement(words, f"{MEI}rend", {"halign": "center", "fontsize": _SHARE_TEXT})
        _lines(rend, [sheet.words(room.width)] * _line_count(room.height, sheet))
        if room.beside:
            _widen(note, number, room, sheet)


def _widen(note: etree._Element, number: int, room: Room, sheet: Sheet) -> None:
    holder = note.getparent()
    holder = note if holder is None or holder.tag != f"{MEI}chord" else holder
    verses = [int(one.get("n", "1")) for one in holder.iter(f"{MEI}verse") if one.get("n", "1").isdigit()]
    verse = etree.SubElement(holder, f"{MEI}verse", {"n": str(max(verses, default=0) + 1)})
    syllable = etree.SubElement(verse, f"{MEI}syl", {_ID: f"{_WIDE}{number}"})
    size = _SYLLABLE * sheet.staff / 8.0
    syllable.text = "l" * math.ceil(room.beside / (size * _L))


def _line_count(height: float, sheet: Sheet) -> int:
    """Lines that keep so much [mm]."""
    return max(1, math.ceil((height * UNIT - _LINE * sheet.font) / (_NEXT * sheet.font)) + 1)


def _lines(into: etree._Element, lines: Sequence[str]) -> None:
    into.text = lines[0]
    for line in lines[1:]:
        etree.SubElement(into, f"{MEI}lb").tail = line


def _put_in(page: etree._Element, sheet: Sheet, draw: Draw) -> None:
    """What the words stood for, in their places. Verovio's rule that all shapes are outlined goes to its own shapes."""
    for shape in page.iter(*(f"{SVG}{name}" for name in _OUTLINED)):
        if shape.get("stroke") is None:
            shape.set("stroke", "currentColor")
    for style in page.iter(f"{SVG}style"):
        rules = (style.text or "").split("}")
        style.text = "}".join(rule for rule in rules if not rule.endswith(_OUTLINES))
    for group in list(page.iter(f"{SVG}g")):
        name = group.get("id", "")
        if group.get("class", "").startswith("mNum"):
            _at_the_left(group)
        elif name.startswith(_WIDE) or group.get("class") == "pgHead" or "placeholder" in group.get("class", ""):
            _empty(group)
        elif name.startswith(_ROOM):
            text = next(group.iter(f"{SVG}text"))
            x, base = float(text.get("x", "0")), float(text.get("y", "0"))
            _empty(group)
            group.set("class", "vw-room")
            draw(int(name.removeprefix(_ROOM)), group, x, base - _ABOVE * sheet.font)


def _at_the_left(group: etree._Element) -> None:
    """A number of a bar stands beside its system, where no drawing reaches; Verovio has it over the clef."""
    text = next(group.iter(f"{SVG}text"), None)
    if text is None:
        return
    told, base = "".join(str(each) for each in text.itertext()).strip(), text.get("y", "0")
    if abs(float(text.get("x", "0"))) > LEFT_MM * UNIT:
        return  # inside a system
    _empty(group)
    at = {"x": f"{-_BESIDE_MM * UNIT:.0f}", "y": base, "text-anchor": "end", "font-size": f"{_NUMBER_MM * UNIT:.0f}px"}
    etree.SubElement(group, f"{SVG}text", at).text = told


def _empty(group: etree._Element) -> None:
    for child in list(group):
        group.remove(child)
