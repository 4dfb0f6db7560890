"""One decision for each demand, and the demands that ordinary notes make by lying outside the flute."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from annotate.choosing.desk import Desk
from annotate.choosing.multiphonics import decide_multiphonic
from annotate.choosing.single import decide_microtone, decide_note, out_of_compass
from annotate.choosing.slides import decide_glissando
from annotate.choosing.to_and_fro import decide_to_and_fro
from annotate.decision import Decision
from annotate.demand import Demand, Kind
from annotate.findings import Finding
from annotate.score import Event, Part
from fingering_db.fingering import Fingering


def choose(demand: Demand, desk: Desk, prefer: Fingering | None = None) -> tuple[Decision, tuple[Finding, ...]]:
    """Decide one demand on one flute. prefer: a fingering to take if it is among those that answer."""
    if demand.kind == Kind.MULTIPHONIC:
        return decide_multiphonic(demand, desk, prefer)
    if demand.kind == Kind.GLISSANDO:
        return decide_glissando(demand, desk), ()
    if demand.kind == Kind.MICROTONE:
        return decide_microtone(demand, desk, prefer), ()
    if demand.is_to_and_fro:
        return decide_to_and_fro(demand, desk)
    return decide_note(demand, desk), ()


def ordinary_demands(part: Part, taken: Iterable[Event], desks_at: Callable[[Event], list[Desk]]) -> tuple[Demand, ...]:
    """A demand for each ordinary note of the part that lies outside the compass of the first flute it is judged on. taken:
    events that are none."""
    others = {event.start for event in taken}
    found = []
    for event in part.events:
        desks = desks_at(event)
        if not desks or event.start in others or event.cue or event.hidden or not out_of_compass(event, desks[0]):
            continue
        found.append(_note_demand(part, event))
    return tuple(found)


def _note_demand(part: Part, event: Event) -> Demand:
    note = max(event.notes, key=lambda one: abs(one.sounding.midi - 76.0))  # the one farthest from the middle
    return Demand(
        "", Kind.NOTE, part.place(event), (event,), (note.written,), (note.sounding,), seconds_end=event.seconds_end
    )
