"""What a glide is, and a way followed and judged from end to end, whatever moves it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.atlas import Atlas
from fingering_db.fingering import Fingering
from fingering_db.mechanism import hole_states
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.playability import strength
from fingering_db.ranking import (
    EFFORT_WEIGHT,
    Resonance,
    bands_of_modes,
    common_fundamental,
    eased,
    together_in,
)
from fingering_db.track import Stage, followed, sweep

SLIDE, HALF_HOLE, KEY_LIFT = "slide", "half-hole", "key lift"
# Of confidence: for ends that are off by the whole tolerance, and for each mm that the joint is drawn at the start. Ours.
_OFF_WEIGHT, _DRAWN_WEIGHT = 0.15, 0.005
POINTS = 11  # of a path, evenly in time
CONSIDERED = 8  # fingerings or pairs of them that are followed all the way


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
    way, counted in the deviations, not in the path. together: how easily several pitches sound at once at that end where they
    do so less, NaN where not known; one_note: at an end they are heard as one note and its harmonics."""

    means: str
    path: tuple[Point, ...]
    start_cents: tuple[float, ...]
    end_cents: tuple[float, ...]
    confidence: float
    jump_cents: float = 0.0
    moving: tuple[str, ...] = ()
    effort: float = 0.0
    lip_cents: float = 0.0
    together: float = math.nan
    one_note: bool = False

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


def asked_cents(start: tuple[Pitch, ...], end: tuple[Pitch, ...]) -> RealArray:
    return np.array([100.0 * (to.midi - pitch.midi) for pitch, to in zip(start, end, strict=True)])


def leads_there(asked_cents: RealArray, moved_cents: RealArray) -> BoolArray:
    """Which movements, shape (n, k), go at least half of the way asked, shape (k,), each pitch in its direction."""
    return np.asarray((moved_cents * np.sign(asked_cents) >= 0.5 * np.abs(asked_cents)).all(axis=1))


def glide_score(glide: Glide, tolerance_cents: float) -> float:
    drawn = abs(glide.path[0].slide_mm)  # the joint is best at rest when the glide begins
    off = glide.worst_cents / tolerance_cents
    return glide.confidence - _OFF_WEIGHT * off**2 - EFFORT_WEIGHT * glide.effort - _DRAWN_WEIGHT * drawn


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A way to be followed, evenly in time, POINTS long: the flute, what is held with its row of `reach.states`, lips [m], and
    what fraction of holes is open. start_hz: near which the components begin, shape (k,); end_hz: what they jump to at the end,
    where a key leaves its seat there."""

    stages: list[Stage]
    held: list[tuple[int, Fingering]]
    lips_m: RealArray
    start_hz: RealArray
    end_hz: RealArray | None = None
    shares: Sequence[tuple[tuple[str, float], ...]] = ((),) * POINTS


def followed_paths(
    model: Model, courses: Sequence[Course], every: Atlas | None = None
) -> list[tuple[Point, ...] | None]:
    """Follow the components of each and judge every point; None where one is lost. every: the flute's atlas, if at hand."""
    if not courses:
        return []
    lips = np.stack([one.lips_m for one in courses], axis=1)
    swept = np.stack([sweep(model, one.stages) for one in courses], axis=1)  # side by side at each moment
    crossings = model.resonances(swept.reshape(lips.size, -1), lips.ravel())
    tracked = followed(crossings, np.array([one.start_hz for one in courses]), lips.shape)
    for number, one in enumerate(courses):
        if one.end_hz is not None:
            tracked[-1, :, number] = one.end_hz
    rows = [one.held[moment][0] for moment in range(POINTS) for one in courses]
    sounds = _judged(model, crossings, tracked.transpose(0, 2, 1).reshape(lips.size, -1), rows, every)
    paths = (
        path_of(
            [stage.slide_mm for stage in one.stages],
            one.shares,
            one.lips_m,
            [fingering for _, fingering in one.held],
            sounds[number :: len(courses)],
        )
        for number, one in enumerate(courses)
    )
    lost = set(np.nonzero(np.isnan(tracked))[2].tolist())
    return [None if number in lost else path for number, path in enumerate(paths)]


def path_of(
    slides_mm: Sequence[float],
    shares: Sequence[tuple[tuple[str, float], ...]],
    lips_m: RealArray,
    fingerings: Sequence[Fingering],
    sounds: Sequence[tuple[Resonance, ...]],
) -> tuple[Point, ...]:
    """Its points from what is so at each, evenly in time."""
    times = [number / (len(sounds) - 1) for number in range(len(sounds))]
    return tuple(map(Point, times, slides_mm, shares, (lips_m * 1e3).tolist(), fingerings, sounds))


def glide_along(
    means: str,
    path: tuple[Point, ...],
    ends_cents: tuple[tuple[float, ...], tuple[float, ...]],
    effort: float,
    moving: tuple[str, ...] = (),
) -> Glide:
    """The glide along a path. ends_cents: deviations at both ends."""
    confidence = min(sound.strength for point in path for sound in point.sounds)
    last = zip(path[-2].sounds, path[-1].sounds, strict=True) if means == KEY_LIFT else ()
    jump = max((abs(1200.0 * math.log2(two.hz / one.hz)) for one, two in last), default=0.0)
    return Glide(means, path, *ends_cents, confidence, jump, moving, effort)


def of_chords(model: Model, glide: Glide) -> Glide:
    """A glide with what its ends are as chords; that of a single pitch as it is."""
    if len(glide.start_cents) < 2:
        return glide
    ends = glide.path[0], glide.path[-1]
    stages = [Stage(hole_states(model.instrument, point.fingering), point.slide_mm) for point in ends]
    crossings = model.resonances(sweep(model, stages), np.array([point.lip_mm * 1e-3 for point in ends]))
    hz = np.array([[sound.hz for sound in point.sounds] for point in ends])
    together = together_in(model, crossings, hz).min()
    every = (crossings.hz[crossings.row == row] for row in range(len(ends)))
    one_note = any(common_fundamental(own, others) is not None for own, others in zip(hz, every, strict=True))
    confidence = float(eased(np.array(glide.confidence), together))
    return replace(glide, confidence=confidence, together=float(together), one_note=one_note)


def _judged(
    model: Model, crossings: Crossings, tracked: RealArray, rows: list[int], every: Atlas | None
) -> list[tuple[Resonance, ...]]:
    """For each stage the tracked resonances, shape (n, k) [Hz], with their strengths. rows: of `reach.states`, of each stage."""
    edges = np.searchsorted(crossings.row, np.arange(len(tracked) + 1))
    own = (np.log(crossings.hz[begin:past, None]) for begin, past in pairwise(edges.tolist()))
    numbers = np.array([np.abs(one - hz).argmin(axis=0) for one, hz in zip(own, np.log(tracked), strict=True)])
    at, wanted = edges[:-1, None] + numbers, np.zeros(len(crossings.hz), dtype=bool)
    wanted[at] = True
    modes = [(row, *own) for row, own in zip(rows, numbers.tolist(), strict=True)]
    known = {
        (row, *own): bands_of_modes(model, row, np.array(own), every).tolist() for row, *own in dict.fromkeys(modes)
    }
    told = tracked.tolist(), strength(crossings, model.curve, wanted)[at].tolist(), map(known.__getitem__, modes)
    return [tuple(map(Resonance, *one)) for one in zip(*told, strict=True)]
