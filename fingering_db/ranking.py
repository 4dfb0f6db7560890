"""From pitches to ranked fingerings, and from a fingering to what it sounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.bands import bands, sound_of
from fingering_db.fingering import Fingering
from fingering_db.idle import told_apart
from fingering_db.mechanism import hole_states
from fingering_db.model import Model, highest_hz
from fingering_db.pitch import Pitch
from fingering_db.playability import marked_down, one_jet, relative_amplitude, shared, strength
from fingering_db.search import matching

_CHUNK = 512  # rows of impedance at a time: bounds memory, not what is found
EFFORT_WEIGHT = 0.02  # of confidence per pressed key: between equals, the easier hand
_OFF_WEIGHT = 0.003  # of confidence per cent that an answer may be off: ten cents outweigh one finger saved. Ours


@dataclass(frozen=True, slots=True)
class Resonance:
    """One resonance. hz [Hz]; strength 0..1: how surely it sounds alone; relative_amplitude, depth_db, prominence_db:
    what that rests on (playability.py); band_cents: how far the played one may lie from it, ± (bands.py)."""

    hz: float
    strength: float
    relative_amplitude: float
    depth_db: float
    prominence_db: float
    band_cents: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """A fingering that answers. deviation_cents: sounding minus asked, per target; band_cents: ± of each. lip_mm: the one lip
    for all of them (equivalent length). confidence 0..1. sounds: all its resonances up to 2.6 kHz with that lip."""

    fingering: Fingering
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    confidence: float
    lip_mm: float
    effort: float
    sounds: tuple[Resonance, ...]

    @property
    def worst_cents(self) -> float:
        """Largest deviation, without sign [cents]."""
        return max(abs(cents) for cents in self.deviation_cents)

    @property
    def inside_band(self) -> bool:
        """Whether every deviation lies inside its band: it cannot be told from none."""
        pairs = zip(self.deviation_cents, self.band_cents, strict=True)
        return all(abs(cents) <= band for cents, band in pairs)


@dataclass(frozen=True, slots=True)
class Found:
    """What a search gave: how many distinct sounds answer, and the best of them, ranked."""

    count: int
    best: tuple[Candidate, ...]


def sounds(
    model: Model, fingering: Fingering, lip_mm: float | None = None, slide_mm: float = 0.0
) -> tuple[Resonance, ...]:
    """Every resonance of a fingering up to 2.6 kHz, lowest first; lip by the law, note for note, unless one is given
    [mm]; the head joint drawn out by slide_mm.

    Raises FingeringError when the flute has no such touch."""
    states = hole_states(model.instrument, fingering)[None, :]
    lips = None if lip_mm is None else np.array([lip_mm * 1e-3])
    crossings = model.drawn_out(states, model.flute.slide_mm + slide_mm, lips)
    # The n-th resonance stays the n-th while the joint is drawn: its band is that of the joint at rest.
    own = bands(model).of_modes(sound_of(model, fingering), np.arange(len(crossings.hz)))
    return _resonances(crossings, np.arange(len(crossings.hz)), strength(crossings, model.curve), own, model)


@dataclass(frozen=True, slots=True)
class Answers:
    """All sounds that answer, unranked: rows of `reach.states`, lips [m], confidence, score, each of shape (n,); cents and
    bands, shape (n, k), deviations and ± of each; mode, shape (n, k), number of the resonance that answers, 0 for the
    lowest."""

    rows: IndexArray
    lips: RealArray
    confidence: RealArray
    cents: RealArray
    bands: RealArray
    mode: IndexArray
    score: RealArray


def answers(model: Model, targets: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float = 440.0) -> Answers:
    """Every distinct sound within the tolerance of all targets with one lip.

    targets: sounding pitches, any order. Lips lie between the law's values at the lowest and the highest target,
    widened by the player's range."""
    hz = np.array([pitch.hz(a4_hz) for pitch in targets])
    law = model.flute.lip_law_m(hz)
    spare = model.instrument.lip.spare_mm * 1e-3 if len(hz) > 1 else 0.0
    bounds = (float(law.min()) - spare, float(law.max()) + spare)
    rows, lips = matching(model.flute, model.halves, hz, tolerance_cents, bounds)
    starts = range(0, max(len(rows), 1), _CHUNK)
    parts = [_judge(model, rows[at : at + _CHUNK], lips[at : at + _CHUNK], hz) for at in starts]
    confidence = np.concatenate([part[0] for part in parts])
    cents = np.concatenate([part[1] for part in parts])
    mode = np.concatenate([part[2] for part in parts])
    sounding = hz * 2.0 ** (np.where(np.isfinite(cents), cents, 0.0) / 1200.0)
    own = bands(model).at(rows, sounding, lips if len(hz) > 1 else None)
    effort = model.effort[model.easiest[rows]]
    scores = score(confidence, may_be_off(cents, own), effort)
    kept = np.abs(cents).max(axis=1) <= tolerance_cents
    return Answers(rows[kept], lips[kept], confidence[kept], cents[kept], own[kept], mode[kept], scores[kept])


def may_be_off(cents: RealArray, band_cents: RealArray) -> RealArray:
    """How far an answer may be off, shape (n,) [cents]: the largest of deviation and band together over its pitches, both
    of shape (n, k)."""
    return np.asarray((np.abs(cents) + band_cents).max(axis=1))


def score(confidence: RealArray, off_cents: RealArray, effort: RealArray) -> RealArray:
    """How good an answer is, all of shape (n,): its confidence, less what it may be off (`may_be_off`), less what it costs
    the hand (effort in pressed keys). Weights: ours."""
    return np.asarray(confidence - _OFF_WEIGHT * off_cents - EFFORT_WEIGHT * effort)


def find(
    model: Model, targets: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float = 440.0, limit: int = 100
) -> Found:
    """Every distinct sound that answers, best first, each by its easiest fingering; the best `limit` listed in full, those
    left out that differ from a better one by an idle key."""
    found = answers(model, targets, tolerance_cents, a4_hz)
    order = np.argsort(-found.score, kind="stable")
    order = told_apart(model, found.rows, found.cents, found.confidence, order, limit)
    return Found(len(found.rows), candidates(model, found, order))


def candidates(model: Model, found: Answers, order: IndexArray) -> tuple[Candidate, ...]:
    """Entries of `found` in the order given, in full."""
    if not len(order):
        return ()
    rows, lips = found.rows[order], found.lips[order]
    crossings = model.resonances(model.bore(rows), lips)
    strengths = strength(crossings, model.curve)
    own = bands(model).at(
        rows[crossings.row], crossings.hz[:, None], lips[crossings.row] if found.cents.shape[1] > 1 else None
    )[:, 0]
    return tuple(
        Candidate(
            fingering=model.reach.fingering(int(model.easiest[row])),
            deviation_cents=tuple(float(value) for value in found.cents[at]),
            band_cents=tuple(float(value) for value in found.bands[at]),
            confidence=float(found.confidence[at]),
            lip_mm=float(found.lips[at] * 1e3),
            effort=float(model.effort[model.easiest[row]]),
            sounds=_resonances(crossings, np.flatnonzero(crossings.row == number), strengths, own, model),
        )
        for number, (at, row) in enumerate(zip(order, rows, strict=True))
    )


def _judge(model: Model, rows: IndexArray, lips: RealArray, hz: RealArray) -> tuple[RealArray, RealArray, IndexArray]:
    """Confidence, shape (n,); deviation of the resonance nearest to each target, shape (n, k) [cents]; its number.

    Two targets that fall on one resonance, or a row without resonances, give confidence 0 and infinite deviation."""
    crossings = model.resonances(model.bore(rows), lips)
    strengths = strength(crossings, model.curve)
    cents = 1200.0 * np.log2(crossings.hz[:, None] / hz)
    nearest = np.full((len(rows), len(hz)), np.inf)
    np.minimum.at(nearest, crossings.row, np.abs(cents))
    hit = np.abs(cents) == nearest[crossings.row]  # (n_crossings, k)
    deviation = np.full_like(nearest, np.inf)
    mode = np.zeros(nearest.shape, dtype=np.intp)
    sounding, resistance = np.full_like(nearest, hz), np.zeros(nearest.shape)
    number = np.arange(len(crossings.row)) - np.searchsorted(crossings.row, crossings.row)
    weakest = np.ones(len(rows))
    lowest_hz, highest_hz = np.full(len(rows), np.inf), np.zeros(len(rows))
    for k in range(len(hz)):
        at = np.flatnonzero(hit[:, k])
        deviation[crossings.row[at], k] = cents[at, k]
        mode[crossings.row[at], k] = number[at]
        sounding[crossings.row[at], k] = crossings.hz[at]
        resistance[crossings.row[at], k] = crossings.resistance[at]
        np.minimum.at(weakest, crossings.row[at], strengths[at])
        np.minimum.at(lowest_hz, crossings.row[at], crossings.hz[at])
        np.maximum.at(highest_hz, crossings.row[at], crossings.hz[at])
    inside = (crossings.hz > lowest_hz[crossings.row]) & (crossings.hz < highest_hz[crossings.row])
    competing = np.where(inside & ~hit.any(axis=1), strengths, 0.0)
    confidence = weakest * np.exp(np.bincount(crossings.row, np.log(marked_down(competing)), len(rows)))
    if len(hz) > 1:
        confidence = confidence * shared(one_jet(sounding, resistance * model.curve.size.area))
    same = np.bincount(crossings.row, hit.sum(axis=1) > 1, len(rows)) > 0
    deviation[same] = np.inf
    return np.where(np.isfinite(deviation).all(axis=1), confidence, 0.0), deviation, mode


def _resonances(
    crossings: Crossings, own: IndexArray, strengths: RealArray, bands_cents: RealArray, model: Model
) -> tuple[Resonance, ...]:
    r = relative_amplitude(crossings, model.curve)
    return tuple(
        Resonance(
            float(crossings.hz[n]), float(strengths[n]), float(r[n]),
            float(crossings.depth_db[n]), float(crossings.prominence_db[n]), float(bands_cents[n]),
        )
        for n in own
        if crossings.hz[n] <= highest_hz(model.instrument)
    )  # fmt: skip
