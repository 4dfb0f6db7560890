"""How easy a fingering is to hold: the efforts of its touches (`data/touches.toml`), of small openings and of awkward ways
of holding (`data/hand.toml`)."""

from importlib import resources

import msgspec
import numpy as np

from fingering_db.acoustics.arrays import BoolArray, RealArray
from fingering_db.fingering import Fingering
from fingering_db.instrument import Instrument
from fingering_db.mechanism import Reach, choices
from fingering_db.touches import FINGERS, HELD, Held


class _Weight(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    effort: float
    mark: str
    why: str


class Awkward(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A way of holding that costs more than its touches. fingers: touches of which each named finger has one, '' for up;
    most_down: and no more fingers than this are down in all. effort [pressed keys]; mark, why: where it comes from."""

    name: str
    fingers: dict[str, tuple[str, ...]]
    effort: float
    mark: str
    why: str
    most_down: int = len(FINGERS)


class _Hand(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    hole_open: _Weight
    vent_open: _Weight
    awkward: tuple[Awkward, ...]


_HAND = msgspec.toml.decode((resources.files("fingering_db") / "data/hand.toml").read_bytes(), type=_Hand)
AWKWARD = _HAND.awkward


def _effort(held: Held) -> float:
    return held.touch.effort + _HAND.hole_open.effort * held.hole_open + _HAND.vent_open.effort * held.vent_open


def awkward(fingering: Fingering) -> tuple[Awkward, ...]:
    """What is awkward about holding it."""
    has = dict(zip(FINGERS, fingering.touches, strict=True))
    down = sum(map(bool, fingering.touches))
    return tuple(
        one
        for one in AWKWARD
        if down <= one.most_down and all(has[finger] in touches for finger, touches in one.fingers.items())
    )


def effort_of(fingering: Fingering) -> float:
    """Effort of one fingering [pressed keys]."""
    return sum(map(_effort, fingering.held)) + sum(one.effort for one in awkward(fingering))


def efforts(instrument: Instrument, reach: Reach) -> RealArray:
    """Effort of every fingering, shape (n_fingerings,) [pressed keys]: as `effort_of`, all at once."""
    total = np.zeros(len(reach.placements))
    for column, (finger, options) in enumerate(zip(FINGERS, choices(instrument), strict=True)):
        effort = np.array([_effort(HELD[finger, one.touch]) if one.touch else 0.0 for one in options])
        total += effort[reach.placements[:, column]]
    for one in AWKWARD:
        total += one.effort * _held_so(one, instrument, reach)
    return total


def _held_so(one: Awkward, instrument: Instrument, reach: Reach) -> BoolArray:
    """Which fingerings are held in this awkward way, shape (n_fingerings,)."""
    found = (reach.placements > 0).sum(axis=1) <= one.most_down
    for column, (finger, options) in enumerate(zip(FINGERS, choices(instrument), strict=True)):
        if finger in one.fingers:
            among = np.array([option.touch in one.fingers[finger] for option in options])
            found &= among[reach.placements[:, column]]
    return np.asarray(found)


def easiest(reach: Reach, effort: RealArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """For each distinct sound the row of its easiest fingering, shape (n_sounds,); ties go to the first enumerated."""
    order = np.lexsort((effort, reach.sound))
    _, first = np.unique(reach.sound[order], return_index=True)
    return np.asarray(order[first], dtype=np.intp)
