"""What players decide in a file beside the score: read, honoured, told, and found again in the next draft (invented scores)."""

import json
from pathlib import Path

import pytest
from in_words import in_words

from annotate import ventwise as face
from annotate.choosing.desk import preferred
from annotate.decisions.address import FIX, Address, place_line
from annotate.decisions.kept import Ruling, Wish, load, read
from annotate.drawing import diagram
from annotate.drawing.diagram import read_diagram
from annotate.findings import InputError
from annotate.marking import Style
from annotate.pipeline import Options, annotate, look, strip_file
from annotate.pipeline import look as look_whole
from annotate.report import json_report, text
from fingering_db.fingering import Fingering
from fingering_db.ranking import Candidate

CASES = Path(__file__).parent.parent / "cases"
HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute, "first"</part-name></score-part></part-list>
<part id="P1">{}</part></score-partwise>"""
# A bar is a quarter of a second.
QUICK = '<direction><direction-type><words>x</words></direction-type><sound tempo="960"/></direction>'
REST = "<note><rest/><duration>4</duration><voice>1</voice></note>"


def chord(*names):
    notes = []
    for number, name in enumerate(names):
        alter = "<alter>1</alter>" * ("#" in name)
        notes.append(
            f"<note>{'<chord/>' * bool(number)}<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
            "<duration>4</duration><voice>1</voice></note>"
        )
    return "".join(notes)


def score_of(*bars):
    first = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    told = [f'<measure number="{n}">{first * (n == 1)}{bar}</measure>' for n, bar in enumerate(bars, start=1)]
    return HEAD.format("".join(told))


@pytest.fixture
def looked(tmp_path):
    path = tmp_path / "tide.musicxml"

    def look_at(bars, decisions=None, **options):
        path.write_text(score_of(*bars), encoding="utf-8")
        if decisions is not None:
            path.with_name("tide.decisions.toml").write_text(decisions, encoding="utf-8")
        return look(path, Options(flutes=("open-hole-b",), **{"chords": "multiphonic", **options})).result

    return look_at


A, B = chord("C5", "D6"), chord("B4", "C#6")


def codes(result):
    return [one.code for one in result.findings]


def alternative_line(decision):
    return place_line(decision.demand.address, FIX, decision.alternatives[0].fingering)


def test_an_address_is_read_as_it_is_written_whatever_the_part_is_called():
    for given in (
        "Flute, bar 12, beat 2: C5 D6 (2 of 3)",
        'Flute, "first", bar X1, beat 2.333: C5+50',
        "bar 3, beat 1: Bb4 C#6",
    ):
        assert str(Address.parse(given)) == given
    for wrong in ("Flute, bar 12: C5", "bar 1, beat 2: H5", "bar 1, beat 2: C5 (4 of 3)", "bar 1, beat 2: C5 (0 of 3)"):
        assert Address.parse(wrong) is None, wrong


def test_the_line_that_check_prints_is_taken_as_it_stands_and_chooses_that_fingering(looked):
    before = looked([A, B])
    other = before.decisions[0].alternatives[0].fingering
    after = looked([A, B], alternative_line(before.decisions[0]))
    assert after.decisions[0].fingering == other != before.decisions[0].fingering
    assert after.decisions[0].ruled and not after.decisions[1].ruled
    assert "Decided by the player. The fingering sounds every pitch" in in_words(after.decisions[0].why)
    assert "1 place set by hand in" in text.render(after)
    printed = text.render(before).splitlines()
    pasted = [line for line in printed if line.startswith("place.")]
    assert len(pasted) == 2
    assert looked([A, B], "\n".join(pasted)).decisions[1].ruled


def test_a_file_that_keeps_the_ending_of_the_score_in_its_name_is_not_read_and_that_is_told(looked, tmp_path):
    score = tmp_path / "piece.musicxml"
    score.write_text(score_of(A), encoding="utf-8")
    (tmp_path / "piece.musicxml.decisions.toml").write_text('piece.forbid = "T"\n', encoding="utf-8")
    result = look_whole(score, Options(flutes=("open-hole-b",), chords="multiphonic")).result
    (told,) = [one for one in result.findings if one.code == "R305"]
    assert "piece.musicxml.decisions.toml is not read" in in_words(told.message)
    assert "piece.decisions.toml" in in_words(told.message) and not result.decisions_file
    assert "paste its line into piece.decisions.toml" in " ".join(text.render(result, detail="full").split())


def test_decisions_round_trip_through_three_edits_of_the_score(looked):
    start = [A, REST, B, A, REST, A]
    first = looked(start)
    kept = alternative_line(first.decisions[2])  # the second of three C5 D6
    wanted = first.decisions[2].alternatives[0].fingering
    drafts = [
        ([REST, REST, *start], 6),  # two bars inserted before it
        ([REST, A, REST, chord("E5"), B, A, REST, A], 6),  # a bar cut, another inserted
        ([A, B, A, A, REST], 3),  # rests cut
    ]
    for bars, bar in drafts:
        result = looked(bars, kept)
        ruled = [one for one in result.decisions if one.ruled]
        assert [(one.demand.place.bar, one.fingering) for one in ruled] == [(str(bar), wanted)], bar
        assert "R303" in codes(result)


def test_where_one_more_of_the_same_came_before_it_the_place_that_moved_with_its_neighbours_is_taken(looked):
    first = looked([B, A, A])
    both = "\n".join(alternative_line(first.decisions[n]) for n in (0, 2))
    result = looked([A, B, A, A], both)
    assert [one.demand.place.bar for one in result.decisions if one.ruled] == ["2", "4"]


def test_a_place_whose_notes_were_rewritten_is_told_and_nothing_is_taken(looked):
    kept = alternative_line(looked([A]).decisions[0])
    result = looked([B], kept)
    assert codes(result).count("R302") == 1 and not result.decisions[0].ruled


def test_a_line_does_not_move_to_a_place_that_has_its_own_line(looked):
    own, lost = 'place."bar 1, beat 1: C5 D6".note = "here"', 'place."bar 99, beat 1: C5 D6".note = "nowhere"'
    for lines in ([own, lost], [lost, own]):
        result = looked([A], "\n".join(lines))
        assert codes(result).count("R302") == 1 and "R303" not in codes(result)
        assert result.decisions[0].own_note == "here"
    # Alone it is taken for the place that moved, and beside another free place it is told as doubtful.
    assert "R303" in codes(looked([A], lost))
    (told,) = [one for one in looked([A, REST, A], f"{own}\n{lost}").findings if one.code == "R303"]
    assert told.severity == "warning" and told.place.bar == "3"


def test_the_order_of_the_lines_of_a_file_does_not_decide_which_place_each_means(looked):
    gone = ((8, 1), (7, 2), (9, 3), (6, 4), (5, 5))
    lines = [f'place."bar {bar}, beat 1: C5 D6 ({number} of 9)".note = "{number}"' for bar, number in gone]
    there, back = (looked([A, REST, A, A, A], "\n".join(own)).decisions for own in (lines, lines[::-1]))
    assert [one.own_note for one in there] == [one.own_note for one in back] == ["1", "2", "3", "5"]


def test_two_lines_that_name_one_place_both_hold(looked):
    other = looked([A]).decisions[0].alternatives[0].fingering
    lines = (
        f'place."bar 1, beat 1: C5 D6".fix = "{other}"\nplace."Flute, \\"first\\", bar 1, beat 1: C5 D6".note = "soft"'
    )
    result = looked([A], lines)
    assert result.decisions[0].fingering == other and result.decisions[0].own_note == "soft"


def test_what_is_forbidden_is_not_taken_and_a_touch_is_forbidden_wherever_it_is_used(looked):
    best = looked([A]).decisions[0].fingering
    result = looked([A], f'pitch."C5 D6".forbid = ["{best}"]')
    assert result.decisions[0].fingering not in (best, None)
    thumbless = looked([A], 'piece.forbid = ["T"]').decisions[0]
    assert thumbless.fingering is None or thumbless.fingering.touches[0] != "T"


def test_a_touch_is_preferred_where_two_answers_are_equal_for_the_ear_and_not_where_nothing_has_it(looked):
    plain = looked([A]).decisions[0]
    liked = looked([A], 'piece.prefer = ["left 2o"]').decisions[0]
    assert "2o" in str(liked.fingering).partition("|")[0] and "2o" not in str(plain.fingering)
    assert liked.ruled and liked.status == plain.status and liked.confidence > plain.confidence - 0.1
    for wish in ("T 1 2 3 | 1 2 3 C", "vents"):
        same = looked([A], f'piece.prefer = ["{wish}"]').decisions[0]
        assert same.fingering == plain.fingering and not same.ruled


@pytest.mark.parametrize("reading", ["multiphonic", "players", "voice"])
def test_an_undecided_chord_is_read_as_decided(tmp_path, reading):
    score = CASES / "detecting" / "undecided_chords.musicxml"
    (undecided,) = look(score, Options()).result.undecided
    decisions = tmp_path / "own.toml"
    decisions.write_text(place_line(undecided.address, "read", reading), encoding="utf-8")
    result = look(score, Options(decisions=decisions)).result
    assert not result.undecided and len(result.decisions) == (reading == "multiphonic")


def test_a_fingering_decided_against_the_model_is_taken_and_what_it_sounds_is_told(looked):
    (decision,) = looked([A], 'pitch."C5 D6".fix = "T 1 2 3 | 1 2 3 C"').decisions
    assert str(decision.fingering) == "T 1 2 3 | 1 2 3 C" and decision.status == "doubtful"
    assert "by the model this fingering sounds" in in_words(decision.why)


def test_a_key_that_the_flute_lacks_is_told_and_another_fingering_taken(looked):
    result = looked([A], 'pitch."C5 D6".fix = "T 2 3 | gz"')
    assert "R304" in codes(result) and result.decisions[0].fingering and not result.decisions[0].ruled


def test_keys_and_places_that_mean_nothing_are_findings(looked):
    decisions = """
places."bar 1, beat 1: C5 D6".fix = "T 2 3 |"
piece.forbit = []
place."somewhere".note = "here"
place."bar 1, beat 1: E5 D6".note = "gone"
pitch."H4".note = "no pitch"
pitch."E4".note = "not there"
flute."Oboe" = "alto"
weight.moved = 1.0
weight.moving = nan
"""
    result = looked([A], decisions)
    assert codes(result).count("R301") == 4 and codes(result).count("R302") == 5
    assert any("Perhaps place is meant" in in_words(one.advice) for one in result.findings if one.code == "R301")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ('piece.fix = "T 2 2 |"', "same finger"),
        ("piece.fix = 3", "piece.fix"),
        ('piece.read = "sung"', "piece.read"),
        ('piece.forbid = ["2o"]', "left 2o"),
        ('piece.prefer = ["everything"]', "vents"),
        ("piece.fix = ", "TOML"),
        ('piece.fix = "T |"\npiece.fix = "T |"', "overwrite"),
        ("weight.moving = 'much'", "weight"),
        ("[" * 90, "brackets"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_one_line_that_says_where(tmp_path, wrong, said):
    with pytest.raises(InputError) as error:
        read(wrong, tmp_path / "x.decisions.toml")
    assert "\n" not in str(error.value) and said in str(error.value) and "x.decisions.toml" in str(error.value)


def test_a_missing_or_odd_file_is_refused(tmp_path):
    with pytest.raises(InputError):
        load(tmp_path / "none.toml")
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError):
        load(tmp_path / "odd.toml")


def test_own_notes_are_told_at_their_place_and_the_file_stays_as_it_is(looked, tmp_path):
    decisions = 'pitch."C5 D6".note = "softer, with more air below"\n'
    result = looked([A], decisions)
    assert "softer, with more air below" in text.render(result)
    assert json.loads(json_report.render(result))["demands"][0]["own_note"] == "softer, with more air below"
    assert (tmp_path / "tide.decisions.toml").read_text(encoding="utf-8") == decisions


def test_a_flute_for_a_part_is_taken_from_the_decisions(tmp_path):
    path = tmp_path / "low.musicxml"
    path.write_text(score_of(A), encoding="utf-8")
    path.with_name("low.decisions.toml").write_text('flute."P1" = "open-hole-c"', encoding="utf-8")
    assert look(path, Options(chords="multiphonic")).result.flutes == ("open-hole-c",)
    named = Options(chords="multiphonic", part_flutes=(("1", "open-hole-b"),))
    assert look(path, named).result.flutes == ("open-hole-b",)


def test_mark_all_writes_the_planned_fingering_at_every_note_and_strip_takes_all_of_it_out(tmp_path):
    path, out, back = (tmp_path / name for name in ("in.musicxml", "out.musicxml", "back.musicxml"))
    path.write_text(
        score_of(QUICK + chord("B4"), chord("A#4"), chord("B4"), chord("F5"), chord("A#5")), encoding="utf-8"
    )
    looked = look_whole(path, Options())
    annotate(looked, out, in_place=False, style=Style("every", mark="all"))
    assert out.read_text(encoding="utf-8").count("<words") >= 5
    strip_file(out, back, in_place=False)
    assert back.read_bytes() == path.read_bytes()
    plan = json.loads(json_report.render(looked.result))["plan"]
    assert [one["fingering"] for one in plan] == ["T 1 | Eb", "T 1 | Bb Eb", "T 1 | Eb", "T 1 2 3 | 1 Eb", "T 1 | 1 Eb"]
    assert "The plan" not in text.render(looked.result, detail="brief")
    assert "work for the hands, in pressed keys" in text.render(looked.result)


def test_a_decision_about_an_ordinary_note_is_planned(tmp_path):
    path = tmp_path / "tide.musicxml"
    path.write_text(score_of(QUICK + chord("B4"), chord("A#4"), chord("B4")), encoding="utf-8")
    for line, fingering in (
        ('pitch."A#4".fix = "T 1 | 1 Eb"', "T 1 | 1 Eb"),
        ('place."bar 2, beat 1: A#4".forbid = "Bb"', "T 1 | 1 Eb"),
        ('piece.prefer = "right 1"', "T 1 | 1 Eb"),
    ):
        path.with_name("tide.decisions.toml").write_text(line, encoding="utf-8")
        assert str(look_whole(path, Options()).result.plan[1].fingering) == fingering, line


def fingered(name, fingering):
    return chord(name).replace(
        "</note>", f"<notations><technical><fingering>{fingering}</fingering></technical></notations></note>"
    )


def test_a_fingering_written_at_an_ordinary_note_is_kept_in_the_plan_and_makes_no_multiphonic(tmp_path):
    path = tmp_path / "fingered.musicxml"
    bars = QUICK + chord("B4"), fingered("A#4", "T 1 | 1 Eb"), chord("B4"), fingered("F#4", "T 1 2 3 | 2")
    path.write_text(score_of(*bars), encoding="utf-8")
    result = look_whole(path, Options()).result
    assert not result.decisions
    assert [str(one.fingering) for one in result.plan] == ["T 1 | Eb", "T 1 | 1 Eb", "T 1 | Eb", "T 1 2 3 | 2"]


def test_a_fingering_at_a_single_note_that_does_not_sound_it_is_reported_with_what_it_does_sound(tmp_path):
    path = tmp_path / "fingered.musicxml"
    path.write_text(score_of(fingered("F5", "T | Eb")), encoding="utf-8")
    result = look_whole(path, Options()).result
    (finding,) = (one for one in result.findings if one.code == "P2")
    assert "sounds" in in_words(finding.message)


def test_our_own_rows_saved_by_another_program_are_read_back(tmp_path):
    """Every way of drawing, as plain words without our signature, for fingerings of every kind of touch."""
    texts = [
        "T 2 3 | Eb",
        "T 1 | 1 Eb",
        "Tb 1 | Eb",
        "T 1 | Bb Eb",
        "1 2 3 G# | 1",
        "T 2o 3 | 3 Eb",
        "T | 1 tr1",
        "| C#",
    ]
    for told in texts:
        fingering = Fingering.parse(told)
        for drawn in (
            diagram.rows(fingering),
            diagram.plain_rows(fingering),
            diagram.columns(fingering),
            diagram.columns(fingering, plain=True),
            (diagram.line(fingering),),
        ):
            assert read_diagram("\n".join(drawn)) == fingering, (told, drawn)
    for other in ("p", "A\nB", "12", "○●\n●○", "mult.\nC5"):
        assert read_diagram(other) is None


@pytest.mark.parametrize(
    ("confidence", "cents", "taken"), [(0.85, 8.0, "Tv 2 3 | Eb"), (0.7, 8.0, "T 2 3 | Eb"), (0.9, 29.0, "T 2 3 | Eb")]
)
def test_vents_are_taken_where_they_are_as_good_for_the_ear_and_else_not(confidence, cents, taken):
    def candidate(told, confidence, cents):
        return Candidate(Fingering.parse(told), (cents,), (5.0,), confidence, float("nan"), False, 40.0, 3.0, tuple)

    both = candidate("T 2 3 | Eb", 0.9, 2.0), candidate("Tv 2 3 | Eb", confidence, cents)
    assert str(preferred(both, None, Ruling(prefer=(Wish.parse("vents"),)), 30.0)[0].fingering) == taken
    assert str(preferred(both, None, Ruling(), 30.0)[0].fingering) == "T 2 3 | Eb"


def test_plugged_holes_change_the_plan(tmp_path):
    """A quarter-tone that the open holes give, on a flute whose keys have none."""
    path = tmp_path / "quarter.musicxml"
    raised = chord("F4").replace("<octave>", "<alter>0.5</alter><octave>")
    path.write_text(score_of(QUICK + chord("G4"), raised, chord("F4")), encoding="utf-8")
    plans = [
        [str(one.fingering) for one in look_whole(path, Options(flutes=(flute,))).result.plan]
        for flute in ("open-hole-c", "closed-hole-c")
    ]
    assert len(plans[0]) == len(plans[1]) == 3
    assert "o" in plans[0][1] and plans[0] != plans[1] and "o" not in " ".join(plans[1])


@pytest.mark.parametrize(
    ("fingering", "code"), [("T 1 | gz", "R304"), ("T 1 2 3 | 1 2 3 C", "P2"), ("T 1 | Bb Eb", "")]
)
def test_a_decision_about_an_ordinary_note_that_cannot_be_or_does_not_sound_it_is_told(tmp_path, fingering, code):
    path = tmp_path / "tide.musicxml"
    path.write_text(score_of(QUICK + chord("B4"), chord("A#4"), chord("B4")), encoding="utf-8")
    path.with_name("tide.decisions.toml").write_text(f'pitch."A#4".fix = "{fingering}"', encoding="utf-8")
    told = [one.code for one in look_whole(path, Options()).result.findings]
    assert told == ([code] if code else [])


def test_decisions_are_taken_from_python_too(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('pitch."A#4".fix = "T 1 | 1 Eb"', encoding="utf-8")
    score = score_of(QUICK + chord("B4"), chord("A#4"), chord("B4")).encode()
    fingerings = [str(face.check(score, decisions=each).plan[1].fingering) for each in (None, own)]
    assert fingerings == ["T 1 | Bb Eb", "T 1 | 1 Eb"]
