"""What a fingering sounds like in the model: its resonances and a jet stepped through time, as samples.

A sound made by a model, no recording: the tube's resonances up to 2.6 kHz, one jet, the noise of its air, no room, no
player's ear. Where two resonances are held at once the air rests at that speed; else it rises and falls through the
registers."""

import itertools
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import RealArray
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
_FADE_SECONDS = 0.03
_KNOWN_TO_HZ = 4000.0  # the model has no resonances above 2.6 kHz: its noise up there means nothing
_TRIED_SECONDS = 0.4
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


def listen(
    of: Model,
    fingering: Fingering,
    seconds: float = 6.0,
    slide_mm: float = 0.0,
    asked_hz: tuple[float, ...] = (),
    lip_mm: float | None = None,
) -> Listened:
    """The sound of a fingering. asked_hz: two or more pitches that are to sound at once [Hz]: the air rests where a jet sounds
    most of them; a single one: it rests amid the speeds at which jets hold that, and sweeps where none does; without, where
    the easiest two sit that are not one note, and where there are none it sweeps.
    lip_mm: one lip for all resonances (equivalent length), else by the law. The same arguments give the same samples.

    Some half a second of computing for a second of sound. Raises FingeringError when the flute has no such touch."""
    states = hole_states(of.instrument, fingering)[None, :]
    lips = None if lip_mm is None else np.array([lip_mm * 1e-3])
    crossings = of.drawn_out(states, of.flute.slide_mm + slide_mm, lips)
    modes, _ = modes_of(of.curve.size.likened(crossings))
    length = of.curve.size.length
    asked = tuple(hz * length for hz in asked_hz)
    pair = _pair(modes, asked, highest_hz(of.instrument) * length)
    rate = RATE * max(length, 1.0)  # of the likened flute, whose time runs faster by its length
    resting = None if pair is None else _resting(modes, pair, rate)
    if len(asked) == 1:
        resting = _resting_alone(modes, asked[0], rate)
    jet = resting[0] if resting else (_SWEEP_DISTANCE, _SWEEP_THICKNESS, _SWEEP_SPEEDS[1])
    steps = max(round(seconds / length * rate), 2)
    speeds = _swept(steps) if resting is None else _rested(steps, jet[2])
    stepped = _blown(modes, [jet], steps / rate, rate, speeds[:, None])
    return Listened(
        samples=_made_audible(stepped.acceleration[:, 0], rate / length),
        rate=round(rate / length),
        distance_mm=jet[0] * length * 1e3,
        thickness_mm=jet[1] * length * 1e3,
        speed_m_s=speeds,
        rests_m_s=jet[2] if resting else None,
        heard=_levels(modes.hz[0] / length, resting[1]) if resting else (),
    )


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


def _resting(modes: Modes, pair: tuple[int, int], rate: float) -> tuple[tuple[float, float, float], RealArray] | None:
    """Distance, thickness [m] and speed [m/s] of a broad jet that sounds two modes by describing functions, and the rms of
    every mode [m/s]: of those with which stepping has both before all others the one that does so loudest, else the one
    that comes nearest; None where there is no such jet."""
    broad = broad_jets()
    at_once = np.flatnonzero(side_by_side(modes, broad, pair).both)
    tried = [(broad.distance[at], broad.thickness[at], broad.speed[at]) for at in at_once]
    if not tried:
        return None
    start = np.zeros((len(tried), modes.hz.shape[1]))
    start[:, pair] = 1.0
    runs = Modes(*(np.repeat(part, len(tried), axis=0) for part in (modes.hz, modes.amplitude, modes.resistance)))
    rms = _blown(runs, tried, _TRIED_SECONDS, rate, start=start).rms
    others = np.delete(rms, pair, axis=1).max(axis=1, initial=0.0)
    weaker, stronger = rms[:, pair].min(axis=1), rms[:, pair].max(axis=1)
    good = (weaker >= np.maximum(HEARD * stronger, others)) * (1.0 + stronger)
    best = int((good + weaker / np.maximum(stronger, others)).argmax())
    distance, thickness, speed = tried[best]
    return (float(distance), float(thickness), float(speed)), rms[best]


def _resting_alone(modes: Modes, hz: float, rate: float) -> tuple[tuple[float, float, float], RealArray] | None:
    """As `_resting` for the mode nearest to hz: of the broad jets that hold it as players do the one of middle speed."""
    mode = int(np.nanargmin(np.abs(np.log(modes.hz[0] / hz))))
    broad = broad_jets()
    held = np.flatnonzero([bool(found.played[0][mode]) for found in each_jet(modes, broad)])
    if not len(held):
        return None
    at = held[np.argsort(broad.speed[held], kind="stable")][len(held) // 2]
    jet = float(broad.distance[at]), float(broad.thickness[at]), float(broad.speed[at])
    start = np.zeros(modes.hz.shape)
    start[:, mode] = 1.0
    return jet, _blown(modes, [jet], _TRIED_SECONDS, rate, start=start).rms[0]


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
) -> Stepped:
    broad = broad_jets()
    distance, thickness, speed = np.array(jets).T
    used = Jets(distance, thickness, speed, broad.spread, broad.strips)
    still = np.zeros(modes.hz.shape) if start is None else start
    return step(modes, used, still, seconds, rate=rate, noise=1.0, speeds=speeds)


def _swept(steps: int) -> RealArray:
    """Speed of each step: up and down again, in equal ratios."""
    way = 1.0 - np.abs(np.linspace(-1.0, 1.0, steps))
    return np.asarray(_SWEEP_SPEEDS[0] * (_SWEEP_SPEEDS[1] / _SWEEP_SPEEDS[0]) ** way)


def _rested(steps: int, speed: float) -> RealArray:
    part = np.linspace(0.0, 1.0, steps)
    risen = np.clip(np.minimum(part, 1.0 - part) / _RISE_SHARE, 0.0, 1.0)
    return np.asarray(speed * (_RISE_FROM + (1.0 - _RISE_FROM) * risen))


def _made_audible(acceleration: RealArray, rate: float) -> RealArray:
    """The sound pressure far off, to which the air's acceleration in the embouchure is proportional, without what the model
    knows nothing of, faded in and out."""
    spectrum = np.fft.rfft(acceleration)
    hz = np.fft.rfftfreq(len(acceleration), 1.0 / rate)
    heard = np.fft.irfft(spectrum * (hz > 0.0) / (1.0 + (hz / _KNOWN_TO_HZ) ** 6), len(acceleration))
    at = np.arange(len(heard)) / (_FADE_SECONDS * rate)
    heard *= np.sin(0.5 * np.pi * np.clip(np.minimum(at, at[::-1]), 0.0, 1.0)) ** 2
    return np.asarray(LOUDEST * heard / max(float(np.abs(heard).max(initial=0.0)), 1e-30))
