"""Sliding between pitches with the fingers: rolling off the holes in the keys."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fingering_db.acoustics.arrays import IndexArray
from fingering_db.finding import Answers, Candidate, answers, candidates
from fingering_db.mechanism import OPEN
from fingering_db.model import Model
from fingering_db.pitch import Pitch

_CONSIDERED = 200  # pairs of ends shown to the ranking, best first


@dataclass(frozen=True, slots=True)
class FingerGlide:
    """Two fingerings that differ only in perforated keys, so that fingers roll or lift from one to the other without a
    jump. holes: names of the holes that change. lifts: some key leaves its seat (continuous only from its open
    hole)."""

    start: Candidate
    end: Candidate
    holes: tuple[str, ...]
    lifts: bool
    confidence: float


def finger_glides(
    model: Model,
    start: tuple[Pitch, ...],
    end: tuple[Pitch, ...],
    tolerance_cents: float,
    a4_hz: float = 440.0,
    limit: int = 5,
) -> tuple[FingerGlide, ...]:
    """Glides between two sets of sounding pitches, best first: every pair of fingerings that reaches both ends is
    compared. Each pitch must stay on the same resonance, counted from the lowest. Both ends are computed, the way
    between
    is not."""
    first, last = (answers(model, pitches, tolerance_cents, a4_hz) for pitches in (start, end))
    pairs = _pairs_alike_but_for_perforations(model, first, last)
    if not len(pairs):
        return ()
    score = np.minimum(first.score[pairs[:, 0]], last.score[pairs[:, 1]])
    changed = (model.reach.states[first.rows[pairs[:, 0]]] != model.reach.states[last.rows[pairs[:, 1]]]).sum(axis=1)
    order = np.argsort(-(score - 0.1 * changed), kind="stable")[:_CONSIDERED]
    best = pairs[order[:limit]]
    starts, ends = candidates(model, first, best[:, 0]), candidates(model, last, best[:, 1])
    glides = (_glide(model, first, last, pair, one, two) for pair, one, two in zip(best, starts, ends, strict=True))
    return tuple(glide for glide in glides if glide is not None)


def _pairs_alike_but_for_perforations(model: Model, first: Answers, last: Answers) -> IndexArray:
    """Pairs (entry of first, entry of last), shape (n, 2), whose holes without perforations are in the same state."""
    fixed = np.array([hole.perforation_mm == 0.0 for hole in model.instrument.holes])
    weights = np.where(fixed, 5 ** np.arange(len(fixed), dtype=np.int64), 0)
    modes = 16 ** np.arange(first.mode.shape[1], dtype=np.int64)
    keys = [
        model.reach.states[found.rows].astype(np.int64) @ weights + (found.mode @ modes) * 5 ** len(fixed)
        for found in (first, last)
    ]
    order = np.argsort(keys[1], kind="stable")
    low = np.searchsorted(keys[1][order], keys[0], side="left")
    high = np.searchsorted(keys[1][order], keys[0], side="right")
    one = np.repeat(np.arange(len(low)), high - low)
    within = np.arange(len(one)) - np.repeat(np.cumsum(high - low) - (high - low), high - low)
    two = order[np.repeat(low, high - low) + within]
    pairs = np.stack([one, two], axis=1)
    moving = first.rows[pairs[:, 0]] != last.rows[pairs[:, 1]]
    return np.asarray(pairs[moving], dtype=np.intp)


def _glide(
    model: Model, first: Answers, last: Answers, pair: IndexArray, start: Candidate, end: Candidate
) -> FingerGlide | None:
    """The hands for a pair of sounds: of all fingerings that sound the same, the two that differ in fewest fingers;
    None
    where a finger would have to change keys under way."""
    one, two = (found.rows[at] for found, at in zip((first, last), pair, strict=True))
    before, after = model.reach.states[one], model.reach.states[two]
    changed = np.flatnonzero(before != after)
    hands = _closest_hands(model, one, two)
    if hands is None:
        return None
    return FingerGlide(
        start=replace(start, fingering=model.reach.fingering(hands[0])),
        end=replace(end, fingering=model.reach.fingering(hands[1])),
        holes=tuple(model.instrument.holes[hole].name for hole in changed),
        lifts=bool(((before[changed] == OPEN) | (after[changed] == OPEN)).any()),
        confidence=min(start.confidence, end.confidence),
    )


def _closest_hands(model: Model, one: int, two: int) -> tuple[int, int] | None:
    """Rows of fingerings for two sounds in which only fingers on perforated keys move, fewest fingers, least effort."""
    rolling = np.array([any(option.uncovers for option in options) for options in model.reach.choices])
    starts, ends = (np.flatnonzero(model.reach.sound == sound) for sound in (one, two))
    moved = model.reach.placements[starts][:, None, :] != model.reach.placements[ends][None, :, :]
    cost = moved.sum(axis=2) + 0.01 * (model.effort[starts][:, None] + model.effort[ends][None, :])
    cost[(moved & ~rolling).any(axis=2)] = np.inf
    at = np.unravel_index(cost.argmin(), cost.shape)
    return (int(starts[at[0]]), int(ends[at[1]])) if np.isfinite(cost[at]) else None
