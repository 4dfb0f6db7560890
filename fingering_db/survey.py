"""Computing the atlas of a flute: every resonance of every distinct sound, for all lips."""

import os
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.acoustics.branches import Branches, Line, branches, crossings, solve
from fingering_db.acoustics.resonance import Crossings
from fingering_db.atlas import (
    FINE,
    KNOTS,
    LINE,
    STRENGTHS,
    Atlas,
    Curves,
    Float16s,
    Floats,
    Shelf,
    part_of,
    piece_of,
    ragged,
)
from fingering_db.bands import errors
from fingering_db.model import Model, acoustic_fingerprint, only
from fingering_db.playability import strength
from fingering_db.store import Arrays, fetch, is_stored

Progress = Callable[[str, int, int], None]
"""The flute of which all that it can sound is being computed (or another word for what is being done), how much, of how much."""

_ROUGH_CENTS = 0.003
_BLOCK = 512  # sounds at a time: bounds memory


@lru_cache(maxsize=16)
def _kept(of: Model | str) -> list[Atlas]:
    """The atlas of a model, or of a key, once there is one: filled by `atlas`, for it does not depend on who is told of the
    progress. A flute with a telescoping head joint at rest has the key of the one without."""
    return []


def atlas(model: Model, progress: Progress | None = None) -> Atlas:
    """The atlas of a flute: computed on first use, which takes some seconds to minutes, then kept in the user's cache folder."""
    known = _kept(model)
    if not known:
        same = _kept(_key(model))
        if not same:
            same.append(_from_arrays(fetch(_key(model), lambda: _as_arrays(survey(model, progress)))))
        known.append(same[0])
    return known[0]


def _key(model: Model) -> str:
    return f"atlas {model.flute.slide_mm!r} {acoustic_fingerprint(model.instrument)}"


@lru_cache(maxsize=1024)
def of_one_sound(model: Model, sound: int) -> Atlas:
    """The atlas of a single sound, as its sound 0: a part of the whole flute's where that is at hand, else computed."""
    if _kept(model) or is_stored(_key(model)):
        return atlas(model).part(sound)
    alone = only(model, np.array([sound]))
    return _joined(alone, [_surveyed(alone, np.zeros(1, dtype=np.intp))])


def _as_arrays(found: Atlas) -> Arrays:
    parts = {"": found, "shelf.": found.shelf, "curves.": found.curves}
    arrays = {f"{of}{name}": np.asarray(getattr(part, name)) for of, part in parts.items() for name in _ARRAYS[of]}
    return arrays | {"curves.lines": found.curves.lines.view(np.uint8)}


def _from_arrays(stored: Arrays) -> Atlas:
    parts: dict[str, dict[str, Any]] = {
        of: {name: stored[f"{of}{name}"] for name in names} for of, names in _ARRAYS.items()
    }
    curves = parts["curves."] | {
        "base_hz": float(stored["curves.base_hz"]),
        "lines": stored["curves.lines"].view(LINE),
    }
    return Atlas(**parts[""], shelf=Shelf(**parts["shelf."]), curves=Curves(**curves))


_ARRAYS = {
    "": tuple(field.name for field in fields(Atlas) if field.name not in ("shelf", "curves")),
    "shelf.": tuple(field.name for field in fields(Shelf)),
    "curves.": tuple(field.name for field in fields(Curves)),
}


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Some sounds; arrays as in Atlas, curves in the order of their branches. by_law: the branches as Crossings with the lip
    that the law gives, or the end that is nearest."""

    starts: IndexArray
    curves: Curves
    law_cents: Floats
    law_strength: Float16s
    by_law: Crossings


def survey(model: Model, progress: Progress | None = None) -> Atlas:
    """The atlas of a flute, computed here and now."""
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 - not needed once the atlas is there

    count = len(model.reach.states)
    blocks = [np.arange(start, min(start + _BLOCK, count)) for start in range(0, count, _BLOCK)]
    done = 0
    parts: list[_Block] = []
    with ThreadPoolExecutor(min(os.cpu_count() or 1, 4)) as pool:
        for part in pool.map(lambda rows: _surveyed(model, rows), blocks):
            parts.append(part)
            done += len(part.starts) - 1
            if progress:
                progress(model.instrument.name, done, count)
    return _joined(model, parts)


def _joined(model: Model, blocks: list[_Block]) -> Atlas:
    """One atlas of all, which are used up."""
    starts: IndexArray = np.concatenate([[0], *(np.diff(block.starts) for block in blocks)]).cumsum().astype(np.int32)
    law_cents, law_strength = (
        np.concatenate([getattr(block, name) for block in blocks]) for name in ("law_cents", "law_strength")
    )
    band = _bands(model, starts, [block.by_law for block in blocks])
    curves = [block.curves for block in blocks]
    blocks.clear()
    return Atlas.of(starts, curves, law_cents, law_strength, band)


def _bands(model: Model, starts: IndexArray, by_law: list[Crossings]) -> Float16s:
    """As Atlas.own_band, of all branches."""
    row, columns = _sounds_of(starts), ("left", "hz", "slope", "resistance")
    every = Crossings(row, *(np.concatenate([getattr(one, name) for one in by_law]) for name in columns))
    return errors(model).own_cents(np.arange(len(starts) - 1), every).astype(np.float16)


def lip_knots(model: Model) -> RealArray:
    """The lips [m] of the knots: all that the law gives on the grid, and the player's range."""
    law, spare = model.flute.lip_law_m(model.grid), model.instrument.lip.spare_mm * 1e-3
    return np.linspace(law.min() - spare, law.max() + spare, KNOTS)


def _surveyed(model: Model, sounds: IndexArray) -> _Block:
    """Some rows of `reach.states`; they are its sounds 0, 1, .."""
    pressure, flow = model.pressure_and_flow(sounds)
    line = Line(pressure, flow, model.flute.lip_slope(model.grid))
    starts, curves = _places(line, lip_knots(model), float(model.grid[0]))
    curves.lines["strength"] = _strengths(model, line, starts, curves)
    cents, lip = _by_law(model, curves)
    branch, there = np.arange(len(cents)), np.isfinite(cents)
    law_strength = np.where(there, curves.strengths(branch, lip), np.nan)
    return _Block(
        starts=starts,
        curves=curves,
        law_cents=np.where(there, cents, np.nan).astype(np.float32),
        law_strength=law_strength.astype(np.float16),
        by_law=_crossings(line, curves, branch, _sounds_of(starts), lip),
    )


def _sounds_of(starts: IndexArray) -> IndexArray:
    return np.repeat(np.arange(len(starts) - 1), np.diff(starts))


def _places(line: Line, lips: RealArray, base_hz: float) -> tuple[IndexArray, Curves]:
    """First branch of each row of a line, shape (n_rows + 1,), and the curves of all, their strengths still 0."""
    needed, step = line.lips(), 1200.0 * line.growth / np.log(2.0)
    found = branches(line, needed, lips[0], lips[-1])
    x, bend = _knots(line, needed, found, lips)
    rough = _rough(line, needed, found, lips, x, bend.astype(float) / step, _ROUGH_CENTS / step)
    branch, piece = np.nonzero(rough)
    curves = Curves.of(
        base_hz,
        lips,
        (step * _fine(line, found, lips, x, branch, piece)).astype(np.float32),
        cents=(step * x).T,
        shortest=found.shortest,
        longest=found.longest,
        fine_at=np.searchsorted(branch, np.arange(len(found.row))),
        bend=bend.T,
        rough=(rough << np.arange(KNOTS - 1)).sum(axis=1),
        strength=0.0,
    )
    return np.searchsorted(found.row, np.arange(len(line.flow) + 1)).astype(np.int32), curves


def _knots(line: Line, needed: RealArray, found: Branches, lips: RealArray) -> tuple[RealArray, Float16s]:
    """Place [grid steps] and derivative [cents from knot to knot] of each branch at each knot, shape (k, n); beyond an end that
    end, and 0. A derivative near an end that knows no bounds is cut: that piece has places of its own."""
    x = np.where(lips[:, None] > found.longest, found.top, found.bottom)
    bend = np.zeros(x.shape, dtype=np.float16)
    cents = (lips[1] - lips[0]) * 1200.0 * line.growth / np.log(2.0)
    for k, lip in enumerate(lips):
        which, at = crossings(line, needed, found, float(lip))
        x[k, which] = at
        with np.errstate(divide="ignore"):
            bend[k, which] = np.clip(cents / line.at(found.row[which], at)[1], -_STEEPEST, 0.0)
    return x, bend


_STEEPEST = 6e4  # half precision ends at 65504


def _rough(
    line: Line, needed: RealArray, found: Branches, lips: RealArray, x: RealArray, bend: RealArray, most: float
) -> IndexArray:
    """Which pieces, shape (n, k - 1), need places of their own: those with an end of the branch inside, and those whose cubic is
    off by `most` [grid steps] in the middle. bend: shape (k, n) [grid steps from knot to knot], as it is kept."""
    rough = np.zeros((len(found.row), len(lips) - 1), dtype=np.intp)
    for k, lip in enumerate(0.5 * (lips[:-1] + lips[1:])):
        low, high, begins, ends = piece_of(lips, found.shortest, found.longest, np.full(len(found.row), k))
        rough[:, k] = (begins | ends) & (high > low)
        which, at = crossings(line, needed, found, float(lip))
        guess = 0.5 * (x[k] + x[k + 1]) + (bend[k] - bend[k + 1]) / 8.0
        rough[which, k] |= np.abs(guess[which] - at) > most
    return rough


def _fine(
    line: Line, found: Branches, lips: RealArray, x: RealArray, branch: IndexArray, piece: IndexArray
) -> RealArray:
    """Places [grid steps] of rough pieces, shape (n, FINE + 1), in the order of growing lips."""
    low, high, begins, ends = piece_of(lips, found.shortest[branch], found.longest[branch], piece)
    share = np.linspace(0.0, 1.0, FINE + 1)
    lip = low[:, None] + part_of(share, begins[:, None], ends[:, None]) * (high - low)[:, None]
    first, last = x[piece, branch], x[piece + 1, branch]  # the place falls as the lip grows
    shape = lip[:, 1:-1].shape
    rows = np.broadcast_to(found.row[branch][:, None], shape).ravel()
    begin, end = (np.broadcast_to(one[:, None], shape).ravel() for one in (last, first))
    inner = solve(line, rows, begin, end, lip[:, 1:-1].ravel()).reshape(shape)
    return np.column_stack([first, inner, last])


def _strengths(model: Model, line: Line, starts: IndexArray, curves: Curves) -> RealArray:
    """Strength of each branch at the knots in STRENGTHS, shape (n, len(STRENGTHS)); where it does not exist there, what it has at
    the nearest at which it does, and else what it has half-way between its ends."""
    lips = curves.lips[list(STRENGTHS)]
    found = np.full((len(curves.shortest), len(lips)), np.nan)
    every = np.arange(len(line.flow))
    branch, there = _spectrum(line, starts, curves, np.tile(every, len(lips)), np.repeat(lips, len(every)))
    found[branch, there.row // len(every)] = strength(there, model.curve)
    alone = np.flatnonzero(np.isnan(found).all(axis=1))
    shortest = np.maximum(curves.shortest[alone], curves.lips[0])
    middle = 0.5 * (shortest + np.minimum(curves.longest[alone], curves.lips[-1]))
    sound = _sounds_of(starts)[alone]
    for start in range(0, len(alone), len(every)):
        part = slice(start, start + len(every))
        branch, there = _spectrum(line, starts, curves, sound[part], middle[part])
        own = branch == alone[part][there.row]
        found[branch[own]] = strength(there, model.curve)[own, None]
    for at in range(1, len(lips)):
        found[:, at] = np.where(np.isnan(found[:, at]), found[:, at - 1], found[:, at])
    for at in range(len(lips) - 2, -1, -1):
        found[:, at] = np.where(np.isnan(found[:, at]), found[:, at + 1], found[:, at])
    return found


def _by_law(model: Model, curves: Curves) -> tuple[RealArray, RealArray]:
    """Place [cents] of each branch with the lip that the law gives for it, NaN where there is none, and that lip [m], or the
    branch's end that is nearest. The law grows with the place, and the place falls as the lip grows: one such
    place at most, found by going to and fro."""
    branch = np.arange(len(curves.shortest))
    lip = np.full(len(branch), float(curves.lips.mean()))
    for _ in range(8):
        cents, _ = curves.places(branch, lip)
        lip = model.flute.lip_law_m(curves.hz(cents))
    return np.where(curves.exists(branch, lip), cents, np.nan), np.clip(lip, curves.shortest, curves.longest).astype(
        float
    )


def _spectrum(
    line: Line, starts: IndexArray, curves: Curves, rows: IndexArray, lips: RealArray
) -> tuple[IndexArray, Crossings]:
    """All resonances of some rows of a line, each with one lip [m]: the branches, and their Crossings (row: number in rows)."""
    number, branch = ragged(starts[rows], starts[rows + 1])
    there = curves.exists(branch, lips[number])
    number, branch = number[there], branch[there]
    return branch, _crossings(line, curves, branch, number, lips[number], rows)


def _crossings(
    line: Line, curves: Curves, branch: IndexArray, number: IndexArray, lips: RealArray, rows: IndexArray | None = None
) -> Crossings:
    """Branches as Crossings. number: shape (n,), row of each in the Crossings, of `rows` of the line."""
    step = 1200.0 * line.growth / np.log(2.0)
    x = curves.places(branch, lips)[0] / step
    _, steep, resistance = line.at(number if rows is None else rows[number], x)
    left = np.clip(x.astype(np.intp), 0, line.flow.shape[1] - 2)
    # dX/dω = -(ωρ/S) dL/dω, and dω = ω growth dx; there is none at the very end of a branch
    slope = np.maximum(-line.lip_slope[0] * steep / (2.0 * np.pi * curves.base_hz * line.growth), 1e-6)
    return Crossings(number, left, curves.base_hz * np.exp(line.growth * x), slope, resistance)
