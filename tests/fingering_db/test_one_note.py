"""Chords that are harmonics of one plain note are told from multiphonics."""

import itertools

import numpy as np
import pytest

from fingering_db.chart import FIRST_REGISTER_TOP
from fingering_db.fingering import Fingering
from fingering_db.instrument import load, shipped
from fingering_db.mechanism import chart_of, hole_states
from fingering_db.model import Model, model
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE, strength
from fingering_db.ranking import common_fundamental, find, fundamental_of, heard_as_one, score, sounds


@pytest.mark.parametrize(
    ("hz", "resonance", "one"),
    [
        ([330.0, 660.0], 330.0, True),  # an octave
        ([660.0, 990.0], 335.0, True),  # a fifth of harmonics, the passive fundamental 26 cents off
        ([660.0, 990.0], 400.0, False),  # the same fifth on a tube without that fundamental
        ([523.0, 1175.0], 523.0, False),  # C5 + D6
        ([330.0, 699.0], 330.0, False),  # a minor ninth
        ([330.0, 330.0], 330.0, False),  # twice the same
    ],
)
def test_what_is_heard_as_one_note(hz, resonance, one):
    assert heard_as_one(np.array([hz]), np.array([resonance]))[0] == one


HARMONICS = (0, 12, 19, 24, 28, 31, 34, 36)


@pytest.mark.parametrize("name", [name for name in shipped() if not name.endswith("-slide")])
def test_no_pair_of_harmonics_of_a_plain_fingering_is_a_multiphonic(name):
    """Whatever of its harmonics a score may name (octaves, twelfths .., within 30 cents), with any lip the search may try."""
    of = model(load(name))
    law, spare = of.flute.lip_law_m, of.instrument.lip.spare_mm * 1e-3
    pairs = 0
    for note in chart_of(of.instrument):
        if note.pitch.midi > FIRST_REGISTER_TOP:
            continue
        own = note.pitch.transposed(of.instrument.transposition_semitones).hz()
        states = hole_states(of.instrument, note.fingering)[None, :]
        for lip in np.linspace(float(law(own)) - spare, float(law(8.0 * own)) + spare, 7):
            found = of.drawn_out(states, 0.0, np.array([lip]))
            strong = found.hz[strength(found, of.curve) >= PLAYABLE_CONFIDENCE]
            above = 12.0 * np.log2(strong / own)
            named = strong[np.isin(np.round(above), HARMONICS) & (np.abs(above - np.round(above)) <= 0.3)]
            for low, high in itertools.combinations(named.tolist(), 2):
                if law(low) - spare <= lip <= law(high) + spare:
                    pairs += 1
                    assert common_fundamental((low, high), found.hz) is not None, (str(note.pitch), lip, low, high)
    assert pairs > 80


@pytest.mark.parametrize("chord", ["E4 E5", "A4 A5", "G4 G5 D6"])
def test_an_octave_or_twelfth_is_one_note_wherever_it_is_found(made: Model, chord: str):
    found = find(made, tuple(Pitch.parse(name) for name in chord.split()), 30.0, limit=20)
    assert found.best and all(one.one_note for one in found.best)


def test_one_note_comes_last_of_all_answers_that_may_sound(made: Model):
    best = find(made, (Pitch.parse("E5"), Pitch.parse("B5")), 60.0, limit=200).best
    flags = [one.one_note for one in best if one.confidence >= DOUBTFUL_CONFIDENCE]
    assert any(flags) and not all(flags)
    assert flags == sorted(flags)


def test_published_multiphonics_are_not_one_note(made: Model):
    for text, chord in [("T 2 3 | Eb", "C5 D6"), ("T 1 3 | tr2", "D5+50 C#6"), ("T 1 3 | tr2", "C#6 B6")]:
        every = sounds(made, Fingering.parse(text))
        pair = tuple(
            min((one.hz for one in every), key=lambda hz: abs(np.log(hz / Pitch.parse(name).hz())))
            for name in chord.split()
        )
        assert fundamental_of(pair, every) is None


def test_ten_cents_nearer_outweigh_one_finger_saved_and_five_do_not():
    easier, nearer = score(np.array([0.8, 0.8]), np.array([10.0, 0.0]), np.array([0.0, 1.0]))
    assert nearer > easier
    easier, nearer = score(np.array([0.8, 0.8]), np.array([5.0, 0.0]), np.array([0.0, 1.0]))
    assert easier > nearer
