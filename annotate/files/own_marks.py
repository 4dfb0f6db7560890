"""How our marks are told from everybody else's, and how they fit into the lines of a file.

Between two processing instructions stands what we wrote, so that it comes out byte for byte. Each words text
also ends with an invisible character, so that it is known again after another program has saved the file. (Not begins: a
program that has no measure of that character keeps room for it. Texts in MuseScore's own files do both, as all did once.)
"""

from collections.abc import Iterable

from annotate.files.encoding import TextForm

SIGNATURE = "\u2063"
"""U+2063, invisible separator: kept by the programs tried, and printed by none of them."""

TARGET, BEGIN, END = "ventwise", "begin", "end"

_INDENT = 800  # bytes looked at before a note for its indentation


def own_line(data: bytes, at: int, form: TextForm) -> tuple[str, str] | None:
    """Line ending and indentation before the byte offset `at`; None where `at` does not begin a line."""
    codec = form.encoding if form.width == 2 else "latin-1"
    before = data[max(0, at - _INDENT) : at].decode(codec, "replace")
    line = before.rstrip(" \t")
    indent = before[len(line) :]
    for newline in ("\r\n", "\n", "\r"):
        if line.endswith(newline):
            return newline, indent
    return None


def without(data: bytes, spans: Iterable[tuple[int, int]]) -> bytes:
    """The bytes without these spans (start, end), which may overlap."""
    kept, at = [], 0
    for start, end in sorted(spans):
        kept.append(data[at:start])
        at = max(at, end)
    return b"".join([*kept, data[at:]])
