"""The promises about the user's file, seen by the schema, two notation programs and a corpus."""

import importlib.util
import os
import re
import shutil
import subprocess
from functools import cache
from pathlib import Path
from xml.parsers import expat

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from in_words import in_words
from lxml import etree

from annotate.files.container import check_packed, load, pack
from annotate.files.encoding import inspect
from annotate.files.own_marks import SIGNATURE
from annotate.files.stripping import strip
from annotate.files.writing import CARRIERS, Mark, splice, verify_roundtrip

REFERENCES = Path(__file__).parents[1] / "references"
ROWS = ("●○● T", "○●○ E♭ ~", "mult. ?")


def written(carrier: str) -> tuple[str, ...]:
    """Rows for a carrier: that of ASCII takes plain signs for the circles."""
    return tuple(row.replace("●", "@").replace("○", "-") for row in ROWS) if carrier == "ascii" else ROWS


def package(name: str) -> Path:
    """Folder of an installed package, without importing it."""
    spec = importlib.util.find_spec(name)
    assert spec is not None and spec.origin is not None
    return Path(spec.origin).parent


SUITE = sorted((package("music21") / "musicxml" / "lilypondTestSuite").glob("*.xml"))
CHORALE = package("music21") / "corpus" / "bach" / "bwv248.23-2.mxl"


def note_offsets(data: bytes) -> list[int]:
    """Offsets of the notes before which words may stand: all but those that continue a chord."""
    form = inspect(data)
    parser = expat.ParserCreate(form.override)
    found: list[int] = []

    def start(name: str, _: dict[str, str]) -> None:
        if name == "note":
            found.append(parser.CurrentByteIndex + form.start)
        elif name == "chord":
            found.pop()

    parser.StartElementHandler = start
    parser.Parse(data[form.start :], True)
    return found


def marked(data: bytes, carrier: str = "rows") -> bytes:
    return splice(data, [Mark(offset, ROWS) for offset in note_offsets(data)], carrier)


SCHEMAS = {"4.0": ("musicxml", "generate_classes/musicxml_4_0.xsd"), "3.1": ("partitura", "assets/musicxml.xsd")}


@cache
def schema(version: str) -> etree.XMLSchema:
    name, file = SCHEMAS[version]
    text = (package(name) / file).read_bytes()
    assert f"Version {version}".encode() in text
    # It takes two other schemas from the network; ours stand in for them.
    text = text.replace(b"http://www.musicxml.org/xsd/", (REFERENCES / "xsd").as_uri().encode() + b"/")
    return etree.XMLSchema(etree.fromstring(text, etree.XMLParser(no_network=True)))


def schema_errors(data: bytes) -> list[tuple[str, str]]:
    """(version, message) for each error against MusicXML 4.0 and 3.1."""
    tree = etree.fromstring(data, etree.XMLParser(load_dtd=False, no_network=True))
    found = []
    for version in SCHEMAS:
        checker = schema(version)
        checker.validate(tree)
        found += [(version, in_words(error.message)) for error in checker.error_log]  # type: ignore[attr-defined]
    return sorted(found)


def check_suite_file(path: Path) -> None:
    data = path.read_bytes()
    before = schema_errors(data)
    for carrier in CARRIERS:
        made = marked(data, carrier)
        assert strip(made) == data
        assert (strip(made) != made) == bool(note_offsets(data))
        assert schema_errors(made) == before


@pytest.mark.parametrize("path", SUITE[::12], ids=lambda path: path.stem)
def test_a_suite_file_comes_back_byte_for_byte_and_has_no_new_schema_errors(path: Path) -> None:
    check_suite_file(path)


@pytest.mark.slow
@pytest.mark.parametrize("path", SUITE, ids=lambda path: path.stem)
def test_every_suite_file_comes_back_byte_for_byte_and_has_no_new_schema_errors(path: Path) -> None:
    check_suite_file(path)


@pytest.mark.slow
def test_every_score_of_a_corpus_comes_back_member_by_member() -> None:
    paths = [path for kind in ("mxl", "musicxml", "xml") for path in (package("music21") / "corpus").rglob(f"*.{kind}")]
    for path in paths:
        score = load(path)
        made = pack(score, marked(score.data))
        again = check_packed(score, made)
        verify_roundtrip(score.data, again.data)
        assert strip(again.data) == score.data
    assert len(paths) > 100


def test_most_of_the_suite_is_valid_so_that_no_new_errors_means_something() -> None:
    errors = [{version for version, _ in schema_errors(path.read_bytes())} for path in SUITE[::12]]
    assert all(sum(version not in each for each in errors) > len(errors) / 2 for version in SCHEMAS)


def test_the_schema_would_see_children_in_wrong_order_and_attributes_of_our_own() -> None:
    data = STAFF.encode()
    made = splice(data, [Mark(note_offsets(data)[0], ROWS, voice="1", staff=1)])
    assert schema_errors(data) == schema_errors(made) == []
    voice, staff = b"<voice>1</voice>", b"<staff>1</staff>"
    swapped = re.sub(rb"(<voice>1</voice>)(\s*)(<staff>1</staff>)", rb"\3\2\1", made, count=1)
    for spoiled in (swapped, made.replace(b"<words ", b'<words ours="1" ', 1)):
        assert {version for version, _ in schema_errors(spoiled)} == set(SCHEMAS)
    # 4.0 lets a direction tell at which staves of a system it stands; 3.1 does not know that yet.
    newer = made.replace(b'<direction placement="above"', b'<direction placement="above" system="only-top"', 1)
    assert {version for version, _ in schema_errors(newer)} == {"3.1"}
    assert voice in made and staff in made


def test_a_compressed_score_from_a_corpus_comes_back_member_by_member() -> None:
    score = load(CHORALE)
    made = pack(score, marked(score.data))
    again = check_packed(score, made)
    verify_roundtrip(score.data, again.data)
    assert again.data != score.data
    assert check_packed(again, pack(again, strip(again.data))).data == score.data


# Invented: a chord and a note on one staff, with room for words.
STAFF = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="3.1">
  <part-list>
    <score-part id="P1"><part-name>Flute</part-name></score-part>
  </part-list>
  <part id="P1">
    <measure number="1">
      <attributes>
        <divisions>1</divisions>
        <time><beats>4</beats><beat-type>4</beat-type></time>
        <clef><sign>G</sign><line>2</line></clef>
      </attributes>
      <direction placement="above"><direction-type><words>dolce</words></direction-type></direction>
      <note><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration><voice>1</voice><type>half</type></note>
      <note><chord/><pitch><step>D</step><octave>5</octave></pitch><duration>2</duration><voice>1</voice><type>half</type></note>
      <note><pitch><step>E</step><octave>5</octave></pitch><duration>2</duration><voice>1</voice><type>half</type></note>
    </measure>
  </part>
</score-partwise>
"""

# What a row may hold: anything that XML allows, but for the characters that the caller must not send.
CHARACTERS = st.characters(codec="utf-8", exclude_categories=("Cc", "Cs"), exclude_characters='\\{$"%\ufffe\uffff')
ROW = st.text(CHARACTERS, min_size=1, max_size=12).filter(str.strip)
CODECS = {"UTF-8": "utf-8", "UTF-16": "utf-16", "ISO-8859-1": "latin-1"}


@settings(max_examples=80, deadline=None)
@given(data=st.data(), encoding=st.sampled_from(sorted(CODECS)), newline=st.sampled_from(["\n", "\r\n", "\r", ""]))
def test_any_rows_at_any_notes_come_out_again(data: st.DataObject, encoding: str, newline: str) -> None:
    score = STAFF.replace("UTF-8", encoding).replace("\n", newline).encode(CODECS[encoding])
    offsets = data.draw(st.lists(st.sampled_from(note_offsets(score)), unique=True))
    marks = [Mark(at, tuple(data.draw(st.lists(ROW, min_size=1, max_size=4)))) for at in offsets]
    made = splice(score, marks)
    assert strip(made) == score
    words = [text for text in etree.fromstring(made).xpath("//words/text()") if text != "dolce"]  # type: ignore[union-attr]
    wanted = [row for mark in sorted(marks, key=lambda mark: mark.offset) for row in reversed(mark.rows)]
    assert words == [f"{row.replace('#', '♯')}{SIGNATURE}" for row in wanted]


def drawn(data: bytes) -> etree._Element:
    """The first page, drawn by Verovio."""
    import verovio  # a large library, needed here alone

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setInputFrom("xml")
    assert toolkit.loadData(data.decode())
    return etree.fromstring(toolkit.renderToSVG(1).encode())


def heights(page: etree._Element) -> dict[str, float]:
    """Vertical place of each line of text, from the top."""
    found = {}
    for text in page.iterfind(".//{*}text"):
        height = text.get("y")
        for line in text.iterfind(".//{*}tspan[@class='text']"):
            height = line.get("y", height)
            words = "".join(str(each) for each in line.itertext()).replace(SIGNATURE, "").strip()
            found[words] = float(str(height))
    return found


def count_notes(page: etree._Element) -> int:
    return sum(str(group.get("class", "")).split()[:1] == ["note"] for group in page.iterfind(".//{*}g"))


@pytest.mark.parametrize("carrier", CARRIERS)
def test_verovio_stacks_the_rows_in_order_and_draws_the_same_notes(carrier: str) -> None:
    data = STAFF.encode()
    before = drawn(data)
    after = drawn(splice(data, [Mark(note_offsets(data)[0], written(carrier))], carrier))
    assert count_notes(after) == count_notes(before) == 3
    rows = written(carrier)
    places = [heights(after)[row] for row in rows]
    assert places == sorted(places) and len(set(places)) == len(rows)
    assert "dolce" in heights(after) and not set(rows) & set(heights(before))


def music(data: bytes) -> list[tuple[str, str]]:
    """Elements of the bars with their texts, but for layout, which room taken by words changes."""
    measures = etree.fromstring(data).iterfind(".//measure")
    elements = [e for measure in measures for child in measure if child.tag != "print" for e in child.iter()]
    return [(str(element.tag), (element.text or "").strip()) for element in elements]


MUSESCORE = shutil.which("musescore3") or shutil.which("mscore3")


def saved_by_musescore(data: bytes, folder: Path) -> bytes:
    folder.mkdir()
    source, target = folder / "in.musicxml", folder / "out.musicxml"
    source.write_bytes(data)
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)}
    command = [str(MUSESCORE), str(source), "-o", str(target)]
    subprocess.run(command, env=environment, check=True, capture_output=True, timeout=120)
    return target.read_bytes()


@pytest.mark.skipif(MUSESCORE is None, reason="MuseScore 3 is not installed")
@pytest.mark.parametrize("carrier", CARRIERS)
def test_rows_outlive_saving_by_musescore_and_are_found_again(carrier: str, tmp_path: Path) -> None:
    data = STAFF.encode()
    plain = saved_by_musescore(data, tmp_path / "plain")
    saved = saved_by_musescore(
        splice(data, [Mark(note_offsets(data)[0], written(carrier))], carrier), tmp_path / "marked"
    )
    rows = list(reversed(written(carrier)))
    texts = [str(text) for text in etree.fromstring(saved).xpath("//words/text()")]  # type: ignore[union-attr]
    ours = [text.strip().strip(SIGNATURE) for text in texts if SIGNATURE in text]
    assert ours == rows
    tree = etree.fromstring(saved)
    places = [float(str(words.get("default-y"))) for words in tree.iter("words") if SIGNATURE in str(words.text)]
    assert places == sorted(set(places))  # upwards, each row on a height of its own
    assert strip(saved) != saved
    assert music(strip(saved)) == music(plain)
