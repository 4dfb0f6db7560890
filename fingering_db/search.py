"""Which sounds of an atlas answer given pitches with one lip: all of them, and with which lip best.

A resonance falls as the lip grows. So of the deviations of several resonances with one lip the largest and the smallest fall
too, and the lip with the least largest deviation without sign is the one where those two are opposite, or an end of what the
bounds and the branches allow. That lip is found for every set of branches that can come near the pitches; the tolerance only
says which of these answers are near enough.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.atlas import Atlas, Curves

_DONE_SHARE, _DONE_ANGLE = 1e-3, 0.02  # of a piece, by the last of Newton's steps: what is left goes as its square
_TRIED = 1e-7  # of the angle
_MOST_STEPS = 40


@dataclass(frozen=True, slots=True)
class Hits:
    """Sounds that answer, growing, shape (n,); lips [m] and the least strength of their branches (playability.py), shape (n,);
    branches that answer each pitch and their deviations [cents], shape (n, k)."""

    sounds: IndexArray
    lips: RealArray
    strengths: RealArray
    branches: IndexArray
    cents: RealArray


def nothing(targets: int) -> Hits:
    """No answers to so many pitches."""
    no_row = np.zeros(0, dtype=np.intp)
    return Hits(no_row, np.zeros(0), np.zeros(0), np.zeros((0, targets), dtype=np.intp), np.zeros((0, targets)))


def matching(atlas: Atlas, targets_hz: RealArray, tolerance_cents: float, bounds_m: tuple[float, float]) -> Hits:
    """Every sound that has a resonance of its own within the tolerance of each target with ONE lip between the bounds, and the
    lip with the least largest deviation. targets_hz: shape (k,), any order [Hz]. Deviations are good to 0.01 cent."""
    order = np.argsort(targets_hz, kind="stable")
    targets = atlas.curves.cents_of(targets_hz[order])
    low, high = np.minimum(np.maximum(bounds_m, atlas.lips[0]), atlas.lips[-1]).tolist()
    hits = _best(atlas, targets, tolerance_cents, (low, high))
    back = np.argsort(order)
    return replace(hits, branches=hits.branches[:, back], cents=hits.cents[:, back])


def _near(atlas: Atlas, targets: list[float], tolerance: float, bounds_m: tuple[float, float]) -> list[_Lines]:
    """For each target the branches that come within the tolerance of it for some lip between two knots around the bounds, lines
    of the shelf, and their sounds; most of those with none near another target are left out."""
    curves, shelf, (low, high) = atlas.curves, atlas.shelf, bounds_m
    first = max(int((low - curves.lips[0]) / curves.spacing), 0)
    last = min(math.ceil((high - curves.lips[0]) / curves.spacing), len(curves.lips) - 1)
    bounds = [(target - tolerance - 0.01, target + tolerance + 0.01) for target in targets]
    stretches = [shelf.near(*bound, first, last) for bound in bounds]
    sounds = [np.concatenate([shelf.sound[:0], *(shelf.sound[one] for one in own)], dtype=np.intp) for own in stretches]
    common = np.ones(len(atlas.starts) - 1, dtype=bool)
    for own in sorted(sounds, key=len):
        known, common = common, np.zeros(len(common), dtype=bool)
        common[own[known[own]]] = True
    found = []
    for part, sound, (least, most) in zip(stretches, sounds, bounds, strict=True):
        which = np.flatnonzero(common[sound])
        line = np.concatenate([which[:0], *(np.arange(one.start, one.stop) for one in part)])[which]
        near = curves.at_knot(last, line) <= np.float32(most)
        near &= curves.at_knot(first, line) >= np.float32(least)
        near &= (curves.shortest[line] <= high) & (curves.longest[line] >= low)
        at = np.flatnonzero(near)
        found.append((line[at], sound[which[at]]))
    return found


_Lines: TypeAlias = tuple[IndexArray, IndexArray]


def _joined(near: list[_Lines], branch: IndexArray, count: int) -> tuple[IndexArray, IndexArray]:
    """Every set of branches of one of so many sounds, one from each of `near`: their lines, and the branches, growing; both of
    shape (k, n), in the order of the branches. branch: of each line."""
    there = np.zeros(count, dtype=bool)
    there[near[0][1]] = True
    sounds = np.flatnonzero(there)
    sets, several = np.empty((0, len(sounds)), dtype=np.intp), False
    for line, sound in near:
        which: list[IndexArray] = []
        lines: list[IndexArray] = []
        left = np.arange(len(line))
        while len(left) or not which:
            table = np.zeros(count, dtype=np.int32)
            table[sound[left]] = left + 1
            found = table[sounds]
            which.append(np.flatnonzero(found))
            lines.append(line[found[which[-1]] - 1])
            left = left[table[sound[left]] != left + 1]  # of sounds with several branches near one pitch
        several |= len(which) > 1
        every = np.concatenate(which)
        sounds, sets = sounds[every], np.concatenate([sets[:, every], np.concatenate(lines)[None]])
    branches = branch[sets]
    order = np.lexsort(branches[::-1]) if several else np.arange(len(sounds))
    order = order[(branches[1:, order] > branches[:-1, order]).all(axis=0)]
    return sets[:, order], branches[:, order]


@dataclass(frozen=True, slots=True, eq=False)
class _Sets:
    """Sets of k branches, n of them. curves: k n lines, those for one pitch after those for another. targets: shape (k, 1)
    [cents]. begin, end: shape (n,), the lips [m] between which all branches of a set are; begin > end where there are none."""

    curves: Curves
    targets: RealArray
    begin: RealArray
    end: RealArray

    @classmethod
    def of(cls, curves: Curves, lines: IndexArray, targets: RealArray, bounds: tuple[float, float]) -> _Sets:
        """Of lines, shape (k, n), for targets, shape (k,), and lips between the bounds."""
        own = np.take(curves.lines, lines)
        begin = np.maximum(own["shortest"].max(axis=0).astype(float), bounds[0])
        end = np.minimum(own["longest"].min(axis=0).astype(float), bounds[1])
        return cls(replace(curves, lines=own.reshape(-1)), targets[:, None], begin, end)

    @property
    def lines(self) -> IndexArray:
        """Their numbers, shape (k, n)."""
        return np.arange(len(self.curves.lines)).reshape(len(self.targets), -1)

    def piece(self) -> IndexArray:
        """The piece in which the balance changes sign, as if branches went on as they end; or that at an end."""
        curves = self.curves
        cents = curves.cents.reshape(len(self.targets), -1, len(curves.lips))
        below = _balance(cents - self.targets[:, :, None].astype(np.float32)) <= 0.0
        last = np.where(below[:, -1], below.argmax(axis=1), len(curves.lips)) - 1
        return np.asarray(np.minimum(np.maximum(last, curves.piece_at(self.begin)), curves.piece_at(self.end)))

    def strengths(self, lips: RealArray) -> RealArray:
        """The least of each, with these lips [m]."""
        return np.asarray(self.curves.strengths(self.lines, lips).min(axis=0))


def _best(atlas: Atlas, targets: RealArray, tolerance: float, bounds: tuple[float, float]) -> Hits:
    """As `matching`; targets growing [cents]."""
    near = _near(atlas, targets.tolist(), tolerance, bounds)
    lines, branches = _joined(near, atlas.shelf.branch, len(atlas.starts) - 1)
    cents, (lips, strengths) = np.empty(lines.shape), np.empty((2, lines.shape[1]))
    open_ = np.empty(len(lips), dtype=bool)
    for start in range(0, len(lips), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        sets = _Sets.of(atlas.curves, lines[:, some], targets, bounds)
        lips[some], cents[:, some], open_[some] = _balanced(sets)
        strengths[some] = sets.strengths(lips[some])
    left = np.flatnonzero(open_)
    if len(left):
        sets = _Sets.of(atlas.curves, lines[:, left], targets, bounds)
        lips[left], cents[:, left] = _settled(sets, lips[left])
        strengths[left] = sets.strengths(lips[left])
    worst = np.abs(cents).max(axis=0)
    hits = np.flatnonzero(worst <= tolerance)
    hits = hits[_first_least(atlas.sound[branches[0, hits]], worst[hits])]
    return Hits(
        atlas.sound[branches[0, hits]].astype(np.intp),
        lips[hits],
        strengths[hits],
        branches[:, hits].T.astype(np.intp),
        cents[:, hits].T,
    )


_AT_ONCE = 1 << 12  # sets: what is worked with stays near the processor


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


def _balanced(sets: _Sets) -> tuple[RealArray, RealArray, BoolArray]:
    """The lip [m] with the least largest deviation for each set, shape (n,), and the deviations [cents], shape (k, n), as if all
    branches were cubics and there were two of them at most; and where that is not so, or not good enough."""
    curves, lines, piece = sets.curves, sets.lines, sets.piece()
    (c0, *bend), rough = curves.cubics(lines, piece)
    cents, first = c0 - sets.targets, curves.lips[piece]
    least, most = ((bound - first) / curves.spacing for bound in (sets.begin, sets.end))
    c0, c1, c2, c3 = (_balance(one) for one in (cents, *bend))
    least, most = np.maximum(least, 0.0), np.minimum(most, 1.0)
    known = t = np.minimum(np.maximum(c0 / np.maximum(-c1 - c2 - c3, 1e-9), least), most)
    for _ in range(2):
        steep = np.minimum(c1 + t * (2.0 * c2 + 3.0 * t * c3), -1e-9)
        known, t = t, np.minimum(np.maximum(t - (c0 + t * (c1 + t * (c2 + t * c3))) / steep, least), most)
    cents += t * (bend[0] + t * (bend[1] + t * bend[2]))
    open_ = (np.abs(t - known) > _DONE_SHARE) | (len(lines) > 2)
    open_[rough[-1]] = True
    none = sets.begin > sets.end
    cents[:, none] = np.inf
    return np.minimum(np.maximum(first + curves.spacing * t, sets.begin), sets.end), cents, open_ & ~none


def _settled(sets: _Sets, lips: RealArray) -> tuple[RealArray, RealArray]:
    """Lips and deviations of sets, step by step from these lips: Newton, and half-way where that leads astray. In an angle that
    tells the lip, for near its end a place goes as a root of the lip."""
    piece = sets.piece()
    pieces = sets.curves.pieces(sets.lines, piece)
    low, high = np.maximum(sets.begin, pieces.begin), np.minimum(sets.end, sets.curves.lips[piece + 1])
    half = 0.5 * np.maximum(high - low, 1e-12)
    angle = np.arccos(np.minimum(np.maximum(1.0 - (lips - low) / half, -1.0), 1.0))
    least, most = np.zeros(len(half)), np.full(len(half), np.pi)
    for _ in range(_MOST_STEPS):
        place, slope = pieces.at(low + half * (1.0 - np.cos(angle)))
        off = place - sets.targets
        slope *= half * np.sin(angle)
        above = (balance := _balance(off)) > 0.0
        # An end that was tried is no end any longer.
        least = np.where(above, np.maximum(angle, _TRIED), least)
        most = np.where(above, most, np.minimum(angle, np.pi - _TRIED))
        with np.errstate(divide="ignore", invalid="ignore"):
            better = angle - balance / (_balance(slope) if len(off) < 3 else _slope_of_balance(off, slope))
        fixed = most - least <= _TRIED
        last = np.where(~fixed & (better >= least) & (better <= most), better, angle)
        if (fixed | (np.abs(better - angle) <= _DONE_ANGLE)).all():
            break
        # Beyond a bound: the bound itself if it was not tried, else half-way.
        middle = 0.5 * (least + most)
        better = np.where(better > most, np.where(most == np.pi, np.pi, middle), better)
        better = np.where(better < least, np.where(least == 0.0, 0.0, middle), better)
        angle = np.where(fixed, angle, np.where(np.isfinite(better), better, middle))
    return np.minimum(low + half * (1.0 - np.cos(last)), high), off + slope * (last - angle)


def _slope_of_balance(off: RealArray, slope: RealArray) -> RealArray:
    every = np.arange(off.shape[1])
    return np.asarray(slope[off.argmax(axis=0), every] + slope[off.argmin(axis=0), every])
