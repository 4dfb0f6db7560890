"""Which sounds of an atlas answer given pitches with one lip: all of them, and with which lip best.

A resonance falls as the lip grows. So of the deviations of several resonances with one lip the largest and the smallest fall
too, and the lip with the least largest deviation without sign is the one where those two are opposite, or an end of what the
bounds and the branches allow. That lip is found for every set of branches that can come near the pitches; the tolerance only
says which of these answers are near enough.
"""

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.atlas import Atlas, Curves, ragged

_DONE_CENTS = 2e-3  # of largest and smallest deviation together: far below what a place is good for
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
    targets = atlas.curves.cents_of(targets_hz[order])
    low, high = (float(np.clip(bound, atlas.lips[0], atlas.lips[-1])) for bound in bounds_m)
    sets = _joined(atlas, [_near(atlas, float(target), tolerance_cents, low, high) for target in targets])
    hits = _best(atlas, sets, targets, tolerance_cents, low, high)
    back = np.argsort(order)
    return Hits(hits.sounds, hits.lips, hits.branches[:, back], hits.cents[:, back])


def _near(atlas: Atlas, target: float, tolerance: float, low: float, high: float) -> IndexArray:
    """Branches that come within the tolerance of a target for some lip between two knots around the bounds, growing."""
    curves = atlas.curves
    at = (np.array([low, high]) - curves.lips[0]) / curves.spacing
    first, last = max(int(at[0]), 0), min(int(np.ceil(at[1])), len(curves.lips) - 1)
    least, most = target - tolerance - 0.01, target + tolerance + 0.01
    found = []
    for begin, past in atlas.shelf.near(least, most, first, last):
        own = slice(begin, past)
        near = curves.cents[own, last] <= np.float32(most)
        near &= curves.cents[own, first] >= np.float32(least)
        near &= curves.shortest[own] <= high
        near &= curves.longest[own] >= low
        found.append(atlas.shelf.branch[own][near])
    return np.sort(np.concatenate(found)) if found else np.empty(0, dtype=np.int32)


def _joined(atlas: Atlas, near: list[IndexArray]) -> IndexArray:
    """Every set of branches of one sound, one from each of `near`, growing: shape (n, k)."""
    sets = near[0][:, None]
    for more in near[1:]:
        first = np.searchsorted(more, sets[:, -1], side="right")
        past = np.searchsorted(more, atlas.starts[atlas.sound[sets[:, 0]] + 1])
        number, at = ragged(first, np.maximum(past, first))
        sets = np.column_stack([sets[number], more[at]])
    return sets


def _best(atlas: Atlas, sets: IndexArray, targets: RealArray, tolerance: float, low: float, high: float) -> Hits:
    """For each sound the set and the lip that are best, where they are near enough."""
    # The lines that are looked at, side by side: `own` are their numbers.
    curves = atlas.curves.take(np.take(atlas.shelf.line, sets.ravel()))
    own = np.arange(sets.size).reshape(sets.shape)
    begin = np.maximum(curves.shortest[own].astype(float).max(axis=1, initial=-np.inf), low)
    end = np.minimum(curves.longest[own].astype(float).min(axis=1, initial=np.inf), high)
    there = begin <= end
    sets, own, begin, end = sets[there], own[there], begin[there], end[there]
    both = np.broadcast_to(own, (2, *own.shape))
    at_begin, at_end = curves.places(both, np.broadcast_to(np.stack([begin, end])[:, :, None], both.shape))[0] - targets
    # All fall from begin to end, so no lip between can do better than this.
    least = np.maximum(at_end.max(axis=1), -at_begin.min(axis=1))
    kept = least <= tolerance
    sets, own, begin, end = sets[kept], own[kept], begin[kept], end[kept]
    lips, cents = _balanced(curves, own, targets, (begin, end), (at_begin[kept], at_end[kept]))
    worst = np.abs(cents).max(axis=1)
    near = np.flatnonzero(worst <= tolerance)
    sounds = atlas.sound[sets[near, 0]]
    chosen = near[np.lexsort((worst[near], sounds))]
    sounds = np.sort(sounds)
    chosen = chosen[np.append(True, sounds[1:] != sounds[:-1])[: len(sounds)]]
    return Hits(atlas.sound[sets[chosen, 0]].astype(np.intp), lips[chosen], sets[chosen].astype(np.intp), cents[chosen])


def _wide(lips: RealArray, sets: IndexArray) -> RealArray:
    return np.broadcast_to(lips[:, None], sets.shape)


def _balance(cents: RealArray) -> RealArray:
    """Largest and smallest deviation together: above 0 a longer lip is better."""
    return np.asarray(cents.max(axis=1) + cents.min(axis=1))


def _balanced(
    curves: Curves,
    sets: IndexArray,
    targets: RealArray,
    ends: tuple[RealArray, RealArray],
    at_ends: tuple[RealArray, RealArray],
) -> tuple[RealArray, RealArray]:
    """The lip [m] with the least largest deviation for each set of lines, and the deviations [cents]."""
    low, high = ends[0].copy(), ends[1].copy()
    first, second = _balance(at_ends[0]), _balance(at_ends[1])
    lips = np.where(first <= 0.0, low, high)
    cents = np.where((first <= 0.0)[:, None], at_ends[0], at_ends[1])
    open_ = np.flatnonzero((first > 0.0) & (second < 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        lips[open_] = (low * second - high * first)[open_] / (second - first)[open_]
    for _ in range(_MOST_STEPS):
        own, at = sets[open_], lips[open_]
        place, slope = curves.places(own, _wide(at, own))
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
