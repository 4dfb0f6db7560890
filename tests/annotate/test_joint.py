"""Where the telescoping head joint is from note to note (an invented study on the flute with one)."""

from __future__ import annotations

import json
import math

import pytest
from in_words import in_words

from annotate.pipeline import Options, annotate, look, marks_of
from annotate.report import json_report
from fingering_db.pitch import Pitch
from fingering_db.ranking import sounds

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>
<part id="P1">{}</part></score-partwise>"""
TEMPO = '<direction><direction-type><words>x</words></direction-type><sound tempo="120"/></direction>'
NEAR_MM, MM_A_SECOND, BEGIN_S = 1.5, 150.0, 0.1


def note(name, quarters=1, slide=""):
    alter = "<alter>1</alter>" * ("#" in name)
    mark = f'<notations><slide type="{slide}" number="1" line-type="solid"/></notations>' if slide else ""
    return (
        f"<note><pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
        f"<duration>{quarters * 4}</duration><voice>1</voice>{mark}</note>"
    )


def glide(one, two):
    return note(one, 2, "start") + note(two, 1, "stop")


def rest(quarters):
    return f"<note><rest/><duration>{int(quarters * 4)}</duration><voice>1</voice></note>"


def study(bars):
    head = f"<attributes><divisions>4</divisions></attributes>{TEMPO}"
    return HEAD.format(
        "".join(f'<measure number="{n}">{head * (n == 1)}{bar}</measure>' for n, bar in enumerate(bars, 1))
    )


@pytest.fixture(scope="module")
def thirty(tmp_path_factory):
    """Thirty bars of five kinds: back by a rest, on from where it is, no time, an ordinary note after it, and up again."""
    down, on, up = glide("C5", "B4"), glide("B4", "A#4"), glide("B4", "C5")
    kinds = [down + rest(1), down + rest(0.25) + on, down + down, down + note("G4"), down + up]
    path = tmp_path_factory.mktemp("study") / "thirty.musicxml"
    path.write_text(study([kinds[n % len(kinds)] + rest(2 * (n % 3 != 2)) for n in range(30)]), encoding="utf-8")
    return look(path, Options(flutes=("open-hole-b-slide",)))


def test_no_impossible_return_of_the_joint_is_left_unreported(thirty):
    """Reckoned afresh from what is planned: where each hold leaves the joint, where the next begins, and the silence between."""
    (plan,) = thirty.plans
    holds = plan.line.holds
    impossible, told_places = (
        [],
        {(finding.place.bar, finding.place.beat) for finding in thirty.result.findings if finding.code == "G2"},
    )
    for number in range(1, len(holds)):
        before, after = plan.option(number - 1), plan.option(number)
        away = abs(before.ends_mm - after.begins_mm)
        silence = holds[number].first.seconds - holds[number - 1].last.seconds_end
        if away > NEAR_MM and BEGIN_S + away / MM_A_SECOND > silence + 1e-6:
            event = holds[number].first
            impossible.append((event.bar, event.beat))
    assert impossible, "the study must hold some"
    assert set(impossible) == told_places


def test_what_is_written_begins_where_the_plan_says(thirty):
    (plan,) = thirty.plans
    of = {one.demand.id: one for one in thirty.result.first_flute()}
    for number, hold in enumerate(plan.line.holds):
        if hold.decision is not None and of[hold.decision.demand.id].path:
            told, taken = of[hold.decision.demand.id].path, plan.option(number)
            assert (told[0].slide_mm, told[-1].slide_mm) == pytest.approx((taken.begins_mm, taken.ends_mm))


def test_a_glissando_goes_on_from_where_the_last_one_ended(thirty):
    (plan,) = thirty.plans
    bar = [n for n, hold in enumerate(plan.line.holds) if hold.first.bar == "2"]
    first, second = (plan.option(n) for n in bar)
    assert first.ends_mm > 10.0 and second.begins_mm == pytest.approx(first.ends_mm, abs=NEAR_MM)
    assert second.ends_mm > second.begins_mm


def test_a_rest_is_offered_to_a_glissando_that_is_cut_short_by_where_the_joint_was_left(tmp_path):
    path = tmp_path / "short.musicxml"
    path.write_text(study([glide("D5", "C5"), glide("G4", "F#4"), rest(4), glide("G4", "F#4")]), encoding="utf-8")
    _, short, free = look(path, Options(flutes=("open-hole-b-slide",))).result.first_flute()
    assert (short.status, free.status) == ("doubtful", "playable") and not free.instead
    offered = short.instead[0]
    assert offered.why.key == "joint.after_a_rest" and (offered.pitches, offered.to) == (
        free.demand.pitches,
        free.demand.to,
    )
    assert dict(offered.why.values)["mm"] == pytest.approx(free.path[0].slide_mm)


def test_the_joint_stays_between_its_end_stops_on_the_players_own_scale(thirty):
    slide = next(iter(thirty.desks.values())).model.instrument.slide
    for one in json.loads(json_report.render(thirty.result))["demands"]:
        for point in one["path"]:
            assert -slide.slide_rest_mm <= point["slide_mm"] <= slide.travel_mm - slide.slide_rest_mm


def test_the_way_back_is_told_where_there_is_time_for_it(thirty):
    codes = [finding.code for finding in thirty.result.findings]
    assert "G4" in codes and "G2" in codes


def test_the_first_glissando_begins_where_the_joint_is_if_another_fingering_is_as_good_there(tmp_path):
    path = tmp_path / "first.musicxml"
    path.write_text(study([note("A4", 4), glide("D5", "C5")]), encoding="utf-8")
    result = look(path, Options(flutes=("open-hole-b-slide",))).result
    (one,) = result.first_flute()
    assert one.path[0].slide_mm == 0.0 and "G2" not in {finding.code for finding in result.findings}


def words(text):
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """D5 and A5 with the joint out, as written, after C7, which no fingering gives there, then in again without a rest."""
    path = tmp_path_factory.mktemp("written") / "out.musicxml"
    out = words("head joint 30 mm out") + note("C7", 2) + note("D5", 2) + note("A5", 2)
    path.write_text(study([note("A4", 4), out, words("head joint in") + note("D5", 4)]), encoding="utf-8")
    return look(path, Options(flutes=("open-hole-b-slide",)))


def test_ordinary_notes_under_a_written_setting_are_held_so_that_they_sound_there(written):
    told = {(one.code, one.place.bar) for one in written.result.findings}
    assert {("G3", "2"), ("G2", "3")} <= told and ("G3", "3") not in told
    (desk,) = written.desks.values()
    own = [one for one in written.result.unusual_notes() if one.place.bar == "2"]
    for note_, asked in zip(own, (Pitch.parse("D5"), Pitch.parse("A5")), strict=True):
        heard = [one.hz for one in sounds(desk.model, note_.fingering, slide_mm=30.0)]
        assert min(abs(1200.0 * math.log2(hz / asked.hz())) for hz in heard) < 60.0


def test_a_note_that_no_fingering_gives_with_the_joint_as_written_is_unplayable_and_says_why(written):
    (one,) = written.result.first_flute()
    assert (one.status, one.demand.kind, str(one.demand.pitches[0])) == ("unplayable", "note", "C7")
    assert "With the head joint 30 mm out, as written. No fingering brings" in in_words(one.why)


def test_a_fingering_that_is_not_the_usual_one_is_drawn_unasked(written, tmp_path):
    annotate(written, tmp_path / "out.musicxml", in_place=False)
    assert len(marks_of(written)[0].drawn) == 2
    assert (tmp_path / "out.musicxml").read_bytes().count(b"?ventwise begin") >= 2
