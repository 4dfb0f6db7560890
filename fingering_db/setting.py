"""A flute with its telescoping head joint out. All that a flute at rest can sound is kept; for a setting nothing is: of its
sounds only those are computed that give what is asked, found by `slide_search`."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from fingering_db import survey
from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.acoustics.resonance import rising_zeros
from fingering_db.acoustics.tube import TwoPort
from fingering_db.atlas import Atlas
from fingering_db.halves import Ends, HalfTables, Halves, tabulate
from fingering_db.model import Model, grid_for
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, strength
from fingering_db.slide_search import Settings

_AT_ONCE = 4096  # sounds looked at together: bounds memory
_MARGIN_CENTS = 6.0  # what lies at the edge of the tolerance is found too: a step of the grid
_PART_CENTS = 30.0  # of a tolerance: a resonance has hardly two stretches within it
_LEAST, _MARGIN, _MOST = 64, 64, 2048
"""Sounds of which all is computed: so many more than may sound with the first lip, and at most as many as a search ranks."""
_PER_CENT, _PER_KEY = (
    0.003,
    0.02,
)  # of confidence: which are the most promising is told about as `ranking.score` tells it
_LOST_MM = 1e-6


@lru_cache(maxsize=8)
def drawn(rest: Model, slide_mm: float) -> Model:
    """The same flute, its head joint drawn out by slide_mm; what is computed for the joint at rest is shared, also how strong a
    note must be (the curve), for the chart has no notes for a joint that is out."""
    if abs(slide_mm) < _LOST_MM:
        return rest
    flute, grid = replace(rest.flute, slide_mm=slide_mm), grid_for(rest.instrument, slide_mm)
    return replace(rest, flute=flute, grid=grid, tables=tabulate(flute, rest.halves, grid))


def atlas(model: Model, progress: survey.Progress | None = None) -> Atlas:
    """As `survey.atlas`, and of a flute with its head joint out computed here and now: to be asked of a few sounds (`giving`)."""
    return _computed(model) if model.flute.slide_mm else survey.atlas(model, progress)


@lru_cache(maxsize=32)
def _computed(model: Model) -> Atlas:
    return survey.survey(model)


def giving(
    model: Model, chords: tuple[tuple[Pitch, ...], ...], tolerance_cents: float, a4_hz: float
) -> tuple[Model, int]:
    """The flute with those sounds alone that give one of the chords within the tolerance, the most promising of each where they
    are many, and how many that may sound are left out; unchanged with the joint at rest."""
    return _giving(model, chords, tolerance_cents, a4_hz) if model.flute.slide_mm else (model, 0)


@lru_cache(maxsize=32)
def _giving(
    model: Model, chords: tuple[tuple[Pitch, ...], ...], tolerance_cents: float, a4_hz: float
) -> tuple[Model, int]:
    every = [_rows(model, np.array([pitch.hz(a4_hz) for pitch in chord]), tolerance_cents) for chord in chords]
    rows, left_out = np.unique(np.concatenate([own for own, _ in every])), sum(more for _, more in every)
    rows = rows if len(rows) else np.zeros(1, dtype=np.intp)  # one that does not answer: an atlas has no room for none
    number = np.full(len(model.reach.states), -1, dtype=np.intp)
    number[rows] = np.arange(len(rows))
    (upper, upper_of), (lower, lower_of) = (
        np.unique(of[rows], return_inverse=True) for of in (model.halves.upper_of, model.halves.lower_of)
    )
    own, above, below = model.halves, model.tables.above, model.tables.below
    few = replace(
        model,
        reach=replace(model.reach, states=model.reach.states[rows], sound=number[model.reach.sound]),
        halves=Halves(own.cut, own.upper[upper], own.lower[lower], upper_of, lower_of),
        tables=HalfTables(TwoPort(*(one[upper] for one in above)), Ends(*(one[lower] for one in below))),
        easiest=model.easiest[rows],
    )
    return few, left_out


def _rows(model: Model, targets_hz: RealArray, tolerance_cents: float) -> tuple[IndexArray, int]:
    """Sounds that give the pitches, growing, and how many are left out."""
    tolerance = tolerance_cents + _MARGIN_CENTS
    rows, lips = _answering(model, targets_hz, tolerance)
    told = [_near(model, rows, lips, hz, tolerance) for hz in targets_hz]
    sure, off = np.min([one for one, _ in told], axis=0), np.max([one for _, one in told], axis=0)
    worth = sure - _PER_CENT * off - _PER_KEY * model.effort[model.easiest[rows]]
    order = np.lexsort((-worth, sure < DOUBTFUL_CONFIDENCE))
    _, first = np.unique(rows[order], return_index=True)  # of one sound with several lips the best
    order = order[np.sort(first)]
    may_sound = sure[order] >= DOUBTFUL_CONFIDENCE
    taken = min(max(int(np.count_nonzero(may_sound)) + _MARGIN, _LEAST), _MOST)
    left_out = may_sound[taken:] & (off[order[taken:]] <= tolerance_cents)
    return np.sort(rows[order[:taken]]), int(np.count_nonzero(left_out))


def _answering(model: Model, targets_hz: RealArray, tolerance: float) -> tuple[IndexArray, RealArray]:
    """Sounds that give all pitches with one lip, and that lip [m], shape (n,) each; a sound with several such lips several times.

    Each pitch is looked for in parts of its tolerance, for `Window.lips` tells one stretch of each."""
    law = model.flute.lip_law_m(targets_hz)
    spare = model.instrument.lip.spare_mm * 1e-3 if len(targets_hz) > 1 else 0.0
    bounds = float(law.min()) - spare, float(law.max()) + spare
    count = math.ceil(tolerance / _PART_CENTS)
    middles = targets_hz[:, None] * 2.0 ** (tolerance / 1200.0 * np.linspace(-1.0, 1.0, 2 * count + 1)[1::2])
    parts = [Settings.of(model, each, tolerance / count, bounds, np.zeros(1)).windows for each in middles]
    found = []
    for block in np.split(np.arange(len(model.reach.states)), range(_AT_ONCE, len(model.reach.states), _AT_ONCE)):
        rows, least, most = block, np.full(len(block), bounds[0]), np.full(len(block), bounds[1])
        for windows in parts:
            spans = [window.lips(model, rows) for window in windows]
            low = np.maximum(least, np.stack([short[:, 0] for short, _ in spans]))
            high = np.minimum(most, np.stack([long[:, 0] for _, long in spans]))
            part, which = np.nonzero(low <= high)
            rows, least, most = rows[which], low[part, which], high[part, which]
        found.append((rows, 0.5 * (least + most)))
    return np.concatenate([rows for rows, _ in found]), np.concatenate([lips for _, lips in found])


def _near(model: Model, rows: IndexArray, lips: RealArray, hz: float, tolerance: float) -> tuple[RealArray, RealArray]:
    """The surest resonance of each row near a pitch, with its lip [m]: its strength, 0 for none, and how far off it is [cents],
    shape (n,) each."""
    near = np.flatnonzero(np.abs(1200.0 * np.log2(model.grid / hz)) <= tolerance + 2.0 * _MARGIN_CENTS)
    sure, off = np.zeros(len(rows)), np.zeros(len(rows))
    if len(near) < 2:  # beyond what is computed: nothing sounds there
        return sure, off
    tables = HalfTables(
        TwoPort(*(one[:, near] for one in model.tables.above)), Ends(*(one[:, near] for one in model.tables.below))
    )
    bore = tables.impedance(model.halves.upper_of[rows], model.halves.lower_of[rows])
    found = rising_zeros(bore + 1j * model.flute.lip_slope(model.grid[near]) * lips[:, None], model.grid[near])
    strengths = strength(found, model.curve)
    order = np.argsort(strengths)
    sure[found.row[order]] = strengths[order]
    off[found.row[order]] = np.abs(1200.0 * np.log2(found.hz[order] / hz))
    return sure, off
