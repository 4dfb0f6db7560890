"""One decision for each demand, and the demands that ordinary notes make by lying outside the flute."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from annotate.choosing.desk import Desk
from annotate.choosing.joint import NEAR_MM, held_at, out_at, written_mm
from annotate.choosing.judging import fixed, judged
from annotate.choosing.multiphonics import decide_multiphonic
from annotate.choosing.single import decide_microtone, decide_note, out_of_compass
from annotate.choosing.slides import decide_glissando
from annotate.choosing.to_and_fro import decide_to_and_fro
from annotate.decision import Decision, Status
from annotate.decisions.kept import NO_RULING, Ruling
from annotate.demand import Demand, Instruction, Kind
from annotate.detecting.fingering_text import read_fingering
from annotate.detecting.instructions import Instructions
from annotate.findings import Finding
from annotate.score import Event, Part
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.setting import drawn

_BY_SEARCH = {Kind.MULTIPHONIC: decide_multiphonic, Kind.MICROTONE: decide_microtone}
"""Where the composer writes no fingering, or one that does not sound the pitches."""


def choose(
    demand: Demand, desk: Desk, ruling: Ruling = NO_RULING, prefer: Fingering | None = None
) -> tuple[Decision, tuple[Finding, ...]]:
    """Decide one demand on one flute. ruling: what the player has decided. prefer: a fingering to take if it is among those
    that answer."""
    told = demand.instruction
    if told is not None and not told.means:
        return _with_the_joint_out(demand, desk, told, ruling, prefer)
    decision, findings = _chosen(demand, desk, ruling, prefer)
    liked = decision.fingering is not None and ruling.liking(decision.fingering) < len(ruling.prefer)
    return replace(decision, own_note=ruling.note, ruled=decision.ruled or liked), findings


def _chosen(
    demand: Demand, desk: Desk, ruling: Ruling, prefer: Fingering | None
) -> tuple[Decision, tuple[Finding, ...]]:
    if demand.kind == Kind.GLISSANDO:
        return decide_glissando(demand, desk, ruling)
    if demand.is_to_and_fro:
        return decide_to_and_fro(demand, desk, ruling)
    if ruling.fix is not None:
        return _fixed(demand, desk, ruling, fixed(demand, desk, ruling.fix))
    if demand.kind not in _BY_SEARCH:
        return decide_note(demand, desk), ()
    written = read_fingering(demand.fingering)
    own = judged(demand, desk, written) if written is not None else None
    if isinstance(own, Decision):
        return own, ()
    return _BY_SEARCH[demand.kind](demand, desk, ruling, prefer), (own,) if own else ()


def _with_the_joint_out(
    demand: Demand, desk: Desk, told: Instruction, ruling: Ruling, prefer: Fingering | None
) -> tuple[Decision, tuple[Finding, ...]]:
    """The same on the flute with its head joint as far out as the composer writes."""
    instrument = desk.model.instrument
    travel = instrument.slide.travel_mm if instrument.slide else 0.0
    out_mm = written_mm(told, instrument)
    if not travel or out_mm > travel:
        key = "choice.slide_too_far" if travel else "choice.no_slide"
        why = Message(key, word=told.word, travel=travel)
        return Decision(demand, desk.name, Status.UNPLAYABLE, why), ()
    if demand.kind == Kind.NOTE:
        return _note_with_the_joint_out(demand, desk, out_mm), ()
    there = replace(desk, model=drawn(desk.model, out_mm))
    decision, findings = choose(replace(demand, instruction=None), there, ruling, prefer)
    why = Message("choice.slide_is_out", mm=out_mm) + decision.why
    return replace(decision, demand=replace(decision.demand, instruction=told), why=why), findings


def _note_with_the_joint_out(demand: Demand, desk: Desk, out_mm: float) -> Decision:
    """An ordinary note; where the first flute has none, another may."""
    why, found = Message("choice.slide_is_out", mm=out_mm), out_at(desk, demand.sounding[0], round(out_mm, 1))[:1]
    if not found:
        return Decision(demand, desk.name, Status.UNPLAYABLE, why + Message("choice.no_note_out"))
    ((fingering, cents),), tolerance = found, desk.tolerance(demand)
    worst, in_tune = abs(cents), abs(cents) <= tolerance
    why += (
        Message("choice.within", worst=worst, tolerance=tolerance)
        if in_tune
        else Message("choice.nearest", worst=worst, tolerance=tolerance, band=desk.band_cents())
    )
    status = Status.PLAYABLE if in_tune else Status.DOUBTFUL
    return Decision(demand, desk.name, status, why, fingering=fingering, deviation_cents=(cents,))


def _fixed(demand: Demand, desk: Desk, ruling: Ruling, own: Decision | Finding) -> tuple[Decision, tuple[Finding, ...]]:
    if isinstance(own, Decision):
        return own, ()
    decision, findings = _chosen(demand, desk, replace(ruling, fix=None), None)
    return decision, (*findings, own)


def ordinary_demands(part: Part, taken: Iterable[Event], desks_at: Callable[[Event], list[Desk]]) -> tuple[Demand, ...]:
    """A demand for each ordinary note of the part that lies outside the compass of the first flute it is judged on, or cannot be
    had with the head joint as far out as is written. taken: events that are none."""
    others, said = {event.start for event in taken}, Instructions(part)
    found = []
    for event in part.events:
        desks = desks_at(event)
        if not desks or event.start in others or event.cue or event.hidden:
            continue
        if out_of_compass(event, desks[0]):
            found.append(_note_demand(part, event))
        elif _not_with_the_joint_out(event, desks[0], said):
            told = said.slide_at(event.onset, event.staff)
            found.append(replace(_note_demand(part, event), instruction=told))
    return tuple(found)


def _not_with_the_joint_out(event: Event, desk: Desk, said: Instructions) -> bool:
    out_mm = held_at(event, desk.model.instrument, said)
    return len(event.notes) == 1 and out_mm > NEAR_MM and not out_at(desk, event.notes[0].sounding, round(out_mm, 1))


def _note_demand(part: Part, event: Event) -> Demand:
    note = max(event.notes, key=lambda one: abs(one.sounding.midi - 76.0))  # the one farthest from the middle
    return Demand(
        "", Kind.NOTE, part.place(event), (event,), (note.written,), (note.sounding,), seconds_end=event.seconds_end
    )
