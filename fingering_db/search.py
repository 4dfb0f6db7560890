"""Which sounds of an atlas answer given pitches with one lip: all of them, and with which lip best.

A resonance falls as the lip grows. So of the deviations of several resonances with one lip the largest and the smallest fall
too, and the lip with the least largest deviation without sign is the one where those two are opposite, or an end of what the
bounds and the branches allow. That lip is found for every set of branches that can come near the pitches; the tolerance only
says which of these answers are near enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.atlas import Atlas, ragged

_DONE_CENTS = 1e-4
_MOST_STEPS = 40


@dataclass(frozen=True, slots=True)
class Hits:
    """Sounds that answer, growing, shape (n,); lips [m], shape (n,); branches that answer each pitch and their deviations
    [cents], shape (n, k)."""

    sounds: IndexArray
    lips: RealArray
    branches: IndexArray
    cents: RealArray


def nothing(targets: int) -> Hits:
    """No answers to so many pitches."""
    no_row = np.zeros(0, dtype=np.intp)
    return Hits(no_row, np.zeros(0), np.zeros((0, targets), dtype=np.intp), np.zeros((0, targets)))


def matching(atlas: Atlas, targets_hz: RealArray, tolerance_cents: float, bounds_m: tuple[float, float]) -> Hits:
    """Every sound that has a resonance of its own within the tolerance of each target with ONE lip between the bounds, and the
    lip with the least largest deviation. targets_hz: shape (k,), any order [Hz]. Deviations are good to 0.01 cent."""
    order = np.argsort(targets_hz, kind="stable")
    targets = atlas.cents_of(targets_hz[order])
    low, high = (float(np.clip(bound, atlas.lips[0], atlas.lips[-1])) for bound in bounds_m)
    sets = _joined(atlas, [_near(atlas, float(target), tolerance_cents, low, high) for target in targets])
    hits = _best(atlas, sets, targets, tolerance_cents, low, high)
    back = np.argsort(order)
    return Hits(hits.sounds, hits.lips, hits.branches[:, back], hits.cents[:, back])


def _near(atlas: Atlas, target: float, tolerance: float, low: float, high: float) -> IndexArray:
    """Branches that come within the tolerance of a target for some lip between two knots around the bounds."""
    at = (np.array([low, high]) - atlas.lips[0]) / atlas.spacing
    first, last = max(int(at[0]), 0), min(int(np.ceil(at[1])), len(atlas.lips) - 1)
    slack = tolerance + 0.01
    near = atlas.cents[last] <= np.float32(target + slack)
    near &= atlas.cents[first] >= np.float32(target - slack)
    found = np.flatnonzero(near)
    return found[(atlas.shortest[found] <= high) & (atlas.longest[found] >= low)]


def _joined(atlas: Atlas, near: list[IndexArray]) -> IndexArray:
    """Every set of branches of one sound, one from each of `near`, growing: shape (n, k)."""
    sets = near[0][:, None]
    for more in near[1:]:
        sound = atlas.sound_of(sets[:, 0])
        first = np.searchsorted(more, sets[:, -1] + 1)
        past = np.searchsorted(more, atlas.starts[sound + 1])
        number, at = ragged(first, np.maximum(past, first))
        sets = np.column_stack([sets[number], more[at]])
    return sets


def _best(atlas: Atlas, sets: IndexArray, targets: RealArray, tolerance: float, low: float, high: float) -> Hits:
    begin = np.maximum(atlas.shortest[sets].astype(float).max(axis=1), low)
    end = np.minimum(atlas.longest[sets].astype(float).min(axis=1), high)
    there = begin <= end
    sets, begin, end = sets[there], begin[there], end[there]
    at_begin = atlas.places(sets, _wide(begin, sets))[0] - targets
    at_end = at_begin if low == high else atlas.places(sets, _wide(end, sets))[0] - targets
    # All fall from begin to end, so no lip between can do better than this.
    least = np.maximum(at_end.max(axis=1), -at_begin.min(axis=1))
    kept = least <= tolerance
    sets, begin, end = sets[kept], begin[kept], end[kept]
    lips, cents = _balanced(atlas, sets, targets, (begin, end), (at_begin[kept], at_end[kept]))
    worst = np.abs(cents).max(axis=1)
    near = np.flatnonzero(worst <= tolerance)
    sounds = atlas.sound_of(sets[near, 0])
    chosen = near[np.lexsort((worst[near], sounds))]
    sounds = np.sort(sounds)
    chosen = chosen[np.append(True, sounds[1:] != sounds[:-1])[: len(sounds)]]
    return Hits(atlas.sound_of(sets[chosen, 0]), lips[chosen], sets[chosen], cents[chosen])


def _wide(lips: RealArray, sets: IndexArray) -> RealArray:
    return np.broadcast_to(lips[:, None], sets.shape)


def _balance(cents: RealArray) -> RealArray:
    """Largest and smallest deviation together: above 0 a longer lip is better."""
    return np.asarray(cents.max(axis=1) + cents.min(axis=1))


def _balanced(
    atlas: Atlas,
    sets: IndexArray,
    targets: RealArray,
    ends: tuple[RealArray, RealArray],
    at_ends: tuple[RealArray, RealArray],
) -> tuple[RealArray, RealArray]:
    """The lip [m] with the least largest deviation for each set of branches, and the deviations [cents]."""
    low, high = ends[0].copy(), ends[1].copy()
    first, second = _balance(at_ends[0]), _balance(at_ends[1])
    lips = np.where(first <= 0.0, low, high)
    cents = np.where((first <= 0.0)[:, None], at_ends[0], at_ends[1])
    open_ = np.flatnonzero((first > 0.0) & (second < 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        lips[open_] = (low * second - high * first)[open_] / (second - first)[open_]
    for _ in range(_MOST_STEPS):
        own, at = sets[open_], lips[open_]
        place, slope = atlas.places(own, _wide(at, own))
        cents[open_] = off = place - targets
        balance = _balance(off)
        above = balance > 0.0
        low[open_], high[open_] = np.where(above, at, low[open_]), np.where(above, high[open_], at)
        left = (np.abs(balance) > _DONE_CENTS) & (high[open_] - low[open_] > 1e-9)
        if not left.any():
            break
        row = np.arange(len(own))
        steep = slope[row, off.argmax(axis=1)] + slope[row, off.argmin(axis=1)]
        with np.errstate(divide="ignore", invalid="ignore"):
            better = at - balance / steep
        inside = (better > low[open_]) & (better < high[open_])
        better = np.where(inside, better, 0.5 * (low[open_] + high[open_]))
        open_ = open_[left]
        lips[open_] = better[left]
    return lips, cents
