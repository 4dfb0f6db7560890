"""A player who changes to another flute inside a part: by the file's instruments, or by words (invented scores)."""

import pytest

from annotate.pipeline import Options, look
from annotate.reading.flute_parts import change_told

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name>{instruments}</score-part>
</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes><sound tempo="60"/>{bars}
</measure></part></score-partwise>"""
TWO = (
    '<score-instrument id="I1"><instrument-name>{}</instrument-name>{}</score-instrument>'
    '<score-instrument id="I2"><instrument-name>{}</instrument-name>{}</score-instrument>'
)
UP_AN_OCTAVE = (
    "<attributes><transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>1</octave-change></transpose>"
    "</attributes>"
)
REST = "<note><rest/><duration>1</duration></note>"
# C4 is a note of the flute and lies below the piccolo.
C4 = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration>{}</note>"


def words(text):
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def by(instrument):
    return C4.format(f'<instrument id="{instrument}"/>')


@pytest.fixture
def looked(tmp_path):
    def look_at(bars, instruments="", **options):
        path = tmp_path / "score.musicxml"
        path.write_text(HEAD.format(bars=bars, instruments=instruments), encoding="utf-8")
        return look(path, Options(**options)).result

    return look_at


def judged(result):
    """Beats at which C4 lies outside the flute that plays it, and those flutes."""
    return [(float(one.demand.place.beat), one.flute) for one in result.decisions]


def codes(result, *among):
    return [finding.code for finding in result.findings if finding.code in among]


@pytest.mark.parametrize(
    ("text", "family", "announced"),
    [
        ("Piccolo", "piccolo", False),
        ("Picc.", "piccolo", False),
        ("muta in Ottavino", "piccolo", True),
        ("to Alto Flute", "alto", True),
        ("nimmt Altflöte", "alto", True),
        ("prendre la petite flûte", "piccolo", True),
        ("Flute", "flute", False),
        ("Flauto", "flute", False),
        ("2. Picc.", "", False),
        ("alto", "", False),
        ("piccolo e leggiero", "", False),
        ("to the bridge", "", False),
        ("Piccolo Trumpet", "", False),
        ("to", "", False),
        ("", "", False),
    ],
)
def test_words_that_are_the_name_of_a_flute_and_nothing_more_tell_a_change(text, family, announced):
    assert change_told(text) == (family, announced)


def test_a_name_above_the_staff_changes_the_flute_from_there(looked):
    result = looked(C4 + words("Piccolo") + C4 + words("Flute") + C4)
    assert judged(result) == [(2.0, "piccolo")]
    assert codes(result, "R112") == ["R112", "R112"]


def test_an_announced_change_comes_after_the_next_rest(looked):
    result = looked(words("to Piccolo") + C4 + C4 + REST + C4)
    assert judged(result) == [(4.0, "piccolo")]


def test_an_announced_change_without_a_rest_to_come_changes_nothing(looked):
    assert judged(looked(words("to Piccolo") + C4 + C4)) == []


def test_a_name_at_a_cue_names_another_player(looked):
    assert judged(looked(words("Piccolo") + C4.replace("<note>", "<note><cue/>") + C4)) == []


def test_the_files_instruments_change_the_flute_note_by_note(looked):
    two = TWO.format("Flute", "", "Piccolo", "<instrument-sound>wind.flutes.flute.piccolo</instrument-sound>")
    result = looked(by("I1") + by("I2") + by("I1"), two)
    assert judged(result) == [(2.0, "piccolo")]


def test_an_instrument_change_inside_sound_holds_for_the_notes_after_it(looked):
    two = TWO.format("Flute", "", "Piccolo", "")
    change = '<sound><instrument-change id="I2"><instrument-sound/></instrument-change></sound>'
    assert judged(looked(by("I1") + change + C4 + C4, two)) == [(2.0, "piccolo"), (3.0, "piccolo")]


def test_notes_of_another_instrument_are_not_judged(looked):
    two = TWO.format("Flute", "", "Triangle", "<instrument-sound>metal.triangle</instrument-sound>")
    low = "<note><pitch><step>C</step><octave>2</octave></pitch><duration>1</duration>{}</note>"
    result = looked(by("I1") + low.format('<instrument id="I2"/>') + low.format('<instrument id="I1"/>'), two)
    assert judged(result) == [(3.0, "open-hole-b")]


def test_names_that_tell_no_instrument_leave_the_part_as_it_is(looked):
    two = TWO.format("Player 1", "", "Player 2", "")
    assert judged(looked(by("I1") + by("I2"), two)) == []


def test_a_flute_named_by_the_user_is_used_throughout(looked):
    assert judged(looked(C4 + words("Piccolo") + C4, flutes=("open-hole-b",))) == []


def test_a_piccolo_that_the_file_does_not_transpose_is_told(looked):
    assert codes(looked(words("Piccolo") + C4), "R113") == ["R113"]
    assert codes(looked(words("Piccolo") + UP_AN_OCTAVE + C4), "R113") == []
    assert codes(looked(C4), "R113") == []
