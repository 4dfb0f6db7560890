"""The table of measures counts as it says."""

import numpy as np

from fingering_db import evidence


def test_order_and_misses_of_a_measure_that_knows_everything_and_one_that_knows_nothing():
    played = np.array([True, True, False, True, False, True])
    names = np.array(list("abcabc"))
    assert evidence.ordered(played.astype(float), played) == 1.0
    assert evidence.ordered(np.ones(6), played) == 0.5
    assert evidence.misses(played.astype(float), played, names) == 0


def test_the_best_threshold_parts_what_plays_from_the_rest():
    values = np.array([0.1, 0.2, 0.6, 0.9])
    assert 0.2 < evidence.threshold(values, np.array([False, False, True, True])) < 0.6
