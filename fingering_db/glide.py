"""Sliding between pitches without a jump: by the telescoping head joint, by fingers rolling off the holes in the keys,
and, at best doubtfully, by lifting a key slowly."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, ComplexArray, IndexArray, RealArray, distinct
from fingering_db.acoustics.resonance import Crossings
from fingering_db.fingering import Fingering
from fingering_db.mechanism import OPEN, PERFORATION, SHUT
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.playability import strength
from fingering_db.ranking import (
    EFFORT_WEIGHT,
    Answers,
    Candidate,
    Resonance,
    answers,
    bands_of_modes,
    candidates,
    modes,
)
from fingering_db.slide_search import Settings
from fingering_db.touches import FINGERS
from fingering_db.track import LOST_CENTS, Stage, follow, followed, sweep

SLIDE, HALF_HOLE, KEY_LIFT = "slide", "half-hole", "key lift"
# Of confidence: for ends that are off by the whole tolerance, and for each mm that the joint is drawn at the start. Ours.
_OFF_WEIGHT, _DRAWN_WEIGHT = 0.15, 0.005
_WIDEST_JUMP_CENTS = 250.0  # of a key: beyond a whole tone nothing glides, and the tone may be another resonance. Ours
_POINTS = 11  # of a path, evenly in time
_CONSIDERED = 8  # fingerings or pairs of them that are followed all the way
_AT_ONCE = 2048  # sounds looked at together: bounds memory
_SLIDE_STEP_MM = 3.0  # a few cents: a step that tracking takes easily, and the grid on which slides are searched
_HALF_STEP = 0.5 * _SLIDE_STEP_MM + 1e-6
_LIPS = 5  # trial lips at the far end of a slide
_STARTS = 4  # settings of the joint from which a glide is tried
_CENTS_PER_MM_DRAWN = 0.3  # what it is worth to begin with the joint at rest: ours


@dataclass(frozen=True, slots=True)
class Point:
    """A glide at time t (0..1). open: (touch, open fraction of its hole). lip_mm: the one lip. sounds: the components
    asked for, low to high, with their strengths."""

    t: float
    slide_mm: float
    open: tuple[tuple[str, float], ...]
    lip_mm: float
    fingering: Fingering
    sounds: tuple[Resonance, ...]


@dataclass(frozen=True, slots=True)
class Glide:
    """A way to slide. means: SLIDE, HALF_HOLE or KEY_LIFT. start_cents, end_cents: deviation of each pitch at the ends.
    confidence: that of the weakest point. jump_cents: largest jump under way, 0 where it is continuous. moving: touches that
    roll or lift. effort: of the start's fingering. lip_cents: how far the lip holds a single pitch off its usual place all the
    way, counted in the deviations, not in the path."""

    means: str
    path: tuple[Point, ...]
    start_cents: tuple[float, ...]
    end_cents: tuple[float, ...]
    confidence: float
    jump_cents: float = 0.0
    moving: tuple[str, ...] = ()
    effort: float = 0.0
    lip_cents: float = 0.0

    @property
    def worst_cents(self) -> float:
        """Largest deviation at either end, without sign."""
        return max(map(abs, (*self.start_cents, *self.end_cents)))

    @property
    def band_cents(self) -> tuple[float, ...]:
        """± of start_cents, then of end_cents."""
        return tuple(one.band_cents for point in (self.path[0], self.path[-1]) for one in point.sounds)

    @property
    def start_bands(self) -> tuple[float, ...]:
        """± of start_cents."""
        return tuple(one.band_cents for one in self.path[0].sounds)

    @property
    def moved_cents(self) -> tuple[float, ...]:
        """How far each component moves."""
        ends = zip(self.path[0].sounds, self.path[-1].sounds, strict=True)
        return tuple(float(1200.0 * np.log2(last.hz / first.hz)) for first, last in ends)

    def centred(self, bend_cents: float) -> "Glide":
        """With the lip held so that both ends of a single pitch are equally far off, as far as it bends; others as they are."""
        if len(self.start_cents) > 1:
            return self
        shift = -(self.start_cents[0] + self.end_cents[0]) / 2.0
        shift = min(max(shift, -bend_cents), bend_cents)
        ends = ((self.start_cents[0] + shift,), (self.end_cents[0] + shift,))
        return replace(self, start_cents=ends[0], end_cents=ends[1], lip_cents=shift)


def slide_glides(
    model: Model,
    start: tuple[Pitch, ...],
    end: tuple[Pitch, ...],
    tolerance_cents: float,
    a4_hz: float = 440.0,
    begin_mm: float | None = None,
) -> tuple[Glide, ...]:
    """Glides with the head joint's slide, best first; () for a flute without one. begin_mm: where the joint is when they begin
    (to half of _SLIDE_STEP_MM), None for wherever is best.

    Every reachable fingering is searched at both ends for slides _SLIDE_STEP_MM apart; those that serve both ends are
    followed from one to the other with one lip at each moment, and must keep each pitch on its resonance."""
    settings = _settings(model)
    if not len(settings):
        return ()
    served = _served(model, start, end, tolerance_cents, a4_hz)
    found = []
    for row, lips in served:
        start_lips = lips if begin_mm is None else np.where(np.abs(settings - begin_mm) <= _HALF_STEP, lips, np.nan)
        if not np.isfinite(start_lips).any():
            continue
        glide = _slide_on(model, row, start_lips, (start, end), tolerance_cents, a4_hz, settings)
        if glide is None or glide.worst_cents > tolerance_cents:
            continue
        # One that is cut short by where the joint was left is told as that, with the rest that it needs.
        if begin_mm is not None or _leads_there(_asked_cents(start, end), np.array([glide.moved_cents]))[0]:
            found.append(glide)
    return tuple(sorted(found, key=lambda glide: -_score(glide, tolerance_cents)))


def _asked_cents(start: tuple[Pitch, ...], end: tuple[Pitch, ...]) -> RealArray:
    return np.array([100.0 * (to.midi - pitch.midi) for pitch, to in zip(start, end, strict=True)])


def _leads_there(asked_cents: RealArray, moved_cents: RealArray) -> BoolArray:
    """Which movements, shape (n, k), go at least half of the way asked, shape (k,), each pitch in its direction."""
    return np.asarray((moved_cents * np.sign(asked_cents) >= 0.5 * np.abs(asked_cents)).all(axis=1))


def _score(glide: Glide, tolerance_cents: float) -> float:
    drawn = abs(glide.path[0].slide_mm)  # the joint is best at rest when the glide begins
    off = glide.worst_cents / tolerance_cents
    return glide.confidence - _OFF_WEIGHT * off**2 - EFFORT_WEIGHT * glide.effort - _DRAWN_WEIGHT * drawn


def _served(
    model: Model, start: tuple[Pitch, ...], end: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float
) -> list[tuple[int, RealArray]]:
    """The easiest sounds that give the start at some setting and the end at some: row, and the lips [m] for the start, shape
    (n_settings,), NaN where none."""
    ending = _at_every_setting(model, end, tolerance_cents, a4_hz)
    found: list[tuple[int, RealArray]] = []
    for at in range(0, len(model.reach.states), _AT_ONCE):
        rows, lips = _starting(model, start, tolerance_cents, a4_hz, at)
        both = np.isfinite(ending.lips(rows)).any(axis=1)
        found += zip(rows[both].tolist(), lips[both], strict=True)
        if len(found) >= _CONSIDERED:
            break
    return found[:_CONSIDERED]


@lru_cache(maxsize=128)  # how far a start can be taken is tried out with one end after the other
def _starting(
    model: Model, start: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float, at: int
) -> tuple[IndexArray, RealArray]:
    """Of the sounds from number `at` on, easiest first, those that give the start, and their lips [m], shape (n, n_settings)."""
    rows = _easiest_first(model)[at : at + _AT_ONCE]
    lips = _at_every_setting(model, start, tolerance_cents, a4_hz).lips(rows)
    some = np.isfinite(lips).any(axis=1)
    return rows[some], lips[some]


@lru_cache(maxsize=8)
def _easiest_first(model: Model) -> IndexArray:
    return np.argsort(model.effort[model.easiest], kind="stable")


@lru_cache(maxsize=32)
def _at_every_setting(model: Model, pitches: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float) -> Settings:
    hz = np.array([pitch.hz(a4_hz) for pitch in pitches])
    return Settings.of(model, hz, tolerance_cents, _lip_bounds(model, hz), _settings(model))


@lru_cache(maxsize=8)
def _settings(model: Model) -> RealArray:
    """Settings of the head joint at which glides are searched [mm], as in Flute; none where it does not move."""
    slide = model.instrument.slide
    if slide is None:
        return np.empty(0)
    return np.arange(-slide.slide_rest_mm, slide.travel_mm - slide.slide_rest_mm + 1e-9, _SLIDE_STEP_MM)


def _lip_bounds(model: Model, hz: RealArray) -> tuple[float, float]:
    law = model.flute.lip_law_m(hz)
    spare = model.instrument.lip.spare_mm * 1e-3 if len(hz) > 1 else 0.0
    return float(law.min()) - spare, float(law.max()) + spare


def _slide_on(
    model: Model,
    row: int,
    start_lips: RealArray,
    ends: tuple[tuple[Pitch, ...], tuple[Pitch, ...]],
    tolerance_cents: float,
    a4_hz: float,
    settings: RealArray,
) -> Glide | None:
    """The best glide on one fingering: from some of the settings that serve the start (start_lips, NaN where none) it
    is followed through all settings beyond, with some lips at the far end; the setting and lip that suit the end are
    taken."""
    states = model.reach.states[row]
    start_hz, end_hz = (np.array([pitch.hz(a4_hz) for pitch in pitches]) for pitches in ends)
    swept = sweep(model, [Stage(states, float(setting)) for setting in settings])
    served = np.flatnonzero(np.isfinite(start_lips))
    tried = served[distinct(np.linspace(0, len(served) - 1, _STARTS).astype(int))]
    ways = [_way(model, swept, settings, int(at), float(start_lips[at]), (start_hz, end_hz)) for at in tried]
    best = min((way for way in ways if way is not None), default=None)
    if best is None:
        return None
    cost, begin, target, lip, end_lip = best
    # Between two settings a pitch moves by LOST_CENTS at most: so both ends cannot come within the tolerance.
    if cost - _CENTS_PER_MM_DRAWN * abs(begin) > 2.0 * tolerance_cents + LOST_CENTS:
        return None
    slides = np.linspace(begin, target, _POINTS) + 0.0  # no negative zero
    fingering = model.reach.fingering(int(model.easiest[row]))
    return _made(
        model,
        SLIDE,
        [Stage(states, float(slide)) for slide in slides],
        [(row, fingering)] * _POINTS,
        (start_hz, end_hz),
        np.linspace(lip, end_lip, _POINTS),
        effort=float(model.effort[model.easiest[row]]),
    )


def _way(
    model: Model,
    swept: ComplexArray,
    settings: RealArray,
    at: int,
    lip: float,
    ends_hz: tuple[RealArray, RealArray],
) -> tuple[float, float, float, float, float] | None:
    """From setting number `at` to the setting and lip that give the end best: (cost [cents], begin [mm], target [mm],
    lip [m], end lip [m]); None where the pitches cannot be followed. The cost counts both ends and where the joint
    begins."""
    start_hz, end_hz = ends_hz
    order = np.arange(at, len(settings)) if end_hz.mean() < start_hz.mean() else np.arange(at, -1, -1)
    if len(order) == 1:
        return None
    way = settings[order]
    lips = np.linspace(*_lip_bounds(model, end_hz), _LIPS)
    shares = np.linspace(0.0, 1.0, len(way))[:, None]
    tracked = follow(model, swept[order], start_hz, lip + shares * (lips - lip))
    off = np.abs(1200.0 * np.log2(tracked / end_hz[:, None])).max(axis=1)[1:]  # (n_way - 1, _LIPS)
    off[~np.isfinite(off)] = np.inf
    if not np.isfinite(off).any():
        return None
    stage, which = np.unravel_index(off.argmin(), off.shape)
    target = float(np.clip(_between(way[1:], off[:, which], int(stage)), settings.min(), settings.max()))
    end_lip = lip + (target - way[0]) / (way[-1] - way[0]) * (lips[which] - lip)
    start_off = float(np.abs(1200.0 * np.log2(tracked[0, :, 0] / start_hz)).max())
    cost = start_off + float(off.min()) + _CENTS_PER_MM_DRAWN * abs(way[0])
    return cost, float(way[0]), target, lip, float(end_lip)


def _between(way: RealArray, off: RealArray, at: int) -> float:
    """The setting of least deviation around index `at`, by a parabola through the neighbours."""
    if not 0 < at < len(way) - 1 or not np.isfinite(off[at - 1 : at + 2]).all():
        return float(way[at])
    left, here, right = off[at - 1 : at + 2]
    # The deviation is a V of nearly equal slopes: its tip lies where the arms meet.
    slope = max(left - here, right - here)
    shift = 0.5 * (left - right) / slope if slope > 0.0 else 0.0
    return float(way[at] + np.clip(shift, -1.0, 1.0) * (way[1] - way[0]))


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
    asked = _asked_cents(start, end)
    pairs = pairs[_leads_there(asked, asked + last.cents[pairs[:, 1]] - first.cents[pairs[:, 0]])]
    if not len(pairs):
        return ()
    score = np.minimum(first.score[pairs[:, 0]], last.score[pairs[:, 1]])
    before, after = model.reach.states[first.rows[pairs[:, 0]]], model.reach.states[last.rows[pairs[:, 1]]]
    lifts = (before == OPEN) != (after == OPEN)
    rolled, lifted = ((before != after) & ~lifts).sum(axis=1), lifts.any(axis=1)
    order = np.argsort(-(score - 0.1 * rolled), kind="stable")
    # Each kind by itself: many openings in the keys leave as many ways by lifting as none do.
    best = pairs[np.concatenate([order[lifted[order] == kind][:_CONSIDERED] for kind in (False, True)])]
    starts, ends = candidates(model, first, best[:, 0]), candidates(model, last, best[:, 1])
    found = []
    for pair, one, two in zip(best, starts, ends, strict=True):
        rows = int(first.rows[pair[0]]), int(last.rows[pair[1]])
        glide = _by_fingers(model, rows, (one, two), tuple(modes_of[0][pair[0]].tolist()))
        if glide is not None:
            found.append(glide)
    found.sort(key=lambda glide: (glide.means != HALF_HOLE, -_score(glide, tolerance_cents)))
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
    for share in np.linspace(0.0, 1.0, _POINTS):
        states = before.copy() if share < 1.0 else after.copy()
        opening = tuple((int(hole), _open_share(before[hole], after[hole], share)) for hole in rolling)
        stages.append(Stage(states, 0.0, opening if 0.0 < share < 1.0 else ()))
        shown.append((rows[0], fingerings[0]) if share < 1.0 else (rows[1], fingerings[1]))
        shares.append(tuple((touches[hole], fraction) for hole, fraction in opening))
    targets = tuple(np.array([_mode_hz(end.sounds, mode) for mode in modes]) for end in ends)
    lips = np.linspace(ends[0].lip_mm, ends[1].lip_mm, _POINTS) * 1e-3
    moving = tuple(touch for touch in _moving_touches(fingerings) if touch)
    glide = _made(
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


def _made(
    model: Model,
    means: str,
    stages: list[Stage],
    held: list[tuple[int, Fingering]],
    ends_hz: tuple[RealArray, RealArray],
    lips_m: RealArray,
    *,
    effort: float,
    shares: list[tuple[tuple[str, float], ...]] | None = None,
) -> Glide | None:
    """Follow the components along the stages and judge each point; None where a component is lost between stages that
    change without a jump. A key that leaves its seat between two stages jumps: from there the end's resonance is
    taken. held: at each stage, and its row of `reach.states`."""
    # Most fingers that roll off lose a component at once.
    if stages[1].open and np.isnan(follow(model, sweep(model, stages[:2]), ends_hz[0], lips_m[:2, None])).any():
        return None
    crossings = model.resonances(sweep(model, stages), lips_m)
    tracked = followed(crossings, ends_hz[0], (len(stages) - (means == KEY_LIFT), 1))[:, :, 0]
    if means == KEY_LIFT:
        tracked = np.vstack([tracked, ends_hz[1]])
    if not np.isfinite(tracked).all():
        return None
    judged = _judged(model, crossings, tracked, [row for row, _ in held])
    weakest = min(confidence for _, confidence in judged)
    points = tuple(
        Point(
            number / (len(stages) - 1),
            stage.slide_mm,
            shares[number] if shares else (),
            float(lips_m[number] * 1e3),
            held[number][1],
            judged[number][0],
        )
        for number, stage in enumerate(stages)
    )
    steps_cents = np.abs(1200.0 * np.log2(tracked[1:] / tracked[:-1]))
    off = (1200.0 * np.log2(tracked[at] / ends_hz[end]) for at, end in ((0, 0), (-1, 1)))
    start_cents, end_cents = (tuple(float(value) for value in cents) for cents in off)
    return Glide(
        means=means,
        path=points,
        start_cents=start_cents,
        end_cents=end_cents,
        confidence=weakest,
        jump_cents=float(steps_cents[-1].max()) if means == KEY_LIFT else 0.0,
        effort=effort,
    )


def _judged(
    model: Model, crossings: Crossings, tracked: RealArray, rows: list[int]
) -> list[tuple[tuple[Resonance, ...], float]]:
    """For each stage the tracked resonances, shape (n, k) [Hz], with their strengths, and the confidence that they
    sound: the weakest one's. rows: of `reach.states`, of each stage."""
    strengths = strength(crossings, model.curve)
    edges = np.searchsorted(crossings.row, np.arange(len(tracked) + 1))
    numbers = np.arange(np.diff(edges).max())
    bands = {row: bands_of_modes(model, row, numbers) for row in set(rows)}
    found = []
    for stage, hz in enumerate(tracked):
        own = np.arange(edges[stage], edges[stage + 1])
        at = own[[int(np.abs(np.log(crossings.hz[own] / one)).argmin()) for one in hz]]
        told = zip(hz.tolist(), strengths[at].tolist(), bands[rows[stage]][at - edges[stage]].tolist(), strict=True)
        found.append((tuple(Resonance(*one) for one in told), float(strengths[at].min())))
    return found
