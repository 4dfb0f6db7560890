"""Other people's scores hold no multiphonic: every MusicXML file of music21's corpus and of the suite it carries."""

import re
import sys
import zipfile
from collections import Counter
from pathlib import Path

import pytest

from annotate.demand import Kind
from annotate.detecting.company import Companies
from annotate.detecting.detect import detect
from annotate.findings import InputError
from annotate.reading.read import read_score
from fingering_db.pitch import Pitch

sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))

from corpus import corpus, judged, suite


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


def test_nothing_of_the_suite_that_lies_within_the_compass_is_unplayable_but_quarter_tones_of_the_foot_and_two_bends() -> (
    None
):
    """The foot's keys have no holes to half open, and the lip bends less than a quarter-tone; bends by three and six
    semitones are a guitar's."""
    tally = judged(suite())
    assert tally.counts["scores"] > 100
    assert tally.multiphonics == []
    assert {kind for kind, _ in tally.unplayable} == {Kind.MICROTONE, Kind.GLISSANDO}
    lowest = {told.rsplit(": ", 1)[1] for told in tally.of(Kind.MICROTONE)}
    assert all(Pitch.parse(pitch).midi < Pitch.parse("D4").midi for pitch in lowest)
    assert len(tally.of(Kind.GLISSANDO)) == 2
