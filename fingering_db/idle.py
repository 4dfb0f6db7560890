"""Answers that differ only by a key that hardly sounds: one of each is told, with the little finger where the chart has it."""

from __future__ import annotations

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray, StateArray
from fingering_db.mechanism import chart_of
from fingering_db.model import Model
from fingering_db.touches import FINGERS

IDLE_CENTS = 5.0
"""A key that moves no pitch asked for by more is idle: ours."""

_LIKE_CONFIDENCE = 0.05  # ours
_R4 = FINGERS.index("R4")
_HELD_BY_THE_CHART = "Eb"


def told_apart(
    model: Model, rows: IndexArray, cents: RealArray, confidence: RealArray, order: IndexArray, limit: int
) -> IndexArray:
    """The first `limit` of `order`, without those that differ from an earlier one by idle keys only: at most one other
    finger than the right little one, and no pitch by more than IDLE_CENTS.

    rows: shape (n,), of `reach.states`; cents: shape (n, k); confidence: shape (n,); order: numbers of these, best first.
    Of answers that differ by the right little finger alone the one on E flat is taken, as the chart has it, unless the
    chart itself lifts it for this very fingering."""
    hands = model.reach.placements[model.easiest[rows]]
    kept: list[int] = []
    for at in order:
        same = _idle(hands, cents, np.array(kept, dtype=np.intp), at)
        if not same.any():
            if len(kept) == limit:
                break
            kept.append(int(at))
            continue
        first = int(np.flatnonzero(same)[0])
        if _steadier(model, rows, confidence, hands, kept[first], int(at)):
            kept[first] = int(at)
    return np.array(kept, dtype=np.intp)


def _idle(hands: StateArray, cents: RealArray, kept: IndexArray, at: int) -> BoolArray:
    """Which of the kept differ from number `at` by idle keys only."""
    fingers = np.delete(hands[kept] != hands[at], _R4, axis=1).sum(axis=1)
    return np.asarray((fingers <= 1) & (np.abs(cents[kept] - cents[at]).max(axis=1) <= IDLE_CENTS))


def _steadier(model: Model, rows: IndexArray, confidence: RealArray, hands: StateArray, kept: int, other: int) -> bool:
    """Whether `other` is the kept one with the little finger on E flat, where the chart would have it."""
    one, two = (model.reach.fingering(int(model.easiest[rows[number]])) for number in (kept, other))
    only_the_little_finger = np.flatnonzero(hands[kept] != hands[other]).tolist() == [_R4]
    on_e_flat = one.touches[_R4] == "" and two.touches[_R4] == _HELD_BY_THE_CHART
    by_the_chart = any(note.fingering == one for note in chart_of(model.instrument))
    like = confidence[other] >= confidence[kept] - _LIKE_CONFIDENCE
    return bool(only_the_little_finger and on_e_flat and like and not by_the_chart)
