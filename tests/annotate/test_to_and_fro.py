"""Tremolos and trills between two fingerings, and two fingerings of one sound: decided as one, judged by the hands."""

from pathlib import Path

import pytest
from in_words import in_words
from test_choosing import HEAD, note

from annotate.choosing.hands import wanted_a_second
from annotate.demand import Kind
from annotate.pipeline import Options, annotate, look, strip_file
from fingering_db.fingering import Fingering
from fingering_db.motion import MOST_CHANGES, changes_per_second


def tremolo(role, strokes=3):
    return f'<ornaments><tremolo type="{role}">{strokes}</tremolo></ornaments>'


TRILL = "<ornaments><trill-mark/></ornaments>"


def written(fingering):
    return f"<technical><fingering>{fingering}</fingering></technical>"


def chord(low, high, notations):
    return note(*low, notations=notations, duration=2) + note(*high, chord=True, duration=2)


TWO = chord(("C", 5), ("D", 6), tremolo("start")) + chord(("B", 4), ("C", 6, 1), tremolo("stop"))


@pytest.fixture
def looked(tmp_path):
    def look_at(words, notes, **options):
        path = tmp_path / "score.musicxml"
        path.write_text(HEAD.format(words=words, notes=notes), encoding="utf-8")
        return look(Path(path), Options(**options))

    return look_at


def test_a_tremolo_of_two_multiphonics_has_a_fingering_for_each_and_says_how_far_the_hand_goes(looked):
    (decision,) = looked("mult.", TWO).result.decisions
    assert decision.status == "playable"
    assert [len(point.fingering.held) > 0 for point in decision.path] == [True, True]
    assert decision.path[0].fingering != decision.path[1].fingering
    assert len(decision.deviation_cents) == 4
    assert max(map(abs, decision.deviation_cents)) <= 30.0
    assert "1 finger moves between" in in_words(decision.why)


def test_fingerings_of_a_tremolo_are_chosen_for_the_move_between_them(looked):
    """Each sound by itself has a better fingering than the pair that is near in the hand."""
    (together,) = looked("mult.", TWO).result.decisions
    alone = chord(("C", 5), ("D", 6), "") + chord(("B", 4), ("C", 6, 1), "")
    apart = looked("mult.", alone).result.decisions
    moved = [changes_per_second(*pair) for pair in (
        [point.fingering for point in together.path], [one.fingering for one in apart])]  # fmt: skip
    assert moved[0] >= moved[1]


def test_a_tremolo_past_the_foots_roller_is_too_slow_and_told(looked):
    notes = chord(("C", 5), ("D", 6), tremolo("start") + written("T 2 3 | C#"))
    notes += chord(("C", 5), ("D", 6), tremolo("stop") + written("T 2 3 | B"))
    result = looked("mult.", notes).result
    (decision,) = result.decisions
    assert [str(point.fingering) for point in decision.path] == ["T 2 3 | C#", "T 2 3 | B"]
    assert decision.status == "doubtful"
    (finding,) = [one for one in result.findings if one.code == "H3"]
    assert "only about 4 changes a second" in in_words(finding.message)


def test_a_chord_that_nothing_sounds_makes_the_tremolo_unplayable_and_is_the_one_named(looked):
    notes = chord(("C", 5), ("D", 6), tremolo("start")) + chord(("C", 4), ("C", 4, 1), tremolo("stop"))
    result = looked("mult.", notes).result
    (decision,) = result.decisions
    assert decision.status == "unplayable"
    assert in_words(decision.why).startswith("C4 & C#4: ")
    assert [one.code for one in result.findings if one.severity == "error"] == ["P1"]


def test_strokes_ask_for_eighths_or_sixteenths_at_a_slow_tempo_and_else_for_a_tremolo(looked):
    asked = {}
    for strokes in (1, 2, 3):
        first, second = tremolo("start", strokes), tremolo("stop", strokes)
        notes = chord(("C", 5), ("D", 6), first) + chord(("B", 4), ("C", 6, 1), second)
        (decision,) = looked("mult.", notes).result.decisions
        asked[strokes] = wanted_a_second(decision.demand.strokes, decision.demand.events[0])
    assert asked == {1: 2.0, 2: 4.0, 3: 8.0}  # at 60 quarters a minute


def test_a_timbral_trill_keeps_the_standard_fingering_and_finds_another_of_the_same_pitch(looked):
    (decision,) = looked("bisb.", note("E", 6)).result.decisions
    standard, other = (str(point.fingering) for point in decision.path)
    assert (decision.demand.kind, decision.status, standard) == (Kind.TIMBRAL_TRILL, "playable", "T 1 2 | 1 2 Eb")
    assert other != standard


def test_a_sound_with_one_fingering_alone_has_no_timbral_trill(looked):
    result = looked("bisb.", note("B", 3)).result
    (decision,) = result.decisions
    assert decision.status == "unplayable"
    assert [one.code for one in result.findings if one.severity == "error"] == ["P9"]


def test_a_trill_with_a_fingering_leads_to_what_the_fingering_sounds(looked):
    (decision,) = looked("", note("C", 6, notations=TRILL + written("T 1 | Eb"))).result.decisions
    assert (decision.demand.kind, [str(pitch) for pitch in decision.demand.to]) == (Kind.TREMOLO, ["B5"])
    assert [str(point.fingering) for point in decision.path][1] == "T 1 | Eb"


def test_the_score_says_both_fingerings_or_which_fingers_go_to_and_fro(looked, tmp_path):
    for words, notes, expected in (("mult.", TWO, ""), ("bisb.", note("B", 5), "tr. 3 |")):
        score = looked(words, notes)
        out = tmp_path / "out.musicxml"
        result = annotate(score, out, in_place=False)
        text = out.read_text("utf-8")
        assert result.marked == (2 if notes is TWO else 1)
        assert expected in text
        assert ("these fingers go to and fro" in text) == bool(expected)
        bare = tmp_path / "bare.musicxml"
        strip_file(out, bare, in_place=False)
        assert bare.read_bytes() == score.file.data


def test_no_pair_of_fingerings_changes_faster_than_one_finger_and_none_without_a_move():
    one = changes_per_second(Fingering.parse("T 1 | Eb"), Fingering.parse("T 1 3 | Eb"))
    many = changes_per_second(Fingering.parse("T 1 2 3 | 1 2 3 C"), Fingering.parse("| tr1 tr2"))
    roller = changes_per_second(Fingering.parse("T 2 3 | C#"), Fingering.parse("T 2 3 | B"))
    assert MOST_CHANGES == one == 12.0 >= many > roller
    assert roller == pytest.approx(0.5 / 0.116)  # 16 ms and 100 past a roller, in half the time of a change


def test_a_timbral_trill_moves_a_finger_or_two_to_another_colour_of_nearly_the_same_pitch(looked):
    """Of D5 and D6 the answers best by themselves are three and four fingers away; on the fingering of D4, and with the first
    finger down, the harmonic is an old second colour (common practice)."""
    for pitch, second in ((("D", 5), "T 1 2 3 | 1 2 3"), (("D", 6), "T 1 2 3 | Eb"), (("F", 4), "T 1 2 3 | 1 3 Eb")):
        (decision,) = looked("bisb.", note(*pitch)).result.decisions
        assert (str(decision.path[1].fingering), decision.status) == (second, "playable")
        assert abs(decision.deviation_cents[0] - decision.deviation_cents[1]) <= 30.0
        assert "1 finger moves" in in_words(decision.why) and "overtones differ" in in_words(decision.why)


def test_a_timbral_trill_that_only_an_idle_key_makes_is_doubtful_and_says_so(looked):
    """G4 has no neighbour near its pitch: of the right hand any of three fingers shuts the hole that sounds it."""
    (decision,) = looked("bisb.", note("G", 4)).result.decisions
    assert decision.status == "doubtful"
    assert "hardly another colour" in in_words(decision.why)


def test_a_trill_that_the_little_finger_must_slide_is_told_and_one_beside_it_is_not(looked):
    """C sharp to D sharp on the foot: no trill on any usual flute (common practice, no source); D to E is plain."""
    for low, told in ((("C", 4, 1), ["H3"]), (("D", 4), [])):
        trill = note(*low, notations="<ornaments><trill-mark/><accidental-mark>sharp</accidental-mark></ornaments>")
        assert [one.code for one in looked("", trill).result.findings if one.code == "H3"] == told


def test_a_tremolo_of_ordinary_notes_between_low_b_and_c_sharp_is_told(looked):
    notes = note("B", 3, notations=tremolo("start"), duration=2) + note(
        "C", 4, 1, notations=tremolo("stop"), duration=2
    )
    (finding,) = [one for one in looked("", notes).result.findings if one.code == "H3"]
    assert "only about 4 changes a second" in in_words(finding.message)


def test_a_decisions_file_may_fix_both_fingerings_of_a_timbral_trill(looked, tmp_path):
    place = 'place."Flute, bar 1, beat 1: C#5"'
    decided = f'{place}.fix = "| Eb"\n{place}.fix_to = "| 1 Eb"\n'
    (tmp_path / "score.decisions.toml").write_text(decided, encoding="utf-8")
    result = looked("bisb.", note("C", 5, 1)).result
    (decision,) = result.decisions
    assert [str(point.fingering) for point in decision.path] == ["| Eb", "| 1 Eb"]
    assert not [one.code for one in result.findings if one.code.startswith("R3")]
