"""Everything a flute can do at once: each set of two or three resonances of each sound that are expected to sound together.

The lip of a set is the one half-way (mean) between what the law has for its lowest and its highest note: nothing is asked, so
nothing draws it nearer to one of them. Left out are sets that are heard as one note and its harmonics, those with notes nearer to
each other than about a semitone, and those with another resonance between their notes that is expected to sound: published sets
are neighbours among what plays (Wolfe, Smith, Tann & Fletcher 2001, JSV 243:127, supplement; a pair around a third note that
plays too is listed with it). Sounds are looked at in batches, so that memory does not grow with their number. A *cell* is a set
to the nearest quarter-tone: its lowest note, and the intervals."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.atlas import Atlas, ragged
from fingering_db.fingering import Fingering
from fingering_db.model import Model, highest_hz
from fingering_db.playability import PLAYABLE_CONFIDENCE
from fingering_db.ranking import EFFORT_WEIGHT, bands_of, heard_as_one
from fingering_db.shifts import stands_at
from fingering_db.survey import Progress, atlas

SIZES = (2, 3)
"""Notes of a set: players report pairs, and few triples."""
Cell = tuple[int, ...]
"""Lowest note [quarter-tones from A4], then the interval to each next note [quarter-tones]."""

_BATCH = 2000  # sounds at a time: some ten megabytes


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Sets of one size. sounds: shape (n,), rows of `reach.states`; lips: shape (n,) [m]; branches: shape (n, k), of the
    atlas; hz: shape (n, k), low to high [Hz];
    confidence, ease: shape (n,), 0..1, the latter less what the easiest fingering costs the hand; cells: shape (n, k)."""

    sounds: IndexArray
    lips: RealArray
    branches: IndexArray
    hz: RealArray
    confidence: RealArray
    ease: RealArray
    cells: IndexArray

    def only(self, chosen: BoolArray) -> Batch:
        return Batch(*(getattr(self, each.name)[chosen] for each in fields(self)))


@dataclass(frozen=True, slots=True)
class Multiphonic:
    """The easiest of all fingerings that sound a cell. hz: of its notes [Hz], each uncertain by ± band_cents; confidence, ease:
    0..1 (`Batch`); lip_mm: equivalent length; sounds: how many different sounds of the flute give this cell. pattern: that can be
    moved along the tube, '' for none; place: where it stands."""

    cell: Cell
    hz: tuple[float, ...]
    band_cents: tuple[float, ...]
    confidence: float
    ease: float
    fingering: Fingering
    lip_mm: float
    sounds: int
    pattern: str
    place: str


def batches(
    model: Model,
    least: float = PLAYABLE_CONFIDENCE,
    between_hz: tuple[float, float] = (0.0, np.inf),
    progress: Progress | None = None,
) -> Iterator[Batch]:
    """Every set with at least this confidence whose notes all lie between two frequencies [Hz], in the order of sounds."""
    every = atlas(model, progress)
    count = len(every.starts) - 1
    low, high = max(between_hz[0], float(model.grid[0])), min(between_hz[1], highest_hz(model.instrument))
    for first in range(0, count, _BATCH):
        sounds = np.arange(first, min(first + _BATCH, count))
        for size in SIZES:
            found = _expected(model, every, _sets(every, sounds, size, least, (low, high)), least)
            yield found.only((found.hz[:, 0] >= low) & (found.hz[:, -1] <= high))
        if progress:
            progress(model.instrument.name, int(sounds[-1]) + 1, count)


def _sets(
    every: Atlas, sounds: IndexArray, size: int, least: float, between_hz: tuple[float, float]
) -> tuple[IndexArray, IndexArray]:
    """(sound, branches of shape (n, size)) of all sets of resonances that are each sure enough and within the bounds."""
    number, branch = every.all_of(sounds)
    cents, strength = _alone(every, branch)
    hz = every.hz(cents)
    # With the lip of a set a resonance moves and may become surer: some room below what is asked.
    there = (strength >= least - _ROOM) & (hz >= between_hz[0] * _WIDER) & (hz <= between_hz[1] / _WIDER)
    number, branch = number[there], branch[there]
    edges = np.searchsorted(number, np.arange(len(sounds) + 1))
    chosen = np.arange(len(branch))[:, None]
    for _ in range(size - 1):
        last = chosen[:, -1]
        which, more = ragged(last + 1, edges[number[last] + 1])
        chosen = np.column_stack([chosen[which], more])
    return sounds[number[chosen[:, 0]]], branch[chosen]


def _alone(every: Atlas, branch: IndexArray) -> tuple[RealArray, RealArray]:
    """Place [cents] and strength of branches by the law, shape of branch; with a lip in their midst where the law has none."""
    cents, strength = every.law_cents[branch].astype(float), every.law_strength[branch].astype(float)
    none, lips, line = ~np.isfinite(cents), every.lips, every.shelf.line[branch]
    ends = (every.curves.shortest[line], every.curves.longest[line])
    low, high = (np.clip(end.astype(float), lips[0], lips[-1]) for end in ends)
    middle = 0.5 * (low + high)
    cents[none] = every.places(branch[none], middle[none])[0]
    strength[none] = every.strengths(branch[none], middle[none])
    return cents, strength


_CLOSEST = 2  # quarter-tones: notes nearer than about a semitone are taken to lock to one (ours)
_ROOM = 0.15  # of strength
_WIDER = 0.96  # 70 cents


def _expected(model: Model, every: Atlas, sets: tuple[IndexArray, IndexArray], least: float) -> Batch:
    sounds, branches = sets
    law = every.hz(_alone(every, branches)[0])
    lips = model.flute.lip_law_m(law[:, [0, -1]]).mean(axis=1)
    wide = np.broadcast_to(lips[:, None], branches.shape)
    there = every.exists(branches, wide).all(axis=1) & (every.strengths(branches, wide).min(axis=1) >= least)
    there[there] = ~_skips(every, branches[there], lips[there])
    sounds, branches, lips, wide = sounds[there], branches[there], lips[there], wide[there]
    confidence = every.strengths(branches, wide).min(axis=1, initial=1.0)
    hz = every.hz(every.places(branches, wide)[0])
    ease = np.clip(confidence - EFFORT_WEIGHT * model.effort[model.easiest[sounds]], 0.0, 1.0)
    found = Batch(sounds, lips, branches, hz, confidence, ease, _cells(hz))
    found = found.only((confidence >= least) & (found.cells[:, 1:] >= _CLOSEST).all(axis=1))
    return found.only(~_one_note(every, found))


def _skips(every: Atlas, branches: IndexArray, lips: RealArray) -> BoolArray:
    """Whether another resonance that is expected to sound lies between the lowest and the highest of each set, shape (n,)."""
    number, between = ragged(branches[:, 0], branches[:, -1])
    rival = ~(between[:, None] == branches[number]).any(axis=1) & every.exists(between, lips[number])
    number, between = number[rival], between[rival]
    strong = every.strengths(between, lips[number]) >= PLAYABLE_CONFIDENCE
    return np.asarray(np.bincount(number, strong, len(branches)) > 0.0)


def _cells(hz: RealArray) -> IndexArray:
    quarter = np.round(24.0 * np.log2(hz / 440.0)).astype(np.intp)
    return np.asarray(np.column_stack([quarter[:, :1], np.diff(quarter, axis=1)]))


def _one_note(every: Atlas, found: Batch) -> BoolArray:
    number, branch = every.all_of(found.sounds)
    there = every.exists(branch, found.lips[number])
    number, branch = number[there], branch[there]
    harmonic = heard_as_one(found.hz[number], every.hz(every.places(branch, found.lips[number])[0]))
    one = np.zeros(len(found.sounds), dtype=bool)
    one[number[harmonic]] = True
    return one


@dataclass(slots=True, eq=False)
class _Best:
    ease: float
    sounds: int
    sound: int
    lip: float
    branches: tuple[int, ...]
    confidence: float


def best_of_cells(
    model: Model, found: Iterator[Batch], on_batch: Callable[[Batch], None] | None = None
) -> tuple[Multiphonic, ...]:
    """For each cell its easiest multiphonic; low notes first, then close intervals. on_batch: shown every batch on the way."""
    best: dict[Cell, _Best] = {}
    for batch in found:
        if on_batch:
            on_batch(batch)
        _take(best, batch)
    every = atlas(model)
    return tuple(_listed(model, every, cell, best[cell]) for cell in sorted(best, key=lambda one: (len(one), one)))


def _take(best: dict[Cell, _Best], batch: Batch) -> None:
    order = np.lexsort((-batch.ease, *batch.cells.T[::-1]))
    cells = batch.cells[order]
    first = np.flatnonzero(np.append(True, (cells[1:] != cells[:-1]).any(axis=1))[: len(cells)])
    for start, past in itertools.pairwise([*first.tolist(), len(cells)]):
        at, cell = order[start], tuple(cells[start].tolist())
        before = best.get(cell)
        count = past - start + (before.sounds if before else 0)
        if before is None or batch.ease[at] > before.ease:
            best[cell] = _Best(
                float(batch.ease[at]), count, int(batch.sounds[at]), float(batch.lips[at]),
                tuple(batch.branches[at].tolist()), float(batch.confidence[at]),
            )  # fmt: skip
        else:
            before.sounds = count


def _listed(model: Model, every: Atlas, cell: Cell, one: _Best) -> Multiphonic:
    branches = np.array(one.branches)
    lips = np.full(len(branches), one.lip)
    fingering = model.reach.fingering(int(model.easiest[one.sound]))
    pattern, place = stands_at(fingering, model.instrument)
    return Multiphonic(
        cell=cell,
        hz=tuple(every.hz(every.places(branches, lips)[0]).tolist()),
        band_cents=tuple(bands_of(model, every, branches, lips).tolist()),
        confidence=one.confidence,
        ease=one.ease,
        fingering=fingering,
        lip_mm=one.lip * 1e3,
        sounds=one.sounds,
        pattern=pattern,
        place=place,
    )
