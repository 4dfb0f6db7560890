"""What the player must know about the way of the hand: motions against the ear, and moves that have little time."""

import math
from dataclasses import dataclass
from typing import Any

from annotate.choosing.hands import ENOUGH_A_SECOND, Step, strokes_between, wanted_a_second
from annotate.choosing.holds import Hold, Option
from annotate.choosing.joint import NEAR_MM, is_unusual, seconds_to_draw
from annotate.findings import Finding
from annotate.place import Place
from annotate.score import Event, Part
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.motion import (
    ACROSS,
    DOWN,
    Contrary,
    FingerMove,
    acts_against,
    against_the_ear,
    as_fingering,
    moves,
    seconds,
    to_and_fro_a_second,
)
from fingering_db.pitch import Pitch

_HEARD_CENTS = 10.0  # an ordinary note that the joint leaves nearer than this is not told: ours


def joint_remarks(part: Part, step: Step) -> list[Finding]:
    """A way of the joint that has no time, the time and way of one that has."""
    from_mm, to_mm = step.one.ends_mm, step.two.begins_mm
    needed = seconds_to_draw(from_mm - to_mm)
    found = []
    if needed > step.rest + 1e-9:
        tempo = tempo_at(step.after.first)
        slower = math.floor(tempo * step.rest / needed)
        cure = Message("joint.slower", slower=slower) if slower > 0 else None
        advice = Message("joint.no_time_advice", more=needed - step.rest) + cure
        way = {"start": from_mm, "end": to_mm, "needed": needed, "rest": step.rest}
        found.append(finding_at("G2", part, step, advice=advice, **way))
    elif needed:
        found.append(finding_at("G4", part, step, start=from_mm, end=to_mm, needed=needed, rest=step.rest))
    return found


def note_out_remarks(part: Part, hold: Hold, taken: Option) -> list[Finding]:
    """About an ordinary note that is played with the joint out: its fingering, and how far off it is."""
    if hold.decision is not None or abs(taken.begins_mm) <= NEAR_MM:
        return []
    if abs(taken.off_cents) <= _HEARD_CENTS and not is_unusual(hold, taken):
        return []
    as_written = all(abs(one.begins_mm) > NEAR_MM for one in hold.options)
    advice = Message("joint.note_out_as_written") if as_written else None
    told: dict[str, Any] = {"mm": taken.begins_mm, "fingering": str(taken.start), "cents": taken.off_cents}
    return [Finding.of("G3", part.place(hold.first), advice=advice, **told)]


def tempo_at(event: Event) -> float:
    """Quarters a minute at an event, NaN for one without length."""
    seconds = event.seconds_end - event.seconds
    return float(event.duration) * 60.0 / seconds if seconds > 0.0 else math.nan


def finding_at(code: str, part: Part, step: Step, **said: Any) -> Finding:
    """A finding at the place where a step leads."""
    demand = step.after.decision.demand if step.after.decision else None
    place = demand.place if demand else part.place(step.after.first)
    return Finding.of(code, place, demand.id if demand else "", **said)


@dataclass(frozen=True, slots=True)
class WayRemarks:
    """About one step. contrary: the fingers that move against the ear, each with what it moves, as a fingering; None for
    none."""

    contrary: Fingering | None
    findings: tuple[Finding, ...]


def step_remarks(part: Part, step: Step) -> WayRemarks:
    """What is to be said about a way: against the ear only on the way to a demand."""
    against = _against(step) if step.after.decision is not None else []
    findings = [_said(part, step, against)] if against else []
    findings += (*_time(part, step), *_leap(part, step), *joint_remarks(part, step))
    strokes = strokes_between(step.before.last, step.after.first)
    if strokes is not None:
        wanted = wanted_a_second(strokes, step.before.first)
        slow = hurried(part.place(step.before.first), step.start, step.end, wanted)
        findings += [slow] if slow else []
    return WayRemarks(as_fingering(tuple(one.move for one in against)), tuple(findings))


def how_often(first: Fingering, second: Fingering, wanted: float) -> Message:
    """Which fingers go to and fro between two fingerings, how often a second they may, and how often is wanted."""
    possible = to_and_fro_a_second(first, second)
    fingers = Message("hands.fingers_move", n=len(moves(first, second)))
    way = Message("tremolo.moves", fingers=fingers, first=str(first), second=str(second))
    if possible >= wanted:
        return Message("tremolo.fast_enough", moves=way, possible=possible, wanted=wanted)
    return Message("tremolo.too_slow", moves=way, possible=math.floor(possible), wanted=wanted)


def hurried(place: Place, first: Fingering, second: Fingering, wanted: float, demand: str = "") -> Finding | None:
    """The finding of a trill or tremolo that is too quick for the fingers; None for one that is not."""
    if to_and_fro_a_second(first, second) >= wanted:
        return None
    advice = Message("tremolo.slow_advice")
    return Finding.of("H3", place, demand, message=how_often(first, second, wanted), advice=advice)


def trill_remarks(part: Part, hold: Hold, taken: Option) -> list[Finding]:
    """About a trill of an ordinary note whose fingers cannot go to and fro so often: little fingers on the foot."""
    slow = taken.other and hurried(part.place(hold.first), taken.start, taken.other, ENOUGH_A_SECOND)
    return [slow] if slow else []


# Ours: a leap of an octave and a fifth is made as any other; each octave more takes lip and air about so long.
_FREE_SEMITONES, _SECONDS_AN_OCTAVE = 19.0, 0.1


def _against(step: Step) -> list[Contrary]:
    """Fingers whose vent levers move against the ear, the thumb's before all. Keys that every flute has (G sharp, E flat, the
    trill keys) are not told: a player expects what they do."""
    start, end = step.start, step.end
    asked = tuple(pitch.hz(step.desk.a4_hz) for pitch in _sounding(step.before))
    return [one for one in against_the_ear(step.desk.model, start, end, asked) if one.move.of_a_lever]


def _sounding(hold: Hold) -> tuple[Pitch, ...]:
    if hold.decision is None:
        return (hold.last.notes[0].sounding,)
    return hold.decision.demand.to_sounding or hold.decision.demand.sounding


def _written(hold: Hold) -> tuple[Pitch, ...]:
    if hold.decision is None:
        return (hold.last.notes[0].written,)
    return hold.decision.demand.to or hold.decision.demand.pitches


def _said(part: Part, step: Step, against: list[Contrary]) -> Finding:
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
    ends = {"first": str(step.start), "last": str(step.end)}
    return finding_at("H1", part, step, advice=_avoiding(step), parts=tuple(parts), **ends)


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


def _time(part: Part, step: Step) -> list[Finding]:
    if step.before.last.grace or step.after.first.grace:
        return []  # the file does not say how long a grace note is
    moved = step.moved()
    needed, left = seconds(moved), _left(step)
    if needed <= left:
        return []
    tempo = tempo_at(step.after.first)
    values = {"first": str(step.start), "last": str(step.end), "needed": needed * 1000, "left": left * 1000}
    fingers = Message("hands.fingers_move", n=len(moved))
    advice = Message("hands.tempo_would_do", tempo=tempo, slower=math.floor(tempo * left / needed))
    return [finding_at("H2", part, step, advice=advice, fingers=fingers, **values)]


_SLIDING = 2.0 / 3.0
"""Of the shorter of two ordinary notes while a finger slides from key to key: ours. Little fingers slide in sixteenths at 120
(common practice), and not twelve times a second."""


def _left(step: Step) -> float:
    """Seconds that the fingers may take. Between two ordinary notes the whole of the shorter, or _SLIDING of it: scales that
    every player has practised are run at tempi at which half of it would not do (ours, by orchestral parts that are played)."""
    if step.before.decision is not None or step.after.decision is not None:
        return step.seconds
    shorter = min(step.before.seconds(step.before.last), step.after.seconds(step.after.first))
    slides = any(move.way == ACROSS for move in step.moved())
    return step.rest + (_SLIDING if slides else 1.0) * shorter


def _leap(part: Part, step: Step) -> list[Finding]:
    """A jump between registers for which lip and air have little time."""
    if step.before.last.grace or step.after.first.grace:
        return []
    before, after = _sounding(step.before), _first_sounding(step.after)
    semitones = min(abs(one.midi - two.midi) for one in before for two in after)
    needed = _SECONDS_AN_OCTAVE * (semitones - _FREE_SEMITONES) / 12.0
    if semitones <= _FREE_SEMITONES or needed <= step.seconds:
        return []
    tempo = tempo_at(step.after.first)
    ends = {"first": _written(step.before), "last": _first_written(step.after)}
    values = {"n": round(semitones), "left": step.seconds * 1000, "needed": needed * 1000}
    advice = Message("hands.tempo_would_do", tempo=tempo, slower=math.floor(tempo * step.seconds / needed))
    return [finding_at("H5", part, step, advice=advice, **ends, **values)]


def _first_sounding(hold: Hold) -> tuple[Pitch, ...]:
    return (hold.first.notes[0].sounding,) if hold.decision is None else hold.decision.demand.sounding


def _first_written(hold: Hold) -> tuple[Pitch, ...]:
    return (hold.first.notes[0].written,) if hold.decision is None else hold.decision.demand.pitches
