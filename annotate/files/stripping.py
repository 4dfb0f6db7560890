"""Taking our marks out of a score again: exactly, or by their signature after another program saved it."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.parsers import expat

from annotate.files.doctype import Defaults
from annotate.files.encoding import TextForm, inspect
from annotate.files.own_marks import BEGIN, END, SIGNATURE, TARGET, own_line, without
from annotate.files.own_rows import are_ours
from annotate.findings import InputError
from fingering_db.message import Message

Span = tuple[int, int]

# A direction with anything else in it (dynamics, a sound, a line) is not, or no longer, ours alone.
_OUR_ELEMENTS = frozenset({"direction-type", "words", "offset", "footnote", "level", "voice", "staff"})

# Entities nested tens of thousands deep exhaust the stack of older parsers; scores declare a few at most.
_MOST_ENTITIES = 1000


def strip(data: bytes) -> bytes:
    """The XML bytes without our marks.

    Blocks between our processing instructions go exactly, so that what was spliced in comes out byte for
    byte. A `<direction>` whose words all carry our signature and read as rows of ours goes with its line, wherever it
    stands. All else stays. Raises InputError for bytes that are no XML.
    """
    return without(data, _found(data).spans)


def may_hold_marks(data: bytes) -> bool:
    """Whether a trace of a mark is among the bytes, in any encoding; a look that spares most files the parsing.

    A signature may stand as itself, as a character reference, or in an entity."""
    traces = [TARGET.encode(), b"&#", b"<!ENTITY", SIGNATURE.encode()]
    if b"\0" in data[:400]:  # UTF-16: NUL bytes part the letters
        utf16 = (SIGNATURE.encode("utf-16-le"), SIGNATURE.encode("utf-16-be"))
        return any(trace in data for trace in utf16) or any(trace in data.replace(b"\0", b"") for trace in traces)
    return any(trace in data for trace in traces)


def rows_kept(data: bytes) -> tuple[str, ...]:
    """Texts between our signs that `strip` leaves, because they do not read as rows of ours (any more)."""
    return tuple(_found(data).kept)


def _found(data: bytes) -> _Finder:
    form = inspect(data)
    finder = _Finder(data, form)
    try:
        finder.parser.Parse(memoryview(data)[form.start :], True)
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise InputError(Message("file.strip_no_xml", reason=str(error))) from error
    return finder


@dataclass(slots=True)
class _Direction:
    """A `<direction>` being read. depth: of its own element. ours: nothing foreign met so far."""

    start: int
    depth: int
    ours: bool = True
    texts: list[str] = field(default_factory=list)

    def is_ours(self) -> bool:
        # Programs may add white space around a text when saving; one lone separator is no text of ours.
        texts = [text.strip() for text in self.texts]
        signed = (len(text) > 1 and text[-1] == SIGNATURE for text in texts)
        return self.ours and bool(texts) and all(signed)

    def is_as_written(self) -> bool:
        """Whether its texts are rows as we write them: what somebody typed into one is not ours to take."""
        return all(map(are_ours, self.texts))


@dataclass(slots=True)
class _Block:
    """What follows our begin instruction. clean: nothing but directions of ours met so far."""

    begin: Span
    depth: int
    clean: bool = True
    inside: list[Span] = field(default_factory=list)


class _Finder:
    """Collects spans while the parser runs over the bytes."""

    def __init__(self, data: bytes, form: TextForm) -> None:
        self.spans: list[Span] = []
        self.kept: list[str] = []
        self.parser = expat.ParserCreate(form.override)
        self.parser.StartElementHandler = self._on_start
        self.parser.EndElementHandler = self._on_end
        self.parser.ProcessingInstructionHandler = self._on_instruction
        self.parser.CommentHandler = self._on_foreign
        self.parser.EntityDeclHandler = self._on_entity
        self.parser.AttlistDeclHandler = Defaults().declared
        self._entities = 0
        self._data = data
        self._form = form
        self._depth = 0
        self._block: _Block | None = None
        self._direction: _Direction | None = None
        self._words: list[str] | None = None

    def _span(self, start: int, opened: str, closed: str) -> Span | None:
        """Span from `start` past the `closed` that follows the parser's place, which must begin with
        `opened`.

        None inside an entity's expansion: there the parser tells the place of the reference.
        """
        here = self.parser.CurrentByteIndex + self._form.start
        if not self._data.startswith(self._form.encode(opened), here):
            return None
        return start, self._form.behind(self._data, self._form.encode(closed), here)

    def _on_start(self, name: str, _attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._direction is not None:
            if name not in _OUR_ELEMENTS:
                self._direction.ours = False
            if name == "words":
                self._words = []
                self._listen()
        elif name == "direction":
            self._direction = _Direction(self.parser.CurrentByteIndex + self._form.start, self._depth)
        elif self._block is not None:
            self._block.clean = False

    def _on_end(self, name: str) -> None:
        direction = self._direction
        if direction is not None:
            if name == "words" and self._words is not None:
                direction.texts.append("".join(self._words))
                self._words = None
                self._listen()
            if self._depth == direction.depth:
                self._direction = None
                self._close_direction(direction)
        self._depth -= 1
        if self._block is not None and self._depth < self._block.depth:
            self._give_up_block()

    def _close_direction(self, direction: _Direction) -> None:
        span = self._span(direction.start, "</direction", ">") if direction.is_ours() else None
        if span is not None and not self._data.startswith(self._form.encode("<direction"), span[0]):
            span = None
        if self._block is None:
            if span is not None and direction.is_as_written():
                self.spans.append(self._with_line(span))
            elif span is not None:
                self.kept.append(" ".join(" ".join(direction.texts).replace(SIGNATURE, "").split()))
        elif span is None:
            self._block.clean = False
        else:
            self._block.inside.append(span)

    def _on_text(self, text: str) -> None:
        if self._words is not None:
            self._words.append(text)
        elif self._direction is None and text.strip():
            self._on_foreign(text)

    def _on_foreign(self, _text: str) -> None:
        """Something of somebody else's: a block or direction that holds it is not taken out whole."""
        if self._direction is not None:
            self._direction.ours = False
        if self._block is not None:
            self._block.clean = False

    def _on_instruction(self, target: str, text: str) -> None:
        start = self.parser.CurrentByteIndex + self._form.start
        span = self._span(start, f"<?{TARGET}", "?>") if target == TARGET and self._depth else None
        if span is None or self._direction is not None or text.strip() not in (BEGIN, END):
            self._on_foreign(text)
            return
        block = self._block
        if text.strip() == END and block is not None and block.clean and block.inside:
            self.spans.append((block.begin[0], span[1]))
            self._block = None
        else:
            self._give_up_block()
            if text.strip() == BEGIN:
                self._block = _Block(span, self._depth)
            else:
                self.spans.append(span)
        self._listen()

    def _give_up_block(self) -> None:
        """It holds something foreign or never ends: take out its instruction and our directions alone."""
        if self._block is not None:
            self.spans.append(self._block.begin)
            self.spans.extend(self._with_line(span) for span in self._block.inside)
            self._block = None
            self._listen()

    def _with_line(self, span: Span) -> Span:
        """The span with the line ending and indentation before it, if it begins its line."""
        before = own_line(self._data, span[0], self._form)
        length = len("".join(before)) * self._form.width if before else 0
        return span[0] - length, span[1]

    def _listen(self) -> None:
        """Have text reported only where it matters: most of a score's text does not."""
        wanted = self._words is not None or self._block is not None
        self.parser.CharacterDataHandler = self._on_text if wanted else None

    def _on_entity(
        self, name: str, _parameter: bool, _value: str | None, _base: str | None, system: str | None, *_: str | None
    ) -> None:
        self._entities += 1
        if system is not None:
            raise InputError(Message("file.external_entity", name=name))
        if self._entities > _MOST_ENTITIES:
            raise InputError(Message("file.many_entities", most=_MOST_ENTITIES))
