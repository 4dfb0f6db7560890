"""Following resonances while the flute changes: each step starts from the last, so that no resonance is mistaken for
another."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, RealArray, StateArray
from fingering_db.acoustics.tube import TwoPort, Wave
from fingering_db.mechanism import PERFORATION, SHUT
from fingering_db.model import Model
from fingering_db.sounding import Flute, HoleElement, carried

_LOST_CENTS = 25.0  # a resonance that moves farther in one step is not the same any more: ours; steps move a few cents


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


@lru_cache(maxsize=8)
def _pieces(model: Model) -> _Pieces:
    flute, grid = Flute(model.instrument), model.grid
    wave = flute.body_wave(grid)
    tubes = (wave.along(length) if length > 0.0 else None for length in flute.spacing_m()[1:-1])
    ends = flute.cavity_admittance(grid), flute.end_admittance(grid)
    return _Pieces(flute.elements(grid), (None, *tubes), flute.cone(grid), wave, *ends)


def sweep(model: Model, stages: Sequence[Stage]) -> ComplexArray:
    """Bore impedance on the model's grid at each stage, shape (n_stages, m) [Pa s/m³].

    What is alike at all stages, from some hole down to the end and from the first hole down to another, is worked out once."""
    pieces = _pieces(model)
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
            shunt = _partly_open(model, stages, index, shunt)
        load = carried(load, half, shunt)
        tube = pieces.tubes[index] if index > top else None
        load = load if tube is None else tube.admittance(load)
    above = _above(model, stages, top)
    return np.asarray(1.0 / (pieces.cone.admittance(above.admittance(load)) + pieces.cavity))


def _above(model: Model, stages: Sequence[Stage], top: int) -> TwoPort:
    """From the taper's end down to the hole `top`, entries of shape (n_stages or 1, m)."""
    pieces, slides = _pieces(model), np.array([stage.slide_mm for stage in stages])
    plain = Flute(model.instrument).spacing_m()[0] + slides * 1e-3
    found = pieces.wave.along(plain[:1, None] if (slides == slides[0]).all() else plain[:, None])
    for index in range(top):
        below = pieces.tubes[index + 1]
        found = found.then(pieces.elements[index].two_port(stages[0].states[index : index + 1]))
        found = found if below is None else found.then(below)
    return found


def _partly_open(model: Model, stages: Sequence[Stage], index: int, shunt: ComplexArray) -> ComplexArray:
    """Shunt admittances of a hole at all stages, shape (n_stages, m), those whose perforation is partly open put right."""
    share = [dict(stage.open).get(index, 0.0) for stage in stages]
    part = [number for number, open_ in enumerate(share) if open_ > 0.0]
    hole = model.instrument.holes[index]
    sizes = hole.perforation_mm * np.maximum([share[number] for number in part], 1e-6) ** 0.5
    shunt[part] = Flute(model.instrument).perforated(model.grid, hole, sizes)
    return shunt


def follow(model: Model, impedance: ComplexArray, hz: RealArray, lips_m: RealArray) -> RealArray:
    """Resonances along the stages, shape (n_stages, k, l) [Hz]; NaN from where one is lost.

    impedance: shape (n_stages, m), as `sweep` gives it. hz: shape (k,), near the resonances at the first stage. lips_m:
    shape (n_stages, l) [m], l trial lips side by side. At each stage the resonance nearest to that of the stage before
    is the same one; stages must be near enough that it moves a few cents. Within 0.1 cent of looking at every stage by
    itself on a finer grid (tested)."""
    count, trials = lips_m.shape
    crossings = model.resonances(np.repeat(impedance, trials, axis=0), lips_m.ravel())
    edges = np.searchsorted(crossings.row, np.arange(count * trials + 1))
    found = np.empty((count, len(hz), trials))
    for trial in range(trials):
        at = np.asarray(hz, dtype=float)
        for stage in range(count):
            row = stage * trials + trial
            known = crossings.hz[edges[row] : edges[row + 1]]
            at = _nearest(known, at, np.inf if stage == 0 else _LOST_CENTS)
            found[stage, :, trial] = at
    return found


def _nearest(known: RealArray, at: RealArray, most_cents: float) -> RealArray:
    """For each of `at` the nearest known frequency, NaN where it lies farther than most_cents or is shared."""
    if not len(known):
        return np.full_like(at, np.nan)
    cents = np.abs(1200.0 * np.log2(known[:, None] / at))
    cents[~np.isfinite(cents)] = np.inf
    chosen = cents.argmin(axis=0)
    lost = (cents.min(axis=0) > most_cents) | ~np.isfinite(cents.min(axis=0)) | (len(set(chosen.tolist())) < len(at))
    return np.asarray(np.where(lost, np.nan, known[chosen]))
