from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from report_samples import GLIDE_PATH, demand, place, playable, unplayable

import annotate
from annotate import wording
from annotate.language import words
from fingering_db.fingering import Fingering

PACKAGE = Path(annotate.__file__).parent
BREAKS_AN_IMPORTER = set('\\{$#"%')
CHORD = demand(1, place("1"), "C5 D6")


def test_a_playable_multiphonic_gets_one_short_word():
    assert wording.technique_notes(playable(CHORD)) == ("mult.",)


def test_doubt_and_impossibility_are_marked():
    assert wording.technique_notes(playable(CHORD, status="doubtful")) == ("mult. ?",)
    assert wording.technique_notes(unplayable(CHORD)) == ("mult. !",)


def test_cents_reach_the_stand_only_beyond_fifteen():
    assert wording.technique_notes(playable(CHORD, deviation_cents=(15.4, -15.0))) == ("mult.",)
    assert wording.technique_notes(playable(CHORD, deviation_cents=(-6.0, 22.3))) == ("mult.", "D6 +22 ct")
    both = playable(CHORD, deviation_cents=(-18.0, 22.3))
    assert wording.technique_notes(both) == ("mult.", "C5 -18, D6 +22 ct")


def test_a_microtone_says_which_part_of_a_tone_it_is_only_if_it_is_one():
    quarter = demand(1, place("1"), "Bb4+50", kind="microtone")
    sixth = demand(1, place("1"), "Bb4+33", kind="microtone")
    other = demand(1, place("1"), "Bb4+42", kind="microtone")
    assert wording.technique_notes(playable(quarter, deviation_cents=(-17.0,))) == ("1/4 tone", "-17 ct")
    assert wording.technique_notes(playable(sixth, deviation_cents=(1.0,))) == ("1/6 tone",)
    assert wording.technique_notes(playable(other, deviation_cents=(1.0,))) == ("microtone",)


def test_in_brief_a_technique_and_its_mark_stand_in_one_row_and_a_microtone_is_told_by_its_accidental():
    far = playable(CHORD, status="doubtful", deviation_cents=(-18.0, 22.3))
    assert wording.technique_notes(far, brief=True) == ("mult. ?",)
    quarter = demand(1, place("1"), "Bb4+50", kind="microtone")
    assert wording.technique_notes(playable(quarter), brief=True) == ()
    assert wording.technique_notes(playable(quarter, status="doubtful"), brief=True) == ("?",)


def test_a_glissando_says_by_what_it_glides():
    glide = demand(1, place("1"), "C5", kind="glissando", to="B4", continuous=True)
    plain = playable(glide, deviation_cents=())
    slide = replace(plain, path=GLIDE_PATH)
    holes = replace(plain, path=tuple(replace(point, slide_mm=0.0) for point in GLIDE_PATH))
    lip = replace(plain, path=tuple(replace(point, slide_mm=0.0, open=()) for point in GLIDE_PATH))
    found = [wording.technique_notes(one) for one in (plain, slide, holes, lip)]
    assert found == [
        ("gliss.",),
        ("gliss.", "slide 0 > 23 mm", "key 2 > hole open", "lip > down"),
        ("gliss.", "key 2 > hole open", "lip > down"),
        ("gliss.", "key 2 > hole open", "lip > down"),
    ]
    run = playable(replace(glide, continuous=False), deviation_cents=())
    assert wording.technique_notes(run) == ("chrom. gliss.",)


def test_an_ordinary_note_is_silent_when_it_plays():
    note = demand(1, place("1"), "C3", kind="note")
    assert wording.technique_notes(playable(note, deviation_cents=(0.0,))) == ()
    assert wording.technique_notes(unplayable(note)) == ("!",)


def test_notes_carry_proper_accidentals_and_nothing_that_breaks_an_importer():
    odd = demand(1, place("1"), "C#5+50 Bb5")
    decision = playable(odd, deviation_cents=(20.0, -20.0))
    told = wording.technique_notes(decision)
    assert told == ("mult.", "C♯5(+50) +20, B♭5 -20 ct")
    assert not BREAKS_AN_IMPORTER & set("".join(told))


def test_the_legend_explains_only_the_signs_in_use():
    assert wording.legend([Fingering.parse("T 2 3 | Eb")]) == ("● down", "○ up", "upper row: left hand")
    with_hole = wording.legend([Fingering.parse("T 2o 3 | Eb")])
    assert with_hole == ("● down", "○ up", "◎ down, hole open", "upper row: left hand")
    assert "vent" in "".join(wording.legend([Fingering.parse("1v | 1")]))
    assert wording.legend([]) == ()


def test_the_plain_legend_explains_the_plain_signs():
    assert "  ".join(wording.legend([Fingering.parse("T 2 3 G# | 1o")], plain=True)) == (
        "@ down  - up  o down, hole open  upper row: left hand"
    )


def test_cautions_end_on_the_physician_and_tell_that_the_flute_is_a_model():
    text = " ".join(words().lines("cautions.lines"))
    assert "try every fingering on your own instrument before it goes to print" in text
    for topic in ("take breaks", "light-headed", "hurts is wrong", "hearing", "physician"):
        assert topic in text
