"""Other people's scores hold no multiphonic: every MusicXML file of music21's corpus and of the suite it carries."""

from __future__ import annotations

import re
import zipfile
from collections import Counter
from pathlib import Path

import music21
import pytest

from annotate.decision import Status
from annotate.demand import Kind
from annotate.detecting.company import Companies
from annotate.detecting.detect import detect
from annotate.findings import InputError
from annotate.pipeline import Options, look
from annotate.reading.read import read_score
from fingering_db.pitch import Pitch

MUSIC21 = Path(music21.__file__).parent
LOWEST, HIGHEST = Pitch.parse("B3").midi, Pitch.parse("D7").midi


def corpus() -> list[Path]:
    found = [path for end in ("mxl", "xml", "musicxml") for path in (MUSIC21 / "corpus").rglob(f"*.{end}")]
    return sorted(found)


def suite() -> list[Path]:
    return sorted((MUSIC21 / "musicxml" / "lilypondTestSuite").glob("*.xml"))


def data_of(path: Path) -> bytes:
    if path.suffix != ".mxl":
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        names = [
            name for name in archive.namelist() if re.search(r"\.(xml|musicxml)$", name) and "META-INF" not in name
        ]
        return archive.read(names[0])


def read_as(paths: list[Path]) -> tuple[Counter[str], list[str]]:
    """How the chords of every part are read, and which of them are multiphonics."""
    counts: Counter[str] = Counter()
    wrong = []
    for path in paths:
        try:
            score = read_score(data_of(path))
        except InputError:
            counts["refused"] += 1
            continue
        counts["scores"] += 1
        for part in score.parts:
            found = detect(part, company=Companies(score).of(part))
            counts["parts"] += 1
            counts["chords"] += sum(len(event.notes) > 1 for event in part.events)
            counts["undecided"] += len(found.undecided)
            wrong += [f"{path.name}: {d.place}, {d.reading}" for d in found.demands if d.kind == Kind.MULTIPHONIC]
    return counts, wrong


@pytest.mark.slow
def test_no_chord_of_the_corpus_is_a_multiphonic_whatever_part_it_stands_in() -> None:
    counts, wrong = read_as(corpus())
    assert wrong == []
    assert counts["scores"] > 300
    assert counts["chords"] > 1000


def test_no_chord_of_the_suite_is_a_multiphonic_whatever_part_it_stands_in() -> None:
    counts, wrong = read_as(suite())
    assert wrong == []
    assert counts["scores"] > 100


@pytest.mark.slow
def test_no_chord_or_note_of_the_suite_that_lies_within_the_compass_is_unplayable() -> None:
    """Quarter-tones and glissandi that the suite writes may be: they are asked for, and nobody is said to misread them."""
    unplayable, judged = [], 0
    for path in suite():
        try:
            result = look(path, Options(parts=("1",))).result
        except InputError:
            continue
        for decision in result.decisions:
            judged += 1
            inside = all(LOWEST <= pitch.midi <= HIGHEST for pitch in decision.demand.sounding)
            misread = decision.demand.kind in (Kind.NOTE, Kind.MULTIPHONIC)
            if decision.status == Status.UNPLAYABLE and inside and misread:
                unplayable.append(f"{path.name}: {decision.demand.place} {decision.demand.kind}")
    assert judged > 20
    assert unplayable == []
