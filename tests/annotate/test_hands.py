"""Fingerings chosen together, and what the way of the hand asks (invented scores)."""

from __future__ import annotations

import pytest
from in_words import in_words

from annotate.drawing.diagram import plain_rows, rows
from annotate.drawing.picture import drawing, size, svg
from annotate.marking import Style
from annotate.pipeline import Options, annotate, look
from fingering_db.fingering import Fingering

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>8</divisions></attributes><direction><direction-type>
<words>tempo</words></direction-type><sound tempo="{tempo}"/></direction>{notes}</measure></part></score-partwise>"""


def chord(*names, duration=8, fingering=""):
    """`C5`, `D#6`, `Cq5` a quarter-tone up; a fingering is the composer's own."""
    found = []
    for number, name in enumerate(names):
        alter = "<alter>1</alter>" * ("#" in name) + "<alter>0.5</alter>" * ("q" in name)
        written = f"<notations><technical><fingering>{fingering}</fingering></technical></notations>"
        found.append(
            f"<note>{'<chord/>' * bool(number)}<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
            f"<duration>{duration}</duration><voice>1</voice>{written * bool(fingering and not number)}</note>"
        )
    return "".join(found)


REST = "<note><rest/><duration>{}</duration><voice>1</voice></note>"


@pytest.fixture
def looked(tmp_path):
    def look_at(notes, tempo=60, flute="vented-b"):
        path = tmp_path / "score.musicxml"
        path.write_text(HEAD.format(notes=notes, tempo=tempo), encoding="utf-8")
        return look(path, Options(flutes=(flute,), chords="multiphonic"))

    return look_at


def of_code(result, code):
    return [finding for finding in result.findings if finding.code == code]


def vent_move():
    """The composer asks for the thumb vent, from the same fingering without it."""
    return chord("C5", "D6", fingering="T 2 3 |") + chord("Cq5", "D6", fingering="Tv 2 3 |")


def test_the_thumb_vent_is_told_marked_and_noted(looked, tmp_path):
    seen = looked(vent_move())
    first, second = seen.result.decisions
    assert str(second.fingering) == "Tv 2 3 |", in_words(second.why)
    (finding,) = of_code(seen.result, "H1")
    assert finding.severity == "warning"
    assert "the thumb goes down on its vent lever" in in_words(finding.message)
    assert "C5 up by about" in in_words(finding.message)
    assert (first.contrary, second.contrary) == (None, Fingering.parse("Tv |"))
    assert "contrary: Tv |" in second.notes
    style = Style("every", "rows", "full")
    annotate(seen, tmp_path / "out.musicxml", in_place=False, style=style)
    written = (tmp_path / "out.musicxml").read_text(encoding="utf-8")
    assert "○●● Tv ~" in written and "contrary: Tv |" in written
    assert "~ contrary" in written


def test_from_an_ordinary_note_only_levers_are_told(looked):
    plain = chord("D4") + chord("C5", "D6", fingering="T 2 3 | Eb")
    assert of_code(looked(plain).result, "H1") == []
    vent = chord("D4") + chord("Cq5", "D6", fingering="Tv 2 3 |")
    assert len(of_code(looked(vent).result, "H1")) == 1


def test_after_a_long_rest_the_hand_starts_afresh(looked):
    rest = REST.format(8 * 11)
    one, two = chord("C5", "D6", fingering="T 2 3 |"), chord("Cq5", "D6", fingering="Tv 2 3 |")
    assert of_code(looked(one + rest + two).result, "H1") == []


def test_keys_that_every_flute_has_are_not_told_between_multiphonics(looked):
    for text in ("T 2 3 G# |", "T 2 3 | Eb", "T 2 3 | tr1", "T 2 3 | 1 2 3"):
        notes = chord("C5", "D6", fingering="T 2 3 |") + chord("C5", "D6", fingering=text)
        assert of_code(looked(notes, flute="open-hole-b").result, "H1") == [], text


def test_a_numbered_diagram_carries_no_mark_of_one_way_to_it(looked, tmp_path):
    style = Style("first", "rows", "full")
    annotate(looked(vent_move()), tmp_path / "out.musicxml", in_place=False, style=style)
    written = (tmp_path / "out.musicxml").read_text(encoding="utf-8")
    assert "contrary: Tv |" in written and "Tv ○●● |" in written
    assert "~" not in written


@pytest.mark.parametrize("carrier", ["column", "ascii"])
def test_where_no_diagram_has_room_for_the_mark_the_legend_explains_the_note_alone(looked, tmp_path, carrier):
    annotate(looked(vent_move()), tmp_path / "out.musicxml", in_place=False, style=Style("every", carrier, "full"))
    written = (tmp_path / "out.musicxml").read_text(encoding="utf-8")
    assert "contrary: Tv |" in written and "contrary: finger down, sound up" in written
    assert "~" not in written


def test_too_little_time_for_many_fingers_is_told(looked):
    notes = chord("C5", duration=1) + chord("E5", "C#6", duration=1, fingering="T 1 2 3 | 1o 2 3 C#")
    assert len(of_code(looked(notes, tempo=240).result, "H2")) == 1
    assert of_code(looked(notes, tempo=30).result, "H2") == []


def test_a_grace_note_has_no_length_to_be_too_short(looked):
    grace = chord("C5").replace("<pitch>", "<grace/><pitch>").replace("<duration>8</duration>", "")
    notes = grace + chord("E5", "C#6", duration=1, fingering="T 1 2 3 | 1o 2 3 C#")
    assert of_code(looked(notes, tempo=240).result, "H2") == []


def test_a_passage_is_held_more_easily_than_its_demands_one_by_one(looked):
    alone = looked(chord("B4", "C#6")).result.decisions[0]
    # Coming from another fingering that answers as well, and going on to it, the fingers stay where they are.
    other = alone.alternatives[0].fingering
    around = chord("B4", "C#6", duration=1, fingering=str(other))
    (_, middle, _) = looked(around + chord("B4", "C#6", duration=1) + around, tempo=120).result.decisions
    assert middle.fingering == other != alone.fingering
    assert "Chosen for the hand" in in_words(middle.why)


def test_the_sign_stands_at_the_row_of_its_hand():
    held, right, both, left = map(Fingering.parse, ("T 2 3 | Eb", "| Eb", "T | Eb", "T |"))
    assert rows(held, right) == ("○●● T", "○○○ E♭ ~")
    assert rows(held, both) == ("○●● T ~", "○○○ E♭ ~")
    assert plain_rows(held, left) == ("-@@ T ~", "--- E♭")


def test_the_wave_of_a_picture_lies_inside_it_and_changes_nothing_else():
    vented, lever = Fingering.parse("Tv 2 3 | Eb"), Fingering.parse("Tv |")
    plain, marked = drawing(vented), drawing(vented, contrary=lever)
    assert size(marked)[0] > size(plain)[0]
    added = [line for line in svg(marked).splitlines() if line not in svg(plain).splitlines()]
    assert len(added) == 2  # the extent and the wave
