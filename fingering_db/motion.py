"""The way of the hand from one fingering to the next: which fingers move, how long they need, and which of them move
against the ear (the finger goes down and what it sounds goes up, or the reverse)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import RealArray, StateArray
from fingering_db.fingering import FINGERS, Fingering
from fingering_db.mechanism import OPEN, PERFORATION, PERFORATION_AND_VENT, SHUT, VENT, hole_states
from fingering_db.model import Model

DOWN, UP, ACROSS = "down", "up", "across"

AUDIBLE_CENTS = 10.0
"""A resonance that a finger moves by less is not heard to move: ours."""

# Seconds. Pressing takes about 10 ms and releasing 16 (Almeida et al. 2009, from memory of its abstract); the same source
# gives delays between fingers of tens of ms that grow with their number, on which the rest here rests: ours.
_ONE_FINGER, _EACH_FURTHER = 0.016, 0.006
_ACROSS, _TO_A_SMALL_OPENING, _PAST_A_ROLLER = 0.05, 0.03, 0.1

# Effort, in pressed keys: ours.
_EFFORT_ACROSS, _EFFORT_CONTRARY = 2.0, 2.0

_FAR_ON_THE_FOOT = frozenset({"B", "C#"})  # the C roller lies between: no smooth motion (common practice, no source)
_RIM, _LEVER = "o", "v"
_OPENNESS = np.zeros(5, dtype=np.int8)  # by state of a hole
_OPENNESS[[SHUT, PERFORATION, VENT, PERFORATION_AND_VENT, OPEN]] = 0, 1, 1, 2, 3
_LOST_CENTS = 1.0  # of slack where a resonance does not move at all


@dataclass(frozen=True, slots=True)
class FingerMove:
    """One finger that moves. finger: as in FINGERS; before, after: its touches, '' for up; way: 'down', 'up' or
    'across' from one touch to another."""

    finger: str
    before: str
    after: str
    way: str

    @property
    def touch(self) -> str:
        """The touch to name: where it lands, or what it leaves; for a lever the one that holds it."""
        return self.before if self.of_a_lever and _LEVER in self.before else self.after or self.before

    @property
    def of_a_lever(self) -> bool:
        """Whether it begins or ends on the lever of a vent."""
        return _LEVER in self.before or _LEVER in self.after


@dataclass(frozen=True, slots=True)
class Contrary:
    """A finger that moves against the ear. cents: what its own motion does to each component, in the order asked for."""

    move: FingerMove
    cents: tuple[float, ...]


def moves(before: Fingering, after: Fingering) -> tuple[FingerMove, ...]:
    """The fingers that move, in the order of FINGERS."""
    pairs = zip(FINGERS, before.touches, after.touches, strict=True)
    return tuple(FingerMove(finger, one, two, _way(one, two)) for finger, one, two in pairs if one != two)


def _way(before: str, after: str) -> str:
    """A finger presses a key, covers the hole in it, presses its lever: more of these is down, fewer is up."""
    one, two = _pressed(before), _pressed(after)
    if one <= two:
        return DOWN
    return UP if two <= one else ACROSS


def _pressed(touch: str) -> frozenset[str]:
    if not touch:
        return frozenset()
    key = touch.rstrip(_RIM + _LEVER)
    suffix = touch[len(key) :]
    covered = {"hole"} if _RIM not in suffix else set()
    lever = {"lever"} if _LEVER in suffix else set()
    return frozenset({key} | covered | lever)


def as_fingering(moved: tuple[FingerMove, ...]) -> Fingering | None:
    """As a fingering that names just these fingers ('3v | Eb'), None for none."""
    touch_of = {move.finger: move.touch for move in moved}
    return Fingering(tuple(touch_of.get(finger, "") for finger in FINGERS)) if moved else None


def seconds(moved: tuple[FingerMove, ...]) -> float:
    """About how long a practised hand needs for all these fingers [s], 0 for none. Fingers of both hands move together,
    delays add up; landing on a rim or a lever, and going from key to key, takes longer. A rule of ours on one published
    figure: no measurement."""
    if not moved:
        return 0.0
    slowest = max(_own_seconds(move) for move in moved)
    return _ONE_FINGER + _EACH_FURTHER * (len(moved) - 1) + slowest


def _own_seconds(move: FingerMove) -> float:
    if move.way == ACROSS:
        past = {move.before, move.after} == _FAR_ON_THE_FOOT
        return _PAST_A_ROLLER if past else _ACROSS
    lands = any(sign in move.after for sign in (_RIM, _LEVER))
    return _TO_A_SMALL_OPENING if lands else 0.0


def effort(model: Model, before: Fingering, after: Fingering) -> float:
    """Effort of the way [pressed keys]: one for each finger that moves, more for one that goes from key to key or moves
    against the ear."""
    moved = moves(before, after)
    across = sum(_EFFORT_ACROSS for move in moved if move.way == ACROSS)
    contrary = sum(_EFFORT_CONTRARY for move in moved if acts_against(model, before, move))
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
    if move.way == ACROSS:
        return False
    start, end = _with_and_without(model, before, move)
    change = (_OPENNESS[end] - _OPENNESS[start]) * (1 if move.way == DOWN else -1)
    return bool(change.max() > 0 and change.min() >= 0)


def _with_and_without(model: Model, before: Fingering, move: FingerMove) -> tuple[StateArray, StateArray]:
    touches = list(before.touches)
    touches[FINGERS.index(move.finger)] = move.after
    return _states(model, before), _states(model, Fingering(tuple(touches)))


@lru_cache(maxsize=1 << 14)
def _states(model: Model, fingering: Fingering) -> StateArray:
    return hole_states(model.instrument, fingering)


def _resonances(model: Model, states: StateArray, lip_m: RealArray) -> RealArray:
    return model.resonances(model.flute.bore_impedance(states[None, :], model.grid), lip_m).hz


def _own_effect(start: RealArray, end: RealArray, hz: float, *, rising: bool) -> float:
    """Cents by which the resonance nearest to hz moves, 0 where none is found again."""
    if not len(start):
        return 0.0
    own = float(start[np.abs(np.log2(start / hz)).argmin()])
    slack = 2.0 ** (_LOST_CENTS / 1200.0)
    then = end[end >= own / slack][:1] if rising else end[end <= own * slack][-1:]
    return float(1200.0 * np.log2(then[0] / own)) if len(then) else 0.0
