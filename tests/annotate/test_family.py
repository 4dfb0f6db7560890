"""A duet for piccolo and alto flute (examples/family): each part on its own flute, in its own pitch."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from in_words import in_words

from annotate import instruments, pipeline, questions
from annotate.choosing.desks import desk, desks_for
from annotate.decision import Result
from annotate.findings import InputError
from annotate.marking import Style
from annotate.pipeline import Options
from annotate.report import answers_json, answers_text, json_report, text
from fingering_db.instrument import load
from fingering_db.model import model
from fingering_db.ranking import sounds

FOLDER = Path(__file__).parents[2] / "examples/family"
SCORE = FOLDER / "spring-and-neap.musicxml"
LESS_CERTAIN = "scaled from the flute in C by rule, measured on no instrument: less certain"


@pytest.fixture(scope="module")
def duet() -> Result:
    return pipeline.look(SCORE, Options()).result


def test_each_part_is_judged_on_its_own_flute(duet: Result) -> None:
    judged = {(one.demand.place.part, one.flute) for one in duet.decisions}
    assert judged == {("Piccolo", "piccolo"), ("Alto Flute", "alto")}
    for part in ("Piccolo", "Alto Flute"):
        own = [one for one in duet.decisions if one.demand.place.part == part]
        assert {one.demand.kind for one in own} >= {"multiphonic", "glissando", "microtone"}
        assert any(one.demand.kind == "multiphonic" and one.status == "playable" for one in own)


def test_what_sounds_is_what_music21_makes_of_the_transposition(duet: Result) -> None:
    from music21 import converter

    written = converter.parse(SCORE, forceSource=True)
    assert written.parts[1].measure(1).notes[0].pitches[0].nameWithOctave == "C5"
    heard = written.toSoundingPitch()
    for decision in duet.decisions:
        place = decision.demand.place
        number = [part.partName for part in heard.parts].index(place.part)
        for score, ours in ((written, decision.demand.pitches), (heard, decision.demand.sounding)):
            bar = score.parts[number].measure(int(place.bar))
            (there,) = [note for note in bar.notes if note.beat == place.beat]
            assert [pitch.ps for pitch in there.pitches] == [pitch.midi for pitch in ours]


def test_the_fingerings_sound_the_sounding_pitches_on_that_flute(duet: Result) -> None:
    checked = 0
    for decision in duet.decisions:
        if decision.demand.kind == "glissando" or not decision.fingering:
            continue
        found = sounds(model(load(decision.flute)), decision.fingering)
        for pitch, told in zip(decision.demand.sounding, decision.deviation_cents, strict=True):
            off = [1200 * _octaves(sound.hz, pitch.hz()) for sound in found]
            # One lip for all may pull by some cents from where each note has its own.
            assert min(abs(cents - told) for cents in off) < 70
            assert decision.status != "playable" or min(map(abs, off)) < 70
            checked += 1
    assert checked > 10


def _octaves(one: float, other: float) -> float:
    from math import log2

    return log2(one / other)


def test_the_piccolo_has_no_foot_below_d(duet: Result) -> None:
    (low,) = [one for one in duet.decisions if one.flute == "piccolo" and one.demand.kind == "note"]
    assert low.status == "unplayable" and "D4 to C7" in in_words(low.why)
    touches = {
        touch
        for one in duet.decisions
        if one.flute == "piccolo"
        for touch in (one.fingering.right if one.fingering else ())
    }
    assert touches and not touches & {"C#", "C", "B", "gz"}


def test_report_and_marks_name_written_pitches(duet: Result, tmp_path: Path) -> None:
    report = text.render(duet)
    assert "C5 & D6, multiphonic" in report and re.search(r"C5 [+-]\d+ ±\d+, D6 [+-]\d+ ±\d+ cents", report)
    # C5 & D6 sounds G4 & A5. A G4 that is offered is one of the part's, held as a flute player holds a written G4.
    assert "G4 & A5" not in report
    assert set(re.findall(r".*\bG4\b.*", report)) <= {
        line for line in report.splitlines() if "instead: G4 with T 1 2 3 | Eb:" in line
    }
    row = next(one for one in json.loads(json_report.render(duet))["demands"] if one["part"] == "Alto Flute")
    assert row["written"] == ["C5", "D6"]
    assert [pitch["name"] for pitch in row["pitches"]] == ["G4", "A5"] or row["pitches"][0]["hz"] == pytest.approx(
        392, abs=1
    )
    target = tmp_path / "marked.musicxml"
    pipeline.annotate(pipeline.look(SCORE, Options()), target, in_place=False, style=Style(notes="full"))
    notes = re.findall(r"<words[^>]*>([^<]*? ct)\u2063</words>", target.read_text(encoding="utf-8"))
    first = next(one for one in duet.decisions if one.flute == "alto")
    low, high = first.deviation_cents
    assert f"C5 {low:+.0f}, D6 {high:+.0f} ct" in notes
    assert not any("G4" in note for note in notes)


@pytest.mark.parametrize("part", ["Alto Flute", "alto flute", "P2", "2", "A. Fl."])
def test_a_part_is_given_a_flute_of_its_own_by_name_id_or_number_and_the_others_keep_theirs(part: str) -> None:
    options = Options(part_flutes=((part, str(FOLDER / "hired-alto.toml")),))
    judged = {(one.demand.place.part, one.flute) for one in pipeline.look(SCORE, options).result.decisions}
    assert judged == {("Piccolo", "piccolo"), ("Alto Flute", "hired-alto")}


def test_a_flute_named_for_no_part_is_for_the_parts_of_its_kind_and_the_report_says_which_keep_their_own() -> None:
    result = pipeline.look(SCORE, Options(flutes=("alto",))).result
    assert {(one.demand.place.part, one.flute) for one in result.decisions} == {
        ("Piccolo", "piccolo"),
        ("Alto Flute", "alto"),
    }
    assert 'Parts read: Piccolo (on piccolo; another: --flute "Piccolo=NAME"), Alto Flute' in " ".join(
        text.render(result).split()
    )


def test_where_no_part_is_of_the_kind_of_the_flute_named_all_are_read_on_it() -> None:
    result = pipeline.look(SCORE, Options(flutes=("open-hole-b",))).result
    assert {one.flute for one in result.decisions} == {"open-hole-b"} and "(on" not in text.render(result)


def test_a_flute_for_a_part_that_is_not_there_lists_the_parts() -> None:
    with pytest.raises(InputError, match=r"no part 'Alto'.*1 'Piccolo'; 2 'Alto Flute'"):
        pipeline.look(SCORE, Options(part_flutes=(("Alto", "alto"),)))


def test_flutes_are_compared_with_the_first_of_their_own_part_only() -> None:
    two = (("2", "alto"), ("2", str(FOLDER / "hired-alto.toml")))
    report = text.render(pipeline.look(SCORE, Options(part_flutes=two)).result)
    assert "hired-alto lacks: D5 & C♯6 (Alto Flute, bar 2: doubtful)" in report
    assert "piccolo lacks" not in report and "to piccolo" not in report and "alto adds nothing to alto" in report
    assert "! unplayable on piccolo, alto." in report


def test_a_flute_named_twice_is_asked_once_and_two_of_one_name_are_refused(tmp_path: Path) -> None:
    assert [one.name for one in desks_for(["alto", "alto", "bass"])] == ["alto", "bass"]
    mine = tmp_path / "mine.toml"
    mine.write_text(
        (FOLDER / "hired-alto.toml").read_text(encoding="utf-8").replace("hired-alto", "alto"), encoding="utf-8"
    )
    with pytest.raises(
        InputError, match=r"mine.toml': another flute here is named 'alto' too; expected a name of its own"
    ):
        desks_for(["alto", str(mine)])


@pytest.mark.parametrize("name", ["piccolo", "alto", "bass", "alto-slide"])
def test_wherever_a_number_of_a_scaled_flute_is_shown_it_says_so(name: str) -> None:
    asked = desk(name)
    answers: list[Any] = [
        questions.find(asked, ("C5", "C6"), 30.0, 3),
        questions.sounds(asked, "T 2 3 | Eb"),
        questions.glide(asked, "C5", "B4", 30.0),
        *questions.shifts([asked], "small 4"),
    ]
    for answer in answers:
        assert f"{name} is {LESS_CERTAIN}." in " ".join(answers_text.render([answer]).split())
        assert json.loads(answers_json.render([answer]))["remarks"] == {name: LESS_CERTAIN}
    for told in (instruments.description(name), instruments.moved_scale(name, 10.0)):
        assert f"It is {LESS_CERTAIN}." in " ".join(told.split())
        assert max(map(len, told.splitlines())) <= 80


def test_a_report_says_of_which_flutes_the_figures_are_less_certain(duet: Result) -> None:
    told = {str(one.place): one for one in duet.findings if one.code == "P7"}
    assert set(told) == {"Piccolo", "Alto Flute"}
    assert LESS_CERTAIN in in_words(told["Alto Flute"].message) and "±21 cents" in in_words(told["Alto Flute"].message)
    bands = [band for one in duet.decisions if one.flute == "alto" for band in one.band_cents]
    assert bands and min(bands) >= 20.0


def test_nothing_of_the_kind_is_said_of_the_flute_in_c() -> None:
    answer = questions.find(desk("open-hole-b"), ("C5", "D6"), 30.0, 3)
    assert "less certain" not in answers_text.render([answer]) and "remarks" not in answers_json.render([answer])


def test_find_on_a_transposing_flute_tells_how_the_part_writes_the_pitches() -> None:
    answer = questions.find(desk("alto"), ("G4", "A5"), 30.0, 1)
    assert "G4 & A5 (sounding; written C5 & D6)" in " ".join(answers_text.render([answer]).split())
