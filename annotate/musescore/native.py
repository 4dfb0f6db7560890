"""Where the chords of a MuseScore file (.mscx) stand in its bytes, texts spliced in there, and taken out again.

The file's form is not documented; what is read here was seen in files of versions 3.01, 4.00 and 4.60. What is written is
checked by exporting it again (`selfcheck`), so that a form not foreseen is refused and not damaged.
"""

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from xml.parsers import expat

from annotate.files.own_marks import SIGNATURE, without
from annotate.files.own_rows import are_ours
from annotate.files.writing import Mark
from annotate.findings import InputError
from annotate.score import Part
from fingering_db.message import Message

Key = tuple[int, int, int, int]
"""Score (0 the main one, then the parts made from it), staff id in that score, measure, voice."""

_ZERO = Fraction(0)
_NAMES = ("whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th")
_QUARTERS = {"long": Fraction(16), "breve": Fraction(8)} | {
    name: Fraction(4, 1 << power) for power, name in enumerate(_NAMES)
}
_GRACE = frozenset({
    "acciaccatura", "appoggiatura", "grace4", "grace8", "grace16", "grace32", "grace8after", "grace16after", "grace32after",
})  # fmt: skip
# What the program writes between the texts of a chord and the chord itself.
_BEFORE_CHORD = frozenset(("Spanner", "Tuplet", "Beam"))
_READ = frozenset(("durationType", "dots", "duration", "subtype", "fractions", "normalNotes", "actualNotes"))
ROUNDING = Fraction(2, 480)
"""Quarters: the program counts 480 ticks to a quarter and rounds what does not divide."""
_MAIN_LINK, _COPY_LINK = ("<linkedMain/>",), ("<linked>", "  </linked>")
_FONT = '<font size="6"></font>'


@dataclass(frozen=True, slots=True)
class NativeMark:
    """A text at a chord. part, staff (in the part): from 1. measure: from 0, as in the exported score; voice: 0 to 3.
    position: quarters from the beginning of the bar. rows: top to bottom."""

    part: int
    staff: int
    measure: int
    position: Fraction
    voice: int
    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NativeScore:
    """What of a .mscx file matters here. staves: ids of the staves of each part of the main score, in order. chords: each
    (quarters from the beginning of the bar, byte offset at which a text on it goes). copies: by staff of the main score,
    (score, staff id) of its copies in parts that lie in the same file (MuseScore 3)."""

    version: str
    staves: tuple[tuple[int, ...], ...]
    chords: dict[Key, list[tuple[Fraction, int]]]
    copies: dict[int, list[tuple[int, int]]]


def read_native(data: bytes) -> NativeScore:
    """Find every chord of the main score. Raises InputError for bytes that are no MuseScore file of version 3 or later."""
    reader = _Reader(data)
    if reader.version is None:
        raise InputError(Message("musescore.no_score"))
    if _major(reader.version) < 3:
        raise InputError(Message("musescore.too_old", version=_major(reader.version)))
    return NativeScore(reader.version, tuple(tuple(part) for part in reader.staves), reader.chords, reader.copies)


def splice_native(data: bytes, marks: Iterable[NativeMark]) -> bytes:
    """The .mscx bytes with a staff text for each mark right before its chord; every other byte as it was.

    Parts made from the score and kept in the same file get the text too, linked as the program links it. Raises InputError
    where a mark's chord is not found.
    """
    score = read_native(data)
    found = sorted(place for mark in marks for place in _places(score, mark))
    size = ("<size>6</size>",) if _major(score.version) > 3 else ()  # version 4 says it twice
    pieces, at = [], 0
    for offset, link, rows in found:
        pieces += [data[at:offset], _staff_text(rows, (*link, *size), _indent(data, offset)).encode()]
        at = offset
    return b"".join([*pieces, data[at:]])


def strip_native(data: bytes) -> bytes:
    """The .mscx bytes without our staff texts, also in linked parts and after MuseScore has saved them."""
    return without(data, _Texts(data).spans)


def staff_text(rows: Sequence[str]) -> str:
    """The rows as the contents of a `<text>`: small, each signed (exported, each is a `<words>` of its own), escaped as the
    program itself escapes."""
    lines = "\n".join(SIGNATURE + row.replace("#", "♯") + SIGNATURE for row in rows)
    for sign, name in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        lines = lines.replace(sign, name)
    return _FONT + lines


def _major(version: str) -> int:
    number = re.match(r"\d+", version)
    return int(number.group()) if number else 0


def _places(score: NativeScore, mark: NativeMark) -> list[tuple[int, tuple[str, ...], tuple[str, ...]]]:
    """(byte offset, lines of the element that links, rows) in the main score and in each part that shares the staff."""
    try:
        staff = score.staves[mark.part - 1][mark.staff - 1]
    except IndexError:
        raise InputError(Message("musescore.no_staff", staff=mark.staff, part=mark.part)) from None
    copies = score.copies.get(staff, [])
    main = (_offset(score, mark, (0, staff)), _MAIN_LINK if copies else (), mark.rows)
    return [main, *((_offset(score, mark, copy), _COPY_LINK, mark.rows) for copy in copies)]


def _offset(score: NativeScore, mark: NativeMark, place: tuple[int, int]) -> int:
    """The byte offset for a mark; the chord nearest within the program's own rounding, if there is just one."""
    chords = score.chords.get((*place, mark.measure, mark.voice), [])
    exact = [offset for position, offset in chords if position == mark.position]
    near = exact or [offset for position, offset in chords if abs(position - mark.position) <= ROUNDING]
    if len(near) != 1:
        values = {"part": mark.part, "staff": mark.staff, "bar": mark.measure + 1, "voice": mark.voice + 1}
        key = "musescore.many_chords" if near else "musescore.no_chord"
        raise InputError(Message(key, quarters=float(mark.position), **values))
    return near[0]


def _indent(data: bytes, offset: int) -> str:
    line = data[data.rfind(b"\n", 0, offset) + 1 : offset]
    return line.decode("ascii", "replace") if not line.strip() else ""


def _staff_text(rows: Sequence[str], before: Sequence[str], indent: str) -> str:
    """The element, with lines before its text, as the program lays it out: what closes stands two further in than what opens."""
    inner = (f"  {line}" for line in (*before, f"<text>{staff_text(rows)}</text>", "</StaffText>"))
    lines = ["<StaffText>", *inner, ""]
    return f"\n{indent}".join(lines)


@dataclass(slots=True)
class _Child:
    """One element of a voice while it is read. start: of its first byte."""

    tag: str
    start: int
    grace: bool = False
    halved: bool = False
    values: dict[str, str] = field(default_factory=dict)


class _Reader:
    """Walks the main score's staves, bars and voices, and adds up durations."""

    def __init__(self, data: bytes) -> None:
        self.version: str | None = None
        self.staves: list[list[int]] = []
        self.chords: dict[Key, list[tuple[Fraction, int]]] = {}
        self.copies: dict[int, list[tuple[int, int]]] = {}
        self._path: list[str] = []
        self._score = self._scores = 0  # which score this is, and how many parts have been met
        self._own = 0  # staff that the heading of a part speaks of
        self._staff = self._measure = self._voice = 0
        self._extra = False  # a multi-measure rest: an additional bar, no bar of the music
        self._bar: dict[Key, list[tuple[Fraction, int]]] = {}
        self._child: _Child | None = None
        self._child_depth = 0
        self._run: int | None = None
        self._now = _ZERO
        self._ratios: list[Fraction] = []
        self._tremolo = False
        self._text: list[str] | None = None
        self._parser = expat.ParserCreate()
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        _parse(self._parser, data)

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        path = self._path
        path.append(tag)
        depth = len(path)
        if depth == 1 and tag == "museScore":
            self.version = attributes.get("version", "")
        elif depth == 3 and path[1] == tag == "Score":
            self._scores += 1
            self._score = self._scores
        elif path[1:2] == ["Score"]:
            self._in_score(tag, attributes, path[2:] if path[2:3] != ["Score"] else path[3:])

    def _in_score(self, tag: str, attributes: dict[str, str], path: list[str]) -> None:
        """path: below the score, of the element that begins here."""
        depth = len(path)
        if depth == 1 and tag == "Part" and not self._score:
            self.staves.append([])
        elif depth == 1 and tag == "Staff":
            self._staff, self._measure = int(attributes.get("id", "0") or 0), -1
        elif depth == 2 and path[0] == "Part" and tag == "Staff":
            self._own = int(attributes.get("id", "0") or 0) or sum(map(len, self.staves)) + 1
            if not self._score:
                self.staves[-1].append(self._own)
        elif depth == 3 and path[:2] == ["Part", "Staff"] and tag == "linkedTo" and self._score:
            self._read_text()
        elif path and path[0] == "Staff" and depth > 1:
            self._in_staff(tag, path)

    def _in_staff(self, tag: str, path: list[str]) -> None:
        depth = len(path)
        if path[1] != "Measure":
            return
        if depth == 2:
            self._extra, self._voice, self._bar = False, -1, {}
        elif depth == 3:
            if tag == "voice":
                self._voice += 1
                self._now, self._run, self._ratios, self._tremolo = _ZERO, None, [], False
            elif tag == "multiMeasureRest":
                self._extra = True
        elif path[2] == "voice":
            self._in_voice(tag, path[3:])

    def _in_voice(self, tag: str, path: list[str]) -> None:
        """path: below the voice."""
        depth = len(path)
        if depth == 1:
            self._child = _Child(tag, self._parser.CurrentByteIndex)
            self._child_depth = len(self._path)
        child = self._child
        if child is None or depth == 1:
            return
        if depth == 2 and tag in _GRACE:
            child.grace = True
        elif tag == "TremoloTwoChord":
            child.halved = True
        elif tag in _READ and (depth == 2 or (tag == "subtype" and path[1] == "Tremolo")):
            self._read_text()

    def _read_text(self) -> None:
        self._text = []
        self._parser.CharacterDataHandler = self._text.append

    def _end(self, tag: str) -> None:
        if self._text is not None:
            self._told(tag, "".join(self._text).strip())
            self._text = None
            self._parser.CharacterDataHandler = None
        elif self._child is not None and len(self._path) == self._child_depth:
            self._close(self._child)
            self._child = None
        elif tag == "Measure" and self._path[-2] == "Staff" and not self._extra:
            self._measure += 1
            for (score, staff, _, voice), chords in self._bar.items():
                self.chords[score, staff, self._measure, voice] = chords
        elif tag == "Score" and len(self._path) == 3:
            self._score = 0
        self._path.pop()

    def _told(self, tag: str, text: str) -> None:
        if tag == "linkedTo":
            self.copies.setdefault(int(text), []).append((self._score, self._own))
        elif self._child is not None and tag == "subtype":
            self._child.halved |= self._path[-2] == "Tremolo" and text.startswith("c")
        elif self._child is not None:
            self._child.values[tag] = text

    def _close(self, child: _Child) -> None:
        tag, values = child.tag, child.values
        if tag in _BEFORE_CHORD or (tag == "Chord" and child.grace):
            self._run = child.start if self._run is None else self._run
            if tag == "Tuplet":
                normal, actual = values.get("normalNotes", "1"), values.get("actualNotes", "1")
                self._ratios.append(Fraction(int(normal), int(actual)))
            return
        if tag in ("Chord", "Rest"):
            if tag == "Chord":
                offset = child.start if self._run is None else self._run
                self._bar.setdefault((self._score, self._staff, 0, self._voice), []).append((self._now, offset))
            self._now += self._length(child)
        elif tag == "endTuplet" and self._ratios:
            self._ratios.pop()
        elif tag == "location":
            self._now += 4 * Fraction(values.get("fractions", "0"))
        self._run = None

    def _length(self, child: _Child) -> Fraction:
        """Quarters that a chord or rest takes: its shape, dots, tuplets; a tremolo of two chords is written with twice
        its length at each."""
        name = child.values.get("durationType", "")
        if name == "measure":
            return 4 * Fraction(child.values.get("duration", "0"))
        if name not in _QUARTERS:
            raise InputError(Message("musescore.unknown_length", name=name))
        length = _QUARTERS[name] * (2 - Fraction(1, 1 << int(child.values.get("dots", "0") or 0)))
        for ratio in self._ratios:
            length *= ratio
        halved = child.halved or self._tremolo
        self._tremolo = child.halved and child.tag == "Chord"
        return length / 2 if halved else length


def _parse(parser: expat.XMLParserType, data: bytes) -> None:
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, ValueError) as error:
        raise InputError(Message("musescore.no_xml", reason=str(error))) from error


class _Texts:
    """Byte spans of our staff texts, each with the line it stands on."""

    def __init__(self, data: bytes) -> None:
        self.spans: list[tuple[int, int]] = []
        self._data = data
        self._depth = 0
        self._start: tuple[int, int] | None = None
        self._texts: list[str] | None = None
        self._parser = expat.ParserCreate()
        self._parser.StartElementHandler = self._on_start
        self._parser.EndElementHandler = self._on_end
        _parse(self._parser, data)

    def _on_start(self, tag: str, _attributes: dict[str, str]) -> None:
        self._depth += 1
        if tag == "StaffText" and self._start is None:
            self._start = (self._parser.CurrentByteIndex, self._depth)
            self._texts = []
        elif tag == "text" and self._texts is not None:
            self._parser.CharacterDataHandler = self._texts.append

    def _on_end(self, tag: str) -> None:
        if tag == "text" and self._start is not None:
            self._parser.CharacterDataHandler = None
        if self._start is not None and self._depth == self._start[1]:
            text = "".join(self._texts or ()).strip()
            if are_ours(text):
                self.spans.append(self._with_line(self._start[0], self._parser.CurrentByteIndex))
            self._start = self._texts = None
        self._depth -= 1

    def _with_line(self, start: int, closing: int) -> tuple[int, int]:
        """From the element's own beginning to that of what follows it, so that one line less is left."""
        end = self._data.index(b">", closing) + 1
        rest = re.compile(rb"\r?\n[ \t]*").match(self._data, end)
        return start, rest.end() if rest else end


def native_marks(parts: Sequence[Part], marks: Iterable[Mark]) -> tuple[NativeMark, ...]:
    """Each mark at its part, staff, bar, position and voice. parts: those read, with their events."""
    events = {event.start: (part, event) for part in parts for event in part.events}
    found = []
    for mark in marks:
        part, event = events[mark.offset]
        # The program numbers the voices of a part through its staves, four to a staff; a chord moved across to the
        # staff beside it stays in its own voice.
        track = int(event.voice) - 1 if event.voice.isdecimal() else 4 * (event.staff - 1)
        staff, voice = divmod(max(track, 0), 4)
        rows = (*mark.below, *mark.rows)
        found.append(NativeMark(part.number, staff + 1, event.bar_index, event.in_bar, voice, rows))
    return tuple(found)


def as_json(marks: Iterable[NativeMark], told: str) -> str:
    """The list the plug-in reads: places with texts, and one sentence to show."""
    places = [
        {name: getattr(mark, name) for name in ("part", "staff", "measure", "voice")}
        | {"quarters": mark.position.as_integer_ratio(), "text": staff_text(mark.rows)}
        for mark in marks
    ]
    return json.dumps({"version": 1, "told": told, "places": places}, ensure_ascii=True)


def error_as_json(message: str) -> str:
    """What the plug-in reads where the score could not be looked at."""
    return json.dumps({"version": 1, "error": message}, ensure_ascii=True)
