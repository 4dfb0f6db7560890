"""The table of measures counts as it says."""

import numpy as np

from fingering_db import evidence
from fingering_db.model import Model
from fingering_db.playability import HALF_AT


def test_order_and_misses_of_a_measure_that_knows_everything_and_one_that_knows_nothing():
    played = np.array([True, True, False, True, False, True])
    names = np.array(list("abcabc"))
    assert evidence.ordered(played.astype(float), played) == 1.0
    assert evidence.ordered(np.ones(6), played) == 0.5
    assert (evidence.guesses(played.astype(float), played, names) == played).all()
    assert evidence.guesses(np.ones(6), played, names).all()  # everything plays


def test_the_best_threshold_parts_what_plays_from_the_rest():
    values = np.array([0.1, 0.2, 0.6, 0.9])
    assert 0.2 < evidence.threshold(values, np.array([False, False, True, True])) < 0.6


def test_what_is_not_reported_counts_alike_for_all_fingerings_whose_notes_are_given(made: Model):
    # Published rows: Wolfe, Smith, Tann & Fletcher 2001, JSV 243:127, supplement.
    rows, _ = evidence.evidence(made)
    assert sum(row.published for row in rows if row.known == evidence.PLAYS) == 20
    assert [row.note for row in rows if row.known == evidence.SILENT] == ["D#6-11", "F#6"]
    unreported = {(row.fingering, row.note[:2]) for row in rows if row.known == evidence.UNREPORTED}
    assert ("T 2 3 | Eb", "A5") in unreported and len({fingering for fingering, _ in unreported}) == 3


def test_the_measure_in_use_misses_what_the_readme_says(made: Model):
    table, rows = evidence.measured(made)
    missed = [row.note for row, value in rows if (value >= HALF_AT) != row.played and row.known != evidence.UNREPORTED]
    assert missed == ["C7"]  # on the fingering of C4: published as playing, and no jet of the model holds it
    assert all(value < HALF_AT for row, value in rows if row.known == evidence.SILENT)
    for used in range(2):  # no baseline orders the rows clearly better, either way of counting
        assert table[evidence.IN_USE][used].order >= max(one[used].order for one in table.values()) - 0.02
