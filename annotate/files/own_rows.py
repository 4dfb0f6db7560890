"""The grammar of what we write into a score, row by row, in every language there is: a text between our signs that is no
such row is somebody else's, and stays."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from annotate.files.own_marks import SIGNATURE
from annotate.language import languages, words
from annotate.output import in_ascii
from fingering_db.touches import TOUCHES

_KEPT = "♯♭"  # by the carrier in ASCII too
_MOST = 1000  # characters of a row; the longest legend has some 250
_CIRCLES, _PLAIN = "●○◎◉◐", "@-ov&"
_SIGN = rf"[{_CIRCLES}{re.escape(_PLAIN)}]"
_LETTER = "A-Za-zÀ-ÖØ-öø-ÿĀ-ſ"  # spelled out, for JavaScript has no other way
_NUMBER = r"[+\-−]?[0-9]+(?:[.,][0-9]+)?"
_PITCH = rf"[{_LETTER}]{{1,6}}[♯♭#]?-?[0-9]+(?:\([+\-−]?[0-9]+\))?"
_SHORT = {one.sign.replace(long, short) for one in TOUCHES for long, short in (("tr", "t"), ("T♭", "♭"))}
_LETTERS = sorted((_SHORT | {one.sign or one.touch for one in TOUCHES}) - {""})
_KEY = rf"(?:{'|'.join(sorted(map(re.escape, _LETTERS), key=len, reverse=True))})(?:ov|o|v)?"
# A word of a diagram, in rows, columns or a line; – and = stood in former ones.
_DRAWN = re.compile(rf"{_SIGN}{{1,3}}|{_KEY}|{_KEY}{_SIGN}|{_SIGN}{_KEY}|[~|–=]")
_VALUES = {
    "touch": _KEY,
    "touches": rf"(?:(?:{_KEY}|\|) ?)+",
    "pitch": _PITCH,
    "list": rf"{_PITCH} {_NUMBER}(?:, {_PITCH} {_NUMBER})*",
    **dict.fromkeys(("start", "end", "n", "cents"), _NUMBER),
}
_OTHER = rf"[{_LETTER}0-9_♯♭+\-−.,/ ]{{1,30}}"  # a value that this grammar does not know


def are_ours(text: str) -> bool:
    """Whether a text is of our rows alone: each before our sign, or between two of them, and as we write it.

    Programs may have changed blanks; nothing else, for what a user types into a row makes it the user's."""
    pieces = text.strip().split(SIGNATURE)
    between, rows = pieces[::2], pieces[1::2]
    if len(pieces) % 2 == 1 and not any(map(str.strip, between)):
        return bool(rows) and all(map(is_row, rows))
    return len(pieces) > 1 and not pieces[-1] and all(map(is_row, pieces[:-1]))


def is_row(row: str) -> bool:
    """Whether one row, without our signs, is as we write it: of a diagram, a note, the legend or the list of fingerings."""
    bare = " ".join(unicodedata.normalize("NFC", row[: 2 * _MOST]).split())
    return 0 < len(bare) <= _MOST and bool(_notes().fullmatch(bare) or _is_spelled(bare.split(" ")))


def grammar() -> dict[str, Any]:
    """The same for a program that is not ours: patterns that must match the whole, runs of words of legends."""
    return {
        "sign": SIGNATURE,
        "most": _MOST,
        "notes": _notes().pattern,
        "numbers": _numbers().pattern,
        "drawn": _DRAWN.pattern,
        "longest": _longest(),
        "runs": sorted(_legend_runs()),
    }


def _is_spelled(row: list[str]) -> bool:
    """Whether words are those of diagrams, numbers of fingerings and legends, whole ones or as they are broken into rows."""
    reached = {0}
    for at in range(len(row)):
        if at in reached:
            reached |= {at + 1} if _DRAWN.fullmatch(row[at]) else set()
            for end in range(at + 1, min(len(row), at + _longest()) + 1):
                piece = " ".join(row[at:end])
                if piece in _legend_runs() or _numbers().fullmatch(piece):
                    reached.add(end)
    return len(row) in reached


@cache
def _notes() -> re.Pattern[str]:
    """Any note of any language; in ASCII too, as the carrier of that name writes it."""
    made = set()
    for table in _tables("note"):
        plain = {re.escape(text) for text in table.values() if "{" not in text}
        plain.add(_pattern(table["trilled"], set()))
        made |= {_pattern(text, plain) for text in table.values()}
    return re.compile("|".join(sorted(made)))


@cache
def _numbers() -> re.Pattern[str]:
    numbers = "|".join(sorted({_pattern(table["number"], set()) for table in _tables("note")}))
    return re.compile(f"(?:{numbers})[?!]?")


@cache
def _legend_runs() -> frozenset[str]:
    """Words that follow each other in an entry of a legend: an entry may be broken anywhere, but not leave one word behind
    unless it is the last."""
    runs = set()
    for table in _tables("legend"):
        for text in table.values():
            for sign in _CIRCLES + _PLAIN if "{sign}" in text else "-":
                row = text.replace("{sign}", sign).split(" ")
                runs |= {" ".join(row[at:end]) for at in range(len(row)) for end in range(at + 2, len(row) + 1)}
                runs.add(row[-1])
    return frozenset(runs)


@cache
def _longest() -> int:
    return max(run.count(" ") + 1 for run in _legend_runs())


def _tables(name: str) -> Iterable[Mapping[str, str]]:
    """The texts of a table by key, in every language, as they are and in ASCII."""
    for language in languages():
        texts = {key: value for key, value in words(language).tables[name].items() if isinstance(value, str)}
        plain = {key: in_ascii(value, _KEPT) for key, value in texts.items()}
        for spelled in (texts, plain):
            yield {key: " ".join(value.replace("#", "♯").split()) for key, value in spelled.items()}


def _pattern(text: str, plain: set[str]) -> str:
    """What a text with {names} may come out as. plain: patterns of the notes that may stand for {note}."""
    pieces = re.split(r"\{(\w+)[^}]*\}", text)
    note = "(?:" + "|".join(sorted(plain)) + ")"
    return "".join(
        (note if piece == "note" else _VALUES.get(piece, _OTHER)) if number % 2 else re.escape(piece)
        for number, piece in enumerate(pieces)
    )
