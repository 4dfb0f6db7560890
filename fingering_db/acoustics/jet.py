"""The jet at the embouchure: which resonances it holds, at which air speeds, and which of them it holds at once.

Each resonance is a mode of the velocity v [m/s] in the open embouchure hole (area S), driven by a pressure P:

    x_k'' + a_k R_k x_k' + ω_k² x_k = (a_k/S) P,  v = Σ x_k',  a_k = 2/(dX/dω), R_k the resistance

    η(t) = (h/U) e^{αW} v(t-τ),  τ = W/(γU)              deflection of the jet at the edge
    P = (ρ δ_d b U/W) d/dt tanh((η - y0)/b)               jet drive, δ_d = (4/π) sqrt(2hW)
        - (ρ/2) (v/0.6)² sign v                           vortices shed at the edge

Sources (from memory): jet drive and δ_d: Verge, Fabre, Hirschberg & Wijnands 1994, 1997; vortices: Fabre, Hirschberg &
Wijnands 1996; convection and growth: de la Cuadra, Fabre & Montgermont 2007; the whole: Auvray, Ernoult, Fabre & Lagrée
2014. Made for jets whose length over thickness is about 4 to 15 and for v below the jet's speed. Nothing is fitted.

Here one mode at a time is balanced by its fundamental (describing functions), without stepping through time. For a
whole flute: `padded` makes `Modes` of Crossings, `held_share` and `pair_share` do the rest in chunks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray, RealLike
from fingering_db.acoustics.resonance import Crossings

AIR_DENSITY = 1.17  # [kg/m³] of the breath (30 °C); enters every term of P alike
HOLE_AREA = 0.75e-4  # [m²] embouchure hole less what the lip covers: Boehm's 10 x 12 mm, about a fifth covered
CONVECTION = 0.4  # γ, speed of the wave on the jet over the jet's: de la Cuadra et al. 2007
GROWTH = 0.4  # αh, growth along the jet over its thickness: same
HALF_WIDTH = 0.4  # b/h of the jet's profile: Verge et al. 1997
OFFSET = 0.1  # y0/h, edge beside the jet's middle: ours
CONTRACTION = 0.6  # of the flow past the edge: Fabre et al. 1996
TURBULENCE = 100.0**2 / 96_000.0  # [Pa² s] density of the air's noise: 100 Pa rms a sample at 96 kHz; ours
LEAST_SPEED = 0.2  # [m/s] a mode held weaker than this is no tone: ours
HEARD = 0.2  # of the stronger's amplitude: a weaker tone beside it that counts as sounding: ours
FIRST_HYDRODYNAMIC = 1.5 * np.pi  # ωτ below: the first mode of the jet is fed from 0 to π, the next from 2π on
LOSS = AIR_DENSITY / 2.0 / CONTRACTION**2  # [kg/m³] P = -LOSS v|v|

Float32 = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Modes:
    """Resonances of rows of fingerings. hz [Hz], amplitude a [m³/(Pa s²)], resistance [Pa s/m³]: shape (n, m), lowest
    first, NaN where a row has fewer. Those of a flute of another size are likened to the flute in C before."""

    hz: RealArray
    amplitude: RealArray
    resistance: RealArray


@dataclass(frozen=True, slots=True, eq=False)
class Jets:
    """Jets, one entry each, shape (n_jets,): distance of lips and edge, thickness [m], speed [m/s]. spread: the distance
    differs this much up and down along the lips, in `strips` equal strips."""

    distance: RealArray
    thickness: RealArray
    speed: RealArray
    spread: float = 0.3
    strips: int = 7


@dataclass(frozen=True, slots=True)
class AtJet:
    """One jet on rows of modes. amplitude: shape (n, m) [m/s], of the largest balance, NaN where there is none. held:
    same shape, the balance lets no other mode grow. played: held, with about half a period on the jet (first hydrodynamic
    mode; players hardly use the others: Fletcher 1975, from memory). growth: shape (n, m, m) [1/s], of a small mode j
    beside mode k at its balance (amplitude, e-fold), 0 for j = k. together: same shape, symmetric, which pairs this one jet
    sounds at once (as in `pair_share`)."""

    amplitude: Float32
    held: BoolArray
    played: BoolArray
    growth: Float32
    together: BoolArray


def padded(crossings: Crossings, rows: int) -> Modes:
    """Crossings of `rows` rows as arrays, one line per row, as many columns as the richest has."""
    place = np.arange(len(crossings.row)) - np.searchsorted(crossings.row, crossings.row, side="left")
    filled = np.full((3, rows, int(place.max(initial=-1)) + 1), np.nan)
    filled[0, crossings.row, place] = crossings.hz
    filled[1, crossings.row, place] = crossings.modal_amplitude
    filled[2, crossings.row, place] = crossings.resistance
    return Modes(*filled)


@lru_cache(maxsize=1)
def stated_jets() -> Jets:
    """The jets that `holds` is a share of: lips 4, 6, 8.5 mm from the edge; 0.6, 1 mm thick; 16 speeds from 8 to 110 m/s in
    equal ratios, every combination counting the same. Ranges of players' jets after Fletcher 1975 and de la Cuadra et al.
    2008 (from memory), widened; the even weight is ours. Three times as many jets give shares within 0.014 rms."""
    return _every((4e-3, 6e-3, 8.5e-3), (0.6e-3, 1e-3), np.geomspace(8.0, 110.0, 16), 0.0, 1)


@lru_cache(maxsize=1)
def broad_jets() -> Jets:
    """The jets that `together` is a share of: lips 4.5, 6, 8 mm from the edge, along the lips 30 % less and more; 0.7, 1.1
    mm thick; 12 speeds from 8 to 80 m/s in equal ratios. Ours: with a tenth instead of 30 % the order of published and
    unreported pairs is lost."""
    return _every((4.5e-3, 6e-3, 8e-3), (0.7e-3, 1.1e-3), np.geomspace(8.0, 80.0, 12), 0.3, 5)


def _every(
    distances: tuple[float, ...], thicknesses: tuple[float, ...], speeds: RealArray, spread: float, strips: int
) -> Jets:
    w, h, u = np.meshgrid(distances, thicknesses, speeds, indexing="ij")
    return Jets(w.ravel(), h.ravel(), u.ravel(), spread, strips)


_AT_ONCE = 1 << 18  # modes times levels times jets: bounds memory
_ROWS = 256  # fingerings at a time: bounds memory (some 40 MB), not the result
_LEVELS = np.geomspace(40.0, LEAST_SPEED, 40)  # [m/s] amplitudes looked at; no jet here drives a mode beyond 30
_LOG_STEP = float(np.log(_LEVELS[1] / _LEVELS[0]))


def held_share(modes: Modes, jets: Jets, wanted: BoolArray) -> tuple[Float32, Float32, Float32]:
    """Of the modes wanted, shape (n, m), NaN for the others: the share of the jets at which the mode, once sounding, goes on and
    lets no other grow, in the way players use (AtJet.played); and the air speeds [m/s] from the tenth to the ninetieth of a
    hundred of these jets, NaN where none holds. Memory is bounded but for the result, here and in `pair_share`."""
    speeds, at_speed = np.unique(jets.speed, return_inverse=True)
    share, low, high = (np.full(modes.hz.shape, np.nan, dtype=np.float32) for _ in range(3))
    for rows, ready in _some_rows(modes, wanted):
        counts = np.zeros((len(speeds), len(ready.row)), dtype=np.float32)
        for some, strips in _in_groups(jets, ready):
            found = _balances(ready, strips, FIRST_HYDRODYNAMIC)  # no other is played
            played = found.some(np.flatnonzero(_played(ready, strips, found, _held(_growth(ready, strips, found)))))
            place = at_speed[some][played.jet], played.at
            counts += np.bincount(np.ravel_multi_index(place, counts.shape), minlength=counts.size).reshape(
                counts.shape
            )
        share[rows][ready.row, ready.mode] = counts.sum(axis=0) / np.float32(len(jets.speed))
        low[rows][ready.row, ready.mode] = _speed_below(counts, speeds, 0.1)
        high[rows][ready.row, ready.mode] = _speed_below(counts, speeds, 0.9)
    return share, low, high


def pair_share(modes: Modes, broad: Jets, wanted: BoolArray) -> Float32:
    """Of pairs of modes wanted, shape (n, m): the share of the broad jets at which one of two is held and the other is, of all
    others, most kept alive by the noise of the air, at a fifth of its amplitude or more. Shape (n, m, m), symmetric, 0 on the
    diagonal; the other entries hold no whole count."""
    share = np.zeros((*modes.hz.shape, modes.hz.shape[1]), dtype=np.float32)
    for rows, ready in _some_rows(modes, wanted):
        others = _others(ready)
        for _, strips in _in_groups(broad, ready):
            found = _balances(ready, strips)
            if len(others) < wanted.shape[1] // 2:  # those with none of these beside them are left out beforehand
                other = ready.mode[others[:, found.at]]
                driven = _driven(ready, found, _growth(ready, strips, found, other), other)
                found = found.some(np.flatnonzero((driven >= HEARD).any(axis=0)))
            _, row, one, other = _side_by_side(ready, found, _growth(ready, strips, found))
            np.add.at(share[rows], (row, one, other), np.float32(1.0))
    share += share.transpose(0, 2, 1)
    return np.asarray(share / np.float32(len(broad.speed)), dtype=np.float32)


def _some_rows(modes: Modes, wanted: BoolArray) -> Iterator[tuple[slice, _Ready]]:
    for start in range(0, len(wanted), _ROWS):
        rows = slice(start, start + _ROWS)
        yield rows, _Ready.of(Modes(modes.hz[rows], modes.amplitude[rows], modes.resistance[rows]), wanted[rows])


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Two modes of one row at each of some jets. both: shape (n_jets,), the jet sounds both (as in `pair_share`). alone: shape
    (n_jets, 2), which of them the jet holds by itself, in the way players use. held: shape (n_jets, 2), which it holds at all:
    where it sounds both, the other one may live on the noise of the air."""

    both: BoolArray
    alone: BoolArray
    held: BoolArray


def side_by_side(modes: Modes, jets: Jets, pair: tuple[int, int]) -> SideBySide:
    """Two modes, lower first, of the only row of `modes`, at every jet."""
    wanted = np.zeros(modes.hz.shape, dtype=bool)
    wanted[0, list(pair)] = True
    ready = _Ready.of(modes, wanted)
    both, alone = np.zeros(len(jets.speed), dtype=bool), np.zeros((len(jets.speed), 2), dtype=bool)
    held = np.zeros_like(alone)
    for some, strips in _in_groups(jets, ready):
        found = _balances(ready, strips)
        growth = _growth(ready, strips, found)
        jet, _, one, other = _side_by_side(ready, found, growth)
        both[some][jet[(one == pair[0]) & (other == pair[1])]] = True
        held[some][found.jet, found.at] = holds = _held(growth)
        alone[some][found.jet, found.at] = _played(ready, strips, found, holds)
    return SideBySide(both, alone, held)


def each_jet(modes: Modes, jets: Jets) -> Iterator[AtJet]:
    """Every jet by itself, in their order; all rows at once, so for few rows."""
    ready = _Ready.of(modes)
    shape = modes.hz.shape
    for number in range(len(jets.speed)):
        strips = _strips(jets, slice(number, number + 1))
        found = _balances(ready, strips)
        place, grown = (found.row, found.mode), _growth(ready, strips, found)
        amplitude, growth = np.full(shape, np.nan, dtype=np.float32), np.zeros((*shape, shape[1]), dtype=np.float32)
        held, played, together = (np.zeros(one, dtype=bool) for one in (shape, shape, growth.shape))
        amplitude[place], growth[place], held[place] = found.amplitude, grown.T, _held(grown)
        played[place] = _played(ready, strips, found, held[place])
        _, row, one, other = _side_by_side(ready, found, grown)
        together[row, one, other] = together[row, other, one] = True
        yield AtJet(amplitude, held, played, growth, together)


def _others(modes: _Ready) -> IndexArray:
    """Of each of those to be balanced, shape (k,), the others of its row, as many as the richest has; where there are fewer,
    itself and again."""
    first = np.searchsorted(modes.row, modes.row)
    count = np.searchsorted(modes.row, modes.row, side="right") - first
    place = np.arange(len(first)) - first
    return np.asarray(first + (place + np.arange(1, count.max(initial=1))[:, None]) % count)


def _driven(modes: _Ready, found: _Balances, growth: Float32, mode: IndexArray) -> Float32:
    """How strongly noise keeps modes alive beside those balanced, over their amplitude (peak; the other's is taken as rms), shape
    of their growth; 0 for the mode itself, NaN for one that grows. rms² = density (a_j/S)²/(4 |growth|), the response of a
    damped oscillator to white noise (exact)."""
    amplitude = _of(modes, modes.amplitude, found, mode)
    noise = np.float32(np.sqrt(TURBULENCE) / HOLE_AREA) * amplitude
    with np.errstate(divide="ignore", invalid="ignore"):
        driven = noise / np.sqrt(-4.0 * growth) / found.amplitude
    driven[(mode == found.mode) | (amplitude <= 0.0)] = 0.0
    return np.asarray(driven)


def _side_by_side(
    modes: _Ready, found: _Balances, growth: Float32
) -> tuple[IndexArray, IndexArray, IndexArray, IndexArray]:
    """Pairs that a jet sounds at once, once each: (jet, row, mode, higher mode). One is held, and the other, of all others, most
    kept alive by noise, to a fifth of its amplitude or more. growth: of every mode."""
    held = np.flatnonzero(_held(growth))
    found, every = found.some(held), np.arange(len(held))
    driven = _driven(modes, found, growth[:, held], np.arange(len(growth))[:, None])
    other = driven.argmax(axis=0) if len(held) else found.mode
    both = np.flatnonzero(driven[other, every] >= HEARD)
    jet, row, mode, other = found.jet[both], found.row[both], found.mode[both], other[both]
    one, two = np.minimum(mode, other), np.maximum(mode, other)
    rows, most = modes.omega.shape
    once = np.unique(((jet * rows + row) * most + one) * most + two, return_index=True)[1]
    return jet[once], row[once], one[once], two[once]


def _speed_below(counts: Float32, speeds: RealArray, share: float) -> Float32:
    """The speed up to which this share of the holding jets lies, counts of shape (n_speeds, k)."""
    reached = np.cumsum(counts, axis=0)
    place = (reached < share * reached[-1]).sum(axis=0)
    speed = speeds[np.minimum(place, len(speeds) - 1)]
    return np.where(reached[-1] > 0.0, speed, np.nan).astype(np.float32)


@dataclass(frozen=True, slots=True)
class _Ready:
    """Modes in single precision, shape (n, m), 0 where there is none: such a mode is neither fed nor fed upon. row, mode:
    shape (k,), those to be balanced."""

    omega: Float32
    amplitude: Float32
    resistance: Float32
    row: IndexArray
    mode: IndexArray

    @classmethod
    def of(cls, modes: Modes, wanted: BoolArray | None = None) -> _Ready:
        there = np.isfinite(modes.hz)
        parts = (2.0 * np.pi * modes.hz, modes.amplitude, modes.resistance)
        omega, amplitude, resistance = (np.where(there, part, 0.0).astype(np.float32) for part in parts)
        return cls(omega, amplitude, resistance, *np.nonzero(there if wanted is None else wanted & there))


@dataclass(frozen=True, slots=True)
class _Balances:
    """Balances that there are, n of them: of which jet; of which of the modes to be balanced, its row and number there; amplitude
    [m/s]; shape (n,). slope: of the drive at that amplitude, shape (s, n)."""

    jet: IndexArray
    at: IndexArray
    row: IndexArray
    mode: IndexArray
    amplitude: Float32
    slope: Float32

    def some(self, which: IndexArray) -> _Balances:
        """Those numbered."""
        jet, at, row, mode = (part[which] for part in (self.jet, self.at, self.row, self.mode))
        return _Balances(jet, at, row, mode, self.amplitude[which], np.take(self.slope, which, axis=1))


@dataclass(frozen=True, slots=True)
class _Strips:
    """Some jets. delay [s]: shape (s, jets). drive: K D1/A at each of _LEVELS, shape (jets, s, levels). slope: K (G/b) D0 at
    each level [Pa s²/m], shape (s, jets * levels)."""

    delay: Float32
    drive: Float32
    slope: Float32


def _in_groups(jets: Jets, ready: _Ready) -> Iterator[tuple[slice, _Strips]]:
    """All jets, as many at a time as keep an array of modes and levels small."""
    # Of a single strip the levels of one mode in five or so are looked at (`_of_one_strip`).
    levels = len(_LEVELS) if jets.strips > 1 else len(_LEVELS) // 5
    size = max(_AT_ONCE // max(len(ready.row) * levels, 1), 1)
    for start in range(0, len(jets.speed), size):
        some = slice(start, start + size)
        yield some, _strips(jets, some)


def _strips(jets: Jets, some: slice) -> _Strips:
    every = _every_strip(jets)
    levels = slice(some.start * len(_LEVELS), some.stop * len(_LEVELS))
    return _Strips(every.delay[:, some], every.drive[some], every.slope[:, levels])


@lru_cache(maxsize=8)
def _every_strip(jets: Jets) -> _Strips:
    h, speed = jets.thickness[:, None], jets.speed[:, None]
    w = jets.distance[:, None] * (1.0 + jets.spread * np.linspace(-1.0, 1.0, jets.strips))
    gain = np.exp(GROWTH * w / h) / (HALF_WIDTH * speed)  # G/b [s/m]
    force = AIR_DENSITY * jet_drive_length(w, h) * HALF_WIDTH * h * speed / w / jets.strips  # K of each strip [Pa s]
    z = gain[:, :, None] * _LEVELS
    drive = force[:, :, None] * fundamental(z) / _LEVELS
    slope = ((force * gain)[:, :, None] * mean_slope(z)).transpose(1, 0, 2).reshape(jets.strips, -1)
    parts = ((w / (CONVECTION * speed)).T, drive, slope)
    return _Strips(*(np.ascontiguousarray(part, dtype=np.float32) for part in parts))


def jet_drive_length(distance: RealArray, thickness: RealLike) -> RealArray:
    """δ_d [m] = (4/π) sqrt(2hW): distance between the two sources of the jet. Verge et al. 1994 (from memory)."""
    return np.asarray(4.0 / np.pi * np.sqrt(2.0 * thickness * distance))


def fundamental(z: RealArray) -> RealArray:
    """D1(z) [1], any shape: first cosine of tanh(z cos θ - y0/b); z ≥ 0 the jet's swing at the edge over b."""
    known, first, _ = _over_a_cycle()
    inside = np.clip(z, known[0], known[-1])  # proportional to z below, 4/π above
    return np.asarray(np.interp(np.log(inside), np.log(known), first) * np.minimum(z / known[0], 1.0))


def mean_slope(z: RealArray) -> RealArray:
    """D0(z) [1], any shape: mean of sech²(z cos θ - y0/b) over a cycle: what is left of the drive for a small second mode
    beside one that swings the jet by z."""
    known, _, slope = _over_a_cycle()
    inside = np.clip(z, known[0], known[-1])  # 2/(πz) above
    return np.asarray(
        np.interp(np.log(inside), np.log(known), slope) * np.minimum(known[-1] / np.maximum(z, 1e-30), 1.0)
    )


@lru_cache(maxsize=1)
def _over_a_cycle() -> tuple[RealArray, RealArray, RealArray]:
    """z, D1(z), D0(z) by the mean over evenly spaced phases, which converges fast for a periodic function."""
    z = np.geomspace(1e-2, 1e2, 400)
    cosine = np.cos(np.pi * (np.arange(1024) + 0.5) / 1024)
    swing = np.tanh(z[:, None] * cosine - OFFSET / HALF_WIDTH)
    return z, 2.0 * (swing * cosine).mean(axis=1), 1.0 - (swing**2).mean(axis=1)


def _balances(modes: _Ready, jets: _Strips, most_phase: float = np.inf) -> _Balances:
    """Of the modes to be balanced with every jet; of a single strip, of those with at most this ωτ."""
    jet, at, place = _largest(modes, jets, most_phase)
    # Slope between two levels.
    left = np.minimum(place.astype(np.intp), len(_LEVELS) - 2)
    first = jet * len(_LEVELS) + left
    slope, next_slope = (np.take(jets.slope, one, axis=1) for one in (first, first + 1))
    slope += (place - left) * (next_slope - slope)
    amplitude = np.float32(_LEVELS[0]) * np.exp(place * np.float32(_LOG_STEP))
    return _Balances(jet, at, modes.row[at], modes.mode[at], amplitude, slope)


def _growth(modes: _Ready, jets: _Strips, found: _Balances, mode: IndexArray | None = None) -> Float32:
    """Growth of a small mode beside those balanced [1/s]: of every one of the row, shape (m, n), or of those numbered, shape
    (q, n); 0 for the mode itself.

    growth = (a_j/2S) (Σ K (G/b) D0 ω_j sin ω_j τ - R_j S - c2 A), each strip of the jet a term."""
    every = np.arange(modes.omega.shape[1])[:, None] if mode is None else mode
    omega, amplitude, resistance = (
        _of(modes, part, found, every) for part in (modes.omega, modes.amplitude, modes.resistance)
    )
    fed = omega * np.take(jets.delay, found.jet, axis=1)[:, None]
    np.sin(fed, out=fed)
    fed *= found.slope[:, None]
    growth = fed.sum(axis=0)
    growth *= omega
    growth -= np.float32(HOLE_AREA) * resistance
    growth -= np.float32(LOSS * 4.0 / np.pi) * found.amplitude
    growth *= amplitude / np.float32(2.0 * HOLE_AREA)
    growth[every == found.mode] = 0.0
    return np.asarray(growth)


def _of(modes: _Ready, part: Float32, found: _Balances, mode: IndexArray) -> Float32:
    """What modes of the rows of balances have, of `part`, shape (n, m)."""
    return np.asarray(np.take(part.reshape(-1), found.row * part.shape[1] + mode))


def _held(growth: Float32) -> BoolArray:
    """Which balances let no mode grow, by the growth of every one."""
    return np.asarray(growth.max(axis=0, initial=0.0) <= 0.0)


def _played(modes: _Ready, jets: _Strips, found: _Balances, held: BoolArray) -> BoolArray:
    """Which of those held are so in the way players use."""
    delay = np.take(jets.delay.mean(axis=0), found.jet)
    return np.asarray(held & (modes.omega[found.row, found.mode] * delay < np.float32(FIRST_HYDRODYNAMIC)))


def _largest(modes: _Ready, jets: _Strips, most_phase: float) -> tuple[IndexArray, IndexArray, Float32]:
    """(jet, which of those to be balanced, place among _LEVELS) of the amplitude at which drive and losses of a mode are equal,
    the largest (the stable one), where there is one above LEAST_SPEED.

    R S A = Σ K D1 ω sin ωτ - c1 A² with ω² (1 - (a/S) Σ K (D1/A) cos ωτ) = ω_k², to the first order in ω - ω_k (a few
    per cent at most): sin ωτ grows by τ cos ωτ (ω - ω_k). Divided by A these are sums over the strips."""
    omega, a, resistance = (part[modes.row, modes.mode] for part in (modes.omega, modes.amplitude, modes.resistance))
    delay, lost = jets.delay.T[:, None, :], (np.float32(HOLE_AREA) * resistance)[:, None] + _LOSS_AT_LEVELS
    fed, pulled, later = parts = np.empty((3, len(delay), len(omega), len(jets.delay)), dtype=np.float32)
    phase = np.multiply(omega[:, None], delay, out=fed)
    np.cos(phase, out=later)
    np.sin(phase, out=fed)
    fed *= omega[:, None]
    np.multiply(later, (omega**2 * a / np.float32(2.0 * HOLE_AREA))[:, None], out=pulled)
    later *= delay
    if len(jets.delay) == 1:
        pulled *= later
        asked = omega * jets.delay.T < np.float32(most_phase)
        jet, at, surplus = _of_one_strip(asked, fed[:, :, 0], pulled[:, :, 0], lost, jets.drive[:, 0])
    else:
        surplus, pulled, later = np.matmul(parts, jets.drive)
        pulled *= later
        surplus += pulled
        surplus -= lost
        surplus = surplus.reshape(-1, len(_LEVELS))
        jet, at = np.indices((len(delay), len(omega))).reshape(2, -1)
    # The largest: the first level that feeds more than it loses; the balance lies between it and the one before.
    flat, first = surplus.reshape(-1), (surplus >= 0.0).argmax(axis=1)
    place = np.arange(0, len(flat), len(_LEVELS)) + first
    here = flat[place]
    there = np.flatnonzero(here >= 0.0)
    first, here = first[there], here[there]
    before = flat[place[there] - (first > 0)]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(before < here, here / (here - before), np.float32(0.0))
    return jet[there], at[there], np.maximum(first - part, 0.0).astype(np.float32)


_LOSS_AT_LEVELS = (LOSS * 8.0 / (3.0 * np.pi) * _LEVELS).astype(np.float32)


def _of_one_strip(
    asked: BoolArray, sine: Float32, pulled: Float32, lost: Float32, drive: Float32
) -> tuple[IndexArray, IndexArray, Float32]:
    """(jet, mode, surplus at each level) where there is a balance: of a single strip those alone whose least level feeds. For the
    drive falls as the level grows; so does sine * drive + pulled * drive² where it is above 0 (pulled is not below), and
    the losses grow."""
    least = drive[:, -1:]
    fed = asked & ((sine + pulled * least) * least >= lost[:, -1])
    jet, at = np.nonzero(fed)
    drives = drive[jet]
    surplus = drives * pulled[fed][:, None]
    surplus += sine[fed][:, None]
    surplus *= drives
    surplus -= lost[at]
    return jet, at, surplus
