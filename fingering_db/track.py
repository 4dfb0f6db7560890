"""Following resonances while the flute changes: each step starts from the last, so that no resonance is mistaken for
another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, RealArray, StateArray
from fingering_db.instrument import Instrument
from fingering_db.mechanism import PERFORATION, SHUT
from fingering_db.model import Model
from fingering_db.sounding import Flute

_LOST_CENTS = 25.0  # a resonance that moves farther in one step is not the same any more: ours; steps move a few cents


@dataclass(frozen=True, slots=True)
class Stage:
    """The flute at one moment of a glide. states: shape (n_holes,). slide_mm: as in Flute. open: (hole index, fraction
    of its perforation that is open, 0 to 1), for holes that a finger is just rolling off."""

    states: StateArray
    slide_mm: float = 0.0
    open: tuple[tuple[int, float], ...] = ()

    def flute(self, instrument: Instrument) -> Flute:
        """The flute with these perforations: a partly open hole is one of the same open area."""
        if not self.open:
            return Flute(instrument, self.slide_mm)
        holes = list(instrument.holes)
        for index, fraction in self.open:
            size = holes[index].perforation_mm * max(fraction, 1e-6) ** 0.5
            holes[index] = msgspec.structs.replace(holes[index], perforation_mm=size)
        return Flute(msgspec.structs.replace(instrument, holes=tuple(holes)), self.slide_mm)

    def row(self) -> StateArray:
        """States with the rolling holes as perforations (shut where nothing is open), shape (1, n_holes)."""
        states = self.states.copy()
        for index, fraction in self.open:
            states[index] = PERFORATION if fraction > 0.0 else SHUT
        return states[None, :]


def sweep(model: Model, stages: Sequence[Stage]) -> ComplexArray:
    """Bore impedance on the model's grid at each stage, shape (n_stages, m) [Pa s/m³]."""
    first = stages[0]
    if all(not stage.open and (stage.states == first.states).all() for stage in stages):
        slides = np.array([stage.slide_mm for stage in stages])
        return Flute(model.instrument).drawn_out(first.row(), model.grid, slides)
    rows = [stage.flute(model.instrument).bore_impedance(stage.row(), model.grid) for stage in stages]
    return np.concatenate(rows)


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
