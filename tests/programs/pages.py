"""What a reader sees: every sign of a drawn page as a box, in staff spaces, from the pages that notation programs draw.

MuseScore's SVG names what each outline is and its PDF says what letters mean; Verovio puts boxes into its SVG; LilyPond is
told to write the box of each grob beside it.
"""

from __future__ import annotations

import html
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from lxml import etree
from programs import HERE, MARK, musescore3, plain, run, webmscore, with_grobs
from svg import Extent, Matrix, apply, extent, numbers, points, slices, walk

TEXT, NOTE, STAFF, OTHER = "text", "note", "staff", "other"
_LONG = 1.0  # staff spaces: how finely slurs, ties, hairpins are cut up


@dataclass(frozen=True)
class Box:
    """Something drawn. kind: one of the four above; x0 < x1, y0 < y1 in staff spaces, y downwards; page from 0. ink: boxes that
    hold all of it, where they are known to be smaller."""

    kind: str
    page: int
    x0: float
    y0: float
    x1: float
    y1: float
    text: str = ""
    ink: tuple[Box, ...] = ()

    def overlap(self, other: Box) -> tuple[float, float]:
        """By how much two boxes run into each other in width and height; both positive where they do."""
        if self.page != other.page:
            return -1.0, -1.0
        return min(self.x1, other.x1) - max(self.x0, other.x0), min(self.y1, other.y1) - max(self.y0, other.y0)


@dataclass(frozen=True)
class Pages:
    """All that is drawn. Staves are boxes of kind STAFF, from the top line to the bottom one."""

    boxes: tuple[Box, ...]
    count: int
    width: float

    def of(self, kind: str) -> list[Box]:
        return [box for box in self.boxes if box.kind == kind]


def _box(kind: str, page: int, space: float, found: Extent, text: str = "") -> Box:
    x0, y0, x1, y1 = (value / space for value in found)
    return Box(kind, page, x0, y0, x1, y1, text)


def _numbered(folder: Path, stem: str) -> list[Path]:
    """A page each, in order."""
    found = [path for path in folder.glob(f"{stem}*.svg") if re.fullmatch(rf"{stem}(-\d+)?\.svg", path.name)]
    return sorted(found, key=lambda path: [int(number) for number in re.findall(r"\d+", path.stem)])


# -- MuseScore, both versions

_MUSESCORE_NOTE = {
    "Note",
    "Stem",
    "Hook",
    "Beam",
    "Accidental",
    "LedgerLine",
    "NoteDot",
    "Rest",
    "StemSlash",
    "Tremolo",
}
_MUSESCORE_TEXT = {"StaffText", "SystemText", "Tempo", "Dynamic", "Expression", "Text", "RehearsalMark", "Lyrics"}
_IN_PIECES = re.compile("[●○◎◉◐♭♯]")  # signs that version 4's font lacks
_MUSIC = re.compile("[\ue000-\uf8ff]+")  # heads, rests, clefs: letters of the music font
_MUSESCORE_LONG = {
    "SlurSegment",
    "TieSegment",
    "HairpinSegment",
    "GlissandoSegment",
    "OttavaSegment",
    "TextLineSegment",
}


def _musescore_pages(folder: Path, stem: str, *, in_pieces: bool = False) -> Pages:
    """in_pieces: a text may be several shapes, drawn one after the other."""
    words = _pdf_words(folder / f"{stem}.pdf")
    boxes: list[Box] = []
    drawn = _numbered(folder, stem)
    width = space = 25.0
    last: Extent | None = None
    for page, path in enumerate(drawn):
        root = etree.parse(path).getroot()
        sides = numbers(root.get("viewBox", ""))
        shapes = [(one.get("class", ""), one, matrix) for one, matrix in walk(root) if one.get("class")]
        lines = [extent(points(one)) for name, one, _ in shapes if name == "StaffLines"]
        space = lines[1][1] - lines[0][1] if lines else space  # a page of texts alone is as large as the others
        width = sides[2] / space
        boxes += _staves(lines, page, space)
        scale = sides[2] / words[page][0] if page < len(words) else 1.0
        on_page = [(text, tuple(value * scale for value in where)) for text, where in words[page][1]]
        for name, one, matrix in shapes:
            outline = [apply(matrix, point) for point in points(one)]
            if not outline or name == "StaffLines":
                continue
            if name in _MUSESCORE_LONG:
                boxes += [_box(OTHER, page, space, piece) for piece in slices(outline, _LONG * space)]
                continue
            kind = NOTE if name in _MUSESCORE_NOTE else TEXT if name in _MUSESCORE_TEXT else OTHER
            here = extent(outline)
            text = _text_in(here, on_page) if kind == TEXT else ""
            if (
                in_pieces
                and last
                and kind == TEXT
                and _follows(here, last, space)
                and _IN_PIECES.search(boxes[-1].text + text)
            ):
                here = last[0], min(last[1], here[1]), here[2], max(last[3], here[3])
                text = _text_in(here, on_page, whole=False)
                boxes.pop()
            boxes.append(_box(kind, page, space, here, text))
            last = here if kind == TEXT else None
    return Pages(tuple(boxes), len(drawn), width)


def _follows(here: Extent, last: Extent, space: float) -> bool:
    """Whether something drawn stands right after another on one line."""
    share = min(last[3], here[3]) - max(last[1], here[1])
    return share > 0.3 * min(last[3] - last[1], here[3] - here[1]) and -0.2 <= (here[0] - last[2]) / space < 0.8


def _staves(lines: list[Extent], page: int, space: float) -> list[Box]:
    """Five lines each."""
    found = []
    for start in range(0, len(lines), 5):
        five = lines[start : start + 5]
        found.append(_box(STAFF, page, space, (five[0][0], five[0][1], five[-1][2], five[-1][1])))
    return found


def _pdf_words(path: Path) -> list[tuple[float, list[tuple[str, Extent]]]]:
    """For each page its width and words with their boxes, in points."""
    done = subprocess.run(["pdftotext", "-bbox", str(path), "-"], check=True, capture_output=True, encoding="utf-8")
    found: list[tuple[float, list[tuple[str, Extent]]]] = []
    for line in done.stdout.splitlines():
        page = re.search(r'<page width="([\d.]+)"', line)
        word = re.search(r'<word xMin="(\S+)" yMin="(\S+)" xMax="(\S+)" yMax="(\S+)">(.*)</word>', line)
        if page:
            found.append((float(page[1]), []))
        elif word and not _MUSIC.fullmatch(html.unescape(word[5])):
            x0, y0, x1, y1 = (float(word[n]) for n in range(1, 5))
            found[-1][1].append((html.unescape(word[5]), (x0, y0, x1, y1)))
    return found


def _text_in(ink: Extent, words: list[tuple[str, Extent]], *, whole: bool = True) -> str:
    """The words whose place on the page is that of an outline: their line is the one nearest to it. whole: the outline is one
    text in one font, not several put together, whose letters and signs begin at different heights."""
    x0, y0, x1, y1 = ink
    beside = 6 if whole else 0
    within = [(text, box) for text, box in words if x0 - beside <= (box[0] + box[2]) / 2 <= x1 + beside]
    middle = (y0 + y1) / 2
    height = {box[3] - box[1] for _, box in within}
    near = [(abs((box[1] + box[3]) / 2 - middle), text, box) for text, box in within]
    near = [one for one in near if one[0] < max(height) * 0.7]
    if not near:
        return ""
    line = min(near)[2]
    same = sorted(
        (box[0], text) for _, text, box in near if abs(box[1] - line[1]) < (1.0 if whole else max(height) * 0.3)
    )
    return plain(" ".join(text for _, text in same))


def _draw_in_musescore3(data: bytes, folder: Path) -> Pages:
    (folder / "in.musicxml").write_bytes(data)
    for form in ("svg", "pdf"):
        run([musescore3(), str(folder / "in.musicxml"), "-o", str(folder / f"page.{form}")], folder)
    return _musescore_pages(folder, "page")


def _draw_in_webmscore(data: bytes, folder: Path) -> Pages:
    (folder / "in.musicxml").write_bytes(data)
    command = ["node", str(HERE / "draw_webmscore.cjs"), webmscore(), str(folder / "in.musicxml"), str(folder / "page")]
    run(command, folder)
    return _musescore_pages(folder, "page", in_pieces=True)


# -- Verovio

_VEROVIO_NOTE = {"note", "stem", "flag", "accid", "ledgerLines", "dots", "rest", "mRest"}
_VEROVIO_LONG = {"slur", "tie", "hairpin", "gliss", "phrase", "octave", "trill"}
# For signs that its tables lack it keeps the room of an o, half an em. A reader sees none of the invisible one, and circles of
# 0.87 em where DejaVu Sans stands in for what Times lacks (its `hmtx`), as browsers here do.
_VEROVIO_EM = 2.25  # staff spaces, of all words: lyric size
_VEROVIO_WIDER = {MARK: -0.5} | dict.fromkeys("●○◎◉◐", 0.37)
_VEROVIO_OTHER = {"clef", "meterSig", "keySig", "tupletNum", "tupletBracket", "artic", "fermata", "arpeg"}


def _draw_in_verovio(data: bytes, folder: Path) -> Pages:
    (folder / "in.musicxml").write_bytes(data)
    run([sys.executable, str(HERE / "draw_verovio.py"), str(folder / "in.musicxml"), str(folder / "page")], folder)
    boxes: list[Box] = []
    drawn = _numbered(folder, "page")
    width = 0.0
    for page, path in enumerate(drawn):
        root = etree.parse(path).getroot()
        inner = next(one for one in root.iter("{*}svg") if one.get("viewBox"))
        everything = list(walk(inner))
        lines = [extent([apply(m, p) for p in points(one)]) for one, m in everything if _is_staff_line(one)]
        space = lines[1][1] - lines[0][1]
        width = numbers(inner.get("viewBox", ""))[2] / space
        boxes += _whole_staves(_staves(lines, page, space))
        for one, matrix in everything:
            boxes += _of_verovio(one, matrix, page, space)
    return Pages(tuple(boxes), len(drawn), width)


def _whole_staves(pieces: list[Box]) -> list[Box]:
    """It draws a staff bar by bar."""
    found: dict[tuple[float, float], Box] = {}
    for piece in pieces:
        at = round(piece.y0, 2), round(piece.y1, 2)
        known = found.get(at, piece)
        found[at] = replace(piece, x0=min(known.x0, piece.x0), x1=max(known.x1, piece.x1))
    return list(found.values())


def _is_staff_line(element: etree._Element) -> bool:
    parent = element.getparent()
    return (
        etree.QName(element).localname == "path"
        and parent is not None
        and parent.get("class", "") == "staff"
        and not element.get("class")
    )


def _of_verovio(one: etree._Element, matrix: Matrix, page: int, space: float) -> Iterator[Box]:
    names = set(one.get("class", "").split())
    if etree.QName(one).localname == "tspan":
        text = "".join(str(each) for each in one.itertext())
        rect = next(iter(one.findall("{*}g/{*}rect")), None)
        if names & {"text"} and rect is not None and text.strip():
            box = _box(TEXT, page, space, extent([apply(matrix, p) for p in points(rect)]), text.strip())
            yield replace(box, x1=box.x1 + _VEROVIO_EM * sum(_VEROVIO_WIDER.get(sign, 0.0) for sign in text))
        return
    if "bounding-box" in names:
        kind = NOTE if names & _VEROVIO_NOTE else OTHER if names & _VEROVIO_OTHER else ""
        rect = one.find("{*}rect")
        if kind and rect is not None:
            yield _box(kind, page, space, extent([apply(matrix, p) for p in points(rect)]))
    elif names == {"barLine"}:  # its box goes from the first staff to the last, though nothing is drawn between them
        for shape in one.iter("{*}path"):
            x0, y0, x1, y1 = extent([apply(matrix, p) for p in points(shape)])
            yield _box(OTHER, page, space, (x0 - 0.25 * space, y0, x1 + 0.25 * space, y1))
    elif names == {"beam"}:  # the box of a slanting beam holds room where nothing is drawn
        for shape in one.findall("{*}polygon"):
            outline = [apply(matrix, p) for p in points(shape)]
            yield from (_box(NOTE, page, space, piece) for piece in slices(outline, _LONG * space))
    elif names & _VEROVIO_LONG:
        for shape in one.iter("{*}path", "{*}polygon", "{*}polyline"):
            outline = [apply(matrix, p) for p in points(shape)]
            if outline:
                yield from (_box(OTHER, page, space, piece) for piece in slices(outline, _LONG * space))


# -- LilyPond

_LILYPOND_NOTE = "NoteHead Stem Beam Flag Accidental AccidentalCautionary Rest MultiMeasureRest Dots LedgerLineSpanner"
_LILYPOND_TEXT = "TextScript DynamicText MetronomeMark RehearsalMark LyricText"
_LILYPOND_LONG = "Slur Tie Hairpin Glissando"
_LILYPOND_OTHER = (
    "Script Fingering TupletBracket TupletNumber Clef TimeSignature KeySignature Arpeggio TextSpanner BarNumber"
)


def _draw_in_lilypond(data: bytes, folder: Path) -> Pages:
    (folder / "in.musicxml").write_bytes(data)
    run(["musicxml2ly", "-m", "-o", "page.ly", "in.musicxml"], folder)
    source = (folder / "page.ly").read_text(encoding="utf-8")
    names = f"{_LILYPOND_NOTE} {_LILYPOND_TEXT} {_LILYPOND_LONG} {_LILYPOND_OTHER} StaffSymbol".split()
    (folder / "page.ly").write_text(with_grobs(source, names), encoding="utf-8")
    run(["lilypond", "-dbackend=svg", "-o", "page", "page.ly"], folder)
    drawn = _numbered(folder, "page")
    found = [list(_of_lilypond(path, page)) for page, path in enumerate(drawn)]
    width = numbers(etree.parse(drawn[0]).getroot().get("viewBox", ""))[2]
    return Pages(tuple(box for boxes in found for box in boxes), len(drawn), width)


def _of_lilypond(path: Path, page: int) -> Iterator[Box]:
    """The unit of its SVG is the staff space; boxes are told from their system's corner, y upwards."""
    kinds = dict.fromkeys(_LILYPOND_NOTE.split(), NOTE) | dict.fromkeys(_LILYPOND_TEXT.split(), TEXT)
    root = etree.parse(path).getroot()
    groups = [(one, matrix) for one, matrix in walk(root) if one.get("data-box")]
    corners: dict[str, tuple[float, float]] = {}
    for one, matrix in groups:
        if one.get("class") == "StaffSymbol":
            drawn = [apply(m, p) for each, m in walk(one, matrix) for p in points(each)]
            x0, _, y0, y1 = numbers(one.get("data-box", ""))
            middle = (extent(drawn)[1] + extent(drawn)[3]) / 2
            corners[one.get("data-system", "")] = (extent(drawn)[0] - x0, middle + (y0 + y1) / 2)
    for one, matrix in groups:
        left, top = corners[one.get("data-system", "")]
        x0, x1, y0, y1 = numbers(one.get("data-box", ""))
        name = one.get("class", "")
        box = Box(kinds.get(name, OTHER), page, left + x0, top - y1, left + x1, top - y0)
        inked = [Box(TEXT, page, left + a, top - max(b, d), left + c, box.y1) for a, b, c, d in _edges(one) if c > a]
        if inked:
            box = replace(box, x0=inked[0].x0, x1=inked[-1].x1, ink=tuple(inked))
        if name == "StaffSymbol":
            yield replace(box, kind=STAFF, y0=box.y0 + 0.05, y1=box.y1 - 0.05)
        elif name in _LILYPOND_LONG:
            drawn = [apply(m, p) for each, m in walk(one, matrix) for p in points(each)]
            yield from (Box(OTHER, page, *piece) for piece in slices(drawn, _LONG))
        else:
            text = " ".join("".join(str(each) for each in text.itertext()) for text in one.iter("{*}text"))
            yield replace(box, text=" ".join(text.split()) if box.kind == TEXT else "")


def _edges(one: etree._Element) -> Iterator[tuple[float, float, float, float]]:
    """The upper edge of a grob's ink, piece by piece from left to right: x, y at the one end, x, y at the other."""
    flat = numbers(one.get("data-ink", ""))
    for (a, b), (c, d) in pairwise(zip(flat[::2], flat[1::2], strict=True)):
        yield a, b, c, d


DRAW: dict[str, Callable[[bytes, Path], Pages]] = {
    "MuseScore 3": _draw_in_musescore3,
    "MuseScore 4 (engine)": _draw_in_webmscore,
    "Verovio": _draw_in_verovio,
    "LilyPond": _draw_in_lilypond,
}
"""By the names of `programs.PROGRAMS`."""
