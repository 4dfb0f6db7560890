"""Writing marks into a score: fragments spliced into its bytes, of which no other is changed."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from annotate.files.encoding import TextForm, inspect
from annotate.files.own_marks import BEGIN, END, SIGNATURE, TARGET, own_line
from annotate.files.stripping import strip
from annotate.findings import InputError
from annotate.output import in_ascii
from fingering_db.message import Message

COLUMN, ROWS, ASCII = "column", "rows", "ascii"
CARRIERS = (COLUMN, ROWS, ASCII)

# These break an importer of a notation program (`#` too, which is therefore written as a sharp).
_BREAKING = frozenset('\\{$"%')
_SIGNS = "♯♭"  # in every carrier: a file whose encoding lacks them takes character references
_NOT_XML = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
# Spelled out: left to the program, some would set italics or their own size for words.
_FONT = 'font-size="{}" font-style="normal" font-weight="normal"'
_SIZES = {COLUMN: 6, ROWS: 8, ASCII: 6}  # points; Verovio sets all words alike
_SMALL = 6  # of legend and list


class SelfCheckError(InputError):
    """What was written does not give the original back. Nothing has been put in its place."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What to write at one note.

    offset: of the first byte of its `<note` in the file. rows: texts above the staff from top to bottom; below: such under
    it. One of both at least, none empty. voice: '' in a part of
    one voice. staff: from 1; 0 in a part of one staff.
    """

    offset: int
    rows: tuple[str, ...]
    voice: str = ""
    staff: int = 0
    below: tuple[str, ...] = ()


def splice(data: bytes, marks: Sequence[Mark], carrier: str = COLUMN) -> bytes:
    """The XML bytes with the marks put in, each right before its note.

    carrier: 'column' (small type) or 'rows', a direction for each row, bottom row first: the order in which programs stack
    upwards; 'ascii': small, in ASCII but for ♯ and ♭. `strip` gives the bytes back.
    Raises ValueError for what the calling code must not do: an offset that is no note's, two marks on one
    note, a text of no characters or with characters that break an importer, an unknown carrier. Raises InputError for
    bytes that cannot be read as text, and for a note out of an entity, before which nothing can be put.
    """
    if carrier not in CARRIERS:
        raise ValueError(f"no carrier '{carrier}': expected one of {', '.join(CARRIERS)}")
    form = inspect(data)
    pieces = []
    at = -1
    for mark in sorted(marks, key=lambda mark: mark.offset):
        if data.startswith(form.encode("&"), mark.offset):
            line = data.count(b"\n", 0, mark.offset) + 1
            raise InputError(Message("file.note_of_entity", line=line))
        tag = data[mark.offset : mark.offset + 6 * form.width].decode(form.encoding, "replace")
        if mark.offset <= at or not re.match(r"<note[\s/>]", tag):
            raise ValueError(f"two marks at byte {mark.offset}, or no note there")
        pieces += [data[max(at, 0) : mark.offset], form.encode(_block(data, mark, carrier, form))]
        at = mark.offset
    return b"".join([*pieces, data[max(at, 0) :]])


def verify_roundtrip(original: bytes, new: bytes) -> None:
    """Raise SelfCheckError unless the new XML bytes without marks are the original without marks."""
    if strip(new) != strip(original):
        raise SelfCheckError(Message("file.not_given_back"))


def _block(data: bytes, mark: Mark, carrier: str, form: TextForm) -> str:
    """Everything to be put in at one note, ending such that the note keeps a line of its own."""
    if not mark.rows and not mark.below:
        raise ValueError(f"a mark without rows at byte {mark.offset}")
    line = own_line(data, mark.offset, form)
    newline, indent = line or ("", "")
    unit = ("\t" if indent.endswith("\t") else "  ") if line else ""
    lines = [f"<?{TARGET} {BEGIN}?>"]
    # Programs stack what follows outwards: upwards above the staff, downwards below it.
    for text in mark.rows[::-1]:
        lines += _direction(_signed(text, carrier), mark, unit, "above", _FONT.format(_SIZES[carrier]))
    for text in mark.below:
        lines += _direction(_signed(text, carrier), mark, unit, "below", _FONT.format(_SMALL))
    lines.append(f"<?{TARGET} {END}?>")
    return (newline + indent).join(lines)


def _direction(text: str, mark: Mark, unit: str, placement: str, font: str) -> list[str]:
    """Lines of one direction, indented by `unit` for each level; the order of children is the schema's."""
    return [
        f'<direction placement="{placement}">',
        f"{unit}<direction-type>",
        f"{unit * 2}<words {font}>{text}</words>",
        f"{unit}</direction-type>",
        *([f"{unit}<voice>{escape(mark.voice, quote=False)}</voice>"] if mark.voice else []),
        *([f"{unit}<staff>{mark.staff}</staff>"] if mark.staff else []),
        "</direction>",
    ]


def _signed(row: str, carrier: str) -> str:
    """A row's text as it stands in the file: checked, mapped, escaped and signed, at its end alone: Verovio, which has no
    measure of the sign, keeps room for each."""
    row = (in_ascii(row, _SIGNS) if carrier == ASCII else row).replace("#", "♯")
    bad = _BREAKING.intersection(row) or _NOT_XML.findall(row)
    if bad or not row.strip():
        raise ValueError(f"row {row!r} is blank or holds characters that words must not have: {sorted(bad)}")
    return f"{escape(row, quote=False)}{SIGNATURE}"
