"""Text for a terminal: what it can print, how wide it comes out, and how it is broken into lines.

Names and words from a score are other people's text: control characters and terminal escapes are taken out
here.
"""

import unicodedata
from functools import cache

_ASCII = str.maketrans(
    {
        "♯": "#", "♭": "b", "♮": "", "±": "+/-", "→": "->", "×": "x", "·": "-", "–": "-", "—": "-", "−": "-",
        "‘": "'", "’": "'", "“": "'", "”": "'", "„": "'", "«": "'", "»": "'", "…": "...", "•": "-",
        "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "↑": "^", "↓": "v", "≈": "~", "°": " deg",
        "ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue",
        "ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE",
        "ł": "l", "Ł": "L", "ı": "i", "đ": "d", "Đ": "D", "þ": "th", "Þ": "Th", "ð": "d", "Ð": "D",
    }
)  # fmt: skip
KEEP = "\N{NO-BREAK SPACE}"
"""A blank at which no line is broken; `plain` turns it into an ordinary one at the very end."""

_VARIATION_WIDE = "\N{VARIATION SELECTOR-16}"


def needs_ascii(encoding: str | None) -> bool:
    """True if a stream of this encoding (None: unknown) cannot print the signs of diagrams and pitches."""
    try:
        "●○◎◉◐♯♭±→".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return True
    return False


def clean(text: str, ascii_only: bool = False) -> str:
    """One line that no terminal can take for a command.

    White space becomes a blank (a no-break space stays), invisible format characters go, other control
    characters, lone surrogates and characters without a meaning become '?'. With `ascii_only` accents are
    dropped, musical and typographic signs spelled, and '?' stands for what has no ASCII form.
    """
    if text.isascii() and text.isprintable():
        return text
    kept = "".join(map(_safe, text))
    return in_ascii(kept, KEEP) if ascii_only else kept


def together(text: str) -> str:
    """The text with no blank at which a line may be broken."""
    return text.replace(" ", KEEP)


def with_blanks(text: str) -> str:
    """The text with ordinary blanks only."""
    return text.replace(KEEP, " ")


def in_ascii(text: str, keep: str = "") -> str:
    """The text in ASCII: signs spelled, accents dropped (but ä, ö, ü spelled), '?' for what has no such form. keep: further
    characters that stay."""
    return "".join(char if char in keep else _char_in_ascii(char) for char in unicodedata.normalize("NFC", text))


@cache
def _char_in_ascii(char: str) -> str:
    spelled = unicodedata.normalize("NFKD", char.translate(_ASCII)).translate(_ASCII)
    return "".join(one if one.isascii() else "?" for one in spelled if not unicodedata.combining(one))


@cache
def _safe(char: str) -> str:
    if char == KEEP:
        return char
    if char.isspace():
        return " "
    category = unicodedata.category(char)
    if category == "Cf":
        return ""
    return "?" if category[0] == "C" else char


def display_width(text: str) -> int:
    """Columns a cleaned text takes in a terminal: East Asian wide characters two, combining marks none."""
    return len(text) if text.isascii() else sum(map(_char_width, text))


@cache
def _char_width(char: str) -> int:
    # The selector asks for the wide, coloured form of the character before it.
    if char == _VARIATION_WIDE:
        return 1
    if unicodedata.category(char)[0] == "M":
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def pad(text: str, width: int) -> str:
    """The text with blanks up to `width` columns (unchanged if it is wider)."""
    return text + " " * (width - display_width(text))


def cut(text: str, width: int) -> str:
    """The text in so many columns at most, its end left out for a dot where it is longer."""
    if display_width(text) <= width:
        return text
    used, end = 0, 0
    for end, char in enumerate(text):  # noqa: B007 - where it stops is what is wanted
        used += _char_width(char)
        if used > width - 1:
            break
    return text[:end].rstrip() + "."


def wrap(text: str, width: int, hanging: int = 0) -> list[str]:
    """Cleaned text in lines of at most `width` columns (at least 2), broken at blanks.

    Lines after the first are indented by `hanging` blanks. A word wider than a line is cut. Runs of blanks
    shrink to one. Empty text: no line.
    """
    lines: list[str] = []
    line, indent, used = "", "", 0  # used: columns of both together
    for word in text.split(" "):
        if not word:
            continue
        columns = display_width(word)
        if line and used + 1 + columns <= width:
            line, used = f"{line} {word}", used + 1 + columns
            continue
        if line:
            lines.append(indent + line)
            indent = " " * hanging
        start = 0  # what has been cut off a word that is too wide; a slice each time would make long words slow
        while start + len(head := _head(word, start, max(width - len(indent), 2))) < len(word):
            lines.append(indent + head)
            start, indent = start + len(head), " " * hanging
        line = head
        used = len(indent) + display_width(line)
    return [*lines, indent + line] if line else lines


def _head(word: str, start: int, width: int) -> str:
    """The longest piece of a word from `start` on that fits; combining marks stay with their letter; never empty."""
    used = 0
    for index in range(start, len(word)):
        used += _char_width(word[index])
        if used > width and index > start:
            return word[start:index]
    return word[start:]


def side_by_side(columns: list[tuple[list[str], int]], gap: int = 2) -> list[str]:
    """Blocks of lines next to each other: (lines, width) from the left, `gap` blanks between."""
    height = max((len(lines) for lines, _ in columns), default=0)
    joined = []
    for index in range(height):
        cells = [pad(lines[index] if index < len(lines) else "", width) for lines, width in columns]
        joined.append((" " * gap).join(cells).rstrip())
    return joined
