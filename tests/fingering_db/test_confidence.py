"""The confidence does what it says of itself."""

import numpy as np
import pytest

from fingering_db import evidence, playability
from fingering_db.acoustics.resonance import Crossings
from fingering_db.model import Model


def crossings(hz, amplitude=1.0, resistance=1e4, rows=None):
    hz = np.array(hz, dtype=float)
    rows = np.zeros(len(hz), dtype=np.intp) if rows is None else np.array(rows)
    slope = 2.0 / (np.ones(len(hz)) * amplitude)
    return Crossings(rows, rows, hz, slope, np.ones(len(hz)) * resistance)


def test_plain_fingerings_have_a_relative_amplitude_of_one(made: Model):
    from fingering_db.chart import chart
    from fingering_db.mechanism import hole_states

    notes = [note for note in chart("flute") if note.pitch.midi <= 73]
    states = np.array([hole_states(made.instrument, note.fingering) for note in notes])
    found = made.resonances(made.flute.bore_impedance(states, made.grid))
    r = playability.relative_amplitude(found, made.curve)[found.hz < 2000.0]
    assert np.percentile(r, [5, 95]) == pytest.approx([1.0, 1.0], abs=0.15)


def test_a_lone_mode_has_no_rival_and_a_twin_shares():
    alone = evidence.jet_margin(crossings([500.0]))
    weak, strong = evidence.jet_margin(crossings([1000.0, 1060.0], amplitude=np.array([1.0, 3.0])))
    assert alone[0] > 1e6
    assert weak < 1.0 < strong


def test_a_mode_that_the_jet_cannot_feed_has_no_margin():
    margins = evidence.jet_margin(crossings([500.0, 900.0], resistance=np.array([1e4, 5e6])))
    assert margins[1] == 0.0 < margins[0]


def test_batched_margins_are_those_of_each_row_alone():
    rng = np.random.default_rng(3)
    hz = np.sort(rng.uniform(300.0, 2000.0, (5, 4)), axis=1)
    amplitude, resistance = rng.uniform(0.5, 2.0, 20), rng.uniform(1e4, 1e6, 20)
    together = evidence.jet_margin(crossings(hz.ravel(), amplitude, resistance, np.repeat(np.arange(5), 4)))
    for row in range(5):
        part = slice(4 * row, 4 * row + 4)
        alone = evidence.jet_margin(crossings(hz[row], amplitude[part], resistance[part]))
        assert alone == pytest.approx(together[part])


def test_strength_stays_between_its_bounds_and_nears_the_middle_where_nothing_is_known(made: Model):
    every = made.resonances(made.bore(np.arange(0, len(made.reach.states), 97)))
    strength = playability.strength(every, made.curve)
    assert strength.min() >= 0.04 - 1e-9
    assert strength.max() <= 0.96 + 1e-9
    assert np.abs(strength[every.hz > 2600.0] - 0.5).max(initial=0.0) <= 0.27


def test_a_note_of_the_chart_is_expected_to_sound_and_a_doubt_where_the_two_measures_disagree(made: Model):
    from fingering_db.evidence import evidence

    rows, found = evidence(made)
    strength = playability.strength(found, made.curve)
    assert all(strength[row.index] >= 0.5 for row in rows if row.played and not row.published)
    told = {(row.fingering, row.note): strength[row.index] for row in rows}
    assert (
        0.15 <= told["T 1 2 3 | 1 2 3 C", "C7"] < 0.5
    )  # published as playing; its amplitude says so too, no jet holds it
