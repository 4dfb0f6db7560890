"""How the bytes of a score are text: the one place that decides on encoding, byte-order mark and what stands before
the XML, for reading and writing alike, so that an offset means the same to both."""

import codecs
import re
from dataclasses import dataclass

from annotate.findings import InputError
from fingering_db.message import Message

_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_DECLARATION = re.compile(r"<\?xml\s[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._:-]+)[\"']")
_BEGIN = re.compile(rb"<\?xml\s|<\?[A-Za-z]|<!DOCTYPE|<!--|<[A-Za-z]")
_EMPTY = re.compile(rb"(?:\xef\xbb\xbf)?[ \t\r\n\0]*+")
_BEGIN_16 = tuple("<?xml ".encode(codec) for codec in ("utf-16-le", "utf-16-be"))
_LOOK = 65_536
"""Bytes at the front in which the beginning of the XML is looked for, blanks before it included."""
_HEAD = 2048
"""Bytes that a declaration may take."""
_TOLD = 30
"""Characters of what is no XML that an error tells."""

MOST_TOKEN = 4 << 20
"""Bytes from one '>' to the next: a comment, a value or a text that is longer is no music."""


@dataclass(frozen=True, slots=True)
class TextForm:
    """How XML bytes are read as text and text is put into them.

    encoding: Python codec of the bytes, byte-order mark apart ('utf-8', 'utf-16-le', 'iso8859-1'). start: byte offset
    at which the XML begins (its byte-order mark included), above 0 only when blanks stand before it. override: name to
    force on expat, None where expat finds it by itself. declared: the encoding that the file itself names, '' for none.
    contradicted: whether the bytes are in another encoding than the declared one. broken_at: offset of the first byte
    that is not the UTF-8 which the file declares or is taken for, -1 for none; such a file is read as ISO-8859-1.
    """

    encoding: str
    start: int = 0
    override: str | None = None
    declared: str = ""
    contradicted: bool = False
    broken_at: int = -1

    @property
    def width(self) -> int:
        """Bytes to a character of markup."""
        return 2 if self.encoding.startswith("utf-16") else 1

    @property
    def codec(self) -> str:
        """Python codec for text put in. 'ascii', which every reading of the bytes understands alike, where readers
        may differ: in a file that contradicts itself, is called ASCII, or spells UTF-8 in a way of its own."""
        plainly = self.encoding != "utf-8" or self.declared.lower() in ("", "utf-8")
        if self.width == 2 or (plainly and not self.contradicted and self.broken_at < 0):
            return self.encoding
        return "ascii"

    def encode(self, text: str) -> bytes:
        """Text as bytes to be put in; what the codec lacks becomes a character reference."""
        return text.encode(self.codec, "xmlcharrefreplace")

    def behind(self, data: bytes, token: bytes, at: int) -> int:
        """Offset behind the next `token` (markup as `encode` gives it) in `data` from the offset `at` on, at which a
        character begins.

        Raises ValueError where there is none."""
        found = data.index(token, at)
        # The bytes of a token may also be halves of two other characters.
        while (found - at) % self.width:
            found = data.index(token, found + 1)
        return found + len(token)


def inspect(data: bytes) -> TextForm:
    """The form of the text of an XML file, from its bytes, mending what can be mended.

    Mended are, in a file of 8-bit units, blanks before the XML; a declaration that names another width of encoding than
    the bytes have; and bytes that are not the UTF-8 they claim to be (read as ISO-8859-1). Raises InputError for a
    file that is empty, for one that begins with anything but XML, and for an encoding that cannot be read.
    """
    if _EMPTY.fullmatch(data):
        raise InputError(Message("file.score_empty"))
    _check_tokens(data)
    start, bom, proven = _beginning(data)
    declared = _declared(data, start + len(bom), proven or "utf-8")
    codec = _codec(declared) if declared else "utf-8"
    if proven.startswith("utf-16"):
        # expat wants to be told the order of bytes only where no mark tells it.
        override = "UTF-16" if bom else proven.upper().replace("16-", "16")
        return TextForm(proven, start, override, declared, bool(declared) and not codec.startswith("utf-16"))
    # A declaration of UTF-16 or UTF-32 was read byte by byte, so the file cannot be what it says.
    if bom or codec in ("utf-8", "utf-8-sig", "ascii") or codec.startswith(("utf-16", "utf-32")):
        return _unicode_or_latin(data, start, bom, declared, codec)
    _check_single_byte(declared, codec)
    return TextForm(codec, start, "ISO-8859-1" if codec == "iso8859-1" else None, declared)


def _check_tokens(data: bytes) -> None:
    """Refuse a piece of markup or text that is so long that parsers need minutes for it; looked for from window to window."""
    at = 0
    while len(data) - at > MOST_TOKEN:
        found = data.rfind(b">", at, at + MOST_TOKEN)
        if found < 0:
            raise InputError(Message("file.token_long", most=MOST_TOKEN >> 20, at=at))
        at = found + 1


def _beginning(data: bytes) -> tuple[int, bytes, str]:
    """Offset of the XML, its byte-order mark, and the encoding that its first bytes prove ('' for none)."""
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise InputError(Message("file.utf32"))
    for bom, encoding in _BOMS[1:]:
        if data.startswith(bom):
            if re.match(r"[^<]+<\?xml\s", data[len(bom) : _HEAD].decode(encoding, "replace")):
                raise _junk_before_utf16()
            return 0, bom, encoding
    if data.startswith(b"<\0"):
        return 0, b"", "utf-16-le"
    if data.startswith(b"\0<"):
        return 0, b"", "utf-16-be"
    if data.startswith((b"%PDF", b"PK\x03\x04")):
        kind = Message("file.a_pdf") if data.startswith(b"%") else Message("file.an_archive")
        raise InputError(Message("file.other_kind", kind=kind))
    return _beginning_in_bytes(data)


def _beginning_in_bytes(data: bytes) -> tuple[int, bytes, str]:
    """As `_beginning`, in a file of 8-bit units."""
    found = _BEGIN.search(data, 0, _LOOK)
    before = data[: found.start() if found else _LOOK]
    if not found or before.replace(codecs.BOM_UTF8, b"").strip():
        if any(begin in data[:_LOOK] for begin in _BEGIN_16):
            raise _junk_before_utf16()
        raise InputError(_no_xml(before))
    bom = codecs.BOM_UTF8 if before.endswith(codecs.BOM_UTF8) else b""
    start = len(before) - len(bom)
    # Blanks belong to the XML, with a byte-order mark before them or without, unless they stand before a declaration.
    if not before.removeprefix(codecs.BOM_UTF8).strip() and not found.group().startswith(b"<?xml"):
        start = 0
        bom = codecs.BOM_UTF8 if before.startswith(codecs.BOM_UTF8) else b""
    return start, bom, "utf-8" if bom else ""


def _no_xml(before: bytes) -> Message:
    """What a file begins with that is no score, in its own words where it has some."""
    line = before.decode("utf-8", "replace").strip("\ufeff\r\n\t ").partition("\n")[0].strip()
    if not line.isprintable() or "\ufffd" in line:
        return Message("file.no_xml")
    return Message("file.begins", text=line if len(line) <= _TOLD else f"{line[:_TOLD]}…")


def _junk_before_utf16() -> InputError:
    return InputError(Message("file.before_utf16"))


def _declared(data: bytes, at: int, encoding: str) -> str:
    """The encoding named in the declaration that begins at the offset `at`, '' for none."""
    found = _DECLARATION.match(data[at : at + _HEAD].decode(encoding, "replace"))
    return found.group(1) if found else ""


def _codec(name: str) -> str:
    try:
        return codecs.lookup(name).name
    except LookupError:
        raise InputError(Message("file.encoding_unknown", name=name[:40])) from None


def _unicode_or_latin(data: bytes, start: int, bom: bytes, declared: str, codec: str) -> TextForm:
    """For bytes of 8-bit units that call themselves Unicode of some kind, or ASCII: UTF-8, or else ISO-8859-1."""
    as_declared = codec in ("utf-8", "utf-8-sig")
    try:
        text = data[start:].decode("utf-8")
    except UnicodeDecodeError as error:
        at = start + error.start
        if start + error.end == len(data) and error.reason == "unexpected end of data":
            return TextForm("utf-8", start, "UTF-8", declared)  # cut off within a letter: the parser will say so
        if bom:
            raise InputError(Message("file.byte_not_utf8", byte=at)) from None
        return TextForm("iso8859-1", start, "ISO-8859-1", declared, not as_declared, at if as_declared else -1)
    as_declared = as_declared or (codec == "ascii" and text.isascii())
    return TextForm("utf-8", start, "UTF-8", declared, not as_declared)


def _check_single_byte(declared: str, codec: str) -> None:
    """expat reads what Python can decode byte by byte; others (Shift-JIS, GBK) it cannot.

    Refused too are encodings that do not write markup in the bytes of ASCII, EBCDIC for one."""
    try:
        simple = (
            "<\u2063".encode(codec, "xmlcharrefreplace") == b"<&#8291;"
            and len(bytes(range(256)).decode(codec, "replace")) == 256
        )
    except (LookupError, UnicodeError):
        simple = False
    if not simple:
        raise InputError(Message("file.encoding_unsupported", name=declared[:40]))
