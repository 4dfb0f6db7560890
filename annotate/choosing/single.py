"""Deciding single pitches: microtones, and ordinary notes outside the flute's range."""

import math

from annotate.choosing.desk import (
    Desk,
    decided,
    equal_for_the_ear,
    instead,
    known_badly,
    preferred,
    ranked,
    status_of,
    transposition,
)
from annotate.decision import Decision, Instead, Status
from annotate.decisions.kept import NO_RULING, Ruling
from annotate.demand import Demand, Kind
from annotate.score import Event
from annotate.weights import WEIGHTS
from fingering_db.alternatives import fingers_from_chart
from fingering_db.fingering import Fingering
from fingering_db.mechanism import chart_of
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.ranking import Candidate

_ABOVE_CHART = 2  # semitones above the chart's last note that players reach with luck: common practice, no source


def decide_microtone(
    demand: Demand, desk: Desk, ruling: Ruling = NO_RULING, prefer: Fingering | None = None
) -> Decision:
    """A fingering for the pitch itself; the lip alone from the nearest semitone is named where no fingering is near. prefer: the
    fingering to take if it is among those found, None for the best by itself."""
    tolerance = desk.tolerance(demand)
    found = ranked(desk.find(demand.sounding, tolerance), tolerance)
    candidates = tuple(one for one in found if ruling.allows(one.fingering))
    if found and not candidates:
        return Decision(demand, desk.name, Status.UNPLAYABLE, Message("decisions.all_forbidden"), ruled=True)
    if not candidates or status_of(candidates[0], tolerance) == Status.UNPLAYABLE:
        why = Message("choice.microtone_none", within=2 * tolerance, bend=desk.model.instrument.lip.bend_cents)
        why += desk.left_out(demand)
        near = instead(desk, demand, demand.sounding)
        return Decision(demand, desk.name, Status.UNPLAYABLE, why, instead=near)
    candidates = preferred(_usual_first(candidates, demand, desk), prefer, ruling, tolerance)
    best = candidates[0]
    status = status_of(best, tolerance)
    worst = best.worst_cents
    bent = abs(demand.sounding[0].midi - round(demand.sounding[0].midi)) * 100.0
    bend = desk.model.instrument.lip.bend_cents
    steadier = Message("choice.steadier", bent=bent, bend=bend) if worst < bent else None
    reached = Message("choice.within_tolerance") if worst <= tolerance else Message("choice.lip_makes_up")
    if best.inside_band:
        reached = Message("choice.microtone_inside_band", band=best.band_cents[0])
    why = Message("choice.microtone", worst=worst, tolerance=tolerance, reached=reached)
    why += known_badly(best, tolerance) or steadier
    return decided(demand, desk, status, why, best, candidates)


def _usual_first(candidates: tuple[Candidate, ...], demand: Demand, desk: Desk) -> tuple[Candidate, ...]:
    """Of those that are equal to the best for the ear the ones before that are easy and change few fingers of a neighbouring
    note's standard fingering: so a microtone is learnt (common practice, no source), often the rim of its last key."""
    best, tolerance = candidates[0], desk.tolerance(demand)
    if best.tried:
        return candidates
    instrument = desk.model.instrument
    written = demand.sounding[0].midi - instrument.transposition_semitones

    def place(one: Candidate) -> float:
        if not equal_for_the_ear(one, best) or status_of(one, tolerance) != status_of(best, tolerance):
            return math.inf
        away = fingers_from_chart(instrument, one.fingering, written)
        return WEIGHTS.holding * one.effort + WEIGHTS.unusual * away

    return tuple(sorted(candidates, key=place))


def compass(desk: Desk) -> tuple[Pitch, Pitch]:
    """Lowest and highest sounding pitch of the flute's standard chart."""
    instrument = desk.model.instrument
    notes = [note.pitch for note in chart_of(instrument)]
    return notes[0].transposed(instrument.transposition_semitones), notes[-1].transposed(
        instrument.transposition_semitones
    )


def out_of_compass(event: Event, desk: Desk) -> bool:
    """Whether an ordinary note lies outside the chart, by more than a quarter-tone."""
    low, high = compass(desk)
    return any(not low.midi - 0.5 <= note.sounding.midi <= high.midi + 0.5 for note in event.notes)


def decide_note(demand: Demand, desk: Desk) -> Decision:
    """An ordinary note outside the chart: doubtful just above it, else unplayable, with the octave that fits."""
    assert demand.kind == Kind.NOTE
    low, high = compass(desk)
    pitch, shift = demand.sounding[0], transposition(demand)
    written_low, written_high = low.transposed(-shift), high.transposed(-shift)
    if high.midi < pitch.midi <= high.midi + _ABOVE_CHART:
        why = Message(
            "choice.above_chart", pitch=demand.pitches[0], flute=desk.name, low=written_low, high=written_high
        )
        return Decision(demand, desk.name, Status.DOUBTFUL, why)
    octaves = 1 if pitch.midi < low.midi else -1
    moved = pitch
    while not low.midi <= moved.midi <= high.midi:
        moved = moved.transposed(12 * octaves)
    written = moved.transposed(-shift)
    standard = {note.pitch.midi: note.fingering for note in chart_of(desk.model.instrument)}
    fingering = standard.get(moved.midi - desk.model.instrument.transposition_semitones)
    proposals = (Instead((written,), fingering, Message("choice.other_octave")),)
    where = "choice.below_compass" if octaves > 0 else "choice.above_compass"
    why = Message(where, pitch=demand.pitches[0], flute=desk.name, low=written_low, high=written_high)
    return Decision(demand, desk.name, Status.UNPLAYABLE, why, instead=proposals)
