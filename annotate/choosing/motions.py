"""What the player must know about the way of the hand: motions against the ear, and moves that have little time."""

from __future__ import annotations

from dataclasses import dataclass

from annotate.choosing.codes import AGAINST_THE_EAR, LITTLE_TIME
from annotate.choosing.desk import Desk
from annotate.choosing.hands import Hold, Step
from annotate.findings import Finding
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.motion import (
    DOWN,
    Contrary,
    FingerMove,
    acts_against,
    against_the_ear,
    as_fingering,
    moves,
    seconds,
)
from fingering_db.pitch import Pitch


@dataclass(frozen=True, slots=True)
class WayRemarks:
    """About one step to a demand. contrary: the fingers that move against the ear, each with what it moves, as a
    fingering; None for none."""

    contrary: Fingering | None
    findings: tuple[Finding, ...]


def remarks(step: Step) -> WayRemarks:
    """What is to be said about the way to a demand (nothing about the way to an ordinary note)."""
    decision = step.after.decision
    if decision is None:
        return WayRemarks(None, ())
    against = _against(step)
    findings = [_said(step, against)] if against else []
    findings += _time(step)
    return WayRemarks(as_fingering(tuple(one.move for one in against)), tuple(findings))


def _against(step: Step) -> list[Contrary]:
    """Fingers whose vent levers move against the ear, the thumb's before all. Keys that every flute has (G sharp, E flat, the
    trill keys) are not told: a player expects what they do."""
    start, end = step.start, step.end
    asked = _frequencies(step.before, step.desk)
    return [one for one in against_the_ear(step.desk.model, start, end, asked) if one.move.of_a_lever]


def _frequencies(hold: Hold, desk: Desk) -> tuple[float, ...]:
    return tuple(pitch.hz(desk.a4_hz) for pitch in _sounding(hold))


def _sounding(hold: Hold) -> tuple[Pitch, ...]:
    """Sounding pitches at the end of a hold."""
    if hold.decision is None:
        return (hold.last.notes[0].sounding,)
    return hold.decision.demand.to_sounding or hold.decision.demand.sounding


def _written(hold: Hold) -> tuple[Pitch, ...]:
    if hold.decision is None:
        return (hold.last.notes[0].written,)
    return hold.decision.demand.to or hold.decision.demand.pitches


def _said(step: Step, against: list[Contrary]) -> Finding:
    names = _written(step.before)
    parts = []
    for one in against:
        goes = tuple(
            Message("hands.component_up" if cents > 0 else "hands.component_down", pitch=name, cents=abs(cents))
            for name, cents in zip(names, one.cents, strict=False)
            if round(cents)
        )
        parts.append(
            Message("hands.one_against", finger=Message(f"finger.{one.move.finger}"), does=_does(one.move), goes=goes)
        )
    message = Message(
        "hands.against",
        first=str(step.start),
        last=str(step.end),
        parts=tuple(parts),
    )
    return _finding(AGAINST_THE_EAR, "warning", step, message, _avoiding(step))


def _does(move: FingerMove) -> Message:
    thing = Message("hands.vent_lever") if move.turns_a_lever else str(move.touch)
    return Message("hands.goes_down", thing=thing) if move.way == DOWN else Message("hands.leaves", thing=thing)


def _avoiding(step: Step) -> Message:
    start = step.start
    for option in step.after.options:
        if option.start == step.end:
            continue
        levers = (move for move in moves(start, option.start) if move.of_a_lever)
        if not any(acts_against(step.desk.model, start, move) for move in levers):
            return Message("hands.practise_or", fingering=str(option.start))
    return Message("hands.practise")


def _time(step: Step) -> list[Finding]:
    if step.before.last.grace or step.after.first.grace:
        return []  # the file does not say how long a grace note is
    moved = step.moved()
    needed = seconds(moved)
    if needed <= step.seconds:
        return []
    message = Message(
        "hands.little_time",
        fingers=Message("hands.fingers_move", n=len(moved)),
        first=str(step.start),
        last=str(step.end),
        needed=needed * 1000,
        left=step.seconds * 1000,
    )
    advice = Message("hands.little_time_advice")
    return [_finding(LITTLE_TIME, "warning", step, message, advice)]


def _finding(code: str, severity: str, step: Step, message: Message, advice: Message) -> Finding:
    assert step.after.decision is not None
    demand = step.after.decision.demand
    return Finding(code, severity, demand.place, message, advice, demand.id)
