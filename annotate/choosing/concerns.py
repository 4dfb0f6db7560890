"""What a player must know of one place by itself: dynamic against jet, length against breath, first tone, awkward holds."""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable
from typing import Any

from annotate.choosing.blowing import air_told, none_told
from annotate.choosing.desk import Desk
from annotate.choosing.holds import Hold
from annotate.choosing.judging import sounds_of
from annotate.choosing.passage import Planned
from annotate.decision import Decision, Sound, Status
from annotate.decisions.kept import Ruling
from annotate.demand import Kind
from annotate.findings import Finding
from annotate.score import Event, Part
from fingering_db.acoustics.air import air_at
from fingering_db.alternatives import holds
from fingering_db.fingering import Fingering
from fingering_db.hand import awkward
from fingering_db.mechanism import has_touches
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.playability import PLAYABLE_CONFIDENCE

LOUD, SOFT = frozenset({"ff", "fff", "ffff", "fffff"}), frozenset({"pp", "ppp", "pppp", "ppppp"})
_STRONG = LOUD | {"f"}
_PASCAL_PER_HERTZ = 1.0
"""Of blowing pressure for pitch: from memory of measurements on players (Fletcher 1975), who blow some 0.3 kPa at C4 and 2 kPa
at C7; a rule within a factor of two."""
_BREATH_SECONDS, _LOUD_BREATH_SECONDS = 12.0, 8.0  # one held sound at most: common practice, no source
_CLEARLY = 1.15  # times: the rule is no sharper. Ours
_SPEAKS_EARLIER = 1.25  # times the air speed from which the one tone holds: ours
_AWKWARD_EFFORT = 1.5  # pressed keys; the lifted little finger is no news to a player: ours
_SAME_TONE_SEMITONES = 0.6


def concerns(part: Part, decision: Decision, desk: Desk) -> tuple[Finding, ...]:
    """Findings about one decision on its flute."""
    if decision.status == Status.UNPLAYABLE:
        return ()
    event = decision.demand.events[0]
    sign = dynamic_at(part, event)
    found = [*_jet(decision, sign, desk), *_breath(decision, sign), *_attack(decision), *_hold(decision)]
    return tuple(found)


def dynamic_at(part: Part, event: Event) -> str:
    """The dynamic in force at an event, '' before the first; signs that are none (sfz, fp) are passed over."""
    signs = [one for one in part.dynamics if one[1] == event.staff or part.staves == 1]
    at = bisect_right([one[0] for one in signs], event.onset)
    known = (
        sign for _, _, sign in reversed(signs[:at]) if set(sign) <= {"p"} or set(sign) <= {"f"} or sign in ("mp", "mf")
    )
    return next(known, "")


def usual_speed(hz: float, temperature_c: float) -> float:
    """Air speed at which a note is usually blown [m/s]: Bernoulli with _PASCAL_PER_HERTZ."""
    return math.sqrt(2.0 * _PASCAL_PER_HERTZ * hz / air_at(temperature_c).rho)


def _asked(decision: Decision, sounds: tuple[Sound, ...] | None = None) -> list[Sound]:
    """What of the fingering's sounds (or of those given) is asked for and has known air speeds, low to high."""
    found = []
    for pitch in decision.demand.sounding:
        near = min(
            decision.sounds if sounds is None else sounds,
            key=lambda one: abs(one.pitch.midi - pitch.midi),
            default=None,
        )
        if near and abs(near.pitch.midi - pitch.midi) <= _SAME_TONE_SEMITONES and math.isfinite(near.speed_m_s[0]):
            found.append(near)
    return found


def _jet(decision: Decision, sign: str, desk: Desk) -> list[Finding]:
    sounds = _asked(decision)
    if decision.demand.kind != Kind.MULTIPHONIC or len(sounds) < 2 or sign not in LOUD | SOFT:
        return []
    usual = usual_speed(
        math.exp(sum(math.log(one.hz) for one in sounds) / len(sounds)), desk.model.instrument.temperature_c
    )
    air = air_told(decision.at_once)
    # At once they sound where the jet says so; a player who needs more air than that for each by itself is told how to blow.
    low, high = air if air and (sign in LOUD or air[0] <= usual) else _held(sounds)
    if low > high or not _is_against(low, high, sign, usual):
        return []
    key = "concern.held_low" if sign in LOUD else "concern.held_high"
    message = Message(key, pitches=decision.demand.pitches, low=low, high=high, usual=usual, sign=sign)
    advice = Message("concern.softer" if sign in LOUD else "concern.louder")
    for other in decision.alternatives:
        own = _asked(decision, sounds_of(desk, other.fingering))
        if not air and len(own) == len(sounds) and not _is_against(*_held(own), sign, usual):
            advice = Message("concern.other_fits", fingering=str(other.fingering)) + advice
            break
    return [_finding("P10", decision, message=message, advice=advice)]


def _held(sounds: list[Sound]) -> tuple[float, float]:
    """Air speeds from and to which all are held [m/s]; from above to where there are none."""
    return max(one.speed_m_s[0] for one in sounds), min(one.speed_m_s[1] for one in sounds)


def _is_against(low: float, high: float, sign: str, usual: float) -> bool:
    return low > high or (_CLEARLY * high < usual if sign in LOUD else low > _CLEARLY * usual)


def _breath(decision: Decision, sign: str) -> list[Finding]:
    events = decision.demand.events
    seconds = events[-1].seconds_end - events[0].seconds
    most = _LOUD_BREATH_SECONDS if sign in _STRONG else _BREATH_SECONDS
    if decision.demand.kind == Kind.NOTE or seconds <= most:
        return []
    return [_finding("P11", decision, advice=Message("concern.breathe", most=most), seconds=seconds, most=most)]


def _attack(decision: Decision) -> list[Finding]:
    sounds = sorted(_asked(decision), key=lambda one: one.speed_m_s[0])
    if (
        decision.demand.kind != Kind.MULTIPHONIC
        or len(sounds) < 2
        or not decision.at_once
        or not none_told(decision.at_once)
    ):
        return []  # which speaks first is told with how to blow
    notes = decision.demand.events[0].notes
    if any(note.slur_stops for note in notes) and not any(note.slur_starts for note in notes):
        return []  # slurred into: there is no attack
    first, last = sounds[0], sounds[-1]
    if last.speed_m_s[0] < _SPEAKS_EARLIER * first.speed_m_s[0]:
        return []
    one, other = (_written(decision, sound) for sound in (first, last))
    return [_finding("P12", decision, first=one, low=first.speed_m_s[0], last=other, high=last.speed_m_s[0])]


def _written(decision: Decision, sound: Sound) -> Pitch:
    """The pitch asked for that a sound is, as written."""
    demand = decision.demand
    away = [abs(pitch.midi - sound.pitch.midi) for pitch in demand.sounding]
    return demand.pitches[away.index(min(away))]


def _hold(decision: Decision) -> list[Finding]:
    if decision.fingering is None:
        return []
    ways = [one for one in awkward(decision.fingering) if one.effort >= _AWKWARD_EFFORT]
    if not ways:
        return []
    told = tuple(Message(f"awkward.{one.name.replace(' ', '_').replace(',', '')}") for one in ways)
    easier = next((one.fingering for one in decision.alternatives if not _is_awkward(one.fingering)), None)
    advice = Message("concern.easier", fingering=str(easier)) if easier else Message("concern.no_easier")
    return [_finding("H4", decision, advice=advice, fingering=str(decision.fingering), ways=told)]


def _is_awkward(fingering: Fingering) -> bool:
    return any(one.effort >= _AWKWARD_EFFORT for one in awkward(fingering))


def _finding(code: str, decision: Decision, **said: Any) -> Finding:
    return Finding.of(code, decision.demand.place, decision.demand.id, **said)


_SAME_NOTE_SEMITONES = 0.6  # twice the usual tolerance


def fixed_remarks(part: Part, plans: Iterable[Planned], ruling_at: Callable[[Event], Ruling]) -> list[Finding]:
    """Findings about the decisions for a part's ordinary notes, each fingering at each pitch once."""
    found: dict[tuple[float, Fingering], Finding | None] = {}
    for hold in (hold for one in plans for hold in one.line.holds if hold.decision is None and hold.desk):
        fix = ruling_at(hold.first).fix
        if fix is not None and len(hold.first.notes) == 1:
            key = hold.first.notes[0].sounding.midi, fix
            if key not in found:
                found[key] = _remark(part, hold, fix)
    return [finding for finding in found.values() if finding]


def _remark(part: Part, hold: Hold, fix: Fingering) -> Finding | None:
    assert hold.desk is not None
    note, place = hold.first.notes[0], part.place(hold.first)
    if not has_touches(hold.desk.model.instrument, fix):
        message = Message("decisions.lacks", fingering=str(fix), flute=hold.desk.name)
        return Finding.of("R304", place, message=message)
    if holds(fix, note.written.midi):
        return None
    strong = [one.pitch for one in sounds_of(hold.desk, fix) if one.strength >= PLAYABLE_CONFIDENCE]
    if any(abs(pitch.midi - note.sounding.midi) <= _SAME_NOTE_SEMITONES for pitch in strong):
        return None
    message = Message("decisions.fixed_against", sounds=tuple(strong))
    return Finding.of("P2", place, message=message, advice=Message("decisions.place_advice"))
