"""Fingers, keys and holes, against the table of trade knowledge in tests/references/flute_afresh.py."""

import flute_afresh
import msgspec
import numpy as np
import pytest

from fingering_db.chart import chart
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import Finger, Instrument
from fingering_db.mechanism import OPEN, PERFORATION, SHUT, Reach, hole_states, reach
from fingering_db.pitch import Pitch

NAMES = {OPEN: "open", SHUT: "shut", PERFORATION: "small"}


def test_the_flute_with_perforated_keys_and_b_foot_has_34560_fingerings_and_19200_sounds(every: Reach) -> None:
    # 3 (thumb) x 2 x 3 x 3 x 2 x 4 x 4 x 4 x 5, one placement for each finger.
    assert every.placements.shape == (34560, 9)
    assert len(every.states) == 19200
    assert len(np.unique(every.states, axis=0)) == 19200
    assert len(np.unique(every.placements, axis=0)) == 34560


@pytest.mark.parametrize(
    ("left_out", "count"), [(("B",), 27648), (("B", "2o", "3o", "1o"), 5184)], ids=["C foot", "closed keys, C foot"]
)
def test_other_feet_and_keys_have_their_counts(open_hole: Instrument, left_out: tuple[str, ...], count: int) -> None:
    def less(finger: Finger) -> Finger:
        kept = tuple(placement for placement in finger.placements if placement.touch not in left_out)
        return msgspec.structs.replace(finger, placements=kept)

    other = msgspec.structs.replace(open_hole, fingers=tuple(less(finger) for finger in open_hole.fingers))
    assert len(reach(other).placements) == count


def test_from_b3_to_c_sharp_5_the_first_open_hole_bears_the_notes_name(open_hole: Instrument) -> None:
    notes = [note for note in chart("flute") if note.pitch.midi <= Pitch.parse("C#5").midi]
    assert len(notes) == 15
    for note in notes:
        states = hole_states(open_hole, note.fingering)
        open_holes = [hole.name for hole, state in zip(open_hole.holes, states, strict=True) if state == OPEN]
        first = open_holes[0].removesuffix("side") if open_holes else "B3"
        assert first == str(note.pitch)


def test_keys_move_the_holes_of_the_table(open_hole: Instrument, every: Reach, random: np.random.Generator) -> None:
    for index in random.choice(len(every.placements), 1500, replace=False):
        fingering = every.fingering(int(index))
        expected = flute_afresh.keys(str(fingering))
        by_text = hole_states(open_hole, fingering)
        assert (by_text == every.states[every.sound[index]]).all()
        found = {hole.name: NAMES[int(state)] for hole, state in zip(open_hole.holes, by_text, strict=True)}
        assert found == expected, str(fingering)


def test_a_perforation_is_open_only_while_its_key_is_down(every: Reach, open_hole: Instrument) -> None:
    perforated = {column for column, hole in enumerate(open_hole.holes) if hole.perforation_mm > 0.0}
    assert {int(column) for column in np.nonzero((every.states == PERFORATION).any(axis=0))[0]} == perforated
    assert set(np.unique(every.states).tolist()) == {OPEN, SHUT, PERFORATION}


def test_a_touch_that_the_flute_lacks_is_named_with_what_it_has(open_hole: Instrument) -> None:
    with pytest.raises(FingeringError, match=r"open-hole-b has no 'Tv' for thumb; expected T, Tb"):
        hole_states(open_hole, Fingering.parse("Tv 1 | "))
    with pytest.raises(FingeringError, match=r"no 'gz' for R4; expected Eb, C#, C, B"):
        hole_states(open_hole, Fingering.parse("T 1 | gz"))
