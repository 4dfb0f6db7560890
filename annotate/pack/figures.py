"""Pictures of the acoustics of a fingering: the impedance at the embouchure, and which jets hold which tones.

Numbers in, SVG text out; words and colours are the page's, by class names. One unit is one CSS pixel."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from annotate.choosing.desk import Desk
from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.acoustics.jet import Jets, each_jet
from fingering_db.acoustics.resonance import Crossings, rising_zeros
from fingering_db.fingering import Fingering
from fingering_db.mechanism import hole_states
from fingering_db.playability import modes_of

LOW_HZ, HIGH_HZ = 200.0, 2600.0
_POINTS = 260
_SPEEDS = np.geomspace(8.0, 80.0, 18)  # [m/s]; as far as `jet.broad_jets` goes
_DISTANCES = np.linspace(4.5e-3, 8.0e-3, 8)  # [m] lips to edge; likewise
_THICKNESS = 0.9e-3  # [m] between the two of `jet.broad_jets`
_SPREAD, _STRIPS = 0.3, 5  # as `jet.broad_jets`
_SAME_TONE_CENTS = 60.0
_MM = 1e-3


@dataclass(frozen=True, slots=True)
class Blown:
    """A fingering with one lip. lip_m: equivalent length of the lip side [m], NaN for the law; targets_hz: of the tones
    asked for [Hz]."""

    fingering: Fingering
    lip_m: float
    targets_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """Level of the impedance at the embouchure [dB re its largest here] over hz [Hz]; shape (m,) each."""

    hz: RealArray
    level_db: RealArray


@dataclass(frozen=True, slots=True)
class JetMap:
    """What each jet sounds: shape (n_distances, n_speeds); 0 nothing of what is asked, k + 1 tone k alone, -1 tones of those
    asked for together, -2 another tone."""

    speed_m_s: RealArray
    distance_m: RealArray
    sounds: IndexArray

    def best(self, wanted: int) -> tuple[float, float, float] | None:
        """(from, to) speed [m/s] and distance [m] of the widest range of speeds that gives what is wanted."""
        longest = (0, 0, 0)  # speeds, row, first
        for row, there in enumerate(self.sounds == wanted):
            for first, length in runs(there):
                longest = max(longest, (length, row, first))
        length, row, first = longest
        if not length:
            return None
        low, high = self.speed_m_s[first], self.speed_m_s[first + length - 1]
        return float(low), float(high), float(self.distance_m[row])


def runs(row: BoolArray) -> list[tuple[int, int]]:
    """(first, length) of each run of True in a row, shape (n,)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
    return [(int(one), int(two - one)) for one, two in zip(edges[::2], edges[1::2], strict=True)]


def lip_of(desk: Desk, fingering: Fingering, hz: float) -> float:
    """Equivalent length of the lip side [m] at which a resonance of the fingering lies at hz [Hz]: X_bore + (ωρ/S) l = 0."""
    flute = desk.model.flute
    freq = np.array([hz])
    bore = flute.bore_impedance(hole_states(desk.model.instrument, fingering)[None, :], freq)
    return float(-bore.imag[0, 0] / flute.lip_slope(freq)[0])


def curves(desk: Desk, blown: Sequence[Blown]) -> list[Curve]:
    """|Z| of bore, stopper and lip for each, all at once. Tones lie in its minima."""
    if not blown:
        return []
    hz = np.geomspace(LOW_HZ, HIGH_HZ, _POINTS)
    flute = desk.model.flute
    states = np.array([hole_states(desk.model.instrument, one.fingering) for one in blown])
    lips = np.array([[one.lip_m] for one in blown])
    lips = np.where(np.isfinite(lips), lips, flute.lip_law_m(hz)[None, :])
    level = 20.0 * np.log10(np.abs(flute.bore_impedance(states, hz) + 1j * flute.lip_slope(hz) * lips))
    return [Curve(hz, row - row.max()) for row in level]


def bend_cents(desk: Desk, one: Blown) -> float:
    """By how much this lip moves the first tone asked for from where the lip by the law leaves it [cents]; NaN where there is
    no such tone."""
    if not one.targets_hz or not math.isfinite(one.lip_m):
        return math.nan
    crossings = _crossings(desk, Blown(one.fingering, math.nan, one.targets_hz))
    if not len(crossings.hz):
        return math.nan
    cents = 1200.0 * np.log2(one.targets_hz[0] / crossings.hz)
    own = float(cents[np.abs(cents).argmin()])
    return own if abs(own) < 2.0 * _SAME_TONE_CENTS else math.nan


def jet_map(desk: Desk, one: Blown) -> JetMap:
    """Which of the tones asked for sound at which speed and distance; describing functions (acoustics/jet.py)."""
    like = desk.model.curve.size.likened(_crossings(desk, one))
    modes, _ = modes_of(like)
    size = desk.model.curve.size.length
    w, u = np.meshgrid(_DISTANCES, _SPEEDS, indexing="ij")
    thickness = np.full(w.size, _THICKNESS)
    sounds = np.zeros(w.size, dtype=np.intp)
    if not modes.hz.size:
        return JetMap(_SPEEDS, _DISTANCES, sounds.reshape(w.shape))
    own = _asked(modes.hz[0] / size, one.targets_hz)
    jets = Jets(w.ravel(), thickness, u.ravel(), _SPREAD, _STRIPS)
    for number, at in enumerate(each_jet(modes, jets)):
        sounds[number] = _sounding(at.played[0] & at.held[0], at.together[0], own)
    return JetMap(_SPEEDS, _DISTANCES, sounds.reshape(w.shape))


def _sounding(held: BoolArray, together: BoolArray, own: list[int]) -> int:
    if any(together[one, two] for one in own for two in own if 0 <= one < two):
        return -1
    for number, mode in enumerate(own):
        if mode >= 0 and held[mode]:
            return number + 1
    return -2 if held.any() else 0


def _asked(hz: RealArray, targets_hz: tuple[float, ...]) -> list[int]:
    """Index of the resonance that each tone is, -1 for none."""
    found = []
    for target in targets_hz:
        cents = np.abs(1200.0 * np.log2(hz / target))
        nearest = int(np.nanargmin(cents))
        found.append(nearest if cents[nearest] <= _SAME_TONE_CENTS else -1)
    return found


def _crossings(desk: Desk, one: Blown) -> Crossings:
    model = desk.model
    states = hole_states(model.instrument, one.fingering)[None, :]
    lips = model.flute.lip_law_m(model.grid) if math.isnan(one.lip_m) else np.array([[one.lip_m]])
    bore = model.flute.bore_impedance(states, model.grid)
    return rising_zeros(bore + 1j * model.flute.lip_slope(model.grid) * lips, model.grid)
