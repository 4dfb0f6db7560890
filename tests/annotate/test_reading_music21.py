"""An independent reader of MusicXML says the same: music21, on the test suite and the corpus that it carries.

Compared are, part by part, the onset, length, pitches (with their spelling) and ties of every note and chord. Where the
two readings differ, the file stands in DIFFERENCES with the reason. In the corpus onsets are compared within the bar:
where a part has too many or too few notes in a bar, music21 lets it run out of step with the others from there on,
and we keep all parts together at the bar lines.
"""

import codecs
import re
import warnings
import zipfile
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import music21
import pytest

from annotate.reading.flute_parts import find_flute_parts
from annotate.reading.read import read_score

ROOT = Path(music21.__file__).parent
SUITE = ROOT / "musicxml" / "lilypondTestSuite"
CORPUS = ROOT / "corpus"
SCORES = sorted(path for kind in ("mxl", "musicxml", "xml") for path in CORPUS.rglob(f"*.{kind}"))
CORPUS_SAMPLE = [path for path in SCORES if path.stat().st_size < 30_000][::60]

SAMPLE = [
    "01a-Pitches-Pitches", "01c-Pitches-NoVoiceElement", "01d-Pitches-Microtones",
    "02b-Rests-PitchedRests", "03aa-Rhythm-Durations", "03b-Rhythm-Backup", "03c-Rhythm-DivisionChange",
    "11c-TimeSignatures-CompoundSimple", "11h-TimeSignatures-SenzaMisura",
    "21c-Chords-ThreeNotesDuration", "21e-Chords-PickupMeasures", "22c-Noteheads-Chords",
    "23d-Tuplets-Nested", "24a-GraceNotes", "24b-ChordAsGraceNote", "24d-AfterGrace", "33b-Spanners-Tie",
    "33d-Spanners-OctaveShifts", "33h-Spanners-Glissando", "33i-Ties-NotEnded",
    "41b-MultiParts-MoreThan10", "42a-MultiVoice-TwoVoicesOnStaff-Lyrics", "43d-MultiStaff-StaffChange",
    "45d-Repeats-Nested-Alternatives", "46d-PickupMeasure-ImplicitMeasures", "46f-IncompleteMeasures",
    "72a-TransposingInstruments", "72c-TransposingInstruments-Change", "73a-Percussion",
]  # fmt: skip

_TIED = "a tie is printed (`<tied>`) but not told for sounding (`<tie>`): music21 reads only the latter"
DIFFERENCES: dict[str, str] = {
    "lilypondTestSuite/21f-Chord-ElementInBetween": "music21 ends a chord at a direction between its notes; the"
    " standard does not",
    "lilypondTestSuite/02e-Rests-NoType": "music21 puts a note that tells no staff on every staff of its part",
    "schumann_robert/opus48no2": _TIED,
    "schumann_robert/dichterliebe_no2": _TIED,
    "opus18no1/movement4": _TIED,
    "opus59no1/movement2": _TIED,
    "opus74no1/movement2": _TIED,
}
"""By folder and name, for the suite and the corpus."""

Row = tuple[int, Fraction, Fraction, tuple[tuple[str, float, str], ...]]
"""Bar, onset and length [quarters]; step, MIDI number and tie of each note. Onsets from the beginning: bar is 0."""


def xml_of(path: Path) -> bytes:
    """The score's XML: the file, or the first score in its container."""
    if path.suffix != ".mxl":
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        names = [name for name in archive.namelist() if not name.startswith("META-INF")]
        return archive.read(next(name for name in names if name.endswith((".xml", ".musicxml"))))


def ours(data: bytes, within_bar: bool = False) -> dict[str, Counter[Row]]:
    parts = {}
    score = read_score(data)
    starts = bar_starts(data) if within_bar else []
    for part in score.parts:
        rows: Counter[Row] = Counter()
        for event in part.events:
            notes = (
                (
                    note.written.step,
                    round(note.written.midi, 3),
                    {(True, False): "start", (False, True): "stop", (True, True): "continue"}.get(
                        (note.tie_start, note.tie_stop), ""
                    ),
                )
                for note in event.notes
            )
            onset = event.onset
            if within_bar:
                onset -= starts[event.bar_index]
            rows[event.bar_index if within_bar else 0, onset, event.duration, tuple(sorted(notes))] += 1
        if rows:
            parts[part.id] = rows
    return parts


def theirs(path: Path, within_bar: bool = False) -> dict[str, Counter[Row]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        stream: Any = music21.converter.parse(path, format="musicxml", forceSource=True)
    parts: dict[str, Counter[Row]] = {}
    for index, part in enumerate(stream.parts):
        # music21 makes one part of each staff: 'P1-Staff2' is the second staff of P1.
        staff = isinstance(part, music21.stream.PartStaff)
        rows = parts.setdefault(str(part.id).partition("-Staff")[0] if staff else f"part {index}", Counter())
        bars = {id(bar): index for index, bar in enumerate(part.getElementsByClass("Measure"))}
        for element in part.recurse().notes:
            if isinstance(element, music21.harmony.Harmony):
                continue
            bar = element.getContextByClass("Measure")
            each = element.notes if isinstance(element, music21.chord.ChordBase) else [element]
            notes = [
                (note.pitch.step, round(float(note.pitch.ps), 3), note.tie.type if note.tie else "")
                for note in each
                if not isinstance(note, music21.note.Unpitched)
            ]
            if notes:
                onset = Fraction(element.getOffsetInHierarchy(bar if within_bar else part)).limit_denominator(10_000)
                length = Fraction(element.duration.quarterLength).limit_denominator(10_000)
                rows[bars[id(bar)] if within_bar else 0, onset, length, tuple(sorted(notes))] += 1
    return {part_id: rows for part_id, rows in parts.items() if rows}


def bar_starts(data: bytes) -> list[Fraction]:
    """Where bars begin, seen from a rehearsal mark put into the front of every bar of the first part."""
    mark = b"<direction><direction-type><rehearsal>x</rehearsal></direction-type></direction>"
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        data = data.decode("utf-16").encode()  # the reader mends the declaration
    head, _, rest = data.partition(b"</part>")
    head = re.sub(rb"<(measure\s[^>]*)/>", rb"<\1></measure>", head)
    marked = re.sub(rb"<measure\s[^>]*>", lambda found: found.group() + mark, head) + b"</part>" + rest
    part = read_score(marked).parts[0]
    return [each.onset for each in part.directions if each.kind == "rehearsal" and each.text == "x"]


def same(path: Path, within_bar: bool = False) -> bool:
    ours_now, theirs_now = ours(xml_of(path), within_bar), theirs(path, within_bar)
    # The ids differ, as music21 takes some from names; the order of the parts is that of the file in both.
    return list(ours_now.values()) == list(theirs_now.values())


@pytest.mark.parametrize("name", SAMPLE)
def test_music21_reads_the_same_notes(name: str) -> None:
    assert same(SUITE / f"{name}.xml")


def test_music21_reads_the_same_notes_in_a_real_score_with_flutes() -> None:
    path = CORPUS / "bach" / "bwv248.23-2.mxl"
    assert same(path)
    parts = find_flute_parts(read_score(xml_of(path)).parts)
    assert [(part.name, family, len(part.events)) for part, family in parts] == [("Flutes", "flute", 68)]


@pytest.mark.parametrize("path", CORPUS_SAMPLE, ids=lambda path: path.stem)
def test_music21_reads_a_sample_of_its_corpus_alike_bar_by_bar(path: Path) -> None:
    assert same(path, within_bar=True)


@pytest.mark.parametrize("name", [name for name in DIFFERENCES if name.startswith(SUITE.name)])
def test_a_difference_from_music21_is_still_there(name: str) -> None:
    assert not same(SUITE.parent / f"{name}.xml")


def test_the_ties_that_music21_does_not_read_are_printed_without_being_told_for_sounding() -> None:
    for name in (name for name, reason in DIFFERENCES.items() if reason is _TIED):
        data = xml_of(next(path for path in SCORES if f"{path.parent.name}/{path.stem}" == name))
        notes = [note for part in read_score(data).parts for event in part.events for note in event.notes]
        tied = [data[note.start : note.end] for note in notes if note.tie_start or note.tie_stop]
        assert any(b"<tied" in each and b"<tie " not in each for each in tied)


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted([*SUITE.glob("*.xml"), *SUITE.glob("*.mxl")]), ids=lambda path: path.stem)
def test_music21_reads_the_whole_suite_alike(path: Path) -> None:
    assert same(path) or f"{path.parent.name}/{path.stem}" in DIFFERENCES


@pytest.mark.slow
@pytest.mark.parametrize("path", SCORES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_music21_reads_its_corpus_alike_bar_by_bar(path: Path) -> None:
    assert same(path, within_bar=True) or f"{path.parent.name}/{path.stem}" in DIFFERENCES
