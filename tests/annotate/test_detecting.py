"""Detecting, on small scores with the demands they must give beside them, and on other people's files.

The scores under `tests/cases/detecting` are invented. `tests/cases/README.md` tells which fact stands in which.
"""

import json
import math
import zipfile
from pathlib import Path
from typing import Any

import music21
import pytest
from in_words import in_words

from annotate.demand import Demand, Instruction
from annotate.detecting.company import Companies, Company
from annotate.detecting.detect import Detected, detect
from annotate.findings import InputError
from annotate.language import words
from annotate.reading.read import read_score

CASES = Path(__file__).parent.parent / "cases" / "detecting"
MUSIC21 = Path(music21.__file__).parent


def detected(path: Path, chords: str = "auto") -> Detected:
    score = read_score(path.read_bytes())
    return detect(score.parts[0], chords, Companies(score).of(score.parts[0]))


def case(name: str, chords: str = "auto") -> Detected:
    return detected(CASES / f"{name}.musicxml", chords)


def detected_in_all_parts(path: Path) -> Detected:
    score = read_score(path.read_bytes())
    found = [detect(part, "auto", Companies(score).of(part)) for part in score.parts]
    return Detected(
        tuple(demand for each in found for demand in each.demands),
        tuple(finding for each in found for finding in each.findings),
        tuple(one for each in found for one in each.not_judged),
        tuple(one for each in found for one in each.undecided),
    )


def as_table(demand: Demand) -> dict[str, Any]:
    return {
        "part": demand.place.part,
        "kind": demand.kind,
        "bar": demand.place.bar,
        "beat": float(demand.place.beat),
        "written": [str(pitch) for pitch in demand.pitches],
        "sounding": [str(pitch) for pitch in demand.sounding],
        "to": [str(pitch) for pitch in demand.to],
        "open": demand.open_pitches,
        "continuous": demand.continuous,
        "word": demand.word,
        "fingering": demand.fingering,
        "to_fingering": demand.to_fingering,
        "strokes": demand.strokes,
        "instruction": as_written(demand.instruction),
        "events": len(demand.events),
    }


def as_written(told: Instruction | None) -> str:
    if told is None:
        return ""
    size = f"{told.slide_share:.2f} of the travel" if math.isfinite(told.slide_share) else f"{told.slide_mm:g} mm"
    return told.means or size


def filled_up(expected: dict[str, Any], part: str) -> dict[str, Any]:
    usual = {"part": part, "to": [], "open": False, "continuous": None, "word": "", "fingering": ""}
    return {"sounding": expected["written"], **usual, "to_fingering": "", "strokes": 0, "instruction": "", **expected}


@pytest.mark.parametrize("path", sorted(CASES.glob("*.musicxml")), ids=lambda path: path.stem)
def test_a_small_score_gives_the_demands_beside_it(path: Path) -> None:
    expected = json.loads(path.with_suffix(".json").read_text("utf-8"))
    found = detected_in_all_parts(path)
    part = read_score(path.read_bytes()).parts[0].name
    assert [as_table(d) for d in found.demands] == [filled_up(d, part) for d in expected["demands"]]
    assert [[f.code, f.severity, str(f.place)] for f in found.findings] == expected["findings"]
    assert [[str(n.place), in_words(n.what)] for n in found.not_judged] == expected["not_judged"]
    assert [[str(u.place), " ".join(map(str, u.pitches))] for u in found.undecided] == expected.get("undecided", [])


def test_every_score_has_its_expected_demands_and_no_expectation_lacks_a_score() -> None:
    scores = {path.stem for path in CASES.glob("*.musicxml")}
    assert scores == {path.stem for path in CASES.glob("*.json")}
    assert len(scores) >= 15


def test_chords_of_a_flutes_part_become_one_finding_that_tells_how_many_and_why() -> None:
    (finding,) = case("chords_of_two_flutes").findings
    assert in_words(finding.message) == "bars 1-2: 4 chords read as two players because the part is named 'Flutes'"
    assert "--chords multiphonic" in in_words(finding.advice)


def test_the_option_turns_two_players_into_multiphonics_and_back() -> None:
    assert len(case("chords_of_two_flutes", "multiphonic").demands) == 4
    assert case("chords_of_two_flutes", "multiphonic").findings == ()
    assert case("chords_of_a_solo_flute", "players").demands == ()


def test_the_option_voice_lists_chords_as_not_judged_once() -> None:
    found = case("chords_of_a_solo_flute", "voice")
    assert found.demands == ()
    assert [in_words(each.what) for each in found.not_judged] == ["sing and play"]


def test_an_unknown_option_is_refused_with_what_was_expected() -> None:
    with pytest.raises(ValueError, match="expected auto, multiphonic, players or voice"):
        case("chords_of_two_flutes", "both")


def test_undecided_chords_are_told_once_with_their_places_and_how_to_settle_it() -> None:
    score = read_score((CASES / "two_voices.musicxml").read_bytes())
    found = detect(score.parts[0], company=Company(12))
    (finding,) = found.findings
    assert found.demands == ()
    assert [str(one.place) for one in found.undecided] == ["Flute, bar 1, beat 1", "Flute, bar 1, beat 3"]
    assert (finding.code, finding.severity, finding.demand) == ("R201", "warning", "")
    assert "2 chords" in in_words(finding.message)
    assert "bar 1, beats 1, 3" in in_words(finding.message)
    assert "two voices" in in_words(finding.message)
    assert "12 parts" in in_words(finding.message)
    assert "--chords" in in_words(finding.advice)
    assert "'mult.'" in in_words(finding.advice)


def test_ids_count_from_one_and_findings_follow_when_they_are_renumbered() -> None:
    found = case("evidence_of_a_multiphonic_in_a_part_for_several").renumbered(7)
    assert [demand.id for demand in found.demands] == ["d7", "d8", "d9", "d10"]
    assert [finding.demand for finding in found.findings] == ["d7", ""]


def test_an_event_stands_in_one_demand_or_ends_one_slide_and_starts_the_next() -> None:
    for path in CASES.glob("*.musicxml"):
        single = [d for d in detected(path).demands if d.kind != "glissando"]
        starts = [(event.start, pitch) for d in single for event in d.events for pitch in d.pitches]
        assert len(starts) == len(set(starts)), path.name


def test_every_finding_has_a_code_that_is_explained_in_one_sentence() -> None:
    found = {finding.code for path in CASES.glob("*.musicxml") for finding in detected(path).findings}
    assert found <= set(words().tables["explain"])
    assert len(found) >= 8


def test_the_flutes_of_the_christmas_oratorio_ask_for_no_multiphonic() -> None:
    with zipfile.ZipFile(MUSIC21 / "corpus" / "bach" / "bwv248.23-2.mxl") as archive:
        (name,) = [n for n in archive.namelist() if n.endswith(".xml") and not n.startswith("META-INF")]
        score = read_score(archive.read(name))
    (part,) = [part for part in score.parts if part.name == "Flutes"]
    assert len(part.events) > 50
    found = detect(part, company=Companies(score).of(part))
    assert found == Detected((), (), ())


def test_two_bach_oboes_in_one_part_written_in_two_voices_are_two_players() -> None:
    with zipfile.ZipFile(MUSIC21 / "corpus" / "bach" / "bwv248.23-2.mxl") as archive:
        (name,) = [n for n in archive.namelist() if n.endswith(".xml") and not n.startswith("META-INF")]
        score = read_score(archive.read(name))
    (part,) = [part for part in score.parts if part.name == "Oboe d'amore"]
    found = detect(part, company=Companies(score).of(part))
    assert found.demands == ()
    assert [finding.code for finding in found.findings] == ["R204", "R208"]


def test_the_lilypond_test_suite_is_looked_at_without_an_exception() -> None:
    looked = 0
    for path in sorted((MUSIC21 / "musicxml" / "lilypondTestSuite").glob("*.xml")):
        try:
            score = read_score(path.read_bytes())
        except InputError:
            continue
        for part in score.parts:
            for chords in ("auto", "multiphonic", "players", "voice"):
                detect(part, chords, Company(len(score.parts)))
        looked += 1
    assert looked > 100
