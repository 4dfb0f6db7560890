"""Numbers for the fingerings of a piece, in the order in which they first come."""

from collections.abc import Iterable

from annotate.decision import Decision, Status
from fingering_db.fingering import Fingering


def fingerings_of(decision: Decision) -> tuple[Fingering | None, Fingering | None]:
    """Fingerings to draw at the first and at the last event of a demand, None for none: the second only where a
    glissando ends with another one."""
    if decision.status == Status.UNPLAYABLE:
        return None, None
    start, events = decision.fingering, decision.demand.events
    if len(events) < 2 or events[-1].start == events[0].start or not decision.path:
        return start, None
    end = decision.path[-1].fingering
    return start, end if end != start else None


def numbered(decisions: Iterable[Decision]) -> dict[Fingering, int]:
    """Number, from 1, of each distinct fingering; all parts together, so that a number means one thing in the whole
    piece. Where two come at once, the order of `decisions` (parts as in the score) tells."""
    found: list[tuple[float, Fingering]] = []
    for decision in decisions:
        start, end = fingerings_of(decision)
        if start:
            found.append((decision.demand.place.seconds, start))
        if end:
            found.append((decision.demand.events[-1].seconds, end))
    found.sort(key=lambda one: one[0])
    names = dict.fromkeys(fingering for _, fingering in found)
    return {fingering: number for number, fingering in enumerate(names, start=1)}
