"""The plan of a part as it is told: a fingering for each note that has one, in the order of the score."""

from collections.abc import Iterable

from annotate.choosing.passage import Planned
from annotate.decision import PlanCost, PlannedNote
from annotate.score import Part


def planned_notes(part: Part, plans: Iterable[Planned]) -> tuple[PlannedNote, ...]:
    """Every note that is played anew and has a fingering."""
    found = []
    for one in plans:
        for number, hold in enumerate(one.line.holds):
            taken = one.option(number)
            if taken is None:
                continue
            others = dict.fromkeys(hold.options[k].start for k in one.others[number])
            demand = hold.decision.demand if hold.decision else None
            found.append(
                PlannedNote(
                    place=part.place(hold.first),
                    start=hold.first.start,
                    fingering=taken.start,
                    end=taken.end,
                    other=taken.other,
                    alternatives=tuple(one for one in others if one != taken.start),
                    demand=demand.id if demand else "",
                )
            )
    order = {event.start: number for number, event in enumerate(part.events)}
    return tuple(sorted(found, key=lambda note: order[note.start]))


def plan_cost(part: Part, plans: Iterable[Planned]) -> PlanCost | None:
    """What the plan of a part costs beside choosing each alone; None where nothing is planned."""
    told = [one for one in plans if any(number >= 0 for number in one.numbers)]
    if not told:
        return None
    return PlanCost(part.label, sum(one.cost for one in told), sum(one.alone for one in told))
