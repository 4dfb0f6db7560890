"""From demands to decisions, on scores written out here (invented)."""

from pathlib import Path

import pytest
from in_words import in_words
from lxml import etree

from annotate.drawing.path_picture import path_svg
from annotate.pipeline import Options, look
from fingering_db.instrument import load
from fingering_db.model import model
from fingering_db.pitch import Pitch
from fingering_db.ranking import find

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>
</attributes><direction><direction-type><words>{words}</words></direction-type><sound tempo="60"/></direction>{notes}</measure>
</part></score-partwise>"""


def note(step, octave, alter=0, chord=False, notations="", duration=4, accidental=""):
    return (
        f"<note>{'<chord/>' * chord}<pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>"
        f"<duration>{duration}</duration><voice>1</voice>"
        f"{f'<accidental>{accidental}</accidental>' * bool(accidental)}"
        f"{f'<notations>{notations}</notations>' * bool(notations)}</note>"
    )


def slide(kind, number=1):
    return f'<slide type="{kind}" number="{number}"/>'


@pytest.fixture
def judged(tmp_path):
    def judge(words, notes, **options):
        path = tmp_path / "score.musicxml"
        path.write_text(HEAD.format(words=words, notes=notes), encoding="utf-8")
        result = look(Path(path), Options(**options)).result
        return result.decisions, result.findings

    return judge


def test_the_composers_own_fingering_is_judged_first(judged):
    chord = note("C", 5) + note("D", 6, chord=True)
    technical = "<technical><fingering>T 2 3 | Eb</fingering></technical>"
    (decision,), findings = judged("mult.", chord.replace("</voice>", f"</voice><notations>{technical}</notations>", 1))
    assert str(decision.fingering) == "T 2 3 | Eb"
    assert "written fingering" in in_words(decision.why) or decision.status != "unplayable"
    assert not [one for one in findings if one.code == "P2"]


def test_a_written_fingering_that_sounds_something_else_is_told_and_another_searched(judged):
    chord = note("C", 5) + note("D", 6, chord=True)
    technical = "<technical><fingering>T 1 2 3 | 1 2 3 C</fingering></technical>"
    (decision,), findings = judged("mult.", chord.replace("</voice>", f"</voice><notations>{technical}</notations>", 1))
    (finding,) = [one for one in findings if one.code == "P2"]
    assert "G5" in in_words(finding.message)
    assert decision.status == "playable"
    assert str(decision.fingering) != "T 1 2 3 | 1 2 3 C"


def test_a_multiphonic_written_as_one_note_gets_a_partner_that_is_no_harmonic(judged):
    (decision,), _ = judged("mult.", note("C", 5))
    assert decision.demand.open_pitches
    assert decision.status == "playable"
    assert "left open" in in_words(decision.why)


def test_far_from_every_multiphonic_a_plain_note_is_offered_and_called_that(judged):
    (decision,), _ = judged("mult.", note("C", 4) + note("C", 4, 1, chord=True))
    assert decision.status == "unplayable"
    (plain,) = decision.instead
    assert [str(pitch) for pitch in plain.pitches] == ["C4"] and str(plain.fingering) == "T 1 2 3 | 1 2 3 C"
    assert "no multiphonic" in in_words(plain.why)


def test_what_is_offered_instead_is_playable_when_written(judged):
    (decision,), _ = judged("mult.", note("E", 5) + note("F", 5, chord=True))
    assert decision.status == "unplayable" and decision.instead
    for near in decision.instead:
        text = "".join(
            note(pitch.step, pitch.octave, pitch.alter, chord=number > 0) for number, pitch in enumerate(near.pitches)
        )
        (again,), _ = judged("mult.", text, chords="multiphonic")
        assert again.status == "playable"


def test_a_chord_of_seven_pitches_is_refused_with_its_number(judged):
    (decision,), _ = judged("mult.", "".join(note("C", n, chord=n > 1) for n in range(1, 8)))
    assert decision.status == "unplayable"
    assert "7 pitches" in in_words(decision.why)


def test_an_ordinary_note_below_the_flute_is_offered_an_octave_up(judged):
    (decision,), findings = judged("ord.", note("A", 3))
    assert (decision.status, decision.demand.kind) == ("unplayable", "note")
    assert str(decision.instead[0].pitches[0]) == "A4"
    assert [one.code for one in findings if one.severity == "error"] == ["P5"]


def test_a_note_just_above_the_chart_is_doubtful(judged):
    (decision,), _ = judged("ord.", note("D", 7))
    assert decision.status == "doubtful"


def test_a_small_glissando_goes_by_the_lip(judged):
    notes = note("A", 4, notations=slide("start")) + note("A", 4, 0.5, notations=slide("stop"))
    (decision,), _ = judged("port.", notes)
    assert decision.status == "playable"
    assert "lip" in in_words(decision.why)
    assert [point.lip_cents for point in decision.path] == [-25.0, 25.0]
    ((start,), (end,)) = (point.sounds for point in decision.path)
    assert end.pitch.midi - start.pitch.midi == pytest.approx(0.5)
    assert start.pitch.midi == pytest.approx(69.0, abs=0.3)


def test_a_foot_key_breaks_a_glissando_and_the_reason_says_so(judged):
    notes = note("B", 3, notations=slide("start")) + note("C", 4, notations=slide("stop"))
    (decision,), _ = judged("port.", notes)
    assert decision.status == "unplayable"
    assert "foot keys: from B to C" in in_words(decision.why)
    assert decision.instead[0].to


def test_a_glissando_whose_kind_is_not_told_is_doubtful_where_only_a_run_serves(judged):
    notes = note("C", 4, notations=slide("start")) + note("C", 6, 1, notations=slide("stop"))
    (decision,), _ = judged("", notes)
    assert decision.status == "doubtful"
    assert "run of semitones" in in_words(decision.why)


def test_a_chromatic_glissando_is_another_thing(judged):
    notes = note("D", 5, notations=slide("start")) + note("A", 5, notations=slide("stop"))
    (decision,), _ = judged("chrom. gliss.", notes)
    assert decision.status == "playable"
    assert decision.path == ()


def test_a_sized_bend_is_judged_as_a_glissando(judged):
    bend = "<technical><bend><bend-alter>-0.5</bend-alter></bend></technical>"
    (decision,), _ = judged("ord.", note("E", 5, notations=bend))
    assert decision.demand.kind == "glissando"
    assert str(decision.demand.to[0]) == "D#5+50"


def test_a_multiphonic_slides_on_the_telescoping_flute_and_the_reason_names_the_fingering_that_does_not(judged):
    first = note("C", 5, notations=slide("start")) + note("D", 6, chord=True, notations=slide("start", 2))
    last = note("B", 4, notations=slide("stop")) + note("C", 6, 1, chord=True, notations=slide("stop", 2))
    (decision,), _ = judged("mult.", first + last, flutes=("open-hole-b-slide",))
    assert decision.status == "playable"
    assert decision.path[-1].slide_mm > decision.path[0].slide_mm
    assert "T 2 3 |" in in_words(decision.why) and "does not reach" in in_words(decision.why)
    picture = etree.fromstring(path_svg(decision).encode())
    lines = picture.findall("{http://www.w3.org/2000/svg}polyline")
    assert len(lines) == 3  # two pitches and the slide


def test_a_decision_without_a_path_has_no_picture(judged):
    (decision,), _ = judged("mult.", note("C", 5) + note("D", 6, chord=True))
    with pytest.raises(ValueError, match="path"):
        path_svg(decision)


def test_a_sound_with_no_note_around_it_is_held_as_is_best_by_itself(judged):
    (decision,), _ = judged("", note("A", 5, 0.5, accidental="quarter-sharp"))
    assert "passage" not in in_words(decision.why)
    assert str(decision.fingering) == "T 1 2o | Eb"  # the rim of A5's last key


def test_a_microtone_says_whether_its_fingering_is_steadier_than_the_lip(judged):
    (decision,), _ = judged("ord.", note("D", 5, 0.5, accidental="quarter-sharp"))
    assert decision.status == "playable"
    assert "Steadier" in in_words(decision.why) and "(the lip bends" in in_words(decision.why)


def test_pictures_hold_the_paths_of_glissandi(tmp_path):
    from annotate import pipeline

    example = Path(__file__).parent.parent.parent / "examples/glides/slack-tide.musicxml"
    looked = look(example, Options(flutes=("open-hole-b",)))
    pipeline.annotate(looked, tmp_path / "o.musicxml", in_place=False, picture_folder=tmp_path / "pictures")
    paths = sorted(path.name for path in (tmp_path / "pictures").glob("*-path.svg"))
    with_path = [one for one in looked.result.decisions if len(one.path) > 1]
    assert len(paths) == len(with_path) >= 3
    for name in paths:
        etree.parse(tmp_path / "pictures" / name)


def test_a_doubtful_multiphonic_is_offered_playable_ones_like_it(judged):
    # Its best fingering is some 20 cents off: more than 12, less than twice as much.
    (decision,), _ = judged("mult.", note("E", 5) + note("C", 6, 1, chord=True), tolerance_cents=12.0)
    assert decision.status == "doubtful"
    assert decision.instead
    assert all(len(one.pitches) == 2 and one.fingering for one in decision.instead)
    assert any("keeps" in in_words(one.why) for one in decision.instead)


def test_what_is_asked_again_elsewhere_is_answered_as_by_itself(judged):
    chord, quarter = note("C", 5) + note("E", 6, chord=True), note("C", 5, 0.5)
    (alone,), _ = judged("mult.", chord)
    (beside,), _ = judged("ord.", quarter)
    again, _ = judged("mult.", chord + note("D", 5) + chord + quarter + note("D", 5) + quarter)
    assert [str(one.demand.place.beat) for one in again] == ["1", "9", "13", "21"]
    for one, by_itself in zip(again, (alone, alone, beside, beside), strict=True):
        assert (one.status, one.sounds, one.instead) == (by_itself.status, by_itself.sounds, by_itself.instead)


def test_a_glissando_that_comes_again_faster_is_judged_at_its_own_speed(judged):
    slow, fast = (
        note("C", 5, notations=slide("start"), duration=d) + note("B", 4, notations=slide("stop"), duration=d)
        for d in (4, 1)
    )
    rest = "<note><rest/><duration>16</duration><voice>1</voice></note>"
    told = [
        [in_words(one.why) for one in judged("", notes, flutes=("open-hole-b-slide",))[0]]
        for notes in (slow, fast, slow + rest + fast)
    ]
    assert told[2] == told[0] + told[1]
    assert told[0] != told[1]


def test_a_chord_heard_as_one_note_has_the_fingerings_that_a_search_within_the_tolerance_puts_first(judged):
    chord = note("E", 5) + note("B", 5, chord=True)
    (decision,), _ = judged("mult.", chord + "".join(note(*one) for one in (("D", 5), ("E", 5), ("F", 5, 1))))
    asked = tuple(Pitch.parse(name) for name in ("E5", "B5"))
    best = find(model(load("open-hole-b")), asked, 30.0).best
    assert decision.fingering == best[0].fingering
    beyond = [max(map(abs, one.deviation_cents)) > 30.0 for one in decision.alternatives]
    assert beyond[:3] == [False] * 3
    assert beyond == sorted(beyond)
