"""How our marks are told from everybody else's, and what one must know of a file's bytes to put them in.

Between two processing instructions stands what we wrote, so that it comes out byte for byte. Each words text
also begins and ends with an invisible character, so that it is known again after another program has saved
the file.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

SIGNATURE = "\u2063"
"""U+2063, invisible separator: kept by the programs tried, and printed by none of them."""

TARGET, BEGIN, END = "ventwise", "begin", "end"

_BOM_8 = b"\xef\xbb\xbf"
_DECLARATION = re.compile(r"""<\?xml\s[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
_DOCUMENT = re.compile(rb"<\?xml\s|<!DOCTYPE|<!--|<[A-Za-z]")
_HEAD = 2048  # bytes in which the document's beginning is looked for
_INDENT = 800  # bytes looked at before a note for its indentation


@dataclass(frozen=True, slots=True)
class Opening:
    """How to open XML bytes.

    skip: bytes of junk before the document. override: encoding to force upon the parser, None where the file
    tells it rightly. codec: Python codec for what we add; 'ascii' (all else as character references, which
    every reading of the bytes understands alike) where the file contradicts itself. width: bytes to a
    character of markup.
    """

    skip: int
    override: str | None
    codec: str

    @property
    def width(self) -> int:
        return 2 if self.codec.startswith("utf-16") else 1

    def encode(self, text: str) -> bytes:
        """The text in the file's encoding; characters it lacks become character references."""
        return text.encode(self.codec, "xmlcharrefreplace")


def opening(data: bytes) -> Opening:
    """See how the XML bytes are encoded, mending what can be mended.

    Mended are: junk before the declaration, a declaration that names another width of encoding than the bytes
    have, and bytes that are not the UTF-8 they claim to be (then read as Latin-1).
    """
    skip = _junk(data)
    head = data[skip : skip + _HEAD]
    for bom, opened, codec in ((b"\xff\xfe", b"<\0", "utf-16-le"), (b"\xfe\xff", b"\0<", "utf-16-be")):
        if head.startswith((bom, opened)) and not head.startswith(b"\xff\xfe\0\0"):
            return Opening(skip, "UTF-16", codec)
    found = _DECLARATION.search(head.decode("latin-1"))
    declared = found[1].lower() if found else "utf-8"
    if head.startswith(_BOM_8) or re.match(r"utf|ucs|iso-10646|(us-)?ascii", declared):
        return _unicode_or_latin(data, skip, declared)
    try:
        return Opening(skip, None, codecs.lookup(declared).name)
    except LookupError:
        return Opening(skip, None, "ascii")


def _unicode_or_latin(data: bytes, skip: int, declared: str) -> Opening:
    """For bytes of 8-bit units that call themselves Unicode of some kind, or ASCII."""
    try:
        text = data[skip:].decode("utf-8")
    except UnicodeDecodeError:
        return Opening(skip, "ISO-8859-1", "ascii")
    if declared == "utf-8":
        return Opening(skip, None, "utf-8")
    plain = declared.endswith("ascii") and text.isascii()
    return Opening(skip, None if plain else "UTF-8", "ascii")


def _junk(data: bytes) -> int:
    """Number of bytes before the document, where something that is no markup stands before it."""
    for codec in ("utf-16-le", "utf-16-be"):
        at = data[:_HEAD].find("<?xml ".encode(codec))
        # One order of bytes is found in the other too, at an odd place.
        if at >= 0 and at % 2 == 0:
            return 0 if data[:at] == "\ufeff".encode(codec) else at
    found = _DOCUMENT.search(data[:_HEAD])
    if found is None:
        return 0
    before = data[: found.start()]
    # White space is no junk, unless before a declaration; nor is a byte-order mark.
    if not before.removeprefix(_BOM_8).strip() and not (
        before.strip(_BOM_8) and found[0].startswith(b"<?xml")
    ):
        return 0
    return len(before.removesuffix(_BOM_8))


def own_line(data: bytes, at: int, how: Opening) -> tuple[str, str] | None:
    """Line ending and indentation before the byte offset `at`; None where `at` does not begin a line."""
    codec = how.codec if how.width == 2 else "latin-1"
    before = data[max(0, at - _INDENT) : at].decode(codec, "replace")
    line = before.rstrip(" \t")
    indent = before[len(line) :]
    for newline in ("\r\n", "\n", "\r"):
        if line.endswith(newline):
            return newline, indent
    return None
