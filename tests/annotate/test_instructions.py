"""What the composer writes on how a sound is to be made wins over the search."""

import pytest
from in_words import in_words
from test_choosing import HEAD, note, slide

from annotate.choosing import choose
from annotate.choosing.desks import desks_for
from annotate.choosing.slides import ways
from annotate.pipeline import Options, look
from annotate.report.content import confidence_word
from fingering_db import model, survey
from fingering_db.glide import KEY_LIFT
from fingering_db.pitch import Pitch

LIFT = note("A", 5, duration=2, notations=slide("start")) + note("A", 5, 0.5, duration=2, notations=slide("stop"))
FALL = note("A", 5, duration=2, notations=slide("start")) + note("G", 5, duration=2, notations=slide("stop"))
CHORD = note("C", 5) + note("D", 6, chord=True)


@pytest.fixture
def judged(tmp_path):
    def judge(words, notes, **options):
        path = tmp_path / "score.musicxml"
        path.write_text(HEAD.format(words=words, notes=notes), encoding="utf-8")
        return look(path, Options(**options)).result

    return judge


def test_a_finger_that_rolls_off_the_hole_is_taken_where_it_is_written_and_the_lip_where_nothing_is(judged):
    (by_finger,), (by_lip,) = (judged(words, LIFT).decisions for words in ("roll the finger off the hole", ""))
    assert any(share for point in by_finger.path for _, share in point.open)
    assert not any(point.lip_cents for point in by_finger.path)
    assert any(point.lip_cents for point in by_lip.path)


def test_a_means_that_does_not_lead_there_is_unplayable_and_no_other_is_put_in_its_place(judged):
    (decision,) = judged("roll off the hole", FALL, flutes=("open-hole-b-slide",)).decisions
    assert (decision.status, decision.path) == ("unplayable", ())
    assert "'roll off the hole' is written" in in_words(decision.why)
    assert "by other means: The slide goes from" in in_words(decision.instead[0].why)
    (with_slide,) = judged("with the slide", FALL, flutes=("open-hole-b-slide",)).decisions
    assert with_slide.path[0].slide_mm != with_slide.path[-1].slide_mm


def test_a_head_joint_half_out_is_asked_of_the_flute_drawn_out_by_half_its_travel(judged, monkeypatch):
    asked, kept = [], []
    for of in (model, survey):
        fetch = of.fetch
        monkeypatch.setattr(of, "fetch", lambda key, compute, fetch=fetch: kept.append(key) or fetch(key, compute))
    drawn = choose.drawn
    monkeypatch.setattr(choose, "drawn", lambda model, out_mm: asked.append(out_mm) or drawn(model, out_mm))
    (decision,) = judged("mult., with the slide half out", CHORD, flutes=("open-hole-b-slide",)).decisions
    assert asked[0] == pytest.approx(22.5)  # of 45 mm
    assert all(key.split()[1] == "0.0" for key in kept), "nothing is kept for a setting"
    assert in_words(decision.why).startswith("With the head joint 22 mm out, as written.")
    assert decision.flute == "open-hole-b-slide"


def test_a_glissando_under_a_written_setting_begins_there_however_it_is_made(judged):
    fall = note("C", 5, duration=2, notations=slide("start")) + note("B", 4, duration=2, notations=slide("stop"))
    for notes in (fall, note("B", 4, duration=2) + fall, fall + note("B", 4, duration=2) + fall):
        for decision in judged("slide half out", notes, flutes=("open-hole-b-slide",)).decisions:
            assert decision.path[0].slide_mm == pytest.approx(22.5, abs=1.5)
    (by_lip,) = judged("slide half out", LIFT, flutes=("open-hole-b-slide",)).decisions
    assert any(point.lip_cents for point in by_lip.path)
    assert by_lip.path[0].slide_mm == by_lip.path[-1].slide_mm == 22.5


def test_a_flute_without_a_telescoping_head_joint_and_one_too_short_cannot_do_what_is_written(judged):
    for flute, words in (("open-hole-b", "mult., slide half out"), ("open-hole-b-slide", "mult., slide 60 mm out")):
        (decision,) = judged(words, CHORD, flutes=(flute,)).decisions
        assert decision.status == "unplayable"


def test_a_fingering_written_at_a_microtone_is_judged_and_kept_if_it_sounds_it(judged):
    def microtone(fingering):
        technical = f"<technical><fingering>{fingering}</fingering></technical>"
        quarter = note("A", 5, 0.5, notations=technical, accidental="quarter-sharp")
        result = judged("", quarter)
        return result.decisions[0], [one.code for one in result.findings if one.code.startswith("P")]

    (best,) = judged("", note("A", 5, 0.5, accidental="quarter-sharp")).decisions
    other = str(best.alternatives[0].fingering)
    kept, codes = microtone(other)
    assert (str(kept.fingering), codes) == (other, [])
    replaced, codes = microtone("T 1 2 3 | 1 2 3 C")
    assert (replaced.fingering, codes) == (best.fingering, ["P2"])


def test_half_hole_at_a_glissando_is_an_instruction_and_no_longer_listed_as_not_judged(judged):
    result = judged("half-hole gliss.", LIFT)
    (decision,) = result.decisions
    assert decision.demand.instruction is not None
    assert decision.demand.instruction.means == "half-hole"
    assert any(share for point in decision.path for _, share in point.open)
    assert not result.not_judged
    assert judged("half-hole", note("A", 5)).not_judged


def test_a_step_of_a_key_is_called_that_and_no_equal_of_a_way_that_rolls(judged):
    down = note("A", 4, notations=slide("start")) + note("G", 4, notations=slide("stop"))
    (step,) = judged("", down).decisions
    assert "That is a step between two notes, no glissando." in in_words(step.why)
    assert any(one.fingering is None for one in step.instead)  # a run
    assert confidence_word(step) == "jumps"
    up = note("F", 5, 1, notations=slide("start")) + note("G", 5, notations=slide("stop"))
    (rolling,) = judged("", up).decisions
    desk, asked = desks_for(("open-hole-b",), 440.0)[0], ((Pitch.parse("F#5"),), (Pitch.parse("G5"),))
    lifted = {str(one.path[0].fingering) for one in ways(desk, *asked, 30.0) if one.means == KEY_LIFT}
    assert rolling.status == "playable"
    assert lifted
    assert not lifted & {str(one.fingering) for one in rolling.alternatives}


@pytest.mark.parametrize(("to", "status"), [(("B", 5), "doubtful"), (("B", 5, -1), "unplayable")])
def test_with_the_lip_alone_a_semitone_down_is_had_by_rolling_in_at_best_doubtfully_and_a_whole_tone_is_not(
    judged, to, status
):
    fall = note("C", 6, duration=2, notations=slide("start")) + note(*to, duration=2, notations=slide("stop"))
    (decision,) = judged("lip only", fall).decisions
    assert decision.status == status
    assert ("roll the flute in" in in_words(decision.why)) == (status == "doubtful")


def test_what_the_player_forbids_is_not_rolled_in_either(judged, tmp_path):
    fall = note("C", 6, duration=2, notations=slide("start")) + note("B", 5, duration=2, notations=slide("stop"))
    (free,) = judged("lip only", fall).decisions
    (tmp_path / "score.decisions.toml").write_text(f'piece.forbid = ["{free.fingering}"]', encoding="utf-8")
    (decision,) = judged("lip only", fall).decisions
    assert decision.fingering != free.fingering
    assert "roll the flute in" not in in_words(decision.why)
