"""A small tree for each bar, built by expat from bytes and dropped when it has been read; every limit but that of the
file's size is kept here."""

from __future__ import annotations

from collections.abc import Callable
from typing import NoReturn, Protocol
from xml.parsers import expat

from annotate.files.doctype import Defaults
from annotate.files.encoding import TextForm
from annotate.findings import InputError
from fingering_db.message import Message

MAX_DEPTH = 100
MAX_NOTES = 500_000
MAX_CHORD = 500
MAX_ELEMENTS_IN_BAR = 400_000
"""Elements and attributes that are kept at once."""
MAX_ENTITY = 100_000
"""Characters that one internal entity may grow to."""
MAX_GROWTH = 1_000_000
"""Characters that all internal entities together may add to the file."""

_PLACED = frozenset({"note", "direction"})
# Text between the children of these is blank; not listening to it saves most calls from expat.
_WITHOUT_TEXT = frozenset({
    "measure", "note", "pitch", "rest", "notations", "technical", "articulations", "ornaments", "direction", "direction-type",
    "attributes", "time", "transpose", "backup", "forward", "sound", "metronome", "barline", "chord", "work", "part-list",
    "score-part", "score-instrument", "midi-instrument",
})  # fmt: skip
_CUT_OFF = frozenset({3, 5, 6, 20})
"""expat's numbers for: no element found, unclosed token, partial character, unclosed CDATA section."""
_HEADING = frozenset({"work", "movement-title", "part-list"})
_NO_ATTRIBUTES: dict[str, str] = {}


class Node:
    """An element. start, end: byte offsets in the file, told for notes and directions only, else -1."""

    __slots__ = ("attributes", "children", "end", "start", "tag", "text")

    def __init__(self, tag: str, attributes: dict[str, str]) -> None:
        self.tag = tag
        self.attributes = attributes or _NO_ATTRIBUTES
        self.children: list[Node] | tuple[()] = ()  # most elements have none: a list only for those that do
        self.text = ""
        self.start = -1
        self.end = -1

    def child(self, tag: str) -> Node | None:
        return next((node for node in self.children if node.tag == tag), None)

    def text_of(self, tag: str, default: str = "") -> str:
        """The text of the first child with this tag, blanks at its ends removed; `default` where there is none."""
        node = self.child(tag)
        return default if node is None else node.text.strip()

    def all(self, tag: str) -> list[Node]:
        return [node for node in self.children if node.tag == tag]


class Receiver(Protocol):
    """Who is told what stands in the score."""

    headings_only: bool

    def root(self, tag: str, attributes: dict[str, str]) -> None:
        """The root element begins."""

    def heading(self, node: Node) -> None:
        """`<work>`, `<movement-title>` or `<part-list>`, whole."""

    def open_part(self, part_id: str) -> tuple[frozenset[str], bool]:
        """A part begins. Returns element names, and True when these are to be kept, False when left out."""
        ...

    def measure(self, node: Node) -> None:
        """One bar of the part that is open, whole."""

    def refuse(self, node: Node, why: Message) -> NoReturn:
        """A bar of the part that is open has something that ends the reading. node: its element, begun."""
        ...

    def close_part(self) -> None:
        """The part ends."""


class _Done(Exception):  # noqa: N818 - not an error: the headings have been read
    pass


def walk(data: bytes, form: TextForm, receiver: Receiver) -> None:
    """Read a file of MusicXML, telling `receiver` about it bar by bar.

    Raises InputError, in one line, for XML that is not well-formed or cut off, for a forbidden entity, and
    past a limit; what `receiver` raises goes through.
    """
    builder = _Builder(data, form, receiver)
    try:
        builder.parser.Parse(data[form.start :] if form.start else data, True)
    except _Done:
        return
    except expat.ExpatError as error:
        raise InputError(_not_well_formed(data, form, error)) from None
    except ValueError as error:
        # pyexpat: 'multi-byte encodings are not supported', or an encoding it does not know.
        if type(error) is not ValueError:
            raise
        raise InputError(Message("score.encoding_unreadable", reason=str(error))) from None


def _not_well_formed(data: bytes, form: TextForm, error: expat.ExpatError) -> Message:
    line = error.lineno + data.count(b"\n", 0, form.start)
    if error.code in _CUT_OFF:
        return Message("score.cut_off", line=line)
    reason = expat.ErrorString(error.code) or Message("score.not_well_formed")
    return Message("score.no_xml", line=line, reason=reason)


class _Builder:
    __slots__ = (
        "base", "chord", "closing", "data", "defaults", "depth", "elements", "entities", "form", "grown", "in_part", "keeping",
        "listen", "notes", "parser", "quiet", "receiver", "reference", "semicolon", "size", "skip", "stack", "tags",
    )  # fmt: skip

    def __init__(self, data: bytes, form: TextForm, receiver: Receiver) -> None:
        self.data = data
        self.form = form
        self.base = form.start
        self.reference, self.semicolon, self.closing = map(form.encode, "&;>")
        self.receiver = receiver
        self.stack: list[Node] = []
        self.skip = self.depth = self.notes = self.elements = self.grown = 0
        self.size, self.chord = 1, False  # of the chord so far, and whether the last note belongs to one
        self.tags: frozenset[str] = frozenset()
        self.keeping = self.in_part = False
        self.entities: dict[str, str] = {}
        self.quiet: Callable[[str], None] | None = None
        self.listen: Callable[[str], None] = self._text
        self.parser = expat.ParserCreate(form.override)
        self.parser.buffer_text = True
        self.parser.EntityDeclHandler = self._entity
        given = Defaults()
        self.defaults = given.characters
        self.parser.AttlistDeclHandler = given.declared
        self._outside()

    def _outside(self) -> None:
        self.parser.StartElementHandler = self._open_outside
        self.parser.EndElementHandler = self._close_outside
        self.parser.CharacterDataHandler = self.quiet

    def _inside(self) -> None:
        self.parser.StartElementHandler = self._open
        self.parser.EndElementHandler = self._close
        self.parser.CharacterDataHandler = self.quiet

    def _open_outside(self, tag: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        if self.depth == 1:
            self._check_entities()
            self.receiver.root(tag, attributes)
        elif self.depth == 2 and tag == "part":
            if self.receiver.headings_only:
                raise _Done
            self.in_part = True
            self.tags, self.keeping = self.receiver.open_part(attributes.get("id", ""))
        else:
            self.depth -= 1  # the element that begins a tree is closed inside
            self.elements, self.chord = 0, False
            if tag == "measure" if self.in_part else tag in _HEADING:
                self.stack.append(Node(tag, attributes))
            else:
                self.skip = 1
            self._inside()

    def _close_outside(self, tag: str) -> None:
        if self.depth == 2:
            self.in_part = False
            self.tags, self.keeping = frozenset(), False
            self.receiver.close_part()
        self.depth -= 1

    def _open(self, tag: str, attributes: dict[str, str]) -> None:
        if self.skip:
            self.skip += 1
            if self.skip > MAX_DEPTH:
                self._too_deep()
            return
        if (tag in self.tags) is not self.keeping:
            self.skip = 1
            return
        node = Node(tag, attributes)
        stack = self.stack
        above = stack[-1]
        if above.children:
            above.children.append(node)
        else:
            above.children = [node]
        stack.append(node)
        if self.defaults:
            self._grow(self.defaults.get(tag, 0))
        if tag not in _WITHOUT_TEXT:
            self.parser.CharacterDataHandler = self.listen
        elif tag in _PLACED:
            node.start = self.parser.CurrentByteIndex + self.base
            if tag == "note":
                self._count_note()
        elif tag == "chord":
            self._count_chord()
        self.elements += 1 + len(attributes)
        if len(stack) > MAX_DEPTH - 2:
            self._too_deep()
        if self.elements > MAX_ELEMENTS_IN_BAR:
            raise InputError(
                Message("score.elements_in_bar", line=self.parser.CurrentLineNumber, most=MAX_ELEMENTS_IN_BAR)
            )

    def _count_note(self) -> None:
        self.notes += 1
        if self.notes > MAX_NOTES:
            raise InputError(Message("score.too_many_notes", most=MAX_NOTES))
        if not self.chord:
            self.size = 1
        self.chord = False

    def _count_chord(self) -> None:
        self.size += not self.chord
        self.chord = True
        if self.size > MAX_CHORD and self.in_part and not self.keeping:
            # Here, and not when the bar is whole: an endless chord takes long to be read.
            self.receiver.refuse(self.stack[0], Message("score.chord_too_large", most=MAX_CHORD))

    def _close(self, tag: str) -> None:
        if self.skip:
            self.skip -= 1
            if not self.skip and not self.stack:
                self._outside()
            return
        node = self.stack.pop()
        if tag not in _WITHOUT_TEXT:
            self.parser.CharacterDataHandler = self.quiet
        elif tag in _PLACED:
            node.end = self._after_tag(self.parser.CurrentByteIndex + self.base)
        if self.stack:
            return
        self._outside()
        if self.in_part:
            self.receiver.measure(node)
        else:
            self.receiver.heading(node)
            if self.receiver.headings_only and node.tag == "part-list":
                raise _Done

    def _after_tag(self, index: int) -> int:
        """Offset behind the end tag that begins at `index` (behind the reference, for text out of an
        entity)."""
        referred = self.data.startswith(self.reference, index)
        return self.form.behind(self.data, self.semicolon if referred else self.closing, index)

    def _text(self, text: str) -> None:
        if not self.skip:
            self.stack[-1].text += text

    def _counted_text(self, text: str) -> None:
        self._grow(len(text))
        self._text(text)

    def _grow(self, characters: int) -> None:
        self.grown += characters
        if self.grown > len(self.data) + MAX_GROWTH:
            raise InputError(Message("score.entities_grow"))

    def _too_deep(self) -> None:
        line = self.parser.CurrentLineNumber
        raise InputError(Message("score.too_deep", line=line, most=MAX_DEPTH))

    def _entity(
        self,
        name: str,
        is_parameter: bool,
        value: str | None,
        _base: str | None,
        system: str | None,
        *others: str | None,
    ) -> None:
        public = others[0]
        if value is None or system is not None or public is not None:
            raise InputError(Message("score.external_entity", name=name))
        if not is_parameter:
            self.entities.setdefault(name, value)

    def _check_entities(self) -> None:
        """Refuse entities that would grow too large, before any is used."""
        sizes: dict[str, int] = {}
        for name in self.entities:
            if _entity_size(name, self.entities, sizes, ()) > MAX_ENTITY:
                raise InputError(Message("score.entity_grows", name=name, most=MAX_ENTITY))
        if self.entities:
            self.quiet, self.listen = lambda text: self._grow(len(text)), self._counted_text


def _entity_size(name: str, entities: dict[str, str], sizes: dict[str, int], within: tuple[str, ...]) -> int:
    """Characters that an entity grows to. Raises InputError for one that holds itself."""
    if name not in entities:
        return 1
    if name in within or len(within) > MAX_DEPTH:
        raise InputError(Message("score.entity_in_itself", name=name))
    if name not in sizes:
        value = entities[name]
        inner = [piece.partition(";")[0] for piece in value.split("&")[1:]]
        sizes[name] = len(value) + sum(_entity_size(each, entities, sizes, (*within, name)) for each in inner)
    return sizes[name]
