"""Pictures of the acoustics of a fingering: the impedance at the embouchure, and which jets hold which tones.

Numbers in, SVG text out; words and colours are the page's, by class names. One unit is one CSS pixel."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from annotate.choosing.desk import Desk
from fingering_db.acoustics.arrays import ComplexArray, IndexArray, RealArray
from fingering_db.acoustics.jet import Jets, Modes, each_jet, padded
from fingering_db.acoustics.resonance import rising_zeros
from fingering_db.fingering import Fingering
from fingering_db.mechanism import hole_states
from fingering_db.track import Stage, sweep

_CURVE_STEP = 3  # points of the grid: 18 cents
_SPEEDS = np.geomspace(8.0, 80.0, 18)  # [m/s]; as far as `jet.broad_jets` goes
_DISTANCES = np.linspace(4.5e-3, 8.0e-3, 8)  # [m] lips to edge; likewise
_THICKNESS = 0.9e-3  # [m] between the two of `jet.broad_jets`
_SPREAD, _STRIPS = 0.3, 5  # as `jet.broad_jets`
_SAME_TONE_CENTS = 60.0


@dataclass(frozen=True, slots=True)
class Curve:
    """Level of the impedance at the embouchure [dB re its largest here] over hz [Hz]; shape (m,) each. Tones lie in its
    minima."""

    hz: RealArray
    level_db: RealArray


@dataclass(frozen=True, slots=True)
class JetMap:
    """What each jet sounds: shape (n_distances, n_speeds); 0 nothing of what is asked, k + 1 tone k alone, -1 tones of those
    asked for together, -2 another tone."""

    speed_m_s: RealArray
    distance_m: RealArray
    sounds: IndexArray


@dataclass(frozen=True, slots=True)
class Blown:
    """A fingering with one lip. targets_hz: of the tones asked for [Hz]; lip_m: equivalent length of the lip side at which a
    resonance lies at the first of them [m], NaN for the law where there is none; bend_cents: by how much that moves this
    tone from where the law leaves it, NaN without such a tone; modes: its resonances, likened to the flute in C, in one row."""

    fingering: Fingering
    targets_hz: tuple[float, ...]
    lip_m: float
    bend_cents: float
    modes: Modes
    curve: Curve
    jets: JetMap


def blown(desk: Desk, wanted: Sequence[tuple[Fingering, float, tuple[float, ...]]]) -> list[Blown]:
    """Every fingering, with the head joint drawn out so far [mm] and the tones that are asked of it [Hz], all at once."""
    if not wanted:
        return []
    model, grid = desk.model, desk.model.grid
    bore = sweep(model, [Stage(hole_states(model.instrument, fingering), slide) for fingering, slide, _ in wanted])
    targets = [hz for _, _, hz in wanted]
    firsts = np.array([hz[0] if hz else np.nan for hz in targets])
    lips = lips_at(desk, bore, firsts)
    law = model.flute.lip_law_m(grid)
    whole = bore + 1j * model.flute.lip_slope(grid) * np.where(np.isfinite(lips)[:, None], lips[:, None], law)
    size = model.curve.size
    modes = padded(size.likened(rising_zeros(whole, grid)), len(wanted))
    by_law = padded(model.resonances(bore), len(wanted)).hz
    level = 20.0 * np.log10(np.abs(whole[:, ::_CURVE_STEP]))
    maps = _maps(modes, [tuple(one * size.length for one in hz) for hz in targets])
    return [
        Blown(
            fingering,
            hz,
            float(lips[n]),
            _bend(by_law[n], firsts[n]),
            Modes(modes.hz[[n]], modes.amplitude[[n]], modes.resistance[[n]]),
            Curve(grid[::_CURVE_STEP], level[n] - level[n].max()),
            maps[n],
        )
        for n, (fingering, _, hz) in enumerate(wanted)
    ]


def lips_at(desk: Desk, bore: ComplexArray, hz: RealArray) -> RealArray:
    """Equivalent length of the lip side [m] at which a resonance of each row of bore impedances on the model's grid lies at
    hz, shape (n,) [Hz], NaN for none: X_bore + (ωρ/S) l = 0."""
    known = np.where(np.isfinite(hz), hz, 1000.0)
    reactance = np.array([np.interp(one, desk.model.grid, row.imag) for one, row in zip(known, bore, strict=True)])
    return np.asarray(np.where(np.isfinite(hz), -reactance / desk.model.flute.lip_slope(known), np.nan))


def _bend(by_law: RealArray, hz: float) -> float:
    if not math.isfinite(hz) or not np.isfinite(by_law).any():
        return math.nan
    cents = 1200.0 * np.log2(hz / by_law)
    own = float(cents[np.nanargmin(np.abs(cents))])
    return own if abs(own) < 2.0 * _SAME_TONE_CENTS else math.nan


def _maps(modes: Modes, targets: Sequence[tuple[float, ...]]) -> list[JetMap]:
    """Which of the tones asked for sound at which speed and distance; describing functions (acoustics/jet.py)."""
    w, u = np.meshgrid(_DISTANCES, _SPEEDS, indexing="ij")
    jets = Jets(w.ravel(), np.full(w.size, _THICKNESS), u.ravel(), _SPREAD, _STRIPS)
    at = list(each_jet(modes, jets))
    held, together = np.array([one.played & one.held for one in at]), np.array([one.together for one in at])
    found = []
    for row, hz in enumerate(targets):
        own = _asked(modes.hz[row], hz)
        sounds = np.where(held[:, row].any(axis=1), -2, 0)
        for number, mode in reversed(list(enumerate(own))):
            if mode >= 0:
                sounds[held[:, row, mode]] = number + 1
        for one, two in combinations([mode for mode in own if mode >= 0], 2):
            sounds[together[:, row, one, two]] = -1
        found.append(JetMap(_SPEEDS, _DISTANCES, sounds.reshape(w.shape)))
    return found


def _asked(hz: RealArray, targets_hz: tuple[float, ...]) -> list[int]:
    """Index of the resonance that each tone is, -1 for none."""
    if not np.isfinite(hz).any():
        return [-1] * len(targets_hz)
    found = []
    for target in targets_hz:
        cents = np.abs(1200.0 * np.log2(hz / target))
        nearest = int(np.nanargmin(cents))
        found.append(nearest if cents[nearest] <= _SAME_TONE_CENTS else -1)
    return found
