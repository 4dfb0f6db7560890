"""An independent reader of MusicXML says the same: music21, on the test suite and the corpus that it carries.

Compared are, part by part, the onset, length, pitches (with their spelling) and ties of every note and chord. Where the
two readings differ, the file stands in DIFFERENCES with the reason.
"""

from __future__ import annotations

import warnings
import zipfile
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import music21
import pytest

from annotate.reading.flutes import find_flute_parts
from annotate.reading.read import read_score

ROOT = Path(music21.__file__).parent
SUITE = ROOT / "musicxml" / "lilypondTestSuite"
CORPUS = ROOT / "corpus"

SAMPLE = """01a-Pitches-Pitches 01c-Pitches-NoVoiceElement 01d-Pitches-Microtones 02b-Rests-PitchedRests
03aa-Rhythm-Durations 03b-Rhythm-Backup 03c-Rhythm-DivisionChange 11c-TimeSignatures-CompoundSimple
11h-TimeSignatures-SenzaMisura 21c-Chords-ThreeNotesDuration 21e-Chords-PickupMeasures 22c-Noteheads-Chords
23d-Tuplets-Nested 24a-GraceNotes 24b-ChordAsGraceNote 24d-AfterGrace 33b-Spanners-Tie 33d-Spanners-OctaveShifts
33h-Spanners-Glissando 33i-Ties-NotEnded 41b-MultiParts-MoreThan10 42a-MultiVoice-TwoVoicesOnStaff-Lyrics
43d-MultiStaff-StaffChange 45d-Repeats-Nested-Alternatives 46d-PickupMeasure-ImplicitMeasures
46f-IncompleteMeasures 72a-TransposingInstruments 72c-TransposingInstruments-Change 73a-Percussion""".split()

DIFFERENCES: dict[str, str] = {
    "21f-Chord-ElementInBetween": "music21 ends a chord at a direction between its notes; the standard does not",
}

Row = tuple[Fraction, Fraction, tuple[tuple[str, float, str], ...]]
"""Onset and length [quarters]; step, MIDI number and tie of each note."""


def xml_of(path: Path) -> bytes:
    """The score's XML: the file, or the first score in its container."""
    if path.suffix != ".mxl":
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        names = [name for name in archive.namelist() if not name.startswith("META-INF")]
        return archive.read(next(name for name in names if name.endswith((".xml", ".musicxml"))))


def ours(data: bytes) -> dict[str, Counter[Row]]:
    parts = {}
    for part in read_score(data).parts:
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
            rows[event.onset, event.duration, tuple(sorted(notes))] += 1
        if rows:
            parts[part.id] = rows
    return parts


def theirs(path: Path) -> dict[str, Counter[Row]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        stream: Any = music21.converter.parse(path, format="musicxml", forceSource=True)
    parts: dict[str, Counter[Row]] = {}
    for index, part in enumerate(stream.parts):
        # music21 makes one part of each staff: 'P1-Staff2' is the second staff of P1.
        staff = isinstance(part, music21.stream.PartStaff)
        rows = parts.setdefault(str(part.id).partition("-Staff")[0] if staff else f"part {index}", Counter())
        for element in part.recurse().notes:
            if isinstance(element, music21.harmony.Harmony):
                continue
            each = element.notes if element.isChord else [element]
            notes = [
                (note.pitch.step, round(float(note.pitch.ps), 3), note.tie.type if note.tie else "")
                for note in each
                if not isinstance(note, music21.note.Unpitched)
            ]
            if notes:
                onset = Fraction(element.getOffsetInHierarchy(part)).limit_denominator(10_000)
                length = Fraction(element.duration.quarterLength).limit_denominator(10_000)
                rows[onset, length, tuple(sorted(notes))] += 1
    return {part_id: rows for part_id, rows in parts.items() if rows}


def same(path: Path) -> bool:
    ours_now, theirs_now = ours(xml_of(path)), theirs(path)
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


@pytest.mark.parametrize("name", DIFFERENCES)
def test_a_difference_from_music21_is_still_there(name: str) -> None:
    assert not same(SUITE / f"{name}.xml")


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted(SUITE.glob("*.xml")), ids=lambda path: path.stem)
def test_music21_reads_the_whole_suite_alike(path: Path) -> None:
    assert same(path) or path.stem in DIFFERENCES
