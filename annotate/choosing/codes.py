"""Codes of the findings of this stage, each with the sentence that `ventwise explain` gives."""

from __future__ import annotations

from annotate.decision import Decision, Instead, Status
from annotate.demand import Kind
from annotate.findings import Finding
from fingering_db.message import Message

UNPLAYABLE_CODES = {Kind.MULTIPHONIC: "P1", Kind.MICROTONE: "P4", Kind.NOTE: "P5", Kind.GLISSANDO: "G1"}
AGAINST_THE_EAR, LITTLE_TIME = "H1", "H2"
WRITTEN_FINGERING_DIFFERS, WRITTEN_FINGERING_UNKNOWN, NO_SUCH_FLUTE = "P2", "P3", "P6"
LESS_CERTAIN = "P7"

CODES: dict[str, str] = {
    "P1": "No fingering that hands can form on this flute is expected to sound these pitches together. The report says "
    "what is near; the search tries every fingering with one lip position for all pitches.",
    "P2": "The fingering written in the score does not sound the pitches written with it on this flute, by the model. "
    "Another one was searched for.",
    "P3": "The fingering written in the score uses a key that this flute does not have.",
    "P4": "No fingering of this flute is near enough to this microtone, and it lies beyond what the lip bends.",
    "P5": "An ordinary note lies outside the compass of this flute.",
    "P6": "There is no model of this kind of flute, so the part was not judged. Name a flute with --flute to judge it "
    "there.",
    "P7": "The file of this flute says something that bears on all its figures: the shipped piccolo, alto and bass flute are "
    "scaled from the flute in C, and the ± beside their figures is wider for it.",
    "H1": "A finger goes down and a component of the multiphonic goes up, or the reverse: opening a vent with its lever "
    "raises the sound, against what the hand expects of every other key. Looked at are the ways to and from "
    "multiphonics, and every way to or from a vent; a finger that moves each component by less than 10 cents does not "
    "count.",
    "H2": "The fingers have less time from one fingering to the next than they are likely to need. Times are a rule of "
    "thumb (about 16 ms for a finger, 6 for each further one, more to land on a small opening or to go from key to key), "
    "no measurement; half of the shorter note may pass meanwhile, and a rest before it counts in full.",
    "G1": "This glissando cannot be played on this flute without a jump. The report says how far it goes and what can "
    "be played instead.",
}


def unplayable_finding(decision: Decision) -> Finding | None:
    """The finding that an unplayable demand makes; None for the others."""
    if decision.status != Status.UNPLAYABLE:
        return None
    demand = decision.demand
    advice = Message("choice.nothing_near")
    if decision.instead:
        advice = Message("choice.near", sets=tuple(_set(one) for one in decision.instead))
    return Finding(UNPLAYABLE_CODES[demand.kind], "error", demand.place, decision.why, advice, demand.id)


def _set(one: Instead) -> Message:
    if one.to:
        return Message("choice.set_to", start=one.pitches, end=one.to)
    return Message("choice.set", pitches=one.pitches)
