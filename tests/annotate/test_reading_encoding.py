"""Reading and writing agree on bytes: in every encoding offsets name whole notes, and marks put in there come out."""

import codecs
import re
from xml.etree import ElementTree

import pytest

from annotate.files.encoding import TextForm, inspect
from annotate.files.stripping import strip
from annotate.files.writing import Mark, splice
from annotate.findings import InputError
from annotate.reading.read import read_score, repairs
from annotate.score import Score

BODY = """<score-partwise version="3.1">
  <part-list><score-part id="P1"><part-name>Fl\u00f6te</part-name></score-part></part-list>
  <part id="P1">
    <measure number="1">
      <attributes><divisions>2</divisions></attributes>
      <direction><direction-type><words>tr\u00e8s doux > \u00e9teint</words></direction-type></direction>
      <note default-x="1>2"><!-- </note>
      --><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration></note >
      <note><chord/><pitch><step>E</step><octave>5</octave></pitch><duration>2</duration>
        <lyric><text>\u00e4\u00df&#9834;</text></lyric></note>
      <note><pitch><step>G</step><octave>5</octave></pitch><duration>4</duration></note>
    </measure>
  </part>
</score-partwise>
"""


def declared(name: str | None) -> str:
    return "<?xml version='1.0'?>\n" if name is None else f'<?xml version="1.0" encoding="{name}"?>\n'


VARIANTS: dict[str, tuple[bytes, str, list[str]]] = {
    "utf-8": ((declared("UTF-8") + BODY).encode(), "utf-8", []),
    "utf-8 without declaration": (BODY.encode(), "utf-8", []),
    "utf-8 without encoding": ((declared(None) + BODY).encode(), "utf-8", []),
    "utf-8 spelled utf8": ((declared("utf8") + BODY).encode(), "utf-8", []),
    "utf-8 with mark": (codecs.BOM_UTF8 + (declared("UTF-8") + BODY).encode(), "utf-8", []),
    "utf-8 with mark, no declaration": (codecs.BOM_UTF8 + b"\n" + BODY.encode(), "utf-8", []),
    "blank line, no declaration": (b"\n \n" + BODY.encode(), "utf-8", []),
    "line feeds of another system": ((declared("UTF-8") + BODY).replace("\n", "\r\n").encode(), "utf-8", []),
    "carriage returns": ((declared("UTF-8") + BODY).replace("\n", "\r").encode(), "utf-8", []),
    "latin-1": ((declared("ISO-8859-1") + BODY).encode("latin-1"), "iso8859-1", []),
    "latin-1 by another name": ((declared("latin1") + BODY).encode("latin-1"), "iso8859-1", []),
    "windows-1252": ((declared("windows-1252") + BODY).encode("cp1252"), "cp1252", []),
    "utf-16 little end first": (
        codecs.BOM_UTF16_LE + (declared("UTF-16") + BODY).encode("utf-16-le"), "utf-16-le", []),
    "utf-16 big end first": (
        codecs.BOM_UTF16_BE + (declared("UTF-16") + BODY).replace("\n", "\r\n").encode("utf-16-be"), "utf-16-be", []),
    "utf-16 without mark": ((declared("UTF-16") + BODY).encode("utf-16-le"), "utf-16-le", []),
    "utf-16 declared, utf-8 written": ((declared("UTF-16") + BODY).encode(), "utf-8", ["F101"]),
    "utf-8 declared, utf-16 written": (
        codecs.BOM_UTF16_LE + (declared("UTF-8") + BODY).encode("utf-16-le"), "utf-16-le", ["F101"]),
    "ascii declared, utf-8 written": ((declared("US-ASCII") + BODY).encode(), "utf-8", ["F101"]),
    "latin-1 declared, utf-8 with mark": (
        codecs.BOM_UTF8 + (declared("ISO-8859-1") + BODY).encode(), "utf-8", ["F101"]),
    "utf-8 declared, latin-1 written": ((declared("UTF-8") + BODY).encode("latin-1"), "iso8859-1", ["F102"]),
    "blank lines before the declaration": (b"\r\n\n" + (declared("UTF-8") + BODY).encode(), "utf-8", ["F103"]),
    "a comment first": (b"<!-- saved -->\n" + BODY.encode(), "utf-8", []),
    "an instruction first": (b'<?xml-stylesheet href="a"?>\n' + BODY.encode(), "utf-8", []),
    "3,000 blank lines": (b"\n" * 3000 + (declared("UTF-8") + BODY).encode(), "utf-8", ["F103"]),
    "mark and blank before the declaration": (
        codecs.BOM_UTF8 + b"\n" + (declared("UTF-8") + BODY).encode(), "utf-8", ["F103"]),
    "two marks": (codecs.BOM_UTF8 * 2 + (declared("UTF-8") + BODY).encode(), "utf-8", ["F103"]),
    "blank line and wrong encoding": (
        b"\n" + (declared("UTF-8") + BODY).encode("latin-1"), "iso8859-1", ["F103", "F102"]),
    "blank before a mark, no declaration": (b" " + codecs.BOM_UTF8 + BODY.encode(), "utf-8", ["F103"]),
}  # fmt: skip


def pieces(score: Score, data: bytes, encoding: str) -> list[ElementTree.Element]:
    """The bytes that each note names, parsed by another parser."""
    notes = [note for event in score.parts[0].events for note in event.notes]
    return [ElementTree.fromstring(data[note.start : note.end].decode(encoding)) for note in notes]


@pytest.mark.parametrize("name", VARIANTS)
def test_offsets_name_whole_notes_in_the_bytes_as_they_came(name: str) -> None:
    data, encoding, codes = VARIANTS[name]
    score = read_score(data)
    elements = pieces(score, data, encoding)
    assert [(each.tag, each.findtext("pitch/step")) for each in elements] == [("note", step) for step in "CEG"]
    direction = score.parts[0].directions[0]
    element = ElementTree.fromstring(data[direction.start : direction.end].decode(encoding))
    assert element.tag == "direction"
    assert element.findtext("direction-type/words") == direction.text == "tr\u00e8s doux > \u00e9teint"
    assert score.parts[0].name == "Fl\u00f6te"
    assert [finding.code for finding in score.findings if finding.code.startswith("F")] == codes


@pytest.mark.parametrize("name", VARIANTS)
def test_inspection_tells_encoding_beginning_and_what_was_mended(name: str) -> None:
    data, encoding, codes = VARIANTS[name]
    form = inspect(data)
    assert form.encoding == encoding
    assert data[form.start :].decode(encoding).removeprefix("\ufeff").lstrip().startswith("<")
    assert [finding.code for finding in repairs(form)] == codes
    assert all(finding.severity == "warning" for finding in repairs(form))


@pytest.mark.parametrize("name", VARIANTS)
def test_marks_at_the_offsets_of_reading_come_out_byte_for_byte(name: str) -> None:
    data, encoding, codes = VARIANTS[name]
    notes = [note for event in read_score(data).parts[0].events for note in event.notes]
    made = splice(data, [Mark(note.start, ("T | \u25cf", "\u266f \u00e9")) for note in notes])
    assert strip(made) == data
    again = read_score(made)
    assert [element.findtext("pitch/step") for element in pieces(again, made, encoding)] == ["C", "E", "G"]
    ours = [each.text.strip("\u2063") for each in again.parts[0].directions if each.ours]
    assert ours == ["\u266f \u00e9", "T | \u25cf"] * 3
    assert [finding.code for finding in again.findings if finding.code.startswith("F")] == codes


IN_LETTERS = {
    "utf-8 spelled utf8",
    "utf-16 declared, utf-8 written",
    "ascii declared, utf-8 written",
    "latin-1 declared, utf-8 with mark",
    "utf-8 declared, latin-1 written",
    "blank line and wrong encoding",
}


@pytest.mark.parametrize("name", VARIANTS)
def test_what_is_put_in_is_ascii_exactly_where_readers_may_differ(name: str) -> None:
    data, encoding, _ = VARIANTS[name]
    references = "\u25cf\u00e9".encode("ascii", "xmlcharrefreplace")
    own = "\u25cf\u00e9".encode(encoding, "xmlcharrefreplace")
    assert inspect(data).encode("\u25cf\u00e9") == (references if name in IN_LETTERS else own)


def test_a_text_is_encoded_in_the_encoding_of_the_file_with_references_for_what_it_lacks() -> None:
    assert TextForm("iso8859-1").encode("\u25cf \u00e9") == b"&#9679; \xe9"
    assert TextForm("utf-16-be").encode("\u25cf") == b"\x25\xcf"
    assert TextForm("utf-8").encode("\u25cf") == "\u25cf".encode()


def test_a_tag_ends_at_a_whole_character_not_at_halves_of_two() -> None:
    # Little end first, the bytes of '>' are the second half of U+3E41 and the first of U+4200.
    data = "<a \u3e41\u4200>b".encode("utf-16-le")
    assert data.find(">".encode("utf-16-le")) % 2 == 1
    assert data[TextForm("utf-16-le").behind(data, ">".encode("utf-16-le"), 0) :].decode("utf-16-le") == "b"


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b"\0" * 40, "empty"),
        (codecs.BOM_UTF8, "empty"),
        (b"%PDF-1.7 ...", "a PDF"),
        (b"PK\x03\x04....", "a compressed archive"),
        (b"no markup here", "begins with 'no markup here', not with XML"),
        (bytes(range(1, 60)), "not XML"),
        ((declared("KOI-nothing") + BODY).encode(), "not known"),
        ((declared("shift_jis") + BODY).encode(), "not supported"),
        ((declared("hex") + BODY).encode(), "not supported"),
        ((declared("cp500") + BODY).encode(), "not supported"),
        ((declared("mac-arabic") + BODY).encode(), "not supported"),
        ((declared("raw_unicode_escape") + BODY).encode(), "not supported"),
        ((declared("K" * 1000) + BODY).encode(), "'K{40}', which is not known"),
        (
            codecs.BOM_UTF8 + (declared("UTF-8") + BODY).encode("latin-1"),
            f"byte {3 + (declared('UTF-8') + BODY).index('ö')} of",
        ),
        ("  ".encode("utf-16-le") + (declared("UTF-16") + BODY).encode("utf-16-le"), "before .* in UTF-16"),
        ("\ufeff\n".encode("utf-16-be") + (declared("UTF-16") + BODY).encode("utf-16-be"), "before .* in UTF-16"),
        (b"junk" + (declared("UTF-16") + BODY).encode("utf-16"), "before .* in UTF-16"),
        (b"HTTP/1.1 200 OK\n\n" + (declared("UTF-8") + BODY).encode(), "begins with 'HTTP/1.1 200 OK', not with XML"),
        (b'SCORE = """' + (declared("UTF-8") + BODY).encode() + b'"""\n', 'begins with \'SCORE = """\', not'),
        (
            b"\n# Notes " + b"junk " * 500 + (declared("UTF-8") + BODY).encode(),
            "'# Notes junk junk junk junk ju…', not with XML",
        ),
        (b"junk" + codecs.BOM_UTF8 + (declared("UTF-8") + BODY).encode(), "begins with 'junk', not with XML"),
        (b"\xff" + (declared("US-ASCII") + BODY).encode("ascii", "xmlcharrefreplace"), "the file is not XML"),
        (codecs.BOM_UTF32_LE + BODY.encode("utf-32-le"), "UTF-32"),
        (codecs.BOM_UTF16_LE + BODY.encode("utf-16-le")[:401], "cut off"),
        (BODY.encode()[:300], "cut off at line 6"),
        ((declared("UTF-8") + BODY).encode()[:-2], "cut off"),
        ((declared("UTF-8") + BODY).encode() + b"<again/>", "not well-formed XML at line 16"),
        (b"\n\n\n" + (declared("UTF-8") + "<score-partwise>\n<b></a>").encode(), "line 6"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_line(data: bytes, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read_score(data)
    assert "\n" not in str(caught.value)
    with pytest.raises(InputError) as stripping:
        strip(data)
    assert "\n" not in str(stripping.value)
    # What is no well-formed XML each tells in its own words; what is no text both tell alike.
    if not re.search("cut off|well-formed|line", message):
        assert str(stripping.value) == str(caught.value)


@pytest.mark.parametrize("name", ["utf-8", "utf-16 little end first", "latin-1", "blank line and wrong encoding"])
def test_a_file_cut_anywhere_is_refused_or_read_but_never_breaks(name: str) -> None:
    data = VARIANTS[name][0]
    for end in range(0, len(data) - 8, 7):
        with pytest.raises(InputError):
            read_score(data[:end])


def test_a_note_out_of_an_internal_entity_is_placed_at_its_reference() -> None:
    entity = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration></note>"
    data = (
        f"<!DOCTYPE score-partwise [<!ENTITY c '{entity}'>]>" + BODY.replace("</measure>", "&c;</measure>")
    ).encode()
    note = read_score(data).parts[0].events[-1].notes[0]
    assert data[note.start : note.end] == b"&c;"
