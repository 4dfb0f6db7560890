"""Marks in and out of a score's bytes: exact in every encoding, never anything of somebody else's."""

import re
from typing import cast
from xml.parsers import expat

import pytest
from lxml import etree

from annotate.files.encoding import inspect
from annotate.files.own_marks import SIGNATURE
from annotate.files.stripping import strip
from annotate.files.writing import CARRIERS, Mark, SelfCheckError, splice, verify_roundtrip
from annotate.findings import InputError
from annotate.output import in_ascii

# Invented music, with words of somebody else and every kind of character that encodings differ in.
SCORE = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="3.1">
  <part-list><score-part id="P1"><part-name>Flöte</part-name></score-part></part-list>
  <part id="P1">
    <measure number="1">
      <attributes><divisions>1</divisions></attributes>
      <direction placement="above">
        <direction-type><words>für sich</words></direction-type>
      </direction>
      <note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration></note>
\t\t\t<note default-x="1">
        <chord/><pitch><step>D</step><octave>6</octave></pitch><duration>1</duration></note>
      <!-- a remark --><note ><rest/><duration>2</duration></note>

      <note><rest/><duration>2</duration></note>
    </measure>
  </part>
</score-partwise>
"""
OWN_ROWS = ("mult. ?", "○●○ T", "●●● E♭ ~")
ROWS = ("T | 1 ● & <2>", "○●○", "é ♯")


def note_offsets(data: bytes) -> list[int]:
    """Offsets of all note tags, by search in the bytes rather than by a parser."""
    for codec, width in (("utf-16-le", 2), ("utf-16-be", 2), ("latin-1", 1)):
        found = [match.start() for match in re.finditer(re.escape("<note".encode(codec)), data)]
        # One order of bytes is found in the other too, at odd places.
        if found and not any(at % width for at in found):
            return found
    raise AssertionError("no note")


def in_encoding(text: str, declared: str, codec: str) -> bytes:
    return text.replace("UTF-8", declared).encode(codec)


def mixed_newlines(text: str) -> str:
    lines = text.split("\n")
    return "".join(line + ("\r\n", "\n", "\r")[i % 3] for i, line in enumerate(lines))


DOCTYPE = """<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN"
  "http://www.musicxml.org/dtds/partwise.dtd" [
  <?ventwise begin?><!ENTITY name "Flöte">
  <!ENTITY rows "<direction><direction-type><words>%s●%s</words></direction-type></direction>">
]>
<score-partwise"""
ENTITIES = (
    SCORE.replace("<score-partwise", DOCTYPE % (SIGNATURE, SIGNATURE), 1)
    .replace("<part-name>Flöte", "<part-name>&name;")
    .replace("      <note><rest/>", "      &rows;<note><rest/>")
)
FILES = {
    "UTF-8": SCORE.encode(),
    "CRLF": SCORE.replace("\n", "\r\n").encode(),
    "CR": SCORE.replace("\n", "\r").encode(),
    "mixed newlines": mixed_newlines(SCORE).encode(),
    "BOM": ("\ufeff" + SCORE).encode(),
    "UTF-16 LE": in_encoding("\ufeff" + SCORE, "UTF-16", "utf-16-le"),
    "UTF-16 BE": in_encoding("\ufeff" + SCORE.replace("\n", "\r\n"), "UTF-16", "utf-16-be"),
    "UTF-16 without BOM": in_encoding(SCORE, "UTF-16", "utf-16-le"),
    "Latin-1": in_encoding(SCORE, "ISO-8859-1", "latin-1"),
    "Windows": in_encoding(SCORE, "windows-1252", "cp1252"),
    "ASCII": SCORE.replace("UTF-8", "US-ASCII").encode("ascii", "xmlcharrefreplace"),
    "no declaration": SCORE.split("\n", 1)[1].encode(),
    "one line": re.sub(r"\n\s*", "", SCORE).encode(),
    "entities": ENTITIES.encode(),
    "declared UTF-16, is UTF-8": in_encoding(SCORE, "UTF-16", "utf-8"),
    "declared UTF-8, is UTF-16": ("\ufeff" + SCORE).encode("utf-16-le"),
    "declared UTF-8, is Latin-1": SCORE.encode("latin-1"),
    "declared Latin-1, has BOM": in_encoding("\ufeff" + SCORE, "ISO-8859-1", "utf-8"),
    "declared utf8": in_encoding(SCORE, "utf8", "utf-8"),
    "white space before the declaration": b"\r\n" + SCORE.encode(),
    "white space before a BOM": b" " + ("\ufeff" + SCORE).encode(),
    "white space after a BOM and no declaration": ("\ufeff\n" + SCORE.split("\n", 1)[1]).encode(),
    "comment first": ("\n <!-- <?xml  -->" + SCORE.split("\n", 1)[1]).encode(),
}


def marks_for(data: bytes) -> list[Mark]:
    return [Mark(offset, ROWS[: i % 3 + 1], "1" * (i % 2), i % 3) for i, offset in enumerate(note_offsets(data))]


def texts(data: bytes) -> list[str]:
    """All words texts, as a parser sees them, in file order."""
    form = inspect(data)
    parser = expat.ParserCreate(form.override)
    found: list[str] = []

    def start(name: str, _: dict[str, str]) -> None:
        found.append("") if name == "words" else None
        parser.CharacterDataHandler = add if name == "words" else None

    def end(_: str) -> None:
        parser.CharacterDataHandler = None

    def add(text: str) -> None:
        found[-1] += text

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.Parse(data[form.start :], True)
    return found


@pytest.mark.parametrize("kind", FILES)
@pytest.mark.parametrize("carrier", CARRIERS)
def test_what_is_spliced_in_comes_out_byte_for_byte(kind: str, carrier: str) -> None:
    data = FILES[kind]
    made = splice(data, marks_for(data), carrier)
    assert strip(made) == data
    assert strip(made) != made and strip(data) == data
    verify_roundtrip(data, made)


@pytest.mark.parametrize("kind", FILES)
def test_rows_read_back_as_they_were_given_bottom_row_first(kind: str) -> None:
    data = FILES[kind]
    made = splice(data, [Mark(note_offsets(data)[0], ROWS)])
    ours = [text for text in texts(made) if SIGNATURE in text and text != f"{SIGNATURE}●{SIGNATURE}"]
    assert ours == [f"{row}{SIGNATURE}" for row in reversed(ROWS)]


@pytest.mark.parametrize("kind", FILES)
def test_annotating_the_stripped_file_again_gives_the_same_bytes(kind: str) -> None:
    data = FILES[kind]
    once = splice(data, marks_for(data))
    assert splice(strip(once), marks_for(data)) == once


def test_a_block_reads_as_the_rest_of_the_file_does() -> None:
    data = FILES["CRLF"]
    offset = note_offsets(data)[0]
    made = splice(data, [Mark(offset, ("○ #",), "2", 1)])
    words = f'<words font-size="6" font-style="normal" font-weight="normal">○ ♯{SIGNATURE}</words>'
    lines = [
        "<?ventwise begin?>",
        '      <direction placement="above">',
        "        <direction-type>",
        f"          {words}",
        "        </direction-type>",
        "        <voice>2</voice>",
        "        <staff>1</staff>",
        "      </direction>",
        "      <?ventwise end?>",
    ]
    assert made == data[:offset] + "\r\n".join(lines).encode() + data[offset:]


def test_a_block_in_a_line_or_behind_tabs_follows_it() -> None:
    data = FILES["one line"]
    assert splice(data, [Mark(note_offsets(data)[0], ROWS)]).count(b"\n") == 0
    data = FILES["UTF-8"]
    made = splice(data, [Mark(note_offsets(data)[1], ROWS)])
    assert made.count(b"\n\t\t\t\t\t<words") == 3


def test_what_stands_below_the_staff_follows_from_top_to_bottom_and_comes_out_again() -> None:
    data = SCORE.encode()
    made = splice(data, [Mark(note_offsets(data)[0], ("above",), below=("first", "second"))])
    found = [(one.getparent().getparent().get("placement"), one.text.strip(SIGNATURE))
             for one in etree.fromstring(made).iter("words") if SIGNATURE in str(one.text)]  # fmt: skip
    assert found == [("above", "above"), ("below", "first"), ("below", "second")]
    assert strip(made) == data


def test_the_ascii_carrier_writes_ascii_but_for_sharp_and_flat() -> None:
    data = FILES["UTF-8"]
    made = splice(data, [Mark(note_offsets(data)[0], ("@-o F♯ B♭ C#", "Größe – “1½” Flûte 笛"))], "ascii")
    ours = [text.strip(SIGNATURE) for text in texts(made) if SIGNATURE in text]
    assert ours == ["Groesse - '1 1/2' Flute ?", "@-o F♯ B♭ C♯"]
    assert in_ascii("Größe") == in_ascii("Gro\u0308ße") == "Groesse"


@pytest.mark.parametrize("row", ["a\\b", "{", "$1", 'a"b', "50 %", "a\nb", "a\x00", "", "  "])
@pytest.mark.parametrize("carrier", CARRIERS)
def test_a_row_that_would_break_a_reader_is_a_programming_error(row: str, carrier: str) -> None:
    data = FILES["UTF-8"]
    with pytest.raises(ValueError, match="row"):
        splice(data, [Mark(note_offsets(data)[0], (row,))], carrier)


@pytest.mark.parametrize("row", ["\ud800", "“\uffff”"])
def test_a_row_that_xml_cannot_hold_is_a_programming_error(row: str) -> None:
    data = FILES["UTF-8"]
    with pytest.raises(ValueError, match="row"):
        splice(data, [Mark(note_offsets(data)[0], (row,))])


def test_marks_that_stand_at_no_note_or_twice_or_are_empty_are_programming_errors() -> None:
    data = FILES["UTF-8"]
    at = note_offsets(data)[0]
    for marks in ([Mark(at + 1, ROWS)], [Mark(at, ROWS)] * 2, [Mark(at, ())], [Mark(-1, ROWS)], [Mark(10**9, ROWS)]):
        with pytest.raises(ValueError, match=r"byte|rows"):
            splice(data, marks)
    with pytest.raises(ValueError, match="no carrier"):
        splice(data, [Mark(at, ROWS)], "smoke")


def test_no_marks_leave_the_bytes_alone() -> None:
    assert splice(FILES["white space before a BOM"], []) == FILES["white space before a BOM"]


@pytest.mark.parametrize("kind", [kind for kind in FILES if not re.search("declared|space before", kind)])
def test_rows_are_found_again_after_another_program_saved_the_file(kind: str) -> None:
    # lxml saves as a notation program would without our instructions: other quotes, endings, references.
    data = FILES[kind]
    tree = etree.fromstring(
        splice(data, [Mark(offset, OWN_ROWS) for offset in note_offsets(data)]), etree.XMLParser(resolve_entities=False)
    )
    etree.strip_tags(tree, etree.ProcessingInstruction)
    plain = etree.fromstring(data, etree.XMLParser(resolve_entities=False))
    for encoding in ("UTF-8", "UTF-16", "ISO-8859-1"):
        saved = cast(bytes, etree.tostring(tree.getroottree(), encoding=encoding, xml_declaration=True))
        assert strip(saved) != saved
        again = strip(saved)
        assert strip(again) == again
        words = [text for text in texts(again) if text != f"{SIGNATURE}●{SIGNATURE}"]
        assert words == ["für sich"]
        left = etree.fromstring(again, etree.XMLParser(resolve_entities=False))
        assert [e.tag for e in left.iter(etree.Element)] == [e.tag for e in plain.iter(etree.Element)]


def test_a_direction_found_by_its_signature_goes_with_its_line() -> None:
    lines = SCORE.splitlines(keepends=True)
    words = f"<direction-type><words>\n {SIGNATURE}mult.{SIGNATURE} </words></direction-type>"
    ours = f"      <direction>{words}</direction>\n"
    assert strip("".join([*lines[:5], ours, *lines[5:]]).encode()) == SCORE.encode()
    in_line = SCORE.replace("<note >", ours.strip() + "<note >")
    assert in_line != SCORE and strip(in_line.encode()) == SCORE.encode()


WORDS = f"<direction-type><words>{SIGNATURE}x{SIGNATURE}</words></direction-type>"
FOREIGN = {
    "mixed words": f"<direction>{WORDS}<direction-type><words>dolce</words></direction-type></direction>",
    "half signed": f"<direction><direction-type><words>{SIGNATURE}x</words></direction-type></direction>",
    "one separator": f"<direction><direction-type><words>{SIGNATURE}</words></direction-type></direction>",
    "dynamics": f"<direction>{WORDS}<direction-type><dynamics><p/></dynamics></direction-type></direction>",
    "sound": f"<direction>{WORDS}<sound tempo='60'/></direction>",
    "comment inside": f"<direction>{WORDS}<!-- mine --></direction>",
    "typed into by the user": f"<direction>{WORDS.replace('x', '○●● T pp')}</direction>",
    "the user's own between such signs": f"<direction>{WORDS.replace('x', 'dolce')}</direction>",
    "no words": "<direction/>",
    "commented out": f"<!-- <?ventwise begin?><direction>{WORDS}</direction><?ventwise end?> -->",
    "in character data": "<a><![CDATA[<?ventwise begin?><direction/><?ventwise end?>]]></a>",
    "other instruction": "<?ventwise-like begin?><note/><?ventwise-like end?>",
    "not a direction": f"<harmony>{WORDS}</harmony>",
}


@pytest.mark.parametrize("kind", FOREIGN)
@pytest.mark.parametrize("file", ["UTF-8", "UTF-16 LE", "Latin-1"])
def test_what_is_somebody_elses_or_only_looks_like_ours_stays(kind: str, file: str) -> None:
    form = inspect(FILES[file])
    note = form.encode("<note >")
    data = FILES[file].replace(note, form.encode(FOREIGN[kind]) + note)
    assert strip(data) == data
    assert strip(splice(data, marks_for_real_notes(data, kind))) == data


def marks_for_real_notes(data: bytes, kind: str) -> list[Mark]:
    skipped = [data.find(inspect(data).encode("<note/>"))] if kind == "other instruction" else []
    return [Mark(offset, ROWS) for offset in note_offsets(data) if offset not in skipped]


def test_music_that_came_between_our_instructions_is_never_taken_out() -> None:
    data = FILES["UTF-8"]
    made = splice(data, [Mark(note_offsets(data)[0], ROWS)])
    end = b"<?ventwise end?>"
    moved = made.replace(end, b"").replace(b"    </measure>", end + b"    </measure>")
    again = strip(moved)
    assert again.count(b"<note") == data.count(b"<note")
    assert b"ventwise" not in again and SIGNATURE.encode() not in again


@pytest.mark.parametrize("text", ["<?ventwise begin?>", "<?ventwise end?>", "<?ventwise begin?><?ventwise begin?>"])
def test_instructions_without_their_other_half_go_alone(text: str) -> None:
    data = FILES["UTF-8"]
    assert strip(data.replace(b"<note >", text.encode() + b"<note >")) == data


def test_bytes_that_are_no_xml_are_refused_in_one_line() -> None:
    for data in (
        b"",
        b"\0\1\2",
        b"<a>",
        b"<a/><b/>",
        SCORE.encode("utf-32"),
        b'<?xml version="1.0" encoding="none"?><a/>',
    ):
        with pytest.raises(InputError) as caught:
            strip(data)
        assert "\n" not in str(caught.value) and "expected" in str(caught.value)


def test_a_doctype_that_leads_elsewhere_or_expands_without_end_is_refused() -> None:
    outside = '<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/hostname">]><a>&e;</a>'
    many = "<!DOCTYPE a [" + "".join(f'<!ENTITY e{i} "x">' for i in range(1001)) + "]><a/>"
    bomb = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10 if i else "x" * 1000}">' for i in range(9))
    for text in (outside, many, f"<!DOCTYPE a [{bomb}]><a>&e8;</a>"):
        with pytest.raises(InputError) as caught:
            strip(text.encode())
        assert "expected" in str(caught.value)


def test_the_self_check_sees_a_byte_that_changed() -> None:
    data = FILES["UTF-8"]
    made = splice(data, marks_for(data))
    with pytest.raises(SelfCheckError, match="nothing written"):
        verify_roundtrip(data, made.replace(b"a remark", b"a Remark"))
