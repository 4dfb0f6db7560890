"""Codes of the findings of this stage, each with the sentence that `ventwise explain` gives."""

from __future__ import annotations

from annotate.decision import UNPLAYABLE, Decision
from annotate.demand import GLISSANDO, MICROTONE, MULTIPHONIC, NOTE
from annotate.findings import Finding

UNPLAYABLE_CODES = {MULTIPHONIC: "P1", MICROTONE: "P4", NOTE: "P5", GLISSANDO: "G1"}
WRITTEN_FINGERING_DIFFERS, WRITTEN_FINGERING_UNKNOWN, NO_SUCH_FLUTE = "P2", "P3", "P6"

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
    "G1": "This glissando cannot be played on this flute without a jump. The report says how far it goes and what can "
    "be played instead.",
}


def unplayable_finding(decision: Decision) -> Finding | None:
    """The finding that an unplayable demand makes; None for the others."""
    if decision.status != UNPLAYABLE:
        return None
    demand = decision.demand
    advice = "Nothing near was found; another technique or two players may serve."
    if decision.instead:
        sets = ", ".join(
            " to ".join("+".join(map(str, chord)) for chord in (one.pitches, one.to) if chord)
            for one in decision.instead
        )
        advice = f"Near it and playable: {sets}."
    return Finding(UNPLAYABLE_CODES[demand.kind], "error", str(demand.place), decision.why, advice, demand.id)
