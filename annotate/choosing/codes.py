"""Codes of the findings of this stage; what each means stands in the table [explain] of every language."""

from annotate.decision import Decision, Instead, Status
from annotate.demand import Kind
from annotate.findings import Finding
from fingering_db.message import Message

UNPLAYABLE_CODES = {Kind.MULTIPHONIC: "P1", Kind.MICROTONE: "P4", Kind.NOTE: "P5", Kind.GLISSANDO: "G1"}
UNPLAYABLE_CODES |= {Kind.TREMOLO: "P1", Kind.TIMBRAL_TRILL: "P9"}


def unplayable_finding(decision: Decision) -> Finding | None:
    """The finding that an unplayable demand makes; None for the others."""
    if decision.status != Status.UNPLAYABLE:
        return None
    demand = decision.demand
    advice = Message("choice.nothing_near")
    if decision.instead:
        advice = Message("choice.near", sets=tuple(_set(one) for one in decision.instead))
    return Finding.of(UNPLAYABLE_CODES[demand.kind], demand.place, demand.id, message=decision.why, advice=advice)


def one_note_finding(decision: Decision) -> Finding | None:
    """The finding that a chord heard as one note makes; None for the others."""
    if not decision.one_note:
        return None
    demand = decision.demand
    advice = Message("choice.one_note_advice")
    if decision.instead:
        advice = Message("choice.near", sets=tuple(_set(one) for one in decision.instead))
    return Finding.of("P8", demand.place, demand.id, message=decision.why, advice=advice)


def _set(one: Instead) -> Message:
    if one.to:
        return Message("choice.set_to", start=one.pitches, end=one.to)
    return Message("choice.set", pitches=one.pitches)
