"""Microtones and what is listed as not judged. Notes are invented."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import music21
import pytest
from in_words import in_words

from annotate.detecting.detect import detect
from annotate.detecting.microtone import is_microtone
from annotate.reading.read import read_score
from annotate.score import Direction, Event, Note, Part
from fingering_db.pitch import Pitch

CASES = Path(__file__).parent.parent / "cases" / "detecting"


def note(text: str, *, printed: bool = False, start: int = 0) -> Note:
    pitch = Pitch.parse(text)
    return Note(start, start + 1, pitch, pitch, microtonal_as_printed=printed)


def event(onset: int, *notes: Note) -> Event:
    when = Fraction(onset)
    moved = tuple(
        replace(each, start=10 * onset + index, end=10 * onset + index + 1) for index, each in enumerate(notes)
    )
    return Event(moved, str(onset + 1), onset, Fraction(1), when, Fraction(1), 0.0, 0.0, voice="1", staff=1)


def part(*events: Event, name: str = "Flute") -> Part:
    return Part("P1", 1, name, "", events=events)


@pytest.mark.parametrize("text", ["C5+50", "C5-50", "C5+25", "C5+20", "C5-20", "B4+150", "C#5-50"])
def test_a_pitch_from_twenty_cents_off_a_key_of_the_piano_is_a_microtone(text: str) -> None:
    assert is_microtone(note(text))


@pytest.mark.parametrize("text", ["C5", "C5+5", "C5-15", "C5+19", "C5+100", "C#5"])
def test_a_small_deviation_without_an_accidental_is_a_programs_playback(text: str) -> None:
    assert not is_microtone(note(text))


def test_a_printed_arrow_counts_from_more_than_ten_cents_on() -> None:
    assert is_microtone(note("C5+15", printed=True))
    assert not is_microtone(note("C5+10", printed=True))
    assert not is_microtone(note("C5", printed=True))


def test_the_sounding_pitch_decides_not_the_written_one() -> None:
    transposed = replace(note("C5"), sounding=Pitch.parse("G4+50"))
    (demand,) = detect(part(event(0, transposed))).demands
    assert [str(pitch) for pitch in (*demand.pitches, *demand.sounding)] == ["C5", "G4+50"]


def test_a_microtone_tied_on_by_one_of_two_players_is_one_demand() -> None:
    held = replace(note("C5+50", printed=True), tie_start=True)
    end = replace(note("C5+50", printed=True), tie_stop=True)
    found = detect(part(event(0, held, note("E5")), event(1, end, note("F5")), name="Flutes"), "players")
    assert [(demand.kind, len(demand.events)) for demand in found.demands] == [("microtone", 2)]


def test_a_microtone_that_is_struck_again_is_a_second_demand() -> None:
    found = detect(part(event(0, note("C5+50")), event(1, note("C5+50"))))
    assert [demand.id for demand in found.demands] == ["d1", "d2"]


def test_a_microtone_that_a_word_makes_a_multiphonic_belongs_to_it() -> None:
    said = Direction("mult.", Fraction(0), "1", 0, Fraction(1), 1, "1", 900, 901)
    found = detect(replace(part(event(0, note("C5+50", printed=True))), directions=(said,)))
    assert [(demand.kind, demand.open_pitches) for demand in found.demands] == [("multiphonic", True)]


def test_a_sung_microtone_asks_nothing_of_the_flute() -> None:
    sung = replace(note("E5+50", printed=True), notehead="x")
    assert detect(part(event(0, note("C5"), sung)), "voice").demands == ()
    played = detect(part(event(0, note("C5+50"), replace(sung, notehead="x"))), "voice")
    assert [str(demand.pitches[0]) for demand in played.demands] == ["C5+50"]


def test_bend_marks_are_listed_once_for_each_chord() -> None:
    bent = replace(note("C5"), bend_alters=(0.5,), articulations=("doit", "staccato"))
    also = replace(note("D6"), bend_alters=(0.5,))
    found = detect(part(event(0, bent, also)))
    assert [in_words(each.what) for each in found.not_judged] == ["doit", "bend"]


@pytest.mark.parametrize("name", ["microtones_of_an_alto_flute", "microtones_of_two_flutes"])
def test_music21_hears_the_same_quarter_tones_at_the_same_places(name: str) -> None:
    path = CASES / f"{name}.musicxml"
    ours = detect(read_score(path.read_bytes()).parts[0]).demands
    # Eighth-tones and free tunings stop music21 from reading a file, so only quarter-tones can be compared.
    theirs = [
        (each.measureNumber, float(each.beat), pitch.ps)
        for each in music21.converter.parse(path).toSoundingPitch().recurse().notes
        for pitch in each.pitches
        if pitch.ps % 1
    ]
    assert [(int(d.place.bar), float(d.place.beat), d.sounding[0].midi) for d in ours] == theirs
    assert theirs


@pytest.mark.parametrize("name", ["chords_of_a_solo_flute", "chords_of_two_flutes", "sing_and_play"])
def test_music21_sees_as_many_chords_as_there_are_multiphonics_by_option(name: str) -> None:
    path = CASES / f"{name}.musicxml"
    ours = detect(read_score(path.read_bytes()).parts[0], "multiphonic").demands
    theirs = [
        chord
        for chord in music21.converter.parse(path).recurse().getElementsByClass("Chord")
        if chord[0].tie is None or chord[0].tie.type == "start"
    ]
    assert [sorted(pitch.ps for pitch in chord.pitches) for chord in theirs] == [
        [pitch.midi for pitch in demand.pitches] for demand in ours
    ]
