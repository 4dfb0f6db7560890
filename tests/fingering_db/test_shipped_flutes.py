"""The flutes that are shipped: their keys, their tuning, and how they come out of the default one."""

import re
import subprocess
import sys
from pathlib import Path

import msgspec
import numpy as np
import pytest

from fingering_db import family
from fingering_db.fingering import Fingering
from fingering_db.instrument import Instrument, decode, load, shipped
from fingering_db.instrument_text import as_toml
from fingering_db.mechanism import PERFORATION_AND_VENT, SHUT, VENT, chart_of, hole_states, reach
from fingering_db.model import model
from fingering_db.pitch import Pitch
from fingering_db.ranking import find, sounds
from fingering_db.survey import atlas
from fingering_db.tuning import chart_deviations

# Counts: enumerated by hand from the placements of each finger (trade knowledge, README): thumb, L1, L2, L3, L4, R1 .. R4.
COUNTS = {
    "open-hole-b": 3 * 2 * 3 * 3 * 2 * 4 * 4 * 4 * 5,
    "open-hole-c": 27_648,
    "closed-hole-c": 5_184,
    "vented-b": 288_000,
    "alto": 5_184,
    "bass": 5_184,
    "piccolo": 3 * 2 * 2 * 2 * 2 * 3 * 3 * 3 * 2,
}
# rms over the judged notes of the chart [cents], in-sample, and what is allowed: as printed by `python -m fingering_db.family`.
RMS = {"open-hole-c": 6, "closed-hole-c": 6, "vented-b": 6, "alto": 6, "bass": 6, "piccolo": 12}


def state(instrument: Instrument, text: str) -> dict[str, int]:
    states = hole_states(instrument, Fingering.parse(text))
    return {hole.name: int(value) for hole, value in zip(instrument.holes, states, strict=True)}


def test_every_flute_promised_is_shipped() -> None:
    assert set(COUNTS) == set(shipped())


@pytest.mark.parametrize("name", COUNTS)
def test_a_flute_has_the_number_of_fingerings_counted_by_hand(name: str) -> None:
    assert len(reach(load(name)).placements) == COUNTS[name]


@pytest.mark.parametrize("name", RMS)
def test_standard_fingerings_are_in_tune(name: str) -> None:
    cents = np.array([row.cents for row in chart_deviations(model(load(name))) if row.judged])
    assert len(cents) >= 32
    assert np.sqrt(np.mean(cents**2)) < RMS[name]


@pytest.mark.parametrize("name", [name for name in COUNTS if name != "vented-b"])
def test_from_the_lowest_note_to_c_sharp_5_the_first_open_hole_bears_the_notes_name(name: str) -> None:
    instrument = load(name)
    lowest, *others = [note for note in chart_of(instrument) if note.pitch.midi <= Pitch.parse("C#5").midi]
    for note in others:
        open_holes = [hole for hole, value in state(instrument, str(note.fingering)).items() if value == 0]
        assert open_holes[0].removesuffix("side") == str(note.pitch)
    assert 0 not in state(instrument, str(lowest.fingering)).values()


def test_the_lowest_notes_are_b3_on_the_b_foot_c4_on_the_c_foot_and_d4_without_foot() -> None:
    lowest = {name: str(chart_of(load(name))[0].pitch) for name in COUNTS}
    assert lowest == {
        "open-hole-b": "B3", "vented-b": "B3", "open-hole-c": "C4", "closed-hole-c": "C4", "alto": "C4", "bass": "C4",
        "piccolo": "D4",
    }  # fmt: skip


def test_the_c_foot_is_about_38_mm_shorter_and_its_c4_in_tune() -> None:
    long, short = load("open-hole-b"), load("open-hole-c")
    assert long.body.end_mm - short.body.end_mm == pytest.approx(38.0, abs=1.0)
    assert abs(chart_deviations(model(short))[0].cents) < 1.0
    changed = msgspec.structs.replace(
        long, name=short.name, title=short.title, chart=short.chart, body=short.body, holes=long.holes[:-1],
        fingers=short.fingers,
    )  # fmt: skip
    assert changed == short


def test_files_are_what_their_rules_give() -> None:
    default = load("open-hole-b")
    c_foot = family.c_foot(default)
    assert c_foot == load("open-hole-c")
    assert family.closed(c_foot) == load("closed-hole-c")
    assert family.vented(default) == load("vented-b")


@pytest.mark.slow
def test_fitted_files_are_what_their_rules_give() -> None:
    assert family.family() == {name: load(name) for name in COUNTS if name != "open-hole-b"}


@pytest.mark.parametrize("name", [*COUNTS, "open-hole-c-slide"])
def test_a_flute_written_as_text_is_read_back_the_same(name: str) -> None:
    instrument = load(name)
    assert decode(as_toml(instrument, "two\nlines"), name) == instrument


def test_names_with_signs_survive_being_written() -> None:
    odd = msgspec.structs.replace(load("open-hole-b"), title='a "quoted" \\ title\nwith ♯')
    assert decode(as_toml(odd), "odd").title == odd.title


VENTS = [
    ("| Eb", "1v | Eb", "C#5"),
    ("T |", "Tv |", "C5"),
    ("2 |", "2v |", "B4"),
    ("3 |", "3v |", "G#4"),
    ("| 1", "| 1v", "G4"),
]


@pytest.mark.parametrize(("_plain", "vented", "hole"), VENTS)
def test_a_vent_opens_in_its_own_cup_alone(_plain: str, vented: str, hole: str) -> None:
    states = state(load("vented-b"), vented)
    assert [name for name, value in states.items() if value == VENT] == [hole]


def test_a_vent_opens_together_with_the_perforation_of_its_finger_and_never_under_another_fingers_cup() -> None:
    flute = load("vented-b")
    both = state(flute, "2ov |")
    assert both["B4"] == VENT and both["A#4"] == 3 - 1  # PERFORATION
    # Tb and R1 shut the B cup too, but its vent belongs to L2.
    assert state(flute, "Tb |")["B4"] == SHUT
    assert not any(
        "v" in touch
        for finger in flute.fingers
        for touch in [one.touch for one in finger.placements if "b" in one.touch]
    )
    assert PERFORATION_AND_VENT not in reach(flute).states  # no cup of this flute has both


def test_vents_leave_standard_fingerings_alone_and_raise_a_note_whose_cup_is_held() -> None:
    vented, plain = model(load("vented-b")), model(load("open-hole-b"))
    for text in ("T 1 2 3 | 1 2 3 C", "T 2 3 | Eb"):
        one, two = (sounds(of, Fingering.parse(text)) for of in (vented, plain))
        assert [round(sound.hz, 6) for sound in one] == [round(sound.hz, 6) for sound in two]
    held, vent = (sounds(vented, Fingering.parse(text))[0].hz for text in ("T 1 2 3 | 1 2 3", "T 1 2 3v | 1 2 3"))
    assert 1200 * np.log2(vent / held) > 200


@pytest.mark.parametrize(("name", "semitones"), [("piccolo", 12), ("alto", -5), ("bass", -12)])
def test_other_sizes_sound_their_interval_from_written_and_behave_alike(name: str, semitones: int) -> None:
    other, flute = load(name), load("closed-hole-c")
    assert other.transposition_semitones == semitones
    assert other.model_cents > flute.model_cents
    # Similarity: C5 with D6 stands on T 2 3, with a weak resonance near A5 between, on every size (within 60 cents).
    for written, found in zip(("C5", "A5", "D6"), sounds(model(other), Fingering.parse("T 2 3 | Eb")), strict=False):
        asked = Pitch.parse(written).transposed(semitones).hz()
        assert abs(1200 * np.log2(found.hz / asked)) < 60
        assert (found.strength > 0.8) == (written != "A5")


@pytest.mark.parametrize(("pair", "least"), [("C#5 F#5", 1), ("C#5 E5", 1), ("F#4 F#5", 10), ("A4 A5", 10)])
def test_pairs_printed_in_a_guide_to_the_alto_flute_are_found_within_50_cents(pair: str, least: int) -> None:
    # Pairs named on a teaching page for composers (written pitch, fingerings not given): experience, not measurement. The
    # guide's flute may have open keys; this one has closed ones.
    alto = load("alto")
    targets = tuple(Pitch.parse(note).transposed(alto.transposition_semitones) for note in pair.split())
    assert find(model(alto), targets, 50.0).count >= least


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from Linux's account")
def test_a_search_on_the_flute_with_vents_stays_under_500_mb_once_its_atlas_is_there() -> None:
    # The first use of a flute computes its atlas; that of this one took 1.2 GB and 90 s of processor time.
    atlas(model(load("vented-b")))
    code = (
        "from fingering_db.instrument import load\n"
        "from fingering_db.model import model\n"
        "from fingering_db.ranking import find\n"
        "from fingering_db.pitch import Pitch\n"
        "of = model(load('vented-b'))\n"
        "assert find(of, (Pitch.parse('C5'), Pitch.parse('D6')), 60.0).count > 1000\n"
        "assert find(of, (Pitch.parse('A5'),), 40.0).count > 1000\n"
        "print(open('/proc/self/status').read())\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    # Not ru_maxrss: on Linux a new process begins with that of the one that started it.
    (peak,) = re.findall(r"VmHWM:\s*(\d+) kB", done.stdout)
    assert int(peak) < 500 * 1024
