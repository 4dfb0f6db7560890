"""When a diagram is drawn, drawn again, or told to be too close to the next one; what stands in its rows (invented scores)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from in_words import in_words

from annotate.drawing.diagram import columns
from annotate.files.writing import COLUMN, ROWS
from annotate.marking import EVERY, FIRST, Marked, Style
from annotate.pipeline import Looked, Options, look, marks_of
from fingering_db.fingering import Fingering

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>
<part id="P1">{}</part></score-partwise>"""
START = """<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes><direction>
<direction-type><words>mult. sempre</words></direction-type></direction>"""
REST = "<note><rest/><duration>8</duration><voice>1</voice></note>"


def mult(duration: int, fingering: str = "T 2 3 | Eb") -> str:
    """C5 and D6, fingered by the composer."""
    own = f"<notations><technical><fingering>{fingering}</fingering></technical></notations>"
    rest = f"<duration>{duration}</duration><voice>1</voice>"
    upper = f"<note><chord/><pitch><step>D</step><octave>6</octave></pitch>{rest}</note>"
    return f"<note><pitch><step>C</step><octave>5</octave></pitch>{rest}{own}</note>{upper}"


def looked(folder: Path, *bars: str) -> Looked:
    told = [f'<measure number="{n}">{START * (n == 1)}{bar}</measure>' for n, bar in enumerate(bars, start=1)]
    path = folder / "s.musicxml"
    path.write_text(HEAD.format("".join(told)), encoding="utf-8")
    return look(path, Options())


def marked(folder: Path, style: Style, *bars: str) -> Marked:
    (found,) = marks_of(looked(folder, *bars), style)
    return found


@pytest.mark.parametrize(("duration", "close"), [(1, True), (2, True), (4, False)])
def test_diagrams_too_close_for_the_narrowest_program_are_told_with_the_option_that_helps(
    duration: int, close: bool, tmp_path: Path
) -> None:
    bar = mult(duration) * (8 // duration)
    codes = [one.code for one in marked(tmp_path, Style(EVERY), bar).findings]
    assert ("F202" in codes) == close
    assert "F202" not in [one.code for one in marked(tmp_path, Style(FIRST), bar).findings]


def test_where_rows_find_no_room_the_column_is_proposed(tmp_path: Path) -> None:
    bar = mult(2) + mult(2, "T 2 3 |") + mult(4)
    for carrier, advice in ((COLUMN, "every"), (ROWS, "column")):
        (told,) = [one for one in marked(tmp_path, Style(carrier=carrier), bar).findings if one.code == "F202"]
        assert advice in in_words(told.advice)


def test_a_diagram_is_drawn_again_when_it_stands_more_than_a_bar_back(tmp_path: Path) -> None:
    found = marked(tmp_path, Style(), mult(8), mult(8), REST, mult(8))
    assert [one.here for one in found.drawn] == [True, False, True]


def test_a_chord_struck_again_at_once_has_its_mark_of_doubt_once_in_a_bar(tmp_path: Path) -> None:
    """F5 and F6 are heard as one note, D4 and B4 have no fingering; each in four quarters, then in the next bar."""
    for names, sign in (("F5F6", "?"), ("D4B4", "!")):
        bar = dyad(names).replace("<duration>8<", "<duration>2<")
        found = marked(tmp_path, Style(), bar * 4, bar * 2 + mult(2) + bar)
        doubts = [any(row.endswith(sign) for row in mark.rows) for mark in found.marks]
        assert doubts.count(True) == 3, (names, [mark.rows for mark in found.marks])


def test_the_technique_is_said_again_after_a_rest_of_ten_seconds(tmp_path: Path) -> None:
    """At 120 quarters a minute a bar lasts two seconds; the first chord stands under the score's own word."""
    for rests, again in ((3, False), (6, True)):
        found = marked(tmp_path, Style(), mult(8), *([REST] * rests), mult(8))
        assert any("mult." in row for row in found.marks[-1].rows) == again


def test_a_glissando_whose_line_bears_the_word_gets_the_doubt_alone(tmp_path: Path) -> None:
    pitch = "<pitch><step>{}</step><octave>4</octave></pitch>"
    note = f"<note>{pitch}<duration>4</duration><voice>1</voice><notations>{{}}</notations></note>"
    for word, row in (("gliss.", "?"), ("", "gliss. ?")):
        line = note.format("A", f'<glissando type="start" number="1">{word}</glissando>')
        found = marked(tmp_path, Style(), REST, line + note.format("G", '<glissando type="stop" number="1"/>'))
        assert found.marks[0].rows[0] == row


def test_a_list_under_the_last_bar_is_narrow_and_its_numbers_carry_the_doubt(tmp_path: Path) -> None:
    found = marked(tmp_path, Style(FIRST), mult(4) + mult(4, "T 1 2 3 | 1o 2 3 C#"), mult(4, "1 2 | tr1 tr2") * 2)
    below = [row for mark in found.marks for row in mark.below]
    assert below and max(map(len, below)) <= 22
    assert {row for mark in found.marks for row in mark.rows} <= {
        f"[{n}]{sign}" for n in (1, 2, 3) for sign in ("", "?", "!")
    }


NINE = ["C5D6", "B4C#6", "D5E6", "C5B5", "A4B5", "G4A5", "A#4C6", "G#4A#5", "C5C#6"]


def dyad(names: str) -> str:
    """A bar of two notes, without a fingering."""
    found = re.findall(r"([A-G])(#?)(\d)", names)
    pitches = (
        f"<pitch><step>{step}</step>{'<alter>1</alter>' * bool(sharp)}<octave>{octave}</octave></pitch>"
        for step, sharp, octave in found
    )
    low, high = (f"{pitch}<duration>8</duration><voice>1</voice></note>" for pitch in pitches)
    return f"<note>{low}<note><chord/>{high}"


@pytest.mark.parametrize(("count", "last", "bar"), [(8, 2, 7), (8, 1, 0), (9, 2, 0)])
def test_more_than_eight_listed_fingerings_or_a_last_bar_of_one_note_put_the_list_under_the_first_bar(
    count: int, last: int, bar: int, tmp_path: Path
) -> None:
    bars = [dyad(names) for names in NINE[:count]]
    bars[-1] = bars[-1].replace("<duration>8<", f"<duration>{8 // last}<") * last
    found = marked(tmp_path, Style(FIRST), *bars)
    numbers = {row.strip("[]?!") for mark in found.marks for row in mark.rows if row.startswith("[")}
    (at,) = (number for number, mark in enumerate(found.marks) if any("[1] " in row for row in mark.below))
    assert len(numbers) == count and at == bar


@pytest.mark.parametrize(
    ("fingering", "rows"),
    [
        ("T 2 3 | Eb", "T○ ○○ ●○ ●●"),
        ("1 2 | tr1 tr2 C", "○○ ●○ ●○ ○C t1 t2"),
        ("Tb 1 2 G# | Bb C#", "♭○ ●○ ●○ ○C♯ G♯ B♭"),
    ],
)
def test_a_column_for_each_hand_has_four_rows_and_other_keys_follow(fingering: str, rows: str) -> None:
    assert columns(Fingering.parse(fingering)) == tuple(rows.split())
