"""The way of the hand from one fingering to the next: which fingers move, how long they need, and which of them move
against the ear (the finger goes down and what it sounds goes up, or the reverse)."""

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import msgspec
import numpy as np

from fingering_db.acoustics.arrays import RealArray, StateArray
from fingering_db.fingering import Fingering
from fingering_db.mechanism import OPEN, PERFORATION, PERFORATION_AND_VENT, SHUT, VENT, hole_states
from fingering_db.model import Model, sound_of_states
from fingering_db.touches import FINGERS, HELD, Held

DOWN, UP, ACROSS = "down", "up", "across"

AUDIBLE_CENTS = 10.0
"""A resonance that a finger moves by less is not heard to move: ours."""


class _Weight(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    value: float
    mark: str
    why: str


class _Moving(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    one_finger_s: _Weight
    each_further_s: _Weight
    across_s: _Weight
    to_a_small_opening_s: _Weight
    past_a_roller_s: _Weight
    effort_across: _Weight
    effort_contrary: _Weight


_MOVING = msgspec.toml.decode((resources.files("fingering_db") / "data/moving.toml").read_bytes(), type=_Moving)

MOST_CHANGES = 12.0
"""Changes a second from one fingering to the other and back that practised fingers keep up, however few move (trills: from
memory, no source)."""
_OF_A_CHANGE = 0.5  # of the time from one change to the next may pass while fingers move, as between two notes: ours

_FAR_ON_THE_FOOT = frozenset({"B", "C#"})  # the C roller lies between: no smooth motion (common practice, no source)
_OPENNESS = np.zeros(5, dtype=np.int8)  # by state of a hole
_OPENNESS[[SHUT, PERFORATION, VENT, PERFORATION_AND_VENT, OPEN]] = 0, 1, 1, 2, 3
_LOST_CENTS = 1.0  # of slack where a resonance does not move at all


@dataclass(frozen=True, slots=True)
class FingerMove:
    """One finger that moves. finger: as in FINGERS; before, after: its touches, None for up; way: 'down', 'up' or
    'across' from one touch to another."""

    finger: str
    before: Held | None
    after: Held | None
    way: str

    @property
    def touch(self) -> Held:
        """The touch to name: where it lands, or what it leaves; for a lever the one that holds it."""
        lever = self.before if self.before and self.before.vent_open else None
        named = lever or self.after or self.before
        assert named is not None
        return named

    @property
    def of_a_lever(self) -> bool:
        """Whether it begins or ends on the lever of a vent."""
        return any(held is not None and held.vent_open for held in (self.before, self.after))

    @property
    def turns_a_lever(self) -> bool:
        """Whether only its vent's lever moves: the key stays down."""
        return bool(self.before and self.after and self.before.vent_open != self.after.vent_open)


@dataclass(frozen=True, slots=True)
class Contrary:
    """A finger that moves against the ear. cents: what its own motion does to each component, in the order asked for."""

    move: FingerMove
    cents: tuple[float, ...]


@lru_cache(maxsize=1 << 14)  # in a passage every way is weighed against every other
def moves(before: Fingering, after: Fingering) -> tuple[FingerMove, ...]:
    """The fingers that move, in the order of FINGERS."""
    pairs = zip(FINGERS, before.touches, after.touches, strict=True)
    held = ((finger, HELD.get((finger, one)), HELD.get((finger, two))) for finger, one, two in pairs if one != two)
    return tuple(FingerMove(finger, one, two, _way(one, two)) for finger, one, two in held)


def _way(before: Held | None, after: Held | None) -> str:
    """A finger presses a key, covers the hole in it, presses its lever: more of these is down, fewer is up."""
    one, two = _pressed(before), _pressed(after)
    if one <= two:
        return DOWN
    return UP if two <= one else ACROSS


def _pressed(held: Held | None) -> frozenset[str]:
    if held is None:
        return frozenset()
    covered = set() if held.hole_open else {"hole"}
    lever = {"lever"} if held.vent_open else set()
    return frozenset({f"key {held.touch.touch}"} | covered | lever)


def as_fingering(moved: tuple[FingerMove, ...]) -> Fingering | None:
    """As a fingering that names just these fingers ('3v | Eb'), None for none."""
    touch_of = {move.finger: str(move.touch) for move in moved}
    return Fingering(tuple(touch_of.get(finger, "") for finger in FINGERS)) if moved else None


def seconds(moved: tuple[FingerMove, ...]) -> float:
    """About how long a practised hand needs for all these fingers [s], 0 for none. Fingers of both hands move together,
    delays add up; landing on a rim or a lever, and going from key to key, takes longer. A rule of ours on one published
    figure: no measurement."""
    if not moved:
        return 0.0
    slowest = max(_own_seconds(move) for move in moved)
    return _MOVING.one_finger_s.value + _MOVING.each_further_s.value * (len(moved) - 1) + slowest


def changes_per_second(before: Fingering, after: Fingering) -> float:
    """How often a second a practised hand may go from one fingering to another, in trills and tremolos: a rule of ours as
    `seconds` is, at most MOST_CHANGES."""
    needed = seconds(moves(before, after))
    return min(MOST_CHANGES, _OF_A_CHANGE / needed) if needed else MOST_CHANGES


def to_and_fro_a_second(one: Fingering, two: Fingering) -> float:
    """The same for the slower of both ways."""
    return min(changes_per_second(one, two), changes_per_second(two, one))


def _own_seconds(move: FingerMove) -> float:
    if move.way == ACROSS:
        past = {str(move.before), str(move.after)} == _FAR_ON_THE_FOOT
        return _MOVING.past_a_roller_s.value if past else _MOVING.across_s.value
    lands = move.after is not None and (move.after.hole_open or move.after.vent_open)
    return _MOVING.to_a_small_opening_s.value if lands else 0.0


def effort(model: Model, before: Fingering, after: Fingering) -> float:
    """Effort of the way [pressed keys]: one for each finger that moves, more for one that goes from key to key or moves
    a vent against the ear (every player knows the keys that open a hole)."""
    moved = moves(before, after)
    across = sum(_MOVING.effort_across.value for move in moved if move.way == ACROSS)
    contrary = sum(
        _MOVING.effort_contrary.value for move in moved if move.of_a_lever and acts_against(model, before, move)
    )
    return len(moved) + across + contrary


def against_the_ear(
    model: Model, before: Fingering, after: Fingering, components: tuple[float, ...]
) -> tuple[Contrary, ...]:
    """Fingers whose own motion, all others as in `before`, moves a component the other way than the finger goes.

    components: frequencies sounding before the move [Hz], a resonance of `before` lies near each; the lip stays where the
    law has it for the middle of them. The thumb comes first, then the order of FINGERS. Raises FingeringError for touches
    that the flute lacks.

    Opening a hole raises every resonance, or leaves it where it is, and never past the next one (a shunt inertance added
    to a lossless line; from memory, tested on this model): so the same resonance is found again without following it."""
    middle = np.exp(np.mean(np.log(np.array(components)), keepdims=True))
    lip = model.flute.lip_law_m(middle)
    found = []
    for move in moves(before, after):
        if not acts_against(model, before, move):
            continue
        start, end = (_resonances(model, states, lip) for states in _with_and_without(model, before, move))
        cents = tuple(_own_effect(start, end, hz, rising=move.way == DOWN) for hz in components)
        if any(abs(value) >= AUDIBLE_CENTS for value in cents):
            found.append(Contrary(move, cents))
    return tuple(found)


def acts_against(model: Model, before: Fingering, move: FingerMove) -> bool:
    """Whether the finger opens something by going down and shuts nothing, or the reverse."""
    held = [str(one) for one in (move.before, move.after) if one]
    options = model.reach.choices[FINGERS.index(move.finger)]
    only_shuts = any([one.touch] == held and not (one.opens or one.uncovers or one.vents) for one in options)
    if move.way == ACROSS or only_shuts:  # in the second case everything goes the finger's way
        return False
    start, end = _with_and_without(model, before, move)
    change = (_OPENNESS[end] - _OPENNESS[start]) * (1 if move.way == DOWN else -1)
    return bool(change.max() > 0 and change.min() >= 0)


def _with_and_without(model: Model, before: Fingering, move: FingerMove) -> tuple[StateArray, StateArray]:
    touches = list(before.touches)
    touches[FINGERS.index(move.finger)] = str(move.after or "")
    return _states(model, before), _states(model, Fingering(tuple(touches)))


@lru_cache(maxsize=1 << 14)
def _states(model: Model, fingering: Fingering) -> StateArray:
    return hole_states(model.instrument, fingering)


def _resonances(model: Model, states: StateArray, lip_m: RealArray) -> RealArray:
    return model.resonances(model.bore(np.array([sound_of_states(model, states)])), lip_m).hz


def _own_effect(start: RealArray, end: RealArray, hz: float, *, rising: bool) -> float:
    """Cents by which the resonance nearest to hz moves, 0 where none is found again."""
    if not len(start):
        return 0.0
    own = float(start[np.abs(np.log2(start / hz)).argmin()])
    slack = 2.0 ** (_LOST_CENTS / 1200.0)
    then = end[end >= own / slack][:1] if rising else end[end <= own * slack][-1:]
    return float(1200.0 * np.log2(then[0] / own)) if len(then) else 0.0
