"""Breaking score files at random: bytes, elements, values, encodings. Every choice comes from the given `Random`, so a
seed names a file."""

import codecs
import io
import re
import zipfile
from collections.abc import Callable
from random import Random

from strategies import Made, packed

_ELEMENT = re.compile(rb"<([a-z-]+)(?:\s[^<>]*)?(?:/>|>[^<>]*</\1>)")
_BLOCKS = [  # each by itself: they stand in one another
    re.compile(rb"<%s(?:\s[^<>]*)?>.*?</%s>" % (name, name), re.DOTALL)
    for name in (*(b"note", b"direction", b"measure", b"part", b"part-list"), *(b"score-part", b"notations", b"pitch"))
]
_NOTE = re.compile(rb"<note(?:\s[^<>]*)?>.*?</note>", re.DOTALL)
_CHORD = re.compile(rb"<chord\s*/>")
_LINE = re.compile(rb"<(?:tie|tied|slide|glissando)\s[^<>]*/>")
_LAYER = re.compile(rb"<(?:voice|staff|staves)>([^<>]*)</")
_REFERENCE = re.compile(rb"\sid\s*=\s*[\"']([^\"'<>]*)[\"']")
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

_FOREIGN = [
    *(b"<x:thing xmlns:x='urn:x'/>", b"<x:note xmlns:x='urn:x'><x:chord/></x:note>", b"<note xmlns='urn:x'/>", b"<x:note/>"),
    *(b"<x:note xmlns:x='urn:x'><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration></x:note>",),
    *(b"<x:words xmlns:x='urn:x'>multiphonic</x:words>", b"<direction xmlns='urn:x'><words>&#8291;x&#8291;</words></direction>"),
    *(b"<svg xmlns='http://www.w3.org/2000/svg'><path d='M0 0'/></svg>", b"<xml:note/>", b"<:note/>", b"<x:y:z/>"),
]  # fmt: skip
_LAYERS = [b"0", b"-1", b"2", b"3", b"99", b"101", b"1.0", b"1.5", b"9" * 30, b"", b" 1 ", b"one", b"\xd9\xa1", b"1 2"]
_REFERENCES = [b"", b" ", b"P0", b"P1", b"P7", b"p0", b"P0 ", b"0", b"1", b"Flute", b"&#8291;", b"\xc3\xa9", b"P0-I1"]
_DIVISIONS = [b"1", b"2", b"3", b"4", b"480", b"0.5", b"0.001", b"1000000", b"0", b"-2", b"x", b"999999999999999"]
_CODECS = ["utf-8", "utf-16", "latin-1", "ascii", "cp1252", "iso8859-15", "koi8-r", "mac-roman", "utf-8-sig"]

Mutation = Callable[[bytes, Random], bytes]


def _span(pattern: re.Pattern[bytes], data: bytes, random: Random, group: int = 0) -> tuple[int, int]:
    found = list(pattern.finditer(data))
    return random.choice(found).span(group) if found else (0, 0)


def _block(data: bytes, random: Random) -> re.Pattern[bytes]:
    """A pattern of whole notes, bars, parts .. of which there are some."""
    return random.choice([pattern for pattern in _BLOCKS if pattern.search(data)] or _BLOCKS)


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


def delete_block(data: bytes, random: Random) -> bytes:
    """A whole note, bar, part .. with what is in it."""
    start, end = _span(_block(data, random), data, random)
    return data[:start] + data[end:]


def repeat_block(data: bytes, random: Random) -> bytes:
    start, end = _span(_block(data, random), data, random)
    return data[:end] + data[start:end] * random.choice([1, 1, 2, 9, 300]) + data[end:]


def swap_blocks(data: bytes, random: Random) -> bytes:
    pattern = _block(data, random)
    (a, b), (c, d) = sorted([_span(pattern, data, random), _span(pattern, data, random)])
    return data if c < b else data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def move_block(data: bytes, random: Random) -> bytes:
    start, end = _span(_block(data, random), data, random)
    rest = data[:start] + data[end:]
    at = _span(_TAG, rest, random)[random.randrange(2)]
    return rest[:at] + data[start:end] + rest[at:]


def insert_foreign(data: bytes, random: Random) -> bytes:
    """Something of another namespace, beside an element or around it; or the namespace of everything changed."""
    kind = random.randrange(4)
    if kind == 0:
        start, end = _span(random.choice([_ELEMENT, _block(data, random)]), data, random)
        return data[:start] + b"<x:a xmlns:x='urn:x'>" + data[start:end] + b"</x:a>" + data[end:]
    if kind == 1:
        start, end = _span(_block(data, random), data, random)
        return data[:start] + re.sub(rb"(</?)(?=[a-z])", rb"\1x:", data[start:end]) + data[end:]
    if kind == 2:
        name = random.choice([b"xmlns='urn:x'", b"xmlns:x='urn:x'", b"xml:id='a'", b"x:id='a'", b"xmlns:x=''"])
        return data.replace(b"<score-partwise", b"<score-partwise " + name, 1)
    at = _span(_TAG, data, random)[random.randrange(2)]
    return data[:at] + random.choice(_FOREIGN) + data[at:]


def change_reference(data: bytes, random: Random) -> bytes:
    """An id, of a part in the list or of what refers to it."""
    start, end = _span(_REFERENCE, data, random, 1)
    others = [found[1] for found in _REFERENCE.finditer(data)]
    return data[:start] + random.choice([*others, *_REFERENCES]) + data[end:] if start else data


def move_chord(data: bytes, random: Random) -> bytes:
    """A `<chord/>` from one note to another, or to another place in one."""
    start, end = _span(_CHORD, data, random)
    rest = data[:start] + data[end:] if random.random() < 0.7 else data
    first, last = _span(_NOTE, rest, random)
    if not last:
        return data
    inner = rest.find(b">", first) + 1
    at = random.choice([inner, inner, last - len(b"</note>"), _span(_TAG, rest, random)[0]])
    return rest[:at] + b"<chord/>" + rest[at:]


def misplace_layer(data: bytes, random: Random) -> bytes:
    """A voice or a staff that is not there."""
    if not _LAYER.search(data) or random.random() < 0.3:
        at = _span(_NOTE, data, random)[1] - len(b"</note>")
        name = random.choice([b"voice", b"staff"])
        return data if at < 0 else data[:at] + b"<%s>%s</%s>" % (name, random.choice(_LAYERS), name) + data[at:]
    start, end = _span(_LAYER, data, random, 1)
    return data[:start] + random.choice(_LAYERS) + data[end:]


def part_lines(data: bytes, random: Random) -> bytes:
    """A tie, a slide or a glissando without its partner, with two of them, turned round, or with another number."""
    found = list(_LINE.finditer(data))
    if not found:
        at = _span(_NOTE, data, random)[1] - len(b"</note>")
        kind = random.choice([b"slide", b"glissando", b"tied"])
        line = b"<notations><%s type='%s' number='%d'/></notations>" % (kind, random.choice([b"start", b"stop"]), 1)
        return data if at < 0 else data[:at] + line + data[at:]
    start, end = random.choice(found).span()
    line = data[start:end]
    turned = re.sub(rb"start|stop", lambda each: b"stop" if each[0] == b"start" else b"start", line)
    other = re.sub(rb"number=.\d.", b"", line).replace(b"/>", random.choice([b" number='6'/>", b" number='-3'/>"]))
    return data[:start] + random.choice([b"", b"", line + line, turned, line + turned, other]) + data[end:]


def change_divisions(data: bytes, random: Random) -> bytes:
    """In the middle of a bar."""
    at = _span(_NOTE, data, random)[random.randrange(2)]
    told = b"<attributes><divisions>%s</divisions></attributes>" % random.choice(_DIVISIONS)
    return data[:at] + told + data[at:] if at else data


def swap_encoding(data: bytes, random: Random) -> bytes:
    """The same text in another encoding, which is declared rightly."""
    try:
        text = data.decode("utf-16" if b"\0" in data[:100] else "utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    codec = random.choice(_CODECS)
    name = codec.upper().removesuffix("-SIG")
    body = re.sub(r"^\s*<\?xml[^>]*\?>", "", text)
    return f'<?xml version="1.0" encoding="{name}"?>{body}'.encode(codec, "xmlcharrefreplace")


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
    declare_entity, mark_as_ours, delete_block, repeat_block, swap_blocks, move_block, insert_foreign, insert_foreign,
    change_reference, move_chord, move_chord, misplace_layer, part_lines, part_lines, change_divisions, swap_encoding,
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
