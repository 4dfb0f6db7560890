"""Which sounds of an atlas answer given pitches with one lip: all of them, and with which lip best.

A resonance falls as the lip grows. So of the deviations of several resonances with one lip the largest and the smallest fall
too, and the lip with the least largest deviation without sign is the one where those two are opposite, or an end of what the
bounds and the branches allow. That lip is found for every set of branches that can come near the pitches; the tolerance only
says which of these answers are near enough.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.atlas import Atlas, Curves, ragged
from fingering_db.store import let_go

# Of largest and smallest deviation together: what is left to a step by the slopes, which is then good to far less.
_DONE_CENTS, _DONE_ROUGH_CENTS = 0.1, 0.02
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
    low, high = np.minimum(np.maximum(bounds_m, atlas.lips[0]), atlas.lips[-1]).tolist()
    sets = _joined(atlas, _near(atlas, targets.tolist(), tolerance_cents, low, high))
    let_go()
    hits = _best(atlas, sets, targets, tolerance_cents, low, high)
    back = np.argsort(order)
    return Hits(hits.sounds, hits.lips, hits.branches[:, back], hits.cents[:, back])


def _near(atlas: Atlas, targets: list[float], tolerance: float, low: float, high: float) -> list[IndexArray]:
    """For each target the branches that come within the tolerance of it for some lip between two knots around the bounds,
    growing; of sounds alone that have some for each."""
    curves, shelf = atlas.curves, atlas.shelf
    first = max(int((low - curves.lips[0]) / curves.spacing), 0)
    last = min(math.ceil((high - curves.lips[0]) / curves.spacing), len(curves.lips) - 1)
    bounds = [(target - tolerance - 0.01, target + tolerance + 0.01) for target in targets]
    lines = [_every(shelf.near(*bound, first, last)) for bound in bounds]
    if len(lines) > 1:
        lines = _of_common_sounds(shelf.sound, len(atlas.starts) - 1, lines)
    found = []
    for own, (least, most) in zip(lines, bounds, strict=True):
        near = curves.cents[own, last] <= np.float32(most)
        near &= curves.cents[own, first] >= np.float32(least)
        near &= curves.shortest[own] <= high
        near &= curves.longest[own] >= low
        found.append(np.sort(shelf.branch[own[near]]))
    return found


def _every(stretches: list[tuple[int, int]]) -> IndexArray:
    return np.concatenate([np.empty(0, dtype=np.intp), *(np.arange(begin, past) for begin, past in stretches)])


def _of_common_sounds(sound: IndexArray, count: int, lines: list[IndexArray]) -> list[IndexArray]:
    """Those lines whose sound, shape (n_lines,), has a line in each of them."""
    sounds = [sound[own] for own in lines]
    common = np.ones(count, dtype=bool)
    for own in sorted(sounds, key=len):
        known, common = common, np.zeros(count, dtype=bool)
        common[own[known[own]]] = True
    return [each[common[own]] for each, own in zip(lines, sounds, strict=True)]


def _joined(atlas: Atlas, near: list[IndexArray]) -> IndexArray:
    """Every set of branches of one sound, one from each of `near`, growing: shape (k, n)."""
    sets = near[0][None]
    for more in near[1:]:
        past = np.bincount(atlas.sound[more], minlength=len(atlas.starts) - 1).cumsum()
        sound = atlas.sound[sets[0]]
        number, at = ragged(np.where(sound > 0, past[sound - 1], 0), past[sound])
        growing = np.flatnonzero(more[at] > sets[-1, number])
        sets = np.concatenate([sets[:, number[growing]], more[None, at[growing]]])
    return sets


def _best(atlas: Atlas, sets: IndexArray, targets: RealArray, tolerance: float, low: float, high: float) -> Hits:
    """For each sound the set and the lip that are best, where they are near enough."""
    lines = np.take(atlas.shelf.line, sets)
    begin = np.maximum(atlas.curves.shortest[lines].max(axis=0, initial=-np.inf).astype(float), low)
    end = np.minimum(atlas.curves.longest[lines].min(axis=0, initial=np.inf).astype(float), high)
    there = np.flatnonzero(begin <= end)
    sets, lines, begin, end = sets[:, there], lines[:, there], begin[there], end[there]
    lips, cents = np.empty(len(there)), np.empty(sets.shape)
    for start in range(0, len(there), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        curves = atlas.curves.take(lines[:, some].reshape(-1))
        lips[some], cents[:, some] = _balanced(curves, targets[:, None], begin[some], end[some])
    worst = np.abs(cents).max(axis=0, initial=0.0)
    near = np.flatnonzero(worst <= tolerance)
    near = near[_first_least(atlas.sound[sets[0, near]], worst[near])]
    chosen = sets[:, near]
    return Hits(atlas.sound[chosen[0]].astype(np.intp), lips[near], chosen.T.astype(np.intp), cents[:, near].T)


_AT_ONCE = 1 << 14  # sets: what is worked with stays near the processor


def _first_least(sounds: IndexArray, worst: RealArray) -> IndexArray:
    """Of each sound the entry with the least `worst`, the first of equal ones; sounds: shape (n,), growing."""
    first = np.flatnonzero(np.append(True, sounds[1:] != sounds[:-1])[: len(sounds)])
    if len(first) == len(sounds):
        return first
    number = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(sounds))))
    least = np.flatnonzero(worst == np.minimum.reduceat(worst, first)[number])
    return np.asarray(least[np.append(True, number[least][1:] != number[least][:-1])])


def _balance(cents: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Largest and smallest deviation together, of shape (k, ..): above 0 a longer lip is better."""
    if len(cents) < 3:
        return np.asarray(cents[0] + cents[-1])
    return np.asarray(cents.max(axis=0) + cents.min(axis=0))


def _guessed(curves: Curves, targets: RealArray) -> RealArray:
    """The lip [m] that is about best: between the two knots at which the balance changes sign; as if branches went on as they
    end, and straight from knot to knot, or for one or two pitches on the cubics."""
    cents = curves.cents.reshape(len(targets), -1, len(curves.lips))
    at_knots = _balance(cents - targets[:, :, None].astype(np.float32))
    above = (at_knots > 0.0).astype(np.float32) @ np.ones(len(curves.lips), dtype=np.float32)
    piece = np.minimum(np.maximum(above.astype(np.intp) - 1, 0), len(curves.lips) - 2)
    first = np.arange(len(piece)) * len(curves.lips) + piece
    here, after = (at_knots.reshape(-1)[one].astype(float) for one in (first, first + 1))
    fall = np.maximum(here - after, 1e-9)
    t = here / fall
    if len(targets) < 3:
        line = np.arange(len(curves.lines)).reshape(len(targets), -1)
        bend = curves.lines["bend"]
        d1, d2 = (_balance(bend[line, one].astype(float)) for one in (piece, piece + 1))
        c3 = d1 + d2 + 2.0 * fall
        c2 = -fall - d1 - c3
        for _ in range(2):
            steep = np.minimum(d1 + t * (2.0 * c2 + 3.0 * t * c3), -1e-9)
            t = np.minimum(np.maximum(t - (here + t * (d1 + t * (c2 + t * c3))) / steep, 0.0), 1.0)
    return np.asarray(curves.lips[piece] + curves.spacing * t)


def _balanced(curves: Curves, targets: RealArray, begin: RealArray, end: RealArray) -> tuple[RealArray, RealArray]:
    """The lip [m] with the least largest deviation for each set of lines between begin and end, shape (n,), and the deviations
    [cents], shape (k, n). curves: k n lines, those of one target after those of another."""
    low, high = begin.copy(), end.copy()
    # Ends at which it is not known yet whether a lip beyond would be better.
    low_open, high_open = np.ones(len(low), dtype=bool), np.ones(len(high), dtype=bool)
    sets = np.arange(len(curves.lines)).reshape(len(targets), -1)
    lips = np.minimum(np.maximum(_guessed(curves, targets), low), high)
    cents, open_ = np.empty(sets.shape), np.arange(len(low))
    for _ in range(_MOST_STEPS):
        own, at = sets[:, open_], lips[open_]
        place, slope, rough = curves.places_and_rough(own, np.broadcast_to(at, own.shape))
        off = place - targets
        balance = _balance(off)
        above = balance > 0.0
        low[open_[above]], low_open[open_[above]] = at[above], False
        high[open_[~above]], high_open[open_[~above]] = at[~above], False
        steep = _balance(slope) if len(own) < 3 else _slope_of_balance(off, slope)
        with np.errstate(divide="ignore", invalid="ignore"):
            better = at - balance / steep
        least, most = low[open_], high[open_]
        fixed = most - least <= 1e-9
        done = fixed | (np.abs(balance) <= np.where(rough.any(axis=0), _DONE_ROUGH_CENTS, _DONE_CENTS))
        inside = (better >= least) & (better <= most)
        last = np.where(fixed | ~inside, at, better)
        lips[open_] = last
        cents[:, open_] = off + slope * (last - at)
        left = np.flatnonzero(~done)
        if not len(left):
            break
        # Beyond a bound: the bound itself if it was not tried, else half-way.
        middle = 0.5 * (least + most)
        better = np.where(better > most, np.where(high_open[open_], most, middle), better)
        better = np.where(better < least, np.where(low_open[open_], least, middle), better)
        better = np.where(np.isfinite(better), better, middle)
        open_ = open_[left]
        lips[open_] = better[left]
    return lips, cents


def _slope_of_balance(off: RealArray, slope: RealArray) -> RealArray:
    every = np.arange(off.shape[1])
    return np.asarray(slope[off.argmax(axis=0), every] + slope[off.argmin(axis=0), every])
