"""Limits, time and seconds: what is too large is refused in one line, and what is large is read quickly."""

import time
from fractions import Fraction

import pytest

from annotate.findings import InputError
from annotate.reading import read, tree
from annotate.reading.read import read_score
from annotate.reading.time import FREE, Meter, TempoMark, Timeline, bar_lengths

HEAD = '<score-partwise><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration></note>"


def score(bar: str, before: str = "") -> bytes:
    body = f'<part id="P1"><measure number="3"><attributes><divisions>1</divisions></attributes>{bar}</measure></part>'
    return (before + HEAD + body + "</score-partwise>").encode()


@pytest.mark.parametrize(
    "inside",
    [
        "<lyric>" * 120 + "</lyric>" * 120,
        "<notations>" * 120 + "</notations>" * 120,
        "<nobody-knows>" * 120 + "</nobody-knows>" * 120,
    ],
)
def test_deep_nesting_is_refused_whether_kept_or_left_out(inside: str) -> None:
    with pytest.raises(InputError, match="nested deeper than 100"):
        read_score(score(NOTE.replace("</note>", inside + "</note>")))


def test_nesting_within_the_limit_is_read() -> None:
    inside = "<nobody-knows>" * 80 + "</nobody-knows>" * 80
    assert len(read_score(score(NOTE.replace("</note>", inside + "</note>"))).parts[0].events) == 1


def test_a_chord_of_more_than_500_notes_is_refused() -> None:
    chord = NOTE + NOTE.replace("<pitch>", "<chord/><pitch>") * 499
    assert len(read_score(score(chord)).parts[0].events[0].notes) == 500
    with pytest.raises(InputError, match="Flute, bar 3: a chord of more than 500 notes"):
        read_score(score(chord + NOTE.replace("<pitch>", "<chord/><pitch>")))


@pytest.mark.parametrize("wanted", [None, []])
def test_too_many_notes_are_refused_in_any_part(monkeypatch: pytest.MonkeyPatch, wanted: list[str] | None) -> None:
    monkeypatch.setattr(tree, "MAX_NOTES", 50)
    read_score(score(NOTE * 50), wanted)
    with pytest.raises(InputError, match="more than 50 notes"):
        read_score(score(NOTE * 51), wanted)


def test_too_many_elements_in_one_bar_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tree, "MAX_ELEMENTS_IN_BAR", 100)
    with pytest.raises(InputError, match="more than 100 elements and attributes in one bar"):
        read_score(score(NOTE * 40))


def test_a_file_too_large_is_refused_before_anything_else(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(read, "MAX_BYTES", 2**20)
    with pytest.raises(InputError, match="at most 1 MB can be read"):
        read_score(score("<!-- " + "x" * 2**20 + " -->"))


def test_small_entities_used_very_often_are_refused() -> None:
    doctype = f"<!DOCTYPE score-partwise [<!ENTITY a '{'x' * 9_000}'>]>"
    words = "<direction><direction-type><words>&a;</words></direction-type></direction>"
    assert len(read_score(score(words * 5, doctype)).parts[0].directions) == 5
    with pytest.raises(InputError, match=r"DOCTYPE of the score declares grows|amplification"):
        read_score(score(words * 400, doctype))


def test_entities_in_text_that_is_left_out_are_counted_too() -> None:
    doctype = f"<!DOCTYPE score-partwise [<!ENTITY a '{'x' * 90_000}'>]>"
    with pytest.raises(InputError, match=r"DOCTYPE of the score declares grows|amplification"):
        read_score(score("<print>&a;</print>" * 40, doctype), [])


def test_durations_without_a_common_grid_are_refused() -> None:
    notes = "".join(
        f"<attributes><divisions>{prime}</divisions></attributes>{NOTE}" for prime in (999983, 999979, 999961, 999959)
    )
    with pytest.raises(InputError, match="Flute, bar 3: durations and divisions that fit into no common grid"):
        read_score(score(notes))


def large(parts: int, bars: int) -> bytes:
    """An invented score of eighth notes, `parts` * `bars` * 8 of them, laid out as programs do."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', "<score-partwise>", "<part-list>"]
    lines += [f'<score-part id="P{n}"><part-name>Flute {n}</part-name></score-part>' for n in range(parts)]
    lines.append("</part-list>")
    note = (
        "   <note default-x='1'>\n    <pitch>\n     <step>{}</step>\n     <octave>5</octave>\n    </pitch>\n"
        "    <duration>1</duration>\n    <voice>1</voice>\n    <type>eighth</type>\n    <stem>up</stem>\n"
        '    <beam number="1">begin</beam>\n   </note>'
    )
    bar = "\n".join(note.format(step) for step in "CDEFGABC")
    for n in range(parts):
        lines.append(f' <part id="P{n}">')
        for index in range(bars):
            lines.append(f'  <measure number="{index + 1}">')
            if index == 0:
                lines.append("   <attributes>\n    <divisions>2</divisions>\n   </attributes>")
            lines += [bar, "  </measure>"]
        lines.append(" </part>")
    lines.append("</score-partwise>")
    return "\n".join(lines).encode()


def test_30_parts_with_48000_notes_are_read_for_one_flute_in_well_under_two_seconds() -> None:
    data = large(30, 200)
    begun = time.process_time()
    read = read_score(data, ["P0"])
    spent = time.process_time() - begun
    assert len(read.parts[0].events) == 1600
    assert read.parts[0].events[-1].onset == Fraction(1600 - 1, 2)
    assert spent < 2.0  # 0.6 to 1.0 s on the machine it was written on; processor time, whatever else runs


def test_time_is_told_with_tempo_changing_anywhere() -> None:
    marks = [
        TempoMark(0, Fraction(0), True, 60.0),
        TempoMark(1, Fraction(2), True, 120.0),
        TempoMark(0, Fraction(0), False, 30.0),
        TempoMark(1, Fraction(2), False, 0.0, 0.5),
    ]
    line = Timeline([Fraction(4), Fraction(4)], marks)
    assert [line.seconds(Fraction(each)) for each in (0, 4, 6, 8)] == [0.0, 4.0, 6.0, 7.0]
    assert line.bar_at(Fraction(7, 2)) == 0
    assert [line.bar_at(Fraction(each)) for each in (4, 8, 100)] == [1, 1, 1]


def test_of_two_parts_that_disagree_the_earlier_one_tells_the_tempo() -> None:
    marks = [TempoMark(0, Fraction(0), True, 60.0), TempoMark(0, Fraction(0), True, 30.0)]
    assert Timeline([Fraction(4)], marks).seconds(Fraction(1)) == 1.0


def test_a_bar_lasts_as_long_as_a_part_that_fills_it_exactly() -> None:
    four = Meter(Fraction(4), Fraction(1))
    contents = [[Fraction(1), Fraction(3), Fraction(0)], [Fraction(4), Fraction(2)], [Fraction(5), Fraction(0)]]
    meters = [[four] * 3, [four] * 2, [four] * 2]
    assert bar_lengths(contents, meters) == [4, 3, 4]
    assert bar_lengths([[Fraction(9)]], [[FREE]]) == [9]
    assert bar_lengths([], []) == []
