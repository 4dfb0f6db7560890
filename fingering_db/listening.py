"""What a fingering sounds like in the model: its resonances and a jet stepped through time, as samples.

A sound made by a model, no recording: the tube's resonances up to 2.6 kHz, one jet, the noise of its air, no room, no
player's ear. Where two resonances are held at once the air rests at that speed; else it rises and falls through the
registers."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.acoustics.jet import HEARD, Jets, Modes, broad_jets, each_jet, pair_share, side_by_side
from fingering_db.acoustics.jet_time import RATE, Stepped, step
from fingering_db.at_once import EASY
from fingering_db.fingering import Fingering
from fingering_db.mechanism import hole_states
from fingering_db.model import Model, highest_hz
from fingering_db.playability import modes_of
from fingering_db.ranking import common_fundamental

LOUDEST = 0.5
"""Largest sample, without sign, of a full scale of 1: half, so that nothing clips and nobody is startled."""

_SWEEP_DISTANCE, _SWEEP_THICKNESS = 6e-3, 0.9e-3  # [m] amid the broad jets
_SWEEP_SPEEDS = (7.0, 60.0)  # [m/s] through the registers of a low note
_RISE_SHARE, _RISE_FROM = 0.15, 0.5  # of the time to reach the resting speed, from this part of it
HELD, MOMENTS = 0.2, 11  # of what changes: share of the time it is held before and after, and how often it is looked at
_FADE_SECONDS = 0.03
_KNOWN_TO_HZ = 4000.0  # the model has no resonances above 2.6 kHz: its noise up there means nothing
_TRIED_SECONDS = 0.4
_RUNS = 128  # side by side at most: bounds memory (some 60 MB for a second)
_HEARD_DB = -20.0


@dataclass(frozen=True, slots=True)
class Listened:
    """samples: shape (n,), LOUDEST at most; rate [1/s]. distance_mm, thickness_mm: the jet's length from lips to edge and its
    thickness. speed_m_s: air speed of each sample, shape (n,). rests_m_s: where it rests, None where it sweeps.
    heard: while it rests, resonances [Hz] and their level against the loudest [dB], down to -20 dB, loudest first; () where
    it sweeps."""

    samples: RealArray
    rate: int
    distance_mm: float
    thickness_mm: float
    speed_m_s: RealArray
    rests_m_s: float | None
    heard: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """What is to be heard. modes: the resonances of a fingering, likened to the flute in C, in one row; of a flute that changes
    in MOMENTS rows, the first held for HELD of the time, the others gone through evenly, the last held as long. asked_hz: two
    or more pitches that are to sound at once at the beginning [Hz]: the air rests where a jet sounds most of them; a single
    one: it rests amid the speeds at which jets hold that, and sweeps where none does; none: it rests where the easiest two
    sit that are not one note, and sweeps where there are none. speed: the air's at each row, in that of the first."""

    modes: Modes
    asked_hz: tuple[float, ...] = ()
    speed: tuple[float, ...] = (1.0,)


@dataclass(frozen=True, slots=True, eq=False)
class _Rest:
    """Where the air rests. jet: distance, thickness [m], speed [m/s]; rms: of every mode there [m/s], shape (m,)."""

    jet: tuple[float, float, float]
    rms: RealArray


def listen(
    of: Model, fingering: Fingering, seconds: float = 6.0, slide_mm: float = 0.0, asked_hz: tuple[float, ...] = ()
) -> Listened:
    """The sound of a fingering, its lip by the law. asked_hz: as in Wanted. The same arguments give the same samples.

    Some half a second of computing for a second of sound. Raises FingeringError when the flute has no such touch."""
    states = hole_states(of.instrument, fingering)[None, :]
    modes, _ = modes_of(of.curve.size.likened(of.drawn_out(states, of.flute.slide_mm + slide_mm)))
    return listen_all(of, [Wanted(modes, asked_hz)], seconds)[0]


def listen_all(of: Model, wanted: Sequence[Wanted], seconds: float) -> list[Listened]:
    """The sound of each, stepped side by side: many take little longer than one, and each is as by itself."""
    length = of.curve.size.length
    rate = RATE * max(length, 1.0)  # of the likened flute, whose time runs faster by its length
    every = _of_one_width([one.modes for one in wanted])
    asked = [tuple(hz * length for hz in one.asked_hz) for one in wanted]
    rests = _rests([_rows(modes, [0]) for modes in every], asked, highest_hz(of.instrument) * length, rate)
    steps = max(round(seconds / length * rate), 2)
    share = np.clip((np.linspace(0.0, 1.0, steps) - HELD) / (1.0 - 2.0 * HELD), 0.0, 1.0) * (MOMENTS - 1)
    found: dict[int, Listened] = {}
    for moving in (False, True):
        some = [n for n, modes in enumerate(every) if (len(modes.hz) > 1) == moving]
        if not some:
            continue
        modes = _side_by_side([every[n] for n in some])
        speeds = np.stack([_speeds(rests[n], wanted[n].speed, steps, share) for n in some], axis=1)
        jets = [_jet(rests[n]) for n in some]
        moments = share if moving else None
        stepped = _blown(modes if moving else _rows(modes, 0), jets, steps / rate, rate, speeds, moments=moments)
        for n, jet, speed, acceleration in zip(some, jets, speeds.T, stepped.acceleration.T, strict=True):
            rest = rests[n]
            found[n] = Listened(
                samples=_made_audible(acceleration, rate / length),
                rate=round(rate / length),
                distance_mm=jet[0] * length * 1e3,
                thickness_mm=jet[1] * length * 1e3,
                speed_m_s=speed,
                rests_m_s=rest.jet[2] if rest else None,
                heard=_levels(every[n].hz[0] / length, rest.rms) if rest else (),
            )
    return [found[n] for n in range(len(wanted))]


def _parts(modes: Modes) -> tuple[RealArray, RealArray, RealArray]:
    return modes.hz, modes.amplitude, modes.resistance


def _rows(modes: Modes, rows: IndexArray | list[int] | int) -> Modes:
    return Modes(*(part[rows] for part in _parts(modes)))


def _of_one_width(every: list[Modes]) -> list[Modes]:
    widest = max((modes.hz.shape[1] for modes in every), default=0)
    return [
        Modes(*(np.pad(part, ((0, 0), (0, widest - part.shape[1])), constant_values=np.nan) for part in _parts(modes)))
        for modes in every
    ]


def _side_by_side(every: Sequence[Modes]) -> Modes:
    """Modes of as many rows each, shape (rows, n, m)."""
    return Modes(*(np.stack(part, axis=1) for part in zip(*map(_parts, every), strict=True)))


def _jet(rest: _Rest | None) -> tuple[float, float, float]:
    return rest.jet if rest else (_SWEEP_DISTANCE, _SWEEP_THICKNESS, _SWEEP_SPEEDS[1])


def _speeds(rest: _Rest | None, ratio: tuple[float, ...], steps: int, share: RealArray) -> RealArray:
    """Air speed of each step [m/s]: risen to where it rests, or up and down again in equal ratios."""
    part = np.linspace(0.0, 1.0, steps)
    up_and_down = np.minimum(part, 1.0 - part)
    if rest is None:
        return np.asarray(_SWEEP_SPEEDS[0] * (_SWEEP_SPEEDS[1] / _SWEEP_SPEEDS[0]) ** (2.0 * up_and_down))
    risen = _RISE_FROM + (1.0 - _RISE_FROM) * np.clip(up_and_down / _RISE_SHARE, 0.0, 1.0)
    return np.asarray(rest.jet[2] * risen * np.interp(share, np.arange(len(ratio)), ratio))


def _rests(every: list[Modes], asked: list[tuple[float, ...]], highest: float, rate: float) -> list[_Rest | None]:
    """Where the air rests for each of some rows of modes; None where it sweeps. What may do is stepped side by side."""
    wanted: list[tuple[int, ...]] = []
    tried: list[list[tuple[float, float, float]]] = []
    for modes, hz in zip(every, asked, strict=True):
        if len(hz) == 1:
            wanted.append((int(np.nanargmin(np.abs(np.log(modes.hz[0] / hz[0])))),))
            tried.append(_holding(modes, wanted[-1][0]))
        else:
            pair = _pair(modes, hz, highest)
            wanted.append(pair or ())
            tried.append(_holding_both(modes, pair) if pair else [])
    of = [n for n, jets in enumerate(tried) for _ in jets]
    if not of:
        return [None] * len(every)
    modes = Modes(*(np.concatenate([part[n] for n in of]) for part in zip(*map(_parts, every), strict=True)))
    start = np.zeros(modes.hz.shape)
    for row, n in enumerate(of):
        start[row, list(wanted[n])] = 1.0
    rms = _blown(modes, [jet for jets in tried for jet in jets], _TRIED_SECONDS, rate, start=start).rms
    found: list[_Rest | None] = []
    for n, jets in enumerate(tried):
        own = rms[np.flatnonzero(np.array(of) == n)]
        best = _clearest(own, wanted[n]) if len(jets) > 1 else 0
        found.append(_Rest(jets[best], own[best]) if jets else None)
    return found


def _holding_both(modes: Modes, pair: tuple[int, int]) -> list[tuple[float, float, float]]:
    """Distance, thickness [m] and speed [m/s] of the broad jets that sound two modes by describing functions."""
    broad = broad_jets()
    return [_one(broad, int(at)) for at in np.flatnonzero(side_by_side(modes, broad, pair).both)]


def _holding(modes: Modes, mode: int) -> list[tuple[float, float, float]]:
    """Of the broad jets that hold a mode as players do the one of middle speed."""
    broad = broad_jets()
    held = np.flatnonzero([bool(found.played[0][mode]) for found in each_jet(modes, broad)])
    return [_one(broad, int(held[np.argsort(broad.speed[held], kind="stable")][len(held) // 2]))] if len(held) else []


def _one(jets: Jets, at: int) -> tuple[float, float, float]:
    return float(jets.distance[at]), float(jets.thickness[at]), float(jets.speed[at])


def _clearest(rms: RealArray, pair: tuple[int, ...]) -> int:
    """Of runs, shape (n, m): of those in which both modes come before all others the one that has them loudest, else the one
    that comes nearest."""
    others = np.delete(rms, pair, axis=1).max(axis=1, initial=0.0)
    weaker, stronger = rms[:, pair].min(axis=1), rms[:, pair].max(axis=1)
    good = (weaker >= np.maximum(HEARD * stronger, others)) * (1.0 + stronger)
    return int((good + weaker / np.maximum(stronger, others)).argmax())


def _pair(modes: Modes, asked_hz: tuple[float, ...], highest: float) -> tuple[int, int] | None:
    """The two modes that are to sound at once, the easiest among those asked for, or of all that are not one note and easy;
    None where there are none."""
    hz = modes.hz[0]
    among = sorted({int(np.nanargmin(np.abs(np.log(hz / one)))) for one in asked_hz})
    if len(among) == 1:
        return None
    listed = among or np.flatnonzero(hz <= highest).tolist()
    share = pair_share(modes, broad_jets(), np.isfinite(modes.hz))[0]
    best = max(itertools.combinations(listed, 2), key=lambda two: _ease(share, hz, two, bool(among)), default=None)
    return best if best and (among or _ease(share, hz, best, False) >= EASY) else None


def _ease(share: RealArray, hz: RealArray, two: tuple[int, int], asked: bool) -> float:
    one_note = not asked and common_fundamental((float(hz[two[0]]), float(hz[two[1]])), hz[np.isfinite(hz)]) is not None
    return 0.0 if one_note else float(share[two])


def _levels(hz: RealArray, rms: RealArray) -> tuple[tuple[float, float], ...]:
    """As Listened.heard; sound pressure goes as frequency times velocity."""
    there = np.isfinite(hz)
    pressure = hz[there] * rms[there]
    levels = 20.0 * np.log10(np.maximum(pressure / max(float(pressure.max(initial=0.0)), 1e-30), 1e-30))
    order = [at for at in np.argsort(-levels, kind="stable") if levels[at] >= _HEARD_DB]
    return tuple((float(hz[there][at]), float(levels[at])) for at in order)


def _blown(
    modes: Modes,
    jets: list[tuple[float, float, float]],
    seconds: float,
    rate: float,
    speeds: RealArray | None = None,
    start: RealArray | None = None,
    moments: RealArray | None = None,
) -> Stepped:
    """Every run with its jet, those side by side whose jets take about as long: the shortest says how many steps can be taken
    at once."""
    broad, columns = broad_jets(), np.array(jets).T
    still = np.zeros(modes.hz.shape[-2:]) if start is None else start
    rms, acceleration = np.empty(still.shape), np.empty((max(1, round(seconds * rate)), len(jets)))
    order = np.argsort(columns[0] / columns[2], kind="stable")
    for runs in np.split(order, range(_RUNS, len(order), _RUNS)):
        own = Modes(*(part[..., runs, :] for part in _parts(modes)))
        distance, thickness, speed = columns[:, runs]
        used = Jets(distance, thickness, speed, broad.spread, broad.strips)
        at = None if speeds is None else speeds[:, runs]
        found = step(own, used, still[runs], seconds, rate=rate, noise=1.0, speeds=at, moments=moments)
        rms[runs], acceleration[:, runs] = found.rms, found.acceleration
    return Stepped(rms, acceleration)


def _made_audible(acceleration: RealArray, rate: float) -> RealArray:
    """The sound pressure far off, to which the air's acceleration in the embouchure is proportional, without what the model
    knows nothing of, faded in and out."""
    spectrum = np.fft.rfft(acceleration)
    hz = np.fft.rfftfreq(len(acceleration), 1.0 / rate)
    heard = np.fft.irfft(spectrum * (hz > 0.0) / (1.0 + (hz / _KNOWN_TO_HZ) ** 6), len(acceleration))
    at = np.arange(len(heard)) / (_FADE_SECONDS * rate)
    heard *= np.sin(0.5 * np.pi * np.clip(np.minimum(at, at[::-1]), 0.0, 1.0)) ** 2
    return np.asarray(LOUDEST * heard / max(float(np.abs(heard).max(initial=0.0)), 1e-30))
