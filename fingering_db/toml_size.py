"""Whether a TOML text is nested so that reading it would take memory without proportion: looked at before it is read."""

import re

from fingering_db.message import Message

MOST_DOTS = 8
"""Dots in one key; those of an instrument file have one at most. A reader keeps every beginning of a dotted key."""
MOST_NESTED = 8
"""Brackets within brackets; an instrument file has three."""

# Texts and comments. Nothing in it is tried twice (atomic), and what is not closed goes on to the end, so that any text
# takes time in proportion to its length.
_TEXT = re.compile(
    r'"""(?:[^"\\]++|\\.|"{1,2}+(?!"))*+(?:"""|\Z|)'
    r"|'''(?:[^']++|'{1,2}+(?!'))*+(?:'''|\Z|)"
    r'|"(?:[^"\\\n]++|\\.)*+"?+'
    r"|'[^'\n]*+'?+"
    r"|#[^\n]*+",
    re.DOTALL,
)
MOST_DIGITS = 100
"""Signs of a number or a bare key."""
_LONG = re.compile(rf"\w{{{MOST_DIGITS + 1}}}")
_APART = re.compile(r"[=\n,{}\[\]]")


def too_nested(text: str) -> Message | None:
    """What is nested too deeply, in one phrase with its limit; None where nothing is."""
    bare = _TEXT.sub(lambda found: "" if found[0].startswith("#") else ";", text)
    for number, line in enumerate(bare.split("\n"), start=1):
        if _LONG.search(line):
            return Message("flute_file.long_key", most=MOST_DIGITS, line=number)
        if any(len(piece.split(".")) > MOST_DOTS + 1 for piece in _APART.split(line)):
            return Message("flute_file.dots", most=MOST_DOTS, line=number)
    depth = 0
    for bracket in re.finditer(r"[\[\]{}]", bare):
        depth = depth + 1 if bracket[0] in "[{" else max(depth - 1, 0)
        if depth > MOST_NESTED:
            return Message("flute_file.brackets", most=MOST_NESTED)
    return None
