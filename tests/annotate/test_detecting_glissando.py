"""Pairing glissando lines, and what becomes of them. Marks are invented."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from annotate.detecting.detect import detect
from annotate.detecting.glissando import pair_lines
from annotate.score import Direction, Event, Note, Part, SlideMark
from fingering_db.pitch import Pitch


def mark(role: str, kind: str = "slide", number: int = 1, text: str = "") -> SlideMark:
    return SlideMark(kind, role, number, text)


def event(onset: int, *notes: tuple[str, tuple[SlideMark, ...]], voice: str = "1", tie: str = "") -> Event:
    made = []
    for index, (text, marks) in enumerate(notes):
        pitch = Pitch.parse(text)
        start = 1000 * onset + 100 * int(voice) + index
        made.append(Note(start, start + 1, pitch, pitch, "start" in tie, "stop" in tie, marks))
    when = Fraction(onset)
    return Event(
        tuple(made), str(onset + 1), onset, Fraction(1), when, Fraction(1), float(onset), onset + 1.0, voice, 1
    )


def part(*events: Event, name: str = "Flute", said: tuple[Direction, ...] = ()) -> Part:
    return Part("P1", 1, name, "", events=events, directions=said)


def words(text: str, onset: int) -> Direction:
    return Direction(text, Fraction(onset), str(onset + 1), onset, Fraction(1), 1, "1", onset, 0)


START, STOP = mark("start"), mark("stop")


def routes(*events: Event) -> list[tuple[str, str]]:
    return [(str(a.note.written), str(b.note.written)) for a, b in pair_lines(events).lines]


def test_a_start_goes_to_the_nearest_later_stop_of_its_kind_voice_and_number() -> None:
    found = pair_lines(
        [
            event(0, ("C5", (mark("start", "slide"),))),
            event(0, ("G5", (mark("start", "slide"),)), voice="2"),
            event(1, ("D5", (mark("stop", "glissando"),))),
            event(2, ("A5", (mark("stop", "slide"),)), voice="2"),
            event(3, ("E5", (mark("stop", "slide"),))),
        ]
    )
    assert [(str(a.note.written), str(b.note.written)) for a, b in found.lines] == [("G5", "A5"), ("C5", "E5")]
    assert [(end.mark.kind, end.mark.role) for end in found.orphans] == [("glissando", "stop")]


def test_unnumbered_lines_on_both_notes_of_a_chord_do_not_cross() -> None:
    upside_down = event(0, ("D6", (START,)), ("C5", (START,)))
    assert routes(upside_down, event(1, ("B4", (STOP,)), ("E6", (STOP,)))) == [("C5", "B4"), ("D6", "E6")]


def test_numbered_lines_may_cross() -> None:
    first = event(0, ("C5", (mark("start", number=1),)), ("D6", (mark("start", number=2),)))
    last = event(1, ("B4", (mark("stop", number=2),)), ("E6", (mark("stop", number=1),)))
    assert set(routes(first, last)) == {("C5", "E6"), ("D6", "B4")}


def test_a_stop_on_the_note_where_the_next_line_starts_ends_the_earlier_one() -> None:
    chain = [event(0, ("C5", (START,))), event(1, ("D5", (START, STOP))), event(2, ("E5", (STOP,)))]
    assert routes(*chain) == [("C5", "D5"), ("D5", "E5")]


def test_a_start_that_is_repeated_before_a_stop_is_an_orphan() -> None:
    found = pair_lines([event(0, ("C5", (START,))), event(1, ("D5", (START,))), event(2, ("E5", (STOP,)))])
    assert [str(a.note.written) for a, _ in found.lines] == ["D5"]
    assert [str(end.note.written) for end in found.orphans] == ["C5"]


marks = st.lists(
    st.builds(mark, st.sampled_from(["start", "stop"]), st.sampled_from(["slide", "glissando"]), st.integers(1, 2)),
    max_size=3,
).map(tuple)
chords = st.lists(st.tuples(st.sampled_from(["C5", "D5", "E6"]), marks), min_size=1, max_size=2)


@given(st.lists(st.tuples(chords, st.sampled_from(["1", "2"])), max_size=8))
def test_every_mark_is_an_end_of_one_line_or_an_orphan(
    music: list[tuple[list[tuple[str, tuple[SlideMark, ...]]], str]],
) -> None:
    events = [event(onset, *notes, voice=voice) for onset, (notes, voice) in enumerate(music)]
    found = pair_lines(events)
    ends = [end for line in found.lines for end in line] + list(found.orphans)
    assert len(ends) == sum(len(note.slides) for each in events for note in each.notes)
    for start, stop in found.lines:
        assert (start.mark.role, stop.mark.role) == ("start", "stop")
        assert start.key == stop.key
        assert start.event.onset < stop.event.onset


def test_two_lines_between_two_chords_of_one_player_are_one_demand_and_no_multiphonic() -> None:
    music = part(event(0, ("C5", (START,)), ("D6", (START,))), event(1, ("B4", (STOP,)), ("E6", (STOP,))))
    (demand,) = detect(music).demands
    assert demand.kind == "glissando"
    assert [str(pitch) for pitch in demand.pitches] == ["C5", "D6"]
    assert [str(pitch) for pitch in demand.to_sounding] == ["B4", "E6"]


def test_lines_in_two_voices_that_sound_as_one_chord_are_one_demand() -> None:
    music = [
        event(0, ("D6", (START,))),
        event(0, ("C5", (START,)), voice="2"),
        event(1, ("E6", (STOP,))),
        event(1, ("B4", (STOP,)), voice="2"),
    ]
    (demand,) = detect(part(*music)).demands
    assert [str(pitch) for pitch in (*demand.pitches, *demand.to)] == ["C5", "D6", "B4", "E6"]
    assert len(demand.events) == 4


def test_one_line_between_two_chords_holds_the_other_note() -> None:
    music = part(event(0, ("C5", ()), ("D6", (START,))), event(1, ("C5", ()), ("E6", (STOP,))))
    (demand,) = detect(music).demands
    assert [str(pitch) for pitch in demand.to] == ["C5", "E6"]


def test_lines_of_two_players_are_two_demands() -> None:
    first = event(0, ("C5", (START,)), ("E5", (START,)))
    found = detect(part(first, event(1, ("D5", (STOP,)), ("F5", (STOP,))), name="Flutes"))
    assert [[str(pitch) for pitch in demand.pitches] for demand in found.demands] == [["C5"], ["E5"]]


def test_a_glissando_takes_the_tied_notes_before_its_line_and_after_it() -> None:
    music = part(
        event(0, ("C5", ()), tie="start"),
        event(1, ("C5", (START,)), tie="stop"),
        event(2, ("E5", (STOP,)), tie="start"),
        event(3, ("E5", ()), tie="stop"),
    )
    (demand,) = detect(music).demands
    assert [int(each.onset) for each in demand.events] == [0, 1, 2, 3]
    assert demand.seconds_end == 4.0


def test_words_on_the_line_or_beside_it_tell_smooth_from_chromatic() -> None:
    def continuous(text: str, said: tuple[Direction, ...] = ()) -> bool | None:
        music = (event(0, ("C5", (mark("start", text=text),))), event(1, ("E5", (STOP,))))
        return detect(part(*music, said=said)).demands[0].continuous

    assert continuous("port.") is True
    assert continuous("chrom. gliss.") is False
    assert continuous("gliss.") is None
    assert continuous("") is None
    assert continuous("", (words("lip gliss.", 0),)) is True
    assert continuous("", (words("port.", 1),)) is None


def test_a_line_inside_a_multiphonic_word_leaves_the_other_pitches_open() -> None:
    music = part(event(0, ("C5", (START,))), event(1, ("E5", (STOP,))), said=(words("mult.", 0),))
    found = detect(music)
    assert [(demand.kind, demand.open_pitches) for demand in found.demands] == [("glissando", True)]
    assert found.demands[0].word == "mult."


def test_a_line_between_equal_pitches_is_told_and_asks_nothing() -> None:
    found = detect(part(event(0, ("C5", (START,))), event(1, ("C5", (STOP,)))))
    assert found.demands == ()
    assert [finding.code for finding in found.findings] == ["G203"]


def test_orphans_are_told_each_with_its_place() -> None:
    found = detect(part(event(0, ("C5", (START,))), event(4, ("D5", (mark("stop", "glissando"),)))))
    assert [(finding.code, str(finding.place)) for finding in found.findings] == [
        ("G201", "Flute, bar 1, beat 1"),
        ("G202", "Flute, bar 5, beat 1"),
    ]


def test_a_glissando_word_without_a_line_is_told_and_a_chromatic_run_in_notes_is_not() -> None:
    music = [event(onset, ("C5", ())) for onset in range(4)]
    assert [f.code for f in detect(part(*music, said=(words("gliss.", 1),))).findings] == ["G204"]
    assert detect(part(*music, said=(words("chromatic", 1),))).findings == ()


def test_marks_on_cue_notes_are_left_out_without_a_word() -> None:
    music = [replace(event(0, ("C5", (START,))), cue=True), replace(event(1, ("D5", (STOP,))), cue=True)]
    found = detect(part(*music))
    assert (found.demands, found.findings) == ((), ())
