"""The grammar of what we write into a score, row by row, in every language there is: a text between our signs that is no
such row is somebody else's, and stays."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import cache

from annotate.files.markup import SIGNATURE
from annotate.language import languages, words
from annotate.output import in_ascii
from fingering_db.touches import TOUCHES

_SIGNS = "♯♭"  # kept by the carrier in ASCII too
_MOST = 1000  # characters of a row; the longest legend has some 250
_SIGN = r"[●○◎◉◐@\-ov&]"
_NUMBER = r"[+\-−]?[0-9]+(?:[.,][0-9]+)?"
_PITCH = r"[^\W\d_]{1,6}[♯♭#]?-?[0-9]+(?:\([+\-−]?[0-9]+\))?"
_KEY = (
    "(?:"
    + "|".join(sorted((re.escape(one.sign or one.touch) for one in TOUCHES), key=len, reverse=True))
    + ")(?:ov|o|v)?"
)
_VALUES = {
    "sign": _SIGN,
    "touch": _KEY,
    "touches": rf"(?:(?:{_KEY}|\|) ?)+",
    "pitch": _PITCH,
    "list": rf"{_PITCH} {_NUMBER}(?:, {_PITCH} {_NUMBER})*",
    **dict.fromkeys(("start", "end", "n", "cents"), _NUMBER),
}
_OTHER = r"[\w♯♭+\-−.,/ ]{1,30}"  # a value that this grammar does not know


def are_ours(text: str) -> bool:
    """Whether a text is of our rows alone: each between our signs, parted by white space, and as we write it.

    Programs may have changed blanks; nothing else, for what a user types into a row makes it the user's."""
    pieces = text.strip().split(SIGNATURE)
    between, rows = pieces[::2], pieces[1::2]
    return bool(rows) and len(pieces) % 2 == 1 and not any(map(str.strip, between)) and all(map(is_row, rows))


def is_row(row: str) -> bool:
    """Whether one row, without our signs, is as we write it: half a diagram, a sign of one, a note or a legend."""
    bare = " ".join(unicodedata.normalize("NFC", row).split())
    return 0 < len(bare) <= _MOST and bool(_grammar().fullmatch(bare))


@cache
def _grammar() -> re.Pattern[str]:
    """Any row of any language; in ASCII too, as the carrier of that name writes it."""
    notes: set[str] = set()
    legends: set[str] = set()
    for language in languages():
        tables = words(language).tables
        plain = {text for text in _texts(tables["note"].values()) if "{" not in text}
        for made, table in ((notes, tables["note"]), (legends, tables["legend"])):
            for text in _texts(table.values()):
                made.add(_pattern(text, plain))
                made.add(_pattern(in_ascii(text, _SIGNS), {in_ascii(one, _SIGNS) for one in plain}))
    drawn = rf"{_SIGN}{{3}}(?: {_KEY})*(?: ~)?|{_SIGN}|{_KEY}|[~|]"
    legend = "|".join(sorted(legends))
    return re.compile(f"{drawn}|{'|'.join(sorted(notes))}|(?:{legend})(?: (?:{legend}))*")


def _texts(values: Iterable[object]) -> list[str]:
    """Those of a table's entries that are one text."""
    return [" ".join(value.split()) for value in values if isinstance(value, str)]


def _pattern(text: str, plain: set[str]) -> str:
    """What a text with {names} may come out as. plain: the notes that may stand for {note}."""
    pieces = re.split(r"\{(\w+)[^}]*\}", text.replace("#", "♯"))
    note = "(?:" + "|".join(sorted(map(re.escape, plain))) + ")"
    made = [
        (note if piece == "note" else _VALUES.get(piece, _OTHER)) if number % 2 else re.escape(piece)
        for number, piece in enumerate(pieces)
    ]
    return "".join(made)
