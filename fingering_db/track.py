"""Following resonances while the flute changes: each step starts from the last, so that no resonance is mistaken for
another."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, ComplexArray, IndexArray, RealArray, StateArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.acoustics.tube import TwoPort, Wave
from fingering_db.mechanism import PERFORATION, SHUT
from fingering_db.model import Model
from fingering_db.sounding import Flute, HoleElement, carried

LOST_CENTS = 25.0  # a resonance that moves farther in one step is not the same any more: ours; steps move a few cents


@dataclass(frozen=True, slots=True)
class Stage:
    """The flute at one moment of a glide. states: shape (n_holes,). slide_mm: as in Flute. open: (hole index, fraction
    of its perforation that is open, 0 to 1), for holes that a finger is just rolling off."""

    states: StateArray
    slide_mm: float = 0.0
    open: tuple[tuple[int, float], ...] = ()

    def row(self) -> StateArray:
        """States with the rolling holes as perforations (shut where nothing is open), shape (1, n_holes)."""
        states = self.states.copy()
        for index, fraction in self.open:
            states[index] = PERFORATION if fraction > 0.0 else SHUT
        return states[None, :]


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """The tube of a flute on its model's grid, shape (m,), piece by piece. tubes: the plain tube before each hole, None where
    there is none; before the first hole it hangs on the head joint. end: admittance just below the last hole."""

    elements: tuple[HoleElement, ...]
    tubes: tuple[TwoPort | None, ...]
    cone: TwoPort
    wave: Wave
    cavity: ComplexArray
    end: ComplexArray

    def within(self, part: slice) -> "_Pieces":
        """The same on a part of the grid."""

        def cut(one: TwoPort) -> TwoPort:
            return TwoPort(*(entry[part] for entry in one))

        elements = tuple(HoleElement(one.half_series[:, part], one.shunt[:, part]) for one in self.elements)
        wave = Wave(*(entry[part] for entry in self.wave))
        tubes = tuple(tube and cut(tube) for tube in self.tubes)
        return _Pieces(elements, tubes, cut(self.cone), wave, self.cavity[part], self.end[part])


@lru_cache(maxsize=8)
def _pieces(model: Model) -> _Pieces:
    flute, grid = Flute(model.instrument), model.grid
    wave = flute.body_wave(grid)
    tubes = (wave.along(length) if length > 0.0 else None for length in flute.spacing_m()[1:-1])
    ends = flute.cavity_admittance(grid), flute.end_admittance(grid)
    return _Pieces(flute.elements(grid), (None, *tubes), flute.cone(grid), wave, *ends)


def sweep(model: Model, stages: Sequence[Stage]) -> ComplexArray:
    """Bore impedance on the model's grid at each stage, shape (n_stages, m) [Pa s/m³].

    What is alike at all stages, from some hole down to the end and from the first hole down to another, is worked out once,
    equal stages too."""
    return _swept(model, _pieces(model), stages)


def _swept(model: Model, pieces: _Pieces, stages: Sequence[Stage]) -> ComplexArray:
    keys = [(stage.states.tobytes(), stage.slide_mm, stage.open) for stage in stages]
    numbers = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    distinct = list(dict(zip(keys, stages, strict=True)).values())
    return np.asarray(_each_swept(model, pieces, distinct)[[numbers[key] for key in keys]])


def _each_swept(model: Model, pieces: _Pieces, stages: Sequence[Stage]) -> ComplexArray:
    states = np.concatenate([stage.row() for stage in stages])
    rolling = {index for stage in stages for index, _ in stage.open}
    changing = rolling.union(np.flatnonzero((states != states[0]).any(axis=0)).tolist())
    top, bottom = min(changing, default=0), max(changing, default=-1)
    load = pieces.end[None, :]
    for index in range(len(pieces.elements) - 1, top - 1, -1):
        own = states[:, index] if index <= bottom else states[:1, index]
        element = pieces.elements[index]
        half, shunt = element.half_series[own], element.shunt[own]
        if index in rolling:
            shares = tuple(dict(stage.open).get(index, 0.0) for stage in stages)
            part = np.flatnonzero(np.array(shares) > 0.0)
            shunt[part] = _partly_open(model, index, tuple(share for share in shares if share > 0.0))
        load = carried(load, half, shunt)
        tube = pieces.tubes[index] if index > top else None
        load = load if tube is None else tube.admittance(load)
    slides = tuple(stage.slide_mm for stage in stages)
    above = _above(model, pieces, tuple(states[0, :top].tolist()), slides[: 1 if len(set(slides)) == 1 else None])
    return np.asarray(1.0 / (pieces.cone.admittance(above.admittance(load)) + pieces.cavity))


@lru_cache(maxsize=8)  # up to a megabyte each
def _above(model: Model, pieces: _Pieces, states: tuple[int, ...], slides_mm: tuple[float, ...]) -> TwoPort:
    """From the taper's end down past holes in these states, the joint drawn out; entries of shape (n_slides, m)."""
    found = pieces.wave.along(Flute(model.instrument).spacing_m()[0] + np.array(slides_mm)[:, None] * 1e-3)
    for index, state in enumerate(states):
        below = pieces.tubes[index + 1]
        found = found.then(pieces.elements[index].two_port(np.array([state])))
        found = found if below is None else found.then(below)
    return found


@lru_cache(maxsize=64)  # fingers roll off their holes in the same steps
def _partly_open(model: Model, index: int, shares: tuple[float, ...]) -> ComplexArray:
    """Shunt admittances of a hole whose perforation is open by these shares, above 0, shape (n, m)."""
    hole = model.instrument.holes[index]
    sizes = hole.perforation_mm * np.maximum(shares, 1e-6) ** 0.5
    return Flute(model.instrument).perforated(model.grid, hole, sizes)


def lost_at_once(model: Model, begun: Sequence[tuple[Stage, Stage]], hz: RealArray, lips_m: RealArray) -> BoolArray:
    """Of some ways whether a resonance is lost between their first two stages, shape (n,): as `follow` tells it, by the part of
    the grid that lies around these resonances. hz: shape (n, k) [Hz]; lips_m: shape (2, n) [m]."""
    apart = 2.0 ** (3.0 * LOST_CENTS / 1200.0)
    first, past = np.searchsorted(model.grid, (hz.min() / apart, hz.max() * apart)).tolist()
    near, pieces = _around(model, first // _BLOCK * _BLOCK, -(-past // _BLOCK) * _BLOCK)
    swept = _swept(near, pieces, [one for stages in zip(*begun, strict=True) for one in stages])
    tracked = followed(near.resonances(swept, lips_m.ravel()), hz, lips_m.shape)
    return np.asarray(np.isnan(tracked[-1]).any(axis=0))


_BLOCK = 16  # points of the grid: glides from about the same pitch share what is worked out for a part of it


@lru_cache(maxsize=8)
def _around(model: Model, first: int, past: int) -> tuple[Model, _Pieces]:
    """The model with a part of its grid, for `resonances`, and the pieces there."""
    part = slice(first, past)
    return replace(model, grid=model.grid[part]), _pieces(model).within(part)


def follow(model: Model, impedance: ComplexArray, hz: RealArray, lips_m: RealArray) -> RealArray:
    """Resonances along the stages, shape (n_stages, k, l) [Hz]; NaN from where one is lost.

    impedance: shape (n_stages, m), as `sweep` gives it. hz: shape (k,), near the resonances at the first stage. lips_m:
    shape (n_stages, l) [m], l trial lips side by side. Within 0.1 cent of looking at every stage by itself on a finer grid
    (tested)."""
    crossings = model.resonances(np.repeat(impedance, lips_m.shape[1], axis=0), lips_m.ravel())
    return followed(crossings, hz, lips_m.shape)


def followed(crossings: Crossings, hz: RealArray, shape: tuple[int, ...]) -> RealArray:
    """As `follow`. crossings: of stages and, within each, of trial lips, as many as shape (n_stages, l) says. hz: of shape (l, k)
    where each trial has its own.

    At each stage the resonance nearest to that of the stage before is the same one; stages must be near enough that it moves a
    few cents. It is lost where it moves farther, and where two would be one."""
    place = np.arange(len(crossings.row)) - np.searchsorted(crossings.row, crossings.row)
    own = np.searchsorted(crossings.row, shape[0] * shape[1])
    known = np.full((*shape, int(place.max(initial=0)) + 1), np.nan)
    known.reshape(-1, known.shape[2])[crossings.row[:own], place[:own]] = crossings.hz[:own]
    cents = 1200.0 * np.log2(known)
    trials = np.arange(shape[1])
    at, lost = (np.empty((*shape, hz.shape[-1]), dtype=kind) for kind in (np.intp, bool))
    at[0], off = _nearest(1200.0 * np.log2(hz)[..., None], cents[0, :, None, :])
    lost[0] = np.isinf(off)
    after, moved = _nearest(cents[:-1, :, :, None], cents[1:, :, None, :])  # (n_stages - 1, l, m)
    for stage in range(shape[0] - 1):
        at[stage + 1] = after[stage, trials[:, None], at[stage]]
        lost[stage + 1] = moved[stage, trials[:, None], at[stage]] > LOST_CENTS
    lost |= (np.diff(np.sort(at), axis=2) == 0).any(axis=2)[:, :, None]
    found = np.take_along_axis(known, at, axis=2)
    return np.asarray(np.where(np.logical_or.accumulate(lost, axis=0), np.nan, found).transpose(0, 2, 1))


def _nearest(cents: RealArray, known: RealArray) -> tuple[IndexArray, RealArray]:
    """Number of the nearest of those known, along the last axis, and how far it is [cents]; none is infinitely far."""
    away = np.abs(known - cents)
    away[~np.isfinite(away)] = np.inf
    return away.argmin(axis=-1), away.min(axis=-1)
