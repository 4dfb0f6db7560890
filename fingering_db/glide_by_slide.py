"""Glides by the telescoping head joint: one fingering, the joint drawn from one setting to another."""

from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, IndexArray, RealArray, distinct
from fingering_db.glide import (
    CONSIDERED,
    POINTS,
    SLIDE,
    Course,
    Glide,
    asked_cents,
    followed_paths,
    glide_along,
    glide_score,
    leads_there,
)
from fingering_db.model import Model
from fingering_db.model import model as at_rest
from fingering_db.pitch import Pitch
from fingering_db.slide_search import Settings
from fingering_db.track import LOST_CENTS, Stage, follow, sweep

_AT_ONCE = 1024  # sounds looked at together: what one product makes stays in the fast memory of a processor
_SLIDE_STEP_MM = 3.0  # a few cents: a step that tracking takes easily, and the grid on which slides are searched
_HALF_STEP = 0.5 * _SLIDE_STEP_MM + 1e-6
_LIPS = 5  # trial lips at the far end of a slide
_STARTS = 4  # settings of the joint from which a glide is tried
_CENTS_PER_MM_DRAWN = 0.3  # what it is worth to begin with the joint at rest: ours


def slide_glides(
    model: Model,
    start: tuple[Pitch, ...],
    end: tuple[Pitch, ...],
    tolerance_cents: float,
    a4_hz: float = 440.0,
    begin_mm: float | None = None,
) -> tuple[Glide, ...]:
    """Glides with the head joint's slide, best first; () for a flute without one. begin_mm: where the joint is when they begin
    (to half of _SLIDE_STEP_MM), None for wherever is best; of a flute whose joint is out, there.

    Every reachable fingering is searched at both ends for slides _SLIDE_STEP_MM apart; those that serve both ends are
    followed from one to the other with one lip at each moment, and must keep each pitch on its resonance."""
    settings = _settings(model)
    if not len(settings):
        return ()
    if model.flute.slide_mm:
        begin_mm, model = model.flute.slide_mm, at_rest(model.instrument)
    ends_hz = tuple(np.array([pitch.hz(a4_hz) for pitch in pitches]) for pitches in (start, end))
    courses = []
    for row, lips in _served(model, start, end, tolerance_cents, a4_hz):
        start_lips = lips if begin_mm is None else np.where(np.abs(settings - begin_mm) <= _HALF_STEP, lips, np.nan)
        if np.isfinite(start_lips).any():
            course = _course_on(model, row, start_lips, (ends_hz[0], ends_hz[1]), tolerance_cents, settings)
            courses += [] if course is None else [course]
    found = []
    for one, path in zip(courses, followed_paths(model, courses), strict=True):
        if path is None:
            continue
        hz = (np.array([sound.hz for sound in point.sounds]) for point in (path[0], path[-1]))
        off = [tuple((1200.0 * np.log2(own / asked)).tolist()) for own, asked in zip(hz, ends_hz, strict=True)]
        glide = glide_along(SLIDE, path, (off[0], off[1]), float(model.effort[model.easiest[one.held[0][0]]]))
        # One that is cut short by where the joint was left is told as that, with the rest that it needs.
        whole = begin_mm is not None or leads_there(asked_cents(start, end), np.array([glide.moved_cents]))[0]
        if whole and glide.worst_cents <= tolerance_cents:
            found.append(glide)
    return tuple(sorted(found, key=lambda glide: -glide_score(glide, tolerance_cents)))


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
        if len(found) >= CONSIDERED:
            break
    return found[:CONSIDERED]


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


def _course_on(
    model: Model,
    row: int,
    start_lips: RealArray,
    ends_hz: tuple[RealArray, RealArray],
    tolerance_cents: float,
    settings: RealArray,
) -> Course | None:
    """The best way on one fingering: from some of the settings that serve the start (start_lips, NaN where none) it
    is followed through all settings beyond, with some lips at the far end; the setting and lip that suit the end are
    taken."""
    states = model.reach.states[row]
    swept = sweep(model, [Stage(states, float(setting)) for setting in settings])
    served = np.flatnonzero(np.isfinite(start_lips))
    tried = served[distinct(np.linspace(0, len(served) - 1, _STARTS).astype(int))]
    ways = [_way(model, swept, settings, int(at), float(start_lips[at]), ends_hz) for at in tried]
    best = min((way for way in ways if way is not None), default=None)
    if best is None:
        return None
    cost, begin, target, lip, end_lip = best
    # Between two settings a pitch moves by LOST_CENTS at most: so both ends cannot come within the tolerance.
    if cost - _CENTS_PER_MM_DRAWN * abs(begin) > 2.0 * tolerance_cents + LOST_CENTS:
        return None
    slides = np.linspace(begin, target, POINTS) + 0.0  # no negative zero
    fingering = model.reach.fingering(int(model.easiest[row]))
    stages = [Stage(states, float(slide)) for slide in slides]
    return Course(stages, [(row, fingering)] * POINTS, np.linspace(lip, end_lip, POINTS), ends_hz[0])


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
    shortest, longest = _lip_bounds(model, end_hz)
    lips = np.linspace(shortest, longest, _LIPS if shortest < longest else 1)
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
