"""Glides by the fingers: rolling off the holes in the keys, or, at best doubtfully, lifting a key slowly."""

from dataclasses import replace
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray, distinct
from fingering_db.fingering import Fingering
from fingering_db.glide import (
    CONSIDERED,
    HALF_HOLE,
    KEY_LIFT,
    POINTS,
    Glide,
    asked_cents,
    followed_glide,
    glide_score,
    leads_there,
)
from fingering_db.mechanism import OPEN, PERFORATION, SHUT
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.ranking import (
    Answers,
    Candidate,
    Resonance,
    answers,
    candidates,
    modes,
)
from fingering_db.touches import FINGERS
from fingering_db.track import Stage

_WIDEST_JUMP_CENTS = 250.0  # of a key: beyond a whole tone nothing glides, and the tone may be another resonance. Ours


def finger_glides(
    model: Model,
    start: tuple[Pitch, ...],
    end: tuple[Pitch, ...],
    tolerance_cents: float,
    a4_hz: float = 440.0,
    limit: int = 5,
) -> tuple[Glide, ...]:
    """Glides by the fingers alone, best first: every pair of fingerings that reaches both ends is compared.

    Either only holes in perforated keys change (fingers roll), or one finger, never that of the foot keys, lifts or
    lowers its key slowly (doubtful at best: most of the change comes at once). Each pitch must stay on its
    resonance and move at least half of what is asked."""
    first, last = (answers(model, pitches, tolerance_cents, a4_hz) for pitches in (start, end))
    modes_of = modes(model, first), modes(model, last)
    pairs = _pairs(model, (first, last), modes_of)
    asked = asked_cents(start, end)
    pairs = pairs[leads_there(asked, asked + last.cents[pairs[:, 1]] - first.cents[pairs[:, 0]])]
    if not len(pairs):
        return ()
    score = np.minimum(first.score[pairs[:, 0]], last.score[pairs[:, 1]])
    before, after = model.reach.states[first.rows[pairs[:, 0]]], model.reach.states[last.rows[pairs[:, 1]]]
    lifts = (before == OPEN) != (after == OPEN)
    rolled, lifted = ((before != after) & ~lifts).sum(axis=1), lifts.any(axis=1)
    order = np.argsort(-(score - 0.1 * rolled), kind="stable")
    # Each kind by itself: many openings in the keys leave as many ways by lifting as none do.
    best = pairs[np.concatenate([order[lifted[order] == kind][:CONSIDERED] for kind in (False, True)])]
    starts, ends = candidates(model, first, best[:, 0]), candidates(model, last, best[:, 1])
    found = []
    for pair, one, two in zip(best, starts, ends, strict=True):
        rows = int(first.rows[pair[0]]), int(last.rows[pair[1]])
        glide = _by_fingers(model, rows, (one, two), tuple(modes_of[0][pair[0]].tolist()))
        if glide is not None:
            found.append(glide)
    found.sort(key=lambda glide: (glide.means != HALF_HOLE, -glide_score(glide, tolerance_cents)))
    return tuple(found[:limit])


def _pairs(model: Model, ends: tuple[Answers, Answers], modes_of: tuple[IndexArray, IndexArray]) -> IndexArray:
    """Pairs (entry of the first, entry of the last), shape (n, 2), that differ only where fingers may glide, without
    repeats."""
    masks = [np.array([hole.perforation_mm > 0.0 for hole in model.instrument.holes])]
    names = [hole.name for hole in model.instrument.holes]
    for finger, options in zip(FINGERS, model.reach.choices, strict=True):
        if finger != "R4":
            moved = {name for option in options for name in (*option.shuts, *option.opens, *option.uncovers)}
            masks.append(np.array([name in moved for name in names]))
    count = len(ends[1].rows)
    pairs = distinct(np.concatenate([_alike_but_for(model, ends, modes_of, mask) @ (count, 1) for mask in masks]))
    return np.stack(np.divmod(pairs, max(count, 1)), axis=1)


def _alike_but_for(
    model: Model, ends: tuple[Answers, Answers], modes_of: tuple[IndexArray, IndexArray], free: RealArray
) -> IndexArray:
    """Pairs whose holes outside the mask `free` are in the same state and whose pitches are on the same resonances."""
    weights = np.where(free, 0, 5 ** np.arange(len(free), dtype=np.int64))
    weight = 16 ** np.arange(modes_of[0].shape[1], dtype=np.int64)
    first, last = ends
    keys = [
        model.reach.states[found.rows].astype(np.int64) @ weights + (mode @ weight) * 5 ** len(free)
        for found, mode in zip(ends, modes_of, strict=True)
    ]
    order = np.argsort(keys[1], kind="stable")
    low = np.searchsorted(keys[1][order], keys[0], side="left")
    high = np.searchsorted(keys[1][order], keys[0], side="right")
    one = np.repeat(np.arange(len(low)), high - low)
    within = np.arange(len(one)) - np.repeat(np.cumsum(high - low) - (high - low), high - low)
    pairs = np.stack([one, order[np.repeat(low, high - low) + within]], axis=1)
    moving = first.rows[pairs[:, 0]] != last.rows[pairs[:, 1]]
    return np.asarray(pairs[moving], dtype=np.intp)


@lru_cache(maxsize=256)  # what answers within a tolerance is tried again within a wider one
def _by_fingers(
    model: Model, rows: tuple[int, int], ends: tuple[Candidate, Candidate], modes: tuple[int, ...]
) -> Glide | None:
    """The path between two sounds: first the holes that roll shut or open, then the keys that leave or find their
    seat; a key that falls does so first, as on the way back it rises last. Where a tone is lost under a finger that rolls
    off, the finger lifts its key with the hole covered."""
    hands = _closest_hands(model, *rows)
    if hands is None:
        return None
    before, after = model.reach.states[rows[0]], model.reach.states[rows[1]]
    lifts = (before == OPEN) != (after == OPEN)
    fingerings = tuple(model.reach.fingering(hand) for hand in hands)
    if not _may_lift(fingerings, int(lifts.sum())):
        return None
    perforated = np.array([hole.perforation_mm > 0.0 for hole in model.instrument.holes])
    if (lifts & perforated).any() and (before[lifts & perforated] == OPEN).all():
        back = _by_fingers(model, (rows[1], rows[0]), (ends[1], ends[0]), modes)
        return None if back is None else _turned(back, ends[0].effort)
    rolling = (before != after) & perforated
    for own in (rolling, rolling & ~lifts) if (rolling & lifts).any() else (rolling,):
        glide = _along(model, rows, fingerings, ends, modes, np.flatnonzero(own))
        if glide is not None:
            return glide
    return None


def _turned(glide: Glide, effort: float) -> Glide:
    """The same from its end to its beginning."""
    path = tuple(replace(point, t=1.0 - point.t) for point in reversed(glide.path))
    return replace(glide, path=path, start_cents=glide.end_cents, end_cents=glide.start_cents, effort=effort)


def _along(
    model: Model,
    rows: tuple[int, int],
    fingerings: tuple[Fingering, ...],
    ends: tuple[Candidate, Candidate],
    modes: tuple[int, ...],
    rolling: IndexArray,
) -> Glide | None:
    """The path with these holes rolled shut or open; what else changes does so at its end."""
    before, after = model.reach.states[rows[0]], model.reach.states[rows[1]]
    lifted = bool(((before == OPEN) != (after == OPEN)).any())
    touches = {int(hole): _touch_at(model, int(hole)) for hole in rolling}
    stages, shown, shares = [], [], []
    for share in np.linspace(0.0, 1.0, POINTS):
        states = before.copy() if share < 1.0 else after.copy()
        opening = tuple((int(hole), _open_share(before[hole], after[hole], share)) for hole in rolling)
        stages.append(Stage(states, 0.0, opening if 0.0 < share < 1.0 else ()))
        shown.append((rows[0], fingerings[0]) if share < 1.0 else (rows[1], fingerings[1]))
        shares.append(tuple((touches[hole], fraction) for hole, fraction in opening))
    targets = tuple(np.array([_mode_hz(end.sounds, mode) for mode in modes]) for end in ends)
    lips = np.linspace(ends[0].lip_mm, ends[1].lip_mm, POINTS) * 1e-3
    moving = tuple(touch for touch in _moving_touches(fingerings) if touch)
    glide = followed_glide(
        model, KEY_LIFT if lifted else HALF_HOLE, stages, shown, (targets[0], targets[1]), lips,
        effort=ends[0].effort, shares=shares,
    )  # fmt: skip
    if glide is None or glide.jump_cents > _WIDEST_JUMP_CENTS:
        return None
    cents = ends[0].deviation_cents, ends[1].deviation_cents
    return replace(glide, start_cents=cents[0], end_cents=cents[1], moving=moving)


def _open_share(before: int, after: int, share: float) -> float:
    """Open fraction of a rolling hole: shut to open hole in the key and further, or the way back."""
    states = {SHUT: 0.0, PERFORATION: 1.0, OPEN: 1.0}
    first, last = states.get(int(before), 1.0), states.get(int(after), 1.0)
    return first + (last - first) * share


def _may_lift(fingerings: tuple[Fingering, ...], lifts: int) -> bool:
    """A key that leaves its seat belongs to one finger alone; others may only roll."""
    pairs = zip(*(one.touches for one in fingerings), strict=True)
    return lifts == 0 or sum(one.removesuffix("o") != two.removesuffix("o") for one, two in pairs) == 1


def _closest_hands(model: Model, one: int, two: int) -> tuple[int, int] | None:
    """Rows of fingerings for two sounds that differ in fewest fingers, least effort; None where a foot key must
    change."""
    starts, ends = (np.flatnonzero(model.reach.sound == sound) for sound in (one, two))
    moved = model.reach.placements[starts][:, None, :] != model.reach.placements[ends][None, :, :]
    cost = moved.sum(axis=2) + 0.01 * (model.effort[starts][:, None] + model.effort[ends][None, :])
    cost[moved[:, :, FINGERS.index("R4")]] = np.inf
    at = np.unravel_index(cost.argmin(), cost.shape)
    return (int(starts[at[0]]), int(ends[at[1]])) if np.isfinite(cost[at]) else None


def _moving_touches(fingerings: tuple[Fingering, ...]) -> list[str]:
    pairs = zip(fingerings[0].touches, fingerings[1].touches, strict=True)
    return [(one or two).removesuffix("o") for one, two in pairs if one != two]


def _touch_at(model: Model, hole: int) -> str:
    """The touch whose perforation this hole has."""
    name = model.instrument.holes[hole].name
    for options in model.reach.choices:
        for option in options:
            if name in option.uncovers:
                return option.touch.removesuffix("o")
    return name


def _mode_hz(sounds: tuple[Resonance, ...], mode: int) -> float:
    return sounds[mode].hz if mode < len(sounds) else float("nan")
