"""How the bytes of a score are to be read as text: encoding, byte-order mark, line ends, and what had to be
repaired."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from annotate.findings import Finding, InputError
from annotate.reading import codes

_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_DECLARATION = re.compile(rb"<\?xml\s[^>]{0,400}?encoding\s*=\s*[\"']([A-Za-z0-9._:-]{1,40})[\"']")
_BEGIN = re.compile(rb"<\?xml\s|<!DOCTYPE|<!--|<[A-Za-z]")
MAX_BYTES = 256 * 2**20
_LOOK = 65_536
"""Bytes at the front in which the beginning of the XML and the first line end are looked for."""

_EXPAT_NAMES = {
    "utf-8": "UTF-8",
    "iso8859-1": "ISO-8859-1",
    "ascii": "US-ASCII",
    "utf-16-le": "UTF-16LE",
    "utf-16-be": "UTF-16BE",
}


@dataclass(frozen=True, slots=True)
class TextForm:
    """The form of a file's text.

    encoding: Python codec of the bytes, without byte-order mark ('utf-8', 'utf-16-le', 'iso8859-1').
    bom: the byte-order mark, b'' for none. newline: '\\n', '\\r\\n' or '\\r', the first one in the file.
    start: byte offset at which the XML begins (byte-order mark included), above 0 only when junk stands
    before it. declared: the encoding that the file itself names, '' for none. override: name to force on
    expat, '' for none. repairs: findings about what contradicts itself in the file.
    """

    encoding: str
    bom: bytes
    newline: str
    start: int = 0
    declared: str = ""
    override: str = ""
    repairs: tuple[Finding, ...] = ()

    def encode(self, text: str) -> bytes:
        """Text as bytes in the file's encoding; what the encoding lacks becomes a character reference."""
        return text.encode(self.encoding, "xmlcharrefreplace")


def inspect(data: bytes) -> TextForm:
    """The form of the text of an XML file, from its bytes.

    Raises InputError for a file that is empty or too large, for bytes without any XML, and for an encoding
    that cannot be read.
    """
    if len(data) > MAX_BYTES:
        raise InputError(f"the score is {len(data) >> 20} MB large: at most {MAX_BYTES >> 20} MB can be read")
    if not data.strip(b" \t\r\n\0"):
        raise InputError("the score is empty: expected a MusicXML file")
    start, bom, encoding = _beginning(data)
    declared = _declared(data, start + len(bom), encoding or "utf-8")
    repairs: list[Finding] = []
    if start:
        repairs.append(_junk(data, start))
    encoding, override = _settle(data, start, encoding, declared, repairs)
    return TextForm(encoding, bom, _newline(data, start, encoding), start, declared, override, tuple(repairs))


def _beginning(data: bytes) -> tuple[int, bytes, str]:
    """Offset of the XML, its byte-order mark, and the encoding that its first bytes prove ('' for none)."""
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise InputError("the score is written in UTF-32, which is not supported: save it as UTF-8")
    for bom, encoding in _BOMS:
        if data.startswith(bom):
            if encoding == "utf-8" and not _BEGIN.match(data, len(bom)):
                break
            return 0, bom, encoding
    if data.startswith(b"<\0"):
        return 0, b"", "utf-16-le"
    if data.startswith(b"\0<"):
        return 0, b"", "utf-16-be"
    if data.startswith((b"%PDF", b"PK\x03\x04")):
        kind = "a PDF" if data.startswith(b"%") else "a compressed archive"
        raise InputError(f"the score is {kind}, not XML: expected a MusicXML file")
    found = _BEGIN.search(data, 0, _LOOK)
    if not found:
        raise InputError("the score is not XML: expected a MusicXML file beginning with <?xml")
    start = found.start()
    before = data[:start].strip()
    if not found.group().startswith(b"<?xml") and before in (b"", codecs.BOM_UTF8):
        return 0, before, "utf-8" if before else ""
    bom = codecs.BOM_UTF8 if data[:start].endswith(codecs.BOM_UTF8) else b""
    return start - len(bom), bom, "utf-8" if bom else ""


def _declared(data: bytes, start: int, encoding: str) -> str:
    head = data[start : start + 1024].decode(encoding, "replace").encode("ascii", "replace")
    found = _DECLARATION.match(head.lstrip())
    return found.group(1).decode("ascii") if found else ""


def _codec(name: str) -> str:
    try:
        return codecs.lookup(name).name
    except LookupError:
        raise InputError(f"the score declares the encoding '{name}', which is not known: save it as UTF-8") from None


def _settle(data: bytes, start: int, proven: str, declared: str, repairs: list[Finding]) -> tuple[str, str]:
    """The codec to use and the name to force on expat ('' where expat finds it by itself)."""
    codec = _codec(declared) if declared else "utf-8"
    if proven.startswith("utf-16"):
        if declared and not codec.startswith("utf-16"):
            repairs.append(_contradicted(declared, "UTF-16"))
        marked = data[start : start + 2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
        return proven, "UTF-16" if marked else _EXPAT_NAMES[proven]
    if proven == "utf-8" and codec not in ("utf-8", "utf-8-sig"):
        repairs.append(_contradicted(declared, "UTF-8"))
        return "utf-8", "UTF-8"
    # A declaration of UTF-16 or UTF-32 was read byte by byte, so the file cannot be what it says.
    if codec in ("utf-8", "utf-8-sig", "ascii") or codec.startswith(("utf-16", "utf-32")):
        found = "utf-8" if codec == "ascii" and data.isascii() else _eight_bit(data, start, codec, declared, repairs)
    else:
        found = codec
        _check_single_byte(declared, codec)
    return found, _EXPAT_NAMES.get(found, "")


def _eight_bit(data: bytes, start: int, codec: str, declared: str, repairs: list[Finding]) -> str:
    """UTF-8 where the bytes are that, else ISO-8859-1; a repair where it is not what was declared."""
    as_declared = codec.startswith("utf-8")
    try:
        data[start:].decode("utf-8")
    except UnicodeDecodeError as error:
        if error.end == len(data) - start and error.reason == "unexpected end of data":
            return "utf-8"  # cut off in the middle of a letter: the parser will say so
        repairs.append(_broken(start + error.start) if as_declared else _contradicted(declared, "ISO-8859-1"))
        return "iso8859-1"
    if not as_declared:
        repairs.append(_contradicted(declared, "UTF-8"))
    return "utf-8"


def _check_single_byte(declared: str, codec: str) -> None:
    """expat reads what Python can decode byte by byte; others (Shift-JIS, GBK) it cannot."""
    try:
        simple = len(bytes(range(256)).decode(codec, "replace")) == 256
    except (LookupError, UnicodeError):
        simple = False
    if not simple:
        raise InputError(f"the score is in the encoding '{declared}', which is not supported: save it as UTF-8")


def _newline(data: bytes, start: int, encoding: str) -> str:
    text = data[start : start + _LOOK].decode(encoding, "replace")
    found = re.search("\r\n|\n|\r", text)
    return found.group() if found else "\n"


def _junk(data: bytes, start: int) -> Finding:
    what = "blank space" if not data[:start].strip() else f"{start} bytes that do not belong to the score"
    return Finding(
        codes.JUNK_BEFORE_XML,
        "warning",
        "",
        f"{what} before the beginning of the XML: skipped in reading",
        "Save the score again from your notation program.",
    )


def _contradicted(declared: str, actual: str) -> Finding:
    return Finding(
        codes.ENCODING_CONTRADICTED,
        "warning",
        "",
        f"the file declares the encoding {declared} but is written in {actual}: read as {actual}",
        "Save the score again from your notation program.",
    )


def _broken(offset: int) -> Finding:
    return Finding(
        codes.ENCODING_BROKEN,
        "warning",
        "",
        f"the file is declared or taken as UTF-8 but byte {offset} is not: read as ISO-8859-1",
        "Check accented letters, and save the score again as UTF-8.",
    )
