"""Breaking score files at random: bytes, elements, values, encodings. Every choice comes from the given `Random`, so a
seed names a file."""

from __future__ import annotations

import codecs
import io
import re
import zipfile
from collections.abc import Callable
from random import Random

from strategies import Made, packed

_ELEMENT = re.compile(rb"<([a-z-]+)(?:\s[^<>]*)?(?:/>|>[^<>]*</\1>)")
_TAG = re.compile(rb"</?[a-z-]+[^<>]*>")
_TEXT = re.compile(rb">([^<>]{1,60})<")
_VALUE = re.compile(rb'="([^"<>]*)"')
_VALUES = [
    *(
        b"",
        b"0",
        b"-1",
        b"1",
        b"NaN",
        b"inf",
        b"1e999",
        b"9" * 40,
        b"0.5",
        b"-0.5",
        b"1/2",
        b"999",
        b"\xff",
        b"&#8291;",
    ),
    *(b"&amp;", b"&undefined;", b"]]>", b"start", b"stop", b"continue", b"yes", b"no", b"multiphonic", b"gliss.", b"H"),
    *(
        b"C5",
        b"10",
        b"11",
        b"-2",
        b"12",
        b"0.3",
        b"16",
        b"slash-flat",
        b"quarter-sharp",
        b"T 2 3 | Eb",
        b"T 9 | x",
        b"2.0",
    ),
    *(b"&#8291;x&#8291;", b"&#x202e;", b"%s \\ {} $ #", b"x" * 3000, b" ", b"\t\r\n", b"P0", b"P1", b"score.xml"),
]
_INSERTS = [
    *(b"<chord/>", b"<grace/>", b"<cue/>", b"<rest/>", b"<!-- x -->", b"<![CDATA[x]]>", b"<?ventwise begin?>"),
    *(b"<?ventwise end?>", b"<?ventwise?>", b"<?ventwise begin", b"<measure number='x'/>", b"<part id='P9'/>", b"<note/>"),
    *(b"<direction/>", b"<direction><direction-type><words>&#8291;x&#8291;</words></direction-type></direction>"),
    *(b"<backup><duration>99</duration></backup>", b"<attributes><divisions>3</divisions></attributes>", b"\0", b"&#8291;"),
    *(b"<attributes><staves>2</staves></attributes>", b"<staff>2</staff>", b"<voice/>", b"<voice>&lt;5&gt;</voice>"),
    *(b"<attributes><transpose><chromatic>12</chromatic></transpose></attributes>", b"<tie type='stop'/>"),
    *(b"<attributes><time><beats>1</beats><beat-type>1024</beat-type></time></attributes>", b"<dot/>", b"<type>long</type>"),
    *(b"<notations><slide type='start'/></notations>", b"<notations><slide type='stop'/></notations>", b"<unpitched/>"),
    *(b"<sound tempo='1'/>", b"<sound tempo='9999'/>", b"<alter>12</alter>", b"<alter>-12</alter>", b"\xef\xbb\xbf", b"\xff"),
    *(b"<notations><articulations><scoop/></articulations></notations>", b"<instrument id='P1-I2'/>"),
    *(b"<notations><technical><bend><bend-alter>9</bend-alter></bend></technical></notations>", b"<score-partwise>"),
    *(b"<metronome><beat-unit>1024th</beat-unit><beat-unit-dot/><per-minute>1</per-minute></metronome>", b"<!DOCTYPE x>"),
]  # fmt: skip

Mutation = Callable[[bytes, Random], bytes]


def _span(pattern: re.Pattern[bytes], data: bytes, random: Random, group: int = 0) -> tuple[int, int]:
    found = list(pattern.finditer(data))
    return random.choice(found).span(group) if found else (0, 0)


def flip_bytes(data: bytes, random: Random) -> bytes:
    new = bytearray(data)
    for _ in range(random.choice([1, 1, 1, 3, 10])):
        new[random.randrange(len(new))] ^= 1 << random.randrange(8)
    return bytes(new)


def replace_bytes(data: bytes, random: Random) -> bytes:
    at = random.randrange(len(data))
    return data[:at] + random.randbytes(random.choice([1, 2, 4])) + data[at + random.randrange(4) :]


def delete_bytes(data: bytes, random: Random) -> bytes:
    at = random.randrange(len(data))
    return data[:at] + data[at + random.choice([1, 1, 2, 5, 40]) :]


def repeat_bytes(data: bytes, random: Random) -> bytes:
    at = random.randrange(len(data))
    piece = data[at : at + random.choice([1, 2, 10, 200])]
    return data[:at] + piece * random.choice([2, 3, 30]) + data[at:]


def cut_off(data: bytes, random: Random) -> bytes:
    return data[: random.randrange(len(data))]


def delete_element(data: bytes, random: Random) -> bytes:
    start, end = _span(random.choice([_ELEMENT, _TAG]), data, random)
    return data[:start] + data[end:]


def repeat_element(data: bytes, random: Random) -> bytes:
    start, end = _span(random.choice([_ELEMENT, _ELEMENT, _TAG]), data, random)
    return data[:end] + data[start:end] * random.choice([1, 1, 2, 600]) + data[end:]


def swap_elements(data: bytes, random: Random) -> bytes:
    pattern = random.choice([_ELEMENT, _ELEMENT, _TAG])
    (a, b), (c, d) = sorted([_span(pattern, data, random), _span(pattern, data, random)])
    return data if c < b else data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def move_element(data: bytes, random: Random) -> bytes:
    start, end = _span(_ELEMENT, data, random)
    rest = data[:start] + data[end:]
    at = _span(_TAG, rest, random)[0]
    return rest[:at] + data[start:end] + rest[at:]


def replace_text(data: bytes, random: Random) -> bytes:
    start, end = _span(_TEXT, data, random, 1)
    return data[:start] + random.choice(_VALUES) + data[end:]


def replace_attribute(data: bytes, random: Random) -> bytes:
    start, end = _span(_VALUE, data, random, 1)
    return data[:start] + random.choice(_VALUES) + data[end:]


def insert_element(data: bytes, random: Random) -> bytes:
    at = _span(_TAG, data, random)[random.randrange(2)]
    return data[:at] + random.choice(_INSERTS) + data[at:]


def rename_element(data: bytes, random: Random) -> bytes:
    names = list(set(re.findall(rb"<([a-z-]+)", data)))
    if not names:
        return data
    return re.sub(rb"(</?)" + random.choice(names) + rb"\b", rb"\1" + random.choice(names), data)


def drop_all(data: bytes, random: Random) -> bytes:
    """Every element of one name."""
    names = list(set(_ELEMENT.findall(data)))
    if not names:
        return data
    name = random.choice(names)
    return re.sub(rb"<" + name + rb"(?:\s[^<>]*)?(?:/>|>[^<>]*</" + name + rb">)", b"", data)


def lie_about_encoding(data: bytes, random: Random) -> bytes:
    name = random.choice(
        [b"UTF-8", b"UTF-16", b"ISO-8859-1", b"US-ASCII", b"windows-1252", b"Shift_JIS", b"UTF-32", b"x", b"utf8"]
    )
    if b"encoding=" in data[:200]:
        return re.sub(rb"encoding=([\"'])[^\"']*\1", b'encoding="' + name + b'"', data, count=1)
    return b'<?xml version="1.0" encoding="' + name + b'"?>' + re.sub(rb"^\s*<\?xml[^>]*\?>", b"", data)


def encode_otherwise(data: bytes, random: Random) -> bytes:
    """The same text in another encoding, whatever is declared."""
    for codec in ("utf-8", "utf-16"):
        try:
            text = data.decode(codec)
        except UnicodeDecodeError:
            continue
        wanted = random.choice(["utf-16-le", "utf-16-be", "utf-16", "utf-8-sig", "utf-32", "cp1252", "utf-7", "cp037"])
        return text.encode(wanted, "xmlcharrefreplace")
    return random.choice([codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE]) + data


def put_before(data: bytes, random: Random) -> bytes:
    return (
        random.choice([b" ", b"\r\n", b"junk", b"\xef\xbb\xbf", b"\0", b"<", b"\xff\xfe", b"\n" * 3000, b"x" * 3000])
        + data
    )


def change_newlines(data: bytes, random: Random) -> bytes:
    return re.sub(rb"\r\n|\r|\n", lambda _: random.choice([b"\n", b"\r\n", b"\r", b"\n\t", b"\n      "]), data)


def declare_entity(data: bytes, random: Random) -> bytes:
    """Take a piece of the text out into an entity."""
    start, end = _span(random.choice([_TEXT, _ELEMENT]), data, random)
    piece = data[start:end].strip(b"<>") if random.random() < 0.5 else data[start:end]
    root = data.find(b"<score-partwise")
    if root < 0 or start < root or b"'" in piece or b"<!DOCTYPE" in data:
        return data
    return (
        data[:root]
        + b"<!DOCTYPE score-partwise [<!ENTITY e '"
        + piece
        + b"'>]>"
        + data[root:start]
        + b"&e;"
        + data[end:]
    )


def mark_as_ours(data: bytes, random: Random) -> bytes:
    """Put our instructions or our signature around something of somebody else's."""
    start, end = _span(random.choice([_ELEMENT, _TAG]), data, random)
    if random.random() < 0.3:
        start, end = _span(_TEXT, data, random, 1)
        return data[:start] + b"&#8291;" + data[start:end] + b"&#8291;" + data[end:]
    return data[:start] + b"<?ventwise begin?>" + data[start:end] + b"<?ventwise end?>" + data[end:]


MUTATIONS: tuple[Mutation, ...] = (
    flip_bytes, replace_bytes, delete_bytes, repeat_bytes, cut_off, delete_element, repeat_element, swap_elements,
    move_element, replace_text, replace_text, replace_text, replace_attribute, replace_attribute, insert_element,
    insert_element, rename_element, drop_all, lie_about_encoding, encode_otherwise, put_before, change_newlines,
    declare_entity, mark_as_ours,
)  # fmt: skip


def mutated(made: Made, random: Random) -> Made:
    """The file broken in one to four ways; of an archive now and then the archive itself."""
    data, inside = made.data, False
    if made.suffix == ".mxl" and random.random() < 0.7:
        with zipfile.ZipFile(io.BytesIO(made.data)) as archive:
            data, inside = archive.read("score.xml"), True
    for _ in range(random.choice([1, 1, 1, 2, 2, 3, 4])):
        # UTF-16 is broken as text as often as not: the patterns know bytes of ASCII only.
        wide = b"\0" in data[:100] and random.random() < 0.7
        if wide:
            data = data.decode("utf-16", "replace").encode("utf-8", "replace")
        data = random.choice(MUTATIONS)(data, random) if data else b"<"
        if wide:
            data = data.decode("utf-8", "replace").encode("utf-16")
    return Made(packed(data) if inside else data, made.suffix)
