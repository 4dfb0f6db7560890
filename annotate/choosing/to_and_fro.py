"""Deciding tremolos and trills between two fingerings: each sound by itself, and the move between them, to and fro."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from annotate.choosing.desk import Desk, instead, ranked, shown, status_of, told_of_trials
from annotate.choosing.hands import wanted_a_second
from annotate.choosing.judging import held
from annotate.choosing.motions import how_often, hurried
from annotate.choosing.multiphonics import MOST_PITCHES, none_found
from annotate.decision import Decision, Instead, PathPoint, Status
from annotate.decisions.kept import NO_RULING, Ruling
from annotate.demand import Demand, Kind
from annotate.detecting.fingering_text import read_fingering
from annotate.findings import Finding
from fingering_db.colour import ANOTHER_COLOUR_DB, colour_db, near_in_the_hand
from fingering_db.fingering import FingeringError
from fingering_db.mechanism import chart_of
from fingering_db.message import Message
from fingering_db.motion import effort, to_and_fro_a_second
from fingering_db.pitch import Pitch
from fingering_db.ranking import EFFORT_WEIGHT, Candidate

_TRIED = 30  # of each sound's fingerings: ours
_MOVE_WEIGHT = 4.0 * EFFORT_WEIGHT
"""Of confidence per finger that moves; as dear as where a passage leaves no time (passage.py), for each comes many times."""
_COLOUR_WEIGHT, _ENOUGH_DB = (
    0.01,
    8.0,
)  # of confidence per dB of colour between two fingerings of a sound, up to so many: ours
_LITTLE_FINGER = 0.06
"""Of confidence, for a colour made by the right little finger: it trills worst, and steadies the flute (common practice)."""
_FIRSTS = 8  # of a chord's fingerings for which one near in the hand is looked for: ours
_PLAIN_CENTS = 10.0
_TRILLED = (0, 1, 2, 3, -1, -2)
"""Semitones to what a trill may lead to; the note itself first."""


@dataclass(frozen=True, slots=True)
class _Way:
    """Two fingerings and the moves between them. possible: changes a second; colour: between two fingerings of one sound [dB],
    NaN for two sounds."""

    first: Candidate
    second: Candidate
    status: Status
    value: float
    possible: float
    colour: float


def decide_to_and_fro(demand: Demand, desk: Desk, ruling: Ruling = NO_RULING) -> tuple[Decision, tuple[Finding, ...]]:
    """The pair of fingerings that is best together; unplayable where one of the sounds has none. ruling: what it fixes is
    taken as written at the first sound, and at the second."""
    if ruling.fix is not None:
        demand = replace(demand, fingering=str(ruling.fix))
    if ruling.fix_to is not None:
        demand = replace(demand, to_fingering=str(ruling.fix_to))
    demand = _trilled_to(demand, desk)
    sides = _side(demand, desk, ruling), _side(_other(demand), desk, ruling)
    texts = demand.fingering, demand.to_fingering
    differing = (_differs(text, side, demand) for text, side in zip(texts, sides, strict=True))
    findings = [one for one in differing if one]
    if demand.kind == Kind.TIMBRAL_TRILL and not read_fingering(demand.fingering):
        sides = _standard(demand, desk) or sides[0], sides[1]
    wanted = wanted_a_second(demand.strokes, demand.events[0])
    best = _best(_in_the_hand(demand, desk, ruling, sides[0], wanted))
    if best is None or best.status != Status.PLAYABLE:
        every = (_way(one, two, demand, desk, wanted) for one, two in product(*sides) if one.fingering != two.fingering)
        best = _best([*([best] if best else ()), *every])
    if best is None:
        return _without(demand, desk, sides), tuple(findings)
    decision = _decided(demand, desk, best, wanted)
    slow = hurried(demand.place, best.first.fingering, best.second.fingering, wanted, demand.id)
    return decision, (*findings, *([slow] if slow else ()))


def _other(demand: Demand) -> Demand:
    """The other sound as a demand of its own."""
    return replace(demand, pitches=demand.to, sounding=demand.to_sounding, fingering=demand.to_fingering)


def _side(demand: Demand, desk: Desk, ruling: Ruling) -> list[Candidate]:
    """The fingerings of one sound, best first: those of the search, or the one that is written if it sounds it."""
    if len(demand.sounding) > MOST_PITCHES:
        return []
    tolerance = desk.tolerance(demand)
    own = _written(demand, desk)
    if own is not None and _sounds_it(own, tolerance):
        return [own]
    found = ranked(desk.find(demand.sounding, tolerance), tolerance)
    allowed = (one for one in found if not any(wish.fits(one.fingering) for wish in ruling.forbid))
    return [one for one in allowed if status_of(one, tolerance) != Status.UNPLAYABLE][:_TRIED]


def _written(demand: Demand, desk: Desk) -> Candidate | None:
    written = read_fingering(demand.fingering)
    try:
        return held(demand, desk, written) if written else None
    except FingeringError:
        return None  # a key that this flute lacks


def _sounds_it(one: Candidate, tolerance: float) -> bool:
    return one.worst_cents <= 2.0 * tolerance and status_of(one, tolerance) != Status.UNPLAYABLE


def _trilled_to(demand: Demand, desk: Desk) -> Demand:
    """A trill of one note with a fingering at it, where no word tells of two fingerings of that note: to the note near it
    that the fingering sounds, if it does not sound the note itself."""
    if demand.kind != Kind.TIMBRAL_TRILL or demand.word or not demand.to_fingering or len(demand.pitches) > 1:
        return demand
    for semitones in _TRILLED:
        to = demand.to[0].transposed(semitones), demand.to_sounding[0].transposed(semitones)
        other = replace(_other(demand), pitches=to[:1], sounding=to[1:])
        own = _written(other, desk)
        if own is not None and _sounds_it(own, desk.tolerance(demand)):
            return replace(demand, kind=Kind.TREMOLO, to=to[:1], to_sounding=to[1:]) if semitones else demand
    return demand


def _differs(text: str, side: list[Candidate], demand: Demand) -> Finding | None:
    """A finding where a written fingering is not taken."""
    written = read_fingering(text)
    if written is None or [one.fingering for one in side] == [written]:
        return None
    message = Message("tremolo.written_not_taken", fingering=str(written))
    return Finding.of("P2", demand.place, demand.id, message=message)


def _standard(demand: Demand, desk: Desk) -> list[Candidate]:
    """A note of the chart is held as ever, and trills to another fingering; none for other sounds."""
    if len(demand.sounding) > 1:
        return []
    instrument = desk.model.instrument
    written = demand.sounding[0].midi - instrument.transposition_semitones
    own = [note.fingering for note in chart_of(instrument) if abs(note.pitch.midi - written) * 100.0 < _PLAIN_CENTS]
    return [held(demand, desk, fingering) for fingering in own]


def _in_the_hand(demand: Demand, desk: Desk, ruling: Ruling, firsts: list[Candidate], wanted: float) -> list[_Way]:
    """From each fingering of a sound to another one of it that is a finger or two away and another colour; none for two sounds,
    and where the second is written."""
    if demand.kind != Kind.TIMBRAL_TRILL or read_fingering(demand.to_fingering):
        return []
    tolerance, found = desk.tolerance(demand), []
    for first in firsts[:_FIRSTS]:
        for second in near_in_the_hand(desk.model, first, demand.sounding, 2.0 * tolerance, desk.a4_hz):
            tried = desk.experience.of(second.fingering, demand.sounding, desk.model.instrument)
            forbidden = any(wish.fits(second.fingering) for wish in ruling.forbid)
            if not forbidden and not (tried and tried.fails) and status_of(second, tolerance) != Status.UNPLAYABLE:
                found.append(_way(first, second, demand, desk, wanted))
    return found


def _best(ways: list[_Way]) -> _Way | None:
    """One note and its harmonics after the others."""
    return min(ways, key=lambda way: (way.status.rank, _one_note(way), -way.value), default=None)


def _one_note(way: _Way) -> bool:
    return way.first.one_note or way.second.one_note


def _way(one: Candidate, two: Candidate, demand: Demand, desk: Desk, wanted: float) -> _Way:
    tolerance = desk.tolerance(demand)
    possible = to_and_fro_a_second(one.fingering, two.fingering)
    statuses = [status_of(one, tolerance), status_of(two, tolerance)]
    if possible < wanted:
        statuses.append(Status.DOUBTFUL)
    value = one.worth + two.worth - _MOVE_WEIGHT * effort(desk.model, one.fingering, two.fingering)
    colour = np.nan
    if demand.kind == Kind.TIMBRAL_TRILL:
        colour = colour_db(desk.model, one, two, tuple(pitch.hz(desk.a4_hz) for pitch in demand.sounding))
        moved_last = one.fingering.touches[-1] != two.fingering.touches[-1]
        value += _COLOUR_WEIGHT * min(colour, _ENOUGH_DB) - _LITTLE_FINGER * moved_last
        if not (read_fingering(demand.fingering) or read_fingering(demand.to_fingering)) and (
            colour < ANOTHER_COLOUR_DB or _apart(one, two) > tolerance
        ):
            statuses.append(Status.DOUBTFUL)
    return _Way(one, two, max(statuses, key=lambda each: each.rank), value, possible, colour)


def _apart(one: Candidate, two: Candidate) -> float:
    """Between the same pitch on both, the largest [cents]."""
    return max(abs(a - b) for a, b in zip(one.deviation_cents, two.deviation_cents, strict=True))


def _told_colour(way: _Way, tolerance: float) -> Message | None:
    """How different two fingerings of a sound are; None for two sounds."""
    if np.isnan(way.colour):
        return None
    apart = _apart(way.first, way.second)
    told = Message("tremolo.colour", colour=way.colour, apart=apart)
    if way.colour < ANOTHER_COLOUR_DB:
        told += Message("tremolo.colour_alike")
    return told + Message("tremolo.two_pitches") if apart > tolerance else told


def _decided(demand: Demand, desk: Desk, way: _Way, wanted: float) -> Decision:
    one, two = _with_jets(way.first, demand.sounding, desk), _with_jets(way.second, demand.to_sounding, desk)
    tolerance = desk.tolerance(demand)
    worst = max(one.worst_cents, two.worst_cents)
    why = Message("tremolo.within", worst=worst, tolerance=tolerance)
    if one.one_note or two.one_note:
        why += Message("tremolo.one_note", pitches=demand.pitches if one.one_note else demand.to)
    why += how_often(one.fingering, two.fingering, wanted)
    why += _told_colour(way, tolerance)
    why += told_of_trials(one.tried, one.by_model)
    why += told_of_trials(two.tried, two.by_model)
    points = ((0.0, one), (1.0, two))
    return Decision(
        demand=demand,
        flute=desk.name,
        status=way.status,
        why=why,
        fingering=one.fingering,
        deviation_cents=one.deviation_cents + two.deviation_cents,
        band_cents=one.band_cents + two.band_cents,
        confidence=min(one.confidence, two.confidence),
        together=_least(one.together, two.together),
        one_note=_one_note(way),
        sounds=shown(one.sounds, desk.a4_hz),
        path=tuple(PathPoint(t, 0.0, (), 0.0, at.fingering, shown(at.sounds, desk.a4_hz)) for t, at in points),
    )


def _with_jets(one: Candidate, sounding: tuple[Pitch, ...], desk: Desk) -> Candidate:
    """What is held with the lip of its own notes has them already."""
    return desk.with_jets(one, sounding) if np.isfinite(one.lip_mm) else one


def _least(*values: float) -> float:
    known = [value for value in values if np.isfinite(value)]
    return min(known, default=float("nan"))


def _without(demand: Demand, desk: Desk, sides: tuple[list[Candidate], list[Candidate]]) -> Decision:
    """Unplayable: which sound has no fingering, and what is near it; or one sound that has only one fingering."""
    if demand.kind == Kind.TIMBRAL_TRILL and any(sides):
        why = Message("tremolo.no_second", pitches=demand.pitches, tried=len(desk.model.reach.placements))
        return Decision(demand, desk.name, Status.UNPLAYABLE, why)
    first = not sides[0]
    lacking = demand if first else _other(demand)
    why = Message("tremolo.lacks", pitches=lacking.pitches, why=none_found(lacking, desk))
    near: list[Instead] = []
    for one in instead(desk, lacking, lacking.sounding):
        if first:
            near.append(replace(one, to=demand.to if sides[1] else ()))
        else:
            near.append(replace(one, pitches=demand.pitches, fingering=sides[0][0].fingering, to=one.pitches))
    return Decision(demand, desk.name, Status.UNPLAYABLE, why, instead=tuple(near))
