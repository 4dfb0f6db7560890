"""Two players, one, or one who sings: the weighing of evidence. Parts and chords are invented."""

from dataclasses import replace
from fractions import Fraction

import pytest
from in_words import in_words

from annotate.detecting.chord_evidence import evidence_table
from annotate.detecting.company import Company
from annotate.detecting.detect import Detected, detect
from annotate.detecting.players import Verdict
from annotate.detecting.scene import Scene
from annotate.detecting.words import name_tells
from annotate.language import words as english
from annotate.score import Direction, Event, Note, Part
from fingering_db.pitch import Pitch


def note(text: str, start: int, **more: object) -> Note:
    pitch = Pitch.parse(text)
    return replace(Note(start, start + 1, pitch, pitch), **more)  # type: ignore[arg-type]


def chord(onset: float, *pitches: str, duration: float = 1.0, voice: str = "1", **more: object) -> Event:
    """more: fields of the top note."""
    start = int(1000 * onset) + 100 * int(voice)
    notes = [note(text, start + 2 * index) for index, text in enumerate(pitches)]
    notes[-1] = replace(notes[-1], **more)  # type: ignore[arg-type]
    bar = int(onset // 4)
    return Event(
        tuple(notes),
        str(bar + 1),
        bar,
        Fraction(onset % 4) + 1,
        Fraction(onset),
        Fraction(duration),
        onset / 2,
        (onset + duration) / 2,
        voice,
        1,
    )


def words(text: str, onset: int = 0) -> Direction:
    return Direction(text, Fraction(onset), "1", 0, Fraction(1), 1, "1", 5, 6)


def part(name: str, *events: Event, said: tuple[Direction, ...] = ()) -> Part:
    return Part("P1", 1, name, "", events=events, directions=said)


def verdict(name: str, *events: Event, said: tuple[Direction, ...] = (), parts: int = 4) -> Verdict:
    return next(iter(Scene.of(part(name, *events, said=said), "auto", Company(parts), {}).verdicts.values()))


NINTH = chord(0, "C5", "D6")


@pytest.mark.parametrize(
    "name",
    [
        "Flutes",
        "Flute 1, 2",
        "Flute (2)",
        "2 Flutes",
        "Flauti I.II",
        "Flöten",
        "Flo\u0308ten",
        "Flutes 1 & 2",
        "Flute 1/2",
        "Flute 1+2",
        "Flute I-II",
        "Flöte 1. 2.",
        "Flauto 1 e 2",
        "2 Flauti",
        "2 Große Flöten",
        "Zwei Flöten",
        "Flûtes",
        "Alto Flutes",
        "Piccolos",
        "Flute x2",
        "Fl. 1 2",
        "3 Fl.",
    ],
)
def test_a_name_in_the_plural_or_with_two_numbers_tells_of_several_players(name: str) -> None:
    assert name_tells(name) == "several"


@pytest.mark.parametrize("name", ["Flute 1", "Flauto II", "2. Flöte", "Flute 2 in C", "Fl. 3", "Flute I"])
def test_a_name_with_one_number_tells_of_one_player(name: str) -> None:
    assert name_tells(name) == "numbered"


@pytest.mark.parametrize("name", ["Flute", "Flöte", "Alto Flute in G", "Flauto e ottavino", "Flute/Piccolo", "Fl."])
def test_a_plain_name_tells_of_one_player_less_surely(name: str) -> None:
    assert name_tells(name) == "plain"


@pytest.mark.parametrize("name", ["", "  "])
def test_no_name_tells_nothing(name: str) -> None:
    assert name_tells(name) == ""


def test_a_name_of_signs_alone_is_taken_as_one_player() -> None:
    assert name_tells("---") == "plain"


def test_one_bare_chord_of_a_plain_flute_part_among_others_is_undecided() -> None:
    assert verdict("Flute", NINTH).outcome == "undecided"


def test_bare_chords_as_a_habit_of_a_part_for_one_flute_are_multiphonics() -> None:
    habit = [NINTH, *(chord(onset, "B4", "C#6") for onset in (4, 8)), *(chord(onset, "C5") for onset in (12, 16))]
    found = verdict("Flute", *habit)
    assert found.outcome == "multiphonic"


def test_a_chord_of_a_flutes_part_is_two_players() -> None:
    found = verdict("Flutes", NINTH)
    assert found.outcome == "players"
    assert in_words(found.reasons[0].text) == "the part is named 'Flutes'"


def test_a_2_makes_two_players_of_a_plain_part() -> None:
    found = verdict("Flute", NINTH, said=(words("a 2"),))
    assert found.outcome == "players"


def test_a_bare_chord_of_a_plain_flute_in_an_orchestra_is_undecided() -> None:
    found = verdict("Flute", NINTH, parts=20)
    assert found.outcome == "undecided"


def test_a_multiphonic_word_outweighs_the_plural_name_and_the_chord_is_contested() -> None:
    found = verdict("Flutes", NINTH, said=(words("mult."),))
    assert (found.outcome, found.contested) == ("multiphonic", True)


def test_a_fingering_at_the_chord_outweighs_the_plural_name() -> None:
    fingered = chord(0, "C5", "D6", technical=(("fingering", "T 2 3 | Eb"),))
    assert verdict("Flutes", fingered).outcome == "multiphonic"


def test_a_letter_on_the_stem_is_a_multiphonic_word() -> None:
    lettered = chord(0, "C5", "D6", technical=(("other-technical", "M"),))
    assert verdict("Flutes", lettered).outcome == "multiphonic"


def test_a_microtonal_accidental_in_a_plural_part_is_one_players_microtone() -> None:
    quarter = chord(0, "C5", "D6+50", microtonal_as_printed=True)
    found = verdict("Flutes", quarter)
    assert found.outcome == "players"


@pytest.mark.parametrize("head", ["x", "diamond", "cross"])
def test_one_odd_notehead_is_singing_while_playing(head: str) -> None:
    assert verdict("Flute", chord(0, "C5", "E5", notehead=head)).outcome == "voice"


def test_one_hollow_notehead_is_singing_while_playing() -> None:
    assert verdict("Flute", chord(0, "C5", "E5", notehead_open=True)).outcome == "voice"


def test_a_diamond_that_belongs_to_a_harmonic_is_not_sung() -> None:
    harmonic = chord(0, "C5", "G5", notehead="diamond", technical=(("harmonic", "artificial"),))
    assert verdict("Flute", harmonic).outcome == "harmonic"
    assert verdict("Flutes", harmonic).outcome == "harmonic"
    assert verdict("Flute", harmonic, said=(words("mult."),)).outcome == "multiphonic"


def test_odd_noteheads_on_all_notes_of_a_chord_are_not_sung() -> None:
    whole = replace(NINTH, notes=tuple(replace(each, notehead="diamond") for each in NINTH.notes))
    assert verdict("Flute", whole).outcome == "multiphonic"


def test_two_voices_with_the_same_onset_and_duration_are_one_chord_and_undecided() -> None:
    upper, lower = chord(0, "D6"), chord(0, "C5", voice="2")
    found = verdict("Flute", upper, lower)
    assert found.outcome == "undecided"


def test_two_voices_that_also_move_apart_are_two_players() -> None:
    together = (chord(0, "D6"), chord(0, "C5", voice="2"))
    apart = (chord(1, "D6", duration=2.0), chord(1, "C5", voice="2"), chord(2, "B4", voice="2"))
    found = detect(part("Flute", *together, *apart), company=Company(4))
    assert found.demands == ()
    assert [finding.code for finding in found.findings] == ["R204", "R208"]


def test_two_voices_in_unison_are_no_chord() -> None:
    assert Scene.of(part("Flute", chord(0, "C5"), chord(0, "C5", voice="2")), "auto", Company(4), {}).verdicts == {}


def test_chords_below_the_second_resonance_of_any_tube_are_undecided() -> None:
    found = verdict("Flute", chord(0, "C4", "E4"), chord(1, "D4", "F4"))
    assert found.outcome == "undecided"


def test_a_long_run_of_quick_chords_is_two_players() -> None:
    quick = [chord(index / 4, "C5", "E5", duration=0.25) for index in range(12)]
    assert verdict("Flute", *quick).outcome == "players"
    assert verdict("Flute", *quick[:2]).outcome == "undecided"


def test_one_finding_stands_for_a_run_and_another_reading_between_starts_a_new_one() -> None:
    events = [chord(4 * bar, "C5", "E5") for bar in range(20)]
    said = (words("mult.", 40), words("ord.", 44))
    said = tuple(replace(each, bar_index=int(each.onset // 4)) for each in said)
    found = detect(part("Flutes", *events, said=said), company=Company(10))
    assert [in_words(finding.message).split(" read as ")[0] for finding in found.findings] == [
        "bars 1-10: 10 chords",
        "bar 11: 1 chord",
        "bars 12-20: 9 chords",
    ]
    assert [finding.code for finding in found.findings] == ["R204", "R203", "R204"]
    assert found.findings[1].demand == "d1"


def test_a_multiphonic_at_a_2_is_told_for_each_of_the_players_and_one_without_for_one_of_them() -> None:
    told = {}
    for more in ((), (words("a 2"),)):
        found = detect(part("Flutes", NINTH, said=(words("mult."), *more)), company=Company(4))
        (finding,) = found.findings
        told[bool(more)] = in_words(finding.message)
    assert "a multiphonic for each of several players because 'mult.' asks for it, and 'a 2' is in force" in told[True]
    assert "a multiphonic of one player because 'mult.' asks for it, though" in told[False]


def test_a_chord_tied_over_a_double_bar_keeps_the_reading_of_its_first_half() -> None:
    first = replace(NINTH, notes=tuple(replace(each, tie_start=True) for each in NINTH.notes))
    second = chord(1, "C5", "D6")
    second = replace(second, notes=tuple(replace(each, tie_stop=True) for each in second.notes))
    tied = replace(part("Flutes", first, second, said=(words("mult."),)), double_bars=(Fraction(1),))
    found = detect(tied, company=Company(4))
    assert [(demand.kind, len(demand.events)) for demand in found.demands] == [("multiphonic", 2)]


def test_a_tied_chord_to_which_a_note_comes_is_another_chord() -> None:
    first = replace(NINTH, notes=tuple(replace(each, tie_start=True) for each in NINTH.notes))
    second = chord(1, "C5", "D6", "F6")
    second = replace(second, notes=tuple(replace(each, tie_stop=True) for each in second.notes))
    found = detect(part("Flute", first, second))
    assert [(len(demand.pitches), len(demand.events)) for demand in found.demands] == [(2, 1), (3, 1)]


def test_notes_of_two_instruments_of_a_part_are_two_players() -> None:
    upper = replace(chord(0, "D6"), instrument="P1-I1")
    lower = replace(chord(0, "C5", voice="2"), instrument="P1-I2")
    found = verdict("Flute", upper, lower)
    assert found.outcome == "players"


def test_a_flutes_part_taken_out_of_its_score_is_still_two_or_three_players() -> None:
    found = verdict("3 Flutes", chord(0, "C5", "E5", "G5"), parts=1)
    assert found.outcome == "players"
    assert "this is the only part of the score" not in [in_words(reason.text) for reason in found.reasons]


def test_rows_over_a_grace_note_belong_to_its_main_note() -> None:
    grace = replace(chord(0, "B5"), grace=True, duration=Fraction(0))
    grace = replace(grace, notes=(replace(grace.notes[0], start=1, end=2),))
    found = detect(part("Flute", grace, chord(0, "C5"), said=(words("T 2 3 | Eb"),)))
    assert [(str(demand.pitches[0]), demand.fingering) for demand in found.demands] == [("C5", "T 2 3 | Eb")]


def test_every_row_of_evidence_speaks_for_a_reading_and_only_signs_at_the_chord_are_certain() -> None:
    rows = evidence_table()["evidence"]
    for key, row in rows.items():
        assert row["speaks_for"] in ("players", "one", "multiphonic", "voice")
        assert 1 <= row["weight"] <= 6
        assert english().has(f"evidence.{key}")
    assert {key for key, row in rows.items() if row.get("certain")} == {"multiphonic_word", "fingering"}
    # Nothing about the part or its name leads to one flute's reading: that takes chords, signs or words.
    assert not any(row.get("decides") for row in rows.values() if row["speaks_for"] == "one")


def test_nothing_in_a_part_asks_nothing() -> None:
    assert detect(part("Flute")) == Detected((), (), ())
