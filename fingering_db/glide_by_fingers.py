"""Glides by the fingers: rolling off the holes in the keys, or, at best doubtfully, lifting a key slowly."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray, distinct
from fingering_db.fingering import Fingering
from fingering_db.glide import (
    CONSIDERED,
    HALF_HOLE,
    KEY_LIFT,
    POINTS,
    Course,
    Glide,
    Point,
    asked_cents,
    followed_paths,
    glide_along,
    glide_score,
    leads_there,
    path_of,
)
from fingering_db.mechanism import OPEN, PERFORATION, SHUT
from fingering_db.model import Model, highest_hz
from fingering_db.pitch import Pitch
from fingering_db.ranking import (
    Answers,
    Candidate,
    Resonance,
    answers,
    bands_of,
    candidates,
    modes,
)
from fingering_db.setting import atlas, giving
from fingering_db.touches import FINGERS
from fingering_db.track import Stage, lost_at_once

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
    model, _ = giving(model, (start, end), tolerance_cents, a4_hz)
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
    ends = (_ends(model, found, best[:, at]) for at, found in enumerate((first, last)))
    tried = [_ways(model, one, two) for one, two in zip(*ends, strict=True)]
    lost = _lost_at_once(model, [way for ways in tried for way in ways if way.rolling])
    known, first_found = _known(model, start, end), dict[int, Glide]()
    for turn in range(2):  # a pair has two ways at most
        left = {pair: ways[turn] for pair, ways in enumerate(tried) if pair not in first_found and turn < len(ways)}
        new = [way for way in dict.fromkeys(left.values()) if way not in known and way not in lost]
        known |= zip(new, _along(model, new), strict=True)
        first_found |= {pair: glide for pair, way in left.items() if (glide := known.get(way)) is not None}
    found = [first_found[pair] for pair in sorted(first_found)]
    found.sort(key=lambda glide: (glide.means != HALF_HOLE, -glide_score(glide, tolerance_cents)))
    return tuple(found[:limit])


@lru_cache(maxsize=32)
def _known(model: Model, start: tuple[Pitch, ...], end: tuple[Pitch, ...]) -> dict["_Way", Glide | None]:
    return {}  # filled by `finger_glides`: what answers within a tolerance is tried again within a wider one


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
    free = np.array(masks)
    keys = [_keys(model, found, mode, free) for found, mode in zip(ends, modes_of, strict=True)]
    alike = [_alike(ends, before, after) for before, after in zip(*keys, strict=True)]
    pairs = distinct(np.concatenate(alike) @ (count, 1))
    return np.stack(np.divmod(pairs, max(count, 1)), axis=1)


def _keys(model: Model, found: Answers, modes_of: IndexArray, free: BoolArray) -> IndexArray:
    """For each mask of `free`, shape (n_masks, n_holes), numbers that are equal where the holes outside it are in the same state
    and the pitches on the same resonances, shape (n_masks, n)."""
    holes = free.shape[1]
    weights = np.where(free, 0.0, 5.0 ** np.arange(holes))  # whole numbers, exact as floats: far quicker to multiply
    weight = 16 ** np.arange(modes_of.shape[1], dtype=np.int64)
    states = model.reach.states[found.rows].astype(float)
    return np.asarray((weights @ states.T).astype(np.int64) + (modes_of @ weight) * 5**holes)


def _alike(ends: tuple[Answers, Answers], before: IndexArray, after: IndexArray) -> IndexArray:
    """Pairs of different sounds with equal keys."""
    first, last = ends
    order = np.argsort(after, kind="stable")
    low = np.searchsorted(after[order], before, side="left")
    high = np.searchsorted(after[order], before, side="right")
    one = np.repeat(np.arange(len(low)), high - low)
    within = np.arange(len(one)) - np.repeat(np.cumsum(high - low) - (high - low), high - low)
    pairs = np.stack([one, order[np.repeat(low, high - low) + within]], axis=1)
    moving = first.rows[pairs[:, 0]] != last.rows[pairs[:, 1]]
    return np.asarray(pairs[moving], dtype=np.intp)


@dataclass(frozen=True, slots=True)
class _End:
    """A sound at one end. row: of `reach.states`; branches: of the atlas, that answer the pitches, and what they sound [Hz]."""

    row: int
    candidate: Candidate
    branches: tuple[int, ...]
    hz: tuple[float, ...]


def _ends(model: Model, found: Answers, order: IndexArray) -> list[_End]:
    every, branches = atlas(model), found.branches[order]
    hz = every.hz(every.places(branches, found.lips[order, None])[0])
    told = (
        found.rows[order].tolist(),
        candidates(model, found, order),
        map(tuple, branches.tolist()),
        map(tuple, hz.tolist()),
    )
    return list(map(_End, *told))


@dataclass(frozen=True, slots=True)
class _Way:
    """A way between two sounds: holes roll, then the keys leave their seat, or find it, that do (lifted: some do). turned: it is
    looked at from its end, as a key that falls does so first."""

    ends: tuple[_End, _End]
    fingerings: tuple[Fingering, Fingering]
    rolling: tuple[int, ...]
    lifted: bool
    turned: bool

    @property
    def lips_m(self) -> RealArray:
        """At each point."""
        return np.linspace(self.ends[0].candidate.lip_mm, self.ends[1].candidate.lip_mm, POINTS) * 1e-3

    def open(self, model: Model, share: float) -> tuple[tuple[int, float], ...]:
        """Holes that roll, and what fraction of each is open after this share of the time."""
        before, after = (model.reach.states[end.row] for end in self.ends)
        return tuple((hole, _open_share(before[hole], after[hole], share)) for hole in self.rolling)

    def stage(self, model: Model, share: float) -> Stage:
        """The flute after this share of the time."""
        states = model.reach.states[self.ends[share == 1.0].row]
        return Stage(states, model.flute.slide_mm, self.open(model, share) if 0.0 < share < 1.0 else ())


def _ways(model: Model, start: _End, end: _End) -> tuple[_Way, ...]:
    """Those to be tried, in order. Where a tone is lost under a finger that rolls off, the finger lifts its key with the hole
    covered."""
    before, after = model.reach.states[start.row], model.reach.states[end.row]
    lifts = (before == OPEN) != (after == OPEN)
    perforated = np.array([hole.perforation_mm > 0.0 for hole in model.instrument.holes])
    turned = bool((lifts & perforated).any() and (before[lifts & perforated] == OPEN).all())
    ends = (end, start) if turned else (start, end)
    hands = _closest_hands(model, ends[0].row, ends[1].row)
    if hands is None:
        return ()
    fingerings = model.reach.fingering(hands[0]), model.reach.fingering(hands[1])
    if not _may_lift(fingerings, int(lifts.sum())) or max(start.hz + end.hz) > highest_hz(model.instrument):
        return ()
    rolling = (before != after) & perforated
    each = (rolling, rolling & ~lifts) if (rolling & lifts).any() else (rolling,)
    return tuple(_Way(ends, fingerings, tuple(np.flatnonzero(own).tolist()), bool(lifts.any()), turned) for own in each)


def _lost_at_once(model: Model, ways: list[_Way]) -> set[_Way]:
    """Most fingers that roll off lose a component in the first step."""
    if not ways:
        return set()
    begun = [(way.stage(model, 0.0), way.stage(model, 1.0 / (POINTS - 1))) for way in ways]
    lips = np.array([way.lips_m[:2] for way in ways]).T
    lost = lost_at_once(model, begun, np.array([way.ends[0].hz for way in ways]), lips)
    return {way for way, gone in zip(ways, lost, strict=True) if gone}


def _along(model: Model, ways: list[_Way]) -> list[Glide | None]:
    """The glide of each; None where a component is lost, or jumps too far."""
    rolled = [way for way in ways if way.rolling or not way.lifted]
    every = None if model.flute.slide_mm else atlas(model)
    paths = dict(zip(rolled, followed_paths(model, [_course(model, way) for way in rolled], every), strict=True))
    return [_glide(way, paths[way] if way in paths else _lifted(model, way)) for way in ways]


def _glide(way: _Way, path: tuple[Point, ...] | None) -> Glide | None:
    if path is None:
        return None
    one, two = (end.candidate for end in way.ends)
    cents, moving = (one.deviation_cents, two.deviation_cents), tuple(filter(None, _moving_touches(way.fingerings)))
    glide = glide_along(KEY_LIFT if way.lifted else HALF_HOLE, path, cents, one.effort, moving)
    if glide.jump_cents > _WIDEST_JUMP_CENTS:
        return None
    return _turned(glide, two.effort) if way.turned else glide


def _turned(glide: Glide, effort: float) -> Glide:
    """The same from its end to its beginning."""
    path = tuple(replace(point, t=1.0 - point.t) for point in reversed(glide.path))
    return replace(glide, path=path, start_cents=glide.end_cents, end_cents=glide.start_cents, effort=effort)


def _course(model: Model, way: _Way) -> Course:
    """The way with holes that roll shut or open; what else changes does so at its end."""
    times = np.linspace(0.0, 1.0, POINTS).tolist()
    touches = {hole: _touch_at(model, hole) for hole in way.rolling}
    held = [(end.row, fingering) for end, fingering in zip(way.ends, way.fingerings, strict=True)]
    start_hz, end_hz = (np.array(end.hz) for end in way.ends)
    return Course(
        [way.stage(model, share) for share in times],
        [*held[:1] * (POINTS - 1), held[1]],
        way.lips_m,
        start_hz,
        end_hz if way.lifted else None,
        [tuple((touches[hole], part) for hole, part in way.open(model, share)) for share in times],
    )


def _lifted(model: Model, way: _Way) -> tuple[Point, ...] | None:
    """The path with nothing but keys that leave their seat, or find it, at its end: until then only the lip moves, so the atlas
    has it."""
    every, lips, last = atlas(model), way.lips_m, POINTS - 1
    branches = np.array([way.ends[0].branches] * last + [way.ends[1].branches])
    if not every.exists(branches[1:last], lips[1:last, None]).all():
        return None
    lips = np.broadcast_to(lips[:, None], branches.shape)
    figures = (
        every.hz(every.places(branches, lips)[0]),
        every.strengths(branches, lips),
        bands_of(model, every, branches),
    )
    sounds = [tuple(map(Resonance, *one)) for one in zip(*(each.tolist() for each in figures), strict=True)]
    fingerings = [way.fingerings[0]] * last + [way.fingerings[1]]
    return path_of([model.flute.slide_mm] * POINTS, [()] * POINTS, way.lips_m, fingerings, sounds)


def _open_share(before: int, after: int, share: float) -> float:
    """Open fraction of a rolling hole: shut to open hole in the key and further, or the way back."""
    states = {SHUT: 0.0, PERFORATION: 1.0, OPEN: 1.0}
    first, last = states.get(int(before), 1.0), states.get(int(after), 1.0)
    return first + (last - first) * share


def _may_lift(fingerings: tuple[Fingering, ...], lifts: int) -> bool:
    """A key that leaves its seat belongs to one finger alone; others may only roll."""
    pairs = zip(*(one.touches for one in fingerings), strict=True)
    return lifts == 0 or sum(one.removesuffix("o") != two.removesuffix("o") for one, two in pairs) == 1


@lru_cache(maxsize=1024)
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
