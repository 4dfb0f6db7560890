"""Computing the atlas of a flute: every resonance of every distinct sound, for all lips."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from functools import lru_cache
from typing import Any

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.acoustics.branches import Branches, Line, branches, crossings, solve
from fingering_db.acoustics.resonance import Crossings
from fingering_db.atlas import FINE, KNOTS, STRENGTHS, Atlas, part_of, piece_of
from fingering_db.bands import Errors, errors
from fingering_db.model import Model, acoustic_fingerprint, only
from fingering_db.playability import strength
from fingering_db.store import Arrays, fetch, is_stored

Progress = Callable[[str, int, int], None]
"""The flute of which all that it can sound is being computed (or another word for what is being done), how much, of how much."""

_ROUGH_CENTS = 0.003
_BLOCK = 512  # sounds at a time: bounds memory


@lru_cache(maxsize=8)
def _kept(model: Model) -> list[Atlas]:
    return []  # filled by `atlas`: what is asked for does not depend on who is told of the progress


def atlas(model: Model, progress: Progress | None = None) -> Atlas:
    """The atlas of a flute: computed on first use, which takes some seconds to minutes, then kept in the user's cache folder."""
    known = _kept(model)
    if not known:
        stored = fetch(_key(model), lambda: _as_arrays(survey(model, progress)))
        known.append(Atlas(base_hz=float(stored["base_hz"]), **{name: stored[name] for name in _ARRAYS}))
    return known[0]


def _key(model: Model) -> str:
    return f"atlas {model.flute.slide_mm!r} {acoustic_fingerprint(model.instrument)}"


@lru_cache(maxsize=1024)
def of_one_sound(model: Model, sound: int) -> Atlas:
    """The atlas of a single sound, as its sound 0: a part of the whole flute's where that is at hand, else computed."""
    if _kept(model) or is_stored(_key(model)):
        return atlas(model).part(sound)
    alone = only(model, np.array([sound]))
    return surveyed(alone, np.zeros(1, dtype=np.intp), errors(alone))


_ARRAYS = [field.name for field in fields(Atlas) if field.name != "base_hz"]


def _as_arrays(found: Atlas) -> Arrays:
    return {"base_hz": np.array(found.base_hz)} | {name: getattr(found, name) for name in _ARRAYS}


def survey(model: Model, progress: Progress | None = None) -> Atlas:
    """The atlas of a flute, computed here and now."""
    count = len(model.reach.states)
    blocks = [np.arange(start, min(start + _BLOCK, count)) for start in range(0, count, _BLOCK)]
    what = model.instrument.name
    wrong = errors(model)
    done, parts = 0, []
    with ThreadPoolExecutor(min(os.cpu_count() or 1, 4)) as pool:
        for part in pool.map(lambda rows: surveyed(model, rows, wrong), blocks):
            parts.append(part)
            done += len(part.starts) - 1
            if progress:
                progress(what, done, count)
    return _joined(parts)


def _joined(parts: list[Atlas]) -> Atlas:
    """One atlas of several, which are used up: what is joined is let go, so that nothing is held twice."""
    starts, fine_at, branch_count, fine_count = [np.zeros(1, dtype=np.int32)], [], 0, 0
    for part in parts:
        starts.append((part.starts[1:] + branch_count).astype(np.int32))
        fine_at.append((part.fine_at + fine_count).astype(np.int32))
        branch_count += len(part.shortest)
        fine_count += len(part.fine)
    kept: dict[str, Any] = {"base_hz": parts[0].base_hz, "lips": parts[0].lips}
    pieces = {
        field.name: [getattr(part, field.name) for part in parts]
        for field in fields(Atlas)
        if field.name not in ("base_hz", "lips", "starts", "fine_at")
    }
    parts.clear()
    whole: dict[str, Any] = {
        name: np.concatenate(pieces.pop(name), axis=0 if name == "fine" else -1) for name in tuple(pieces)
    }
    return Atlas(starts=np.concatenate(starts), fine_at=np.concatenate(fine_at), **kept, **whole)


def lip_knots(model: Model) -> RealArray:
    """The lips [m] of the knots: all that the law gives on the grid, and the player's range."""
    law, spare = model.flute.lip_law_m(model.grid), model.instrument.lip.spare_mm * 1e-3
    return np.linspace(law.min() - spare, law.max() + spare, KNOTS)


def surveyed(model: Model, sounds: IndexArray, errors: Errors) -> Atlas:
    """The atlas of some rows of `reach.states`; they are its sounds 0, 1, .."""
    pressure, flow = model.pressure_and_flow(sounds)
    line = Line(pressure, flow, model.flute.lip_slope(model.grid))
    half = _places(line, lip_knots(model), float(model.grid[0]))
    told = replace(half, strength=_strengths(model, line, half).astype(np.float16))
    cents, lip = _by_law(model, told)
    branch, there = np.arange(len(cents)), np.isfinite(cents)
    law_strength = np.where(there, told.strengths(branch, lip), np.nan)
    rows = told.sound_of(branch)
    band = errors.own_cents(sounds, _crossings(line, told, branch, rows, lip))
    return replace(
        told,
        law_cents=np.where(there, cents, np.nan).astype(np.float32),
        law_strength=law_strength.astype(np.float16),
        own_band=band.astype(np.float16),
    )


def _places(line: Line, lips: RealArray, base_hz: float) -> Atlas:
    """The places of an atlas of the rows of a line; the rest is empty."""
    needed, step = line.lips(), 1200.0 * line.growth / np.log(2.0)
    found = branches(line, needed, lips[0], lips[-1])
    x, bend = _knots(line, needed, found, lips)
    rough = _rough(line, needed, found, lips, x, bend, _ROUGH_CENTS / step)
    branch, piece = np.nonzero(rough)
    nothing = np.empty(0, dtype=np.float16)
    return Atlas(
        base_hz=base_hz,
        lips=lips,
        starts=np.searchsorted(found.row, np.arange(len(line.flow) + 1)).astype(np.int32),
        cents=(step * x).astype(np.float32),
        bend=(step * bend).astype(np.float32),
        shortest=found.shortest.astype(np.float32),
        longest=found.longest.astype(np.float32),
        rough=(rough << np.arange(KNOTS - 1)).sum(axis=1).astype(np.uint16),
        fine_at=np.searchsorted(branch, np.arange(len(found.row))).astype(np.int32),
        fine=(step * _fine(line, found, lips, x, branch, piece)).astype(np.float32),
        strength=nothing,
        law_cents=nothing.astype(np.float32),
        law_strength=nothing,
        own_band=nothing,
    )


def _knots(line: Line, needed: RealArray, found: Branches, lips: RealArray) -> tuple[RealArray, RealArray]:
    """Place [grid steps] and derivative [1/m] of each branch at each knot, shape (k, n); beyond an end that end, and 0."""
    x = np.where(lips[:, None] > found.longest, found.top, found.bottom)
    bend = np.zeros_like(x)
    for k, lip in enumerate(lips):
        which, at = crossings(line, needed, found, float(lip))
        x[k, which] = at
        bend[k, which] = 1.0 / line.at(found.row[which], at)[1]
    return x, bend


def _rough(
    line: Line, needed: RealArray, found: Branches, lips: RealArray, x: RealArray, bend: RealArray, most: float
) -> IndexArray:
    """Which pieces, shape (n, k - 1), need places of their own: those with an end of the branch inside, and those whose cubic is
    off by `most` [grid steps] in the middle."""
    rough = np.zeros((len(found.row), len(lips) - 1), dtype=np.intp)
    spacing = lips[1] - lips[0]
    for k, lip in enumerate(0.5 * (lips[:-1] + lips[1:])):
        low, high, begins, ends = piece_of(lips, found.shortest, found.longest, np.full(len(found.row), k))
        rough[:, k] = (begins | ends) & (high > low)
        which, at = crossings(line, needed, found, float(lip))
        guess = 0.5 * (x[k] + x[k + 1]) + spacing * (bend[k] - bend[k + 1]) / 8.0
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


def _strengths(model: Model, line: Line, atlas: Atlas) -> RealArray:
    """Strength of each branch at the knots in STRENGTHS; where it does not exist there, what it has at the nearest at which it
    does, and else what it has half-way between its ends."""
    lips = atlas.lips[list(STRENGTHS)]
    found = np.full((len(lips), len(atlas.shortest)), np.nan)
    every = np.arange(len(line.flow))
    branch, there = spectrum(line, atlas, np.tile(every, len(lips)), np.repeat(lips, len(every)))
    found[there.row // len(every), branch] = strength(there, model.curve)
    alone = np.flatnonzero(np.isnan(found).all(axis=0))
    shortest = np.maximum(atlas.shortest[alone], atlas.lips[0])
    middle = 0.5 * (shortest + np.minimum(atlas.longest[alone], atlas.lips[-1]))
    for start in range(0, len(alone), len(every)):
        part = slice(start, start + len(every))
        branch, there = spectrum(line, atlas, atlas.sound_of(alone[part]), middle[part])
        own = branch == alone[part][there.row]
        found[:, branch[own]] = strength(there, model.curve)[own]
    for at in range(1, len(lips)):
        found[at] = np.where(np.isnan(found[at]), found[at - 1], found[at])
    for at in range(len(lips) - 2, -1, -1):
        found[at] = np.where(np.isnan(found[at]), found[at + 1], found[at])
    return found


def _by_law(model: Model, atlas: Atlas) -> tuple[RealArray, RealArray]:
    """Place [cents] of each branch with the lip that the law gives for it, NaN where there is none, and that lip [m], or the
    branch's end that is nearest. The law grows with the place, and the place falls as the lip grows: one such
    place at most, found by going to and fro."""
    branch = np.arange(len(atlas.shortest))
    lip = np.full(len(branch), float(atlas.lips.mean()))
    for _ in range(8):
        cents, _ = atlas.places(branch, lip)
        lip = model.flute.lip_law_m(atlas.hz(cents))
    return np.where(atlas.exists(branch, lip), cents, np.nan), np.clip(lip, atlas.shortest, atlas.longest).astype(float)


def spectrum(line: Line, atlas: Atlas, rows: IndexArray, lips: RealArray) -> tuple[IndexArray, Crossings]:
    """All resonances of some rows of a line, each with one lip [m]: the branches, and their Crossings (row: number in rows)."""
    number, branch = atlas.all_of(rows)
    there = atlas.exists(branch, lips[number])
    number, branch = number[there], branch[there]
    return branch, _crossings(line, atlas, branch, number, lips[number], rows)


def _crossings(
    line: Line, atlas: Atlas, branch: IndexArray, number: IndexArray, lips: RealArray, rows: IndexArray | None = None
) -> Crossings:
    """Branches as Crossings. number: shape (n,), row of each in the Crossings, of `rows` of the line."""
    step = 1200.0 * line.growth / np.log(2.0)
    x = atlas.places(branch, lips)[0] / step
    _, steep, resistance = line.at(number if rows is None else rows[number], x)
    left = np.clip(x.astype(np.intp), 0, line.flow.shape[1] - 2)
    # dX/dω = -(ωρ/S) dL/dω, and dω = ω growth dx; there is none at the very end of a branch
    slope = np.maximum(-line.lip_slope[0] * steep / (2.0 * np.pi * atlas.base_hz * line.growth), 1e-6)
    return Crossings(number, left, atlas.base_hz * np.exp(line.growth * x), slope, resistance)
