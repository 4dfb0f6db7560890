"""Decisions for all demands of a part: each by itself, then with the passage, then what the way of the hand asks."""

from dataclasses import dataclass, replace

from annotate.choosing.choose import choose
from annotate.choosing.concerns import concerns, fixed_remarks
from annotate.choosing.desk import Desk
from annotate.choosing.hands import DeskAt
from annotate.choosing.joint import seconds_to_draw
from annotate.choosing.judged_on import DesksAt
from annotate.choosing.motions import note_out_remarks, step_remarks, trill_remarks
from annotate.choosing.passage import Planned, picks, planned
from annotate.choosing.slides import decide_glissando
from annotate.decision import Decision, Instead, Status
from annotate.decisions.kept import Ruling
from annotate.decisions.rulings import NONE, Rulings
from annotate.demand import Demand, Kind
from annotate.detecting.fingering_text import written_for_notes
from annotate.findings import Finding
from annotate.place import Place
from annotate.score import Event, Part
from annotate.weights import changed
from fingering_db.message import Message
from fingering_db.store import let_go
from fingering_db.survey import Progress, atlas

UNPLAYABLE_CODES = {Kind.MULTIPHONIC: "P1", Kind.MICROTONE: "P4", Kind.NOTE: "P5", Kind.GLISSANDO: "G1"}
UNPLAYABLE_CODES |= {Kind.TREMOLO: "P1", Kind.TIMBRAL_TRILL: "P9"}


def unplayable_finding(decision: Decision) -> Finding | None:
    """The finding that an unplayable demand makes; None for the others."""
    if decision.status != Status.UNPLAYABLE:
        return None
    demand = decision.demand
    advice = Message("tremolo.other_note" if demand.kind == Kind.TIMBRAL_TRILL else "choice.nothing_near")
    if decision.instead:
        advice = Message("choice.near", sets=tuple(_set(one) for one in decision.instead))
    return Finding.of(UNPLAYABLE_CODES[demand.kind], demand.place, demand.id, message=decision.why, advice=advice)


def one_note_finding(decision: Decision) -> Finding | None:
    """The finding that a chord heard as one note makes; None for the others."""
    if not decision.one_note:
        return None
    demand = decision.demand
    advice = Message("choice.one_note_advice") if demand.kind == Kind.MULTIPHONIC else None
    if decision.instead:
        advice = Message("choice.near", sets=tuple(_set(one) for one in decision.instead))
    return Finding.of("P8", demand.place, demand.id, message=decision.why, advice=advice)


def _set(one: Instead) -> Message:
    if one.to:
        return Message("choice.set_to", start=one.pitches, end=one.to)
    return Message("choice.set", pitches=one.pitches)


@dataclass(frozen=True, slots=True)
class Decided:
    """Decisions in score order, each demand once per flute, the findings about them, and the plan of the part, voice by voice,
    on the first flute."""

    decisions: tuple[Decision, ...]
    findings: tuple[Finding, ...]
    plans: tuple[Planned, ...] = ()


def decide(
    part: Part,
    demands: tuple[Demand, ...],
    at: DesksAt,
    progress: Progress | None = None,
    ruled: Rulings = NONE,
) -> Decided:
    """Decide every demand on every flute that it is judged on. ruled: what the player has decided."""
    told: dict[tuple[str, int], tuple[Finding, ...]] = {}
    rows: list[list[Decision]] = []
    searched = (demand for demand in demands if demand.kind is not Kind.NOTE)
    for one in dict.fromkeys(desk.model for demand in searched for desk in at(demand.events[0])):
        atlas(one, progress)  # here, where somebody is told how it goes
    known: dict[object, Decision] = {}
    for done, demand in enumerate(demands, start=1):
        row, ruling = [], ruled.of(part.id, demand.events[0])
        for number, desk in enumerate(at(demand.events[0])):
            key = _anywhere(demand), desk, ruling
            if key in known:
                row.append(replace(known[key], demand=demand))
                continue
            decision, told[demand.id, number] = choose(demand, desk, ruling)
            row.append(decision)
            if not (told[demand.id, number] or demand.is_to_and_fro):  # these look at the place itself
                known[key] = decision
        rows.append(row)
        let_go()
        if progress:
            progress("demand", done, len(demands))
    plans = [_with_passage(part, rows, number, at, ruled) for number in range(max(map(len, rows), default=1))]
    findings = [finding for own in told.values() for finding in own]
    first = [row[0] for row in rows]
    for of in (unplayable_finding, one_note_finding):
        findings += [finding for decision in first if (finding := of(decision))]
    for row in rows:
        findings += concerns(part, row[0], at(row[0].demand.events[0])[0])
    if ruled.kept.path:
        findings += fixed_remarks(part, plans[0], lambda event: ruled.of(part.id, event))
    findings += _motions(part, rows, plans[0])
    return Decided(tuple(decision for row in rows for decision in row), tuple(findings), plans[0])


def _anywhere(demand: Demand) -> Demand:
    """What a demand asks wherever it stands; how long it has counts for a glissando."""
    seconds = demand.seconds_end - demand.place.seconds if demand.kind is Kind.GLISSANDO else 0.0
    return replace(demand, id="", place=Place("", ""), events=(), address="", seconds_end=seconds)


def _column(at: DesksAt, number: int) -> DeskAt:
    def desk_at(event: Event) -> Desk | None:
        desks = at(event)
        return desks[number] if number < len(desks) else None

    return desk_at


def _with_passage(
    part: Part, rows: list[list[Decision]], number: int, at: DesksAt, ruled: Rulings
) -> tuple[Planned, ...]:
    """Put what the passage makes easier in the place of what was decided on one flute; the plan of the whole part on it."""
    desk_at = _column(at, number)
    written = written_for_notes(part)

    def ruling_at(event: Event) -> Ruling:
        own = ruled.of(part.id, event)
        fixed = own.fix or written.get(event.start)
        return replace(own, fix=fixed) if fixed else own

    decisions = [row[number] for row in rows if number < len(row)]
    found = planned(part, decisions, desk_at, ruling_at, changed(ruled.kept.weights))
    taken = picks(found)
    for row in rows:
        pick = taken.get(row[0].demand.id)
        desk = desk_at(row[0].demand.events[0])
        if pick is not None and desk is not None:
            demand = row[number].demand
            ruling = ruling_at(demand.events[0])
            if pick.begins_mm is None:
                decision, _ = choose(demand, desk, ruling, pick.fingering)
            else:
                decision = _from_where_it_is(row[number], desk, ruling, pick.begins_mm)
            row[number] = replace(decision, why=decision.why + pick.why)
    return found


def _from_where_it_is(free: Decision, desk: Desk, ruling: Ruling, begins_mm: float) -> Decision:
    """A glissando that begins where the last one left the head joint; where a rest before it would make it better, that is what
    could be played instead."""
    decision, _ = decide_glissando(free.demand, desk, ruling, begins_mm)
    if not free.path or free.status.rank >= decision.status.rank:
        return decision
    best = free.path[0].slide_mm
    why = Message("joint.after_a_rest", mm=best, needed=seconds_to_draw(best - begins_mm))
    return replace(
        decision, instead=(Instead(free.demand.pitches, free.fingering, why, free.demand.to), *decision.instead)
    )


def _motions(part: Part, rows: list[list[Decision]], plans: tuple[Planned, ...]) -> list[Finding]:
    """Findings about the ways between the fingerings planned; the decisions learn which fingers move against the ear."""
    at_demand = {row[0].demand.id: row for row in rows}
    findings: list[Finding] = []
    steps = (step for one in plans for step in one.steps())
    for step in sorted(steps, key=lambda step: step.after.first.onset):
        said = step_remarks(part, step)
        findings += said.findings
        if step.after.decision is not None:
            row = at_demand[step.after.decision.demand.id]
            row[0] = replace(row[0], contrary=said.contrary)
    for one in plans:
        for number, hold in enumerate(one.line.holds):
            if (taken := one.option(number)) is not None:
                findings += (*trill_remarks(part, hold, taken), *note_out_remarks(part, hold, taken))
    return findings
