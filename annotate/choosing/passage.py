"""Fingerings chosen together: of those that can sound each note of a line, the ones that cost the hand least in all."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from annotate.choosing.hands import DeskAt, Line, RulingAt, Step, lines
from annotate.choosing.holds import Hold, Option
from annotate.choosing.joint import is_unusual, seconds_to_draw
from annotate.choosing.network import cheapest
from annotate.decision import Decision, PlanCost, PlannedNote
from annotate.decisions.kept import NO_RULING
from annotate.score import Part
from annotate.weights import WEIGHTS, Weights
from fingering_db.acoustics.arrays import RealArray
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.motion import effort, moves

_WAYS = 4  # the best for a passage and the next best, from which its alternatives are told


@dataclass(frozen=True, slots=True)
class Planned:
    """A line with the option taken at each hold (-1 where there is none). others: at each hold the options that the next best
    ways through its passage take, by their cost. cost: of all options and ways [pressed keys]; alone: the same where every hold
    has the option that is cheapest by itself."""

    line: Line
    numbers: tuple[int, ...]
    others: tuple[tuple[int, ...], ...]
    cost: float
    alone: float

    def option(self, number: int) -> Option | None:
        """What is taken at a hold."""
        taken = self.numbers[number]
        return self.line.holds[number].options[taken] if taken >= 0 else None

    def steps(self) -> Iterator[Step]:
        """The ways between what is taken."""
        for join in self.line.joins:
            before, after = self.line.holds[join.before], self.line.holds[join.after]
            one, two = self.option(join.before), self.option(join.after)
            if one and two and before.desk:
                yield Step(before.desk, before, after, one, two, join.seconds, join.rest)


@dataclass(frozen=True, slots=True)
class Pick:
    """A fingering for a demand, and the sentence that says why it and not the best by itself. begins_mm: where the head joint is
    when a glissando begins, None for wherever is best."""

    fingering: Fingering
    why: Message
    begins_mm: float | None = None


def planned(
    part: Part,
    decisions: Iterable[Decision],
    desk_at: DeskAt,
    ruling_at: RulingAt = lambda _: NO_RULING,
    weights: Weights = WEIGHTS,
) -> tuple[Planned, ...]:
    """The whole part on one flute, voice by voice; exact over all notes that are joined."""
    return tuple(plan(line, weights) for line in lines(part, decisions, desk_at, ruling_at, weights))


def plan(line: Line, weights: Weights = WEIGHTS) -> Planned:
    """The cheapest options for a line, and what the next best ways through each passage take."""
    own = [np.array([option.cost for option in hold.options]) for hold in line.holds]
    joined = _joined(line, weights)
    numbers, others = [-1] * len(own), [set[int]() for _ in own]
    by_itself = [int(costs.argmin()) if len(costs) else -1 for costs in own]
    total = 0.0
    for first, past in _passages(line):
        # What cannot be held may stand between two notes that a repeat joins.
        places = [place for place in range(first, past) if len(own[place])]
        at = {place: number for number, place in enumerate(places)}
        inside = {(at[a], at[b]): cost for (a, b), cost in joined.items() if first <= a < past}
        best, *rest = cheapest([own[place] for place in places], inside, _WAYS)
        for place, number in zip(places, best.numbers, strict=True):
            numbers[place] = number
        total += best.cost
        if len(places) == 1 and _is_settled(line.holds[places[0]]):
            (place,) = places
            numbers[place] = by_itself[place] = 0
            total += float(own[place][0]) - best.cost
        for way in (best, *rest):
            for place, number in zip(places, way.numbers, strict=True):
                others[place] |= {number} - {numbers[place]}
    return Planned(
        line,
        tuple(numbers),
        tuple(tuple(sorted(each)) for each in others),
        total,
        _cost(own, joined, by_itself),
    )


def _is_settled(hold: Hold) -> bool:
    """Whether what was decided by itself stands where no hand comes to it or goes on from it: but for where the head joint is."""
    return hold.decision is not None and all(one.begins_mm == one.ends_mm for one in hold.options)


def _cost(own: list[RealArray], joined: dict[tuple[int, int], RealArray], numbers: list[int]) -> float:
    held = sum(float(costs[number]) for costs, number in zip(own, numbers, strict=True) if number >= 0)
    return held + sum(float(cost[numbers[a], numbers[b]]) for (a, b), cost in joined.items())


def _passages(line: Line) -> list[tuple[int, int]]:
    """Holds from and to, where nothing joins one to the next; those without options belong to none."""
    reach = list(range(len(line.holds)))
    for join in line.joins:
        early, late = sorted((join.before, join.after))
        reach[early] = max(reach[early], late)
    found = []
    first = past = 0
    for number, hold in enumerate(line.holds):
        if number >= past:
            if number > first and line.holds[first].options:
                found.append((first, number))
            first, past = number, number + 1
        if not hold.options:
            continue
        past = max(past, reach[number] + 1)
    if len(line.holds) > first and line.holds[first].options:
        found.append((first, len(line.holds)))
    return found


def _joined(line: Line, weights: Weights) -> dict[tuple[int, int], RealArray]:
    """What each way costs for every option before and after; repeated pairs of notes are worked out once."""
    efforts: dict[tuple[int, int], RealArray] = {}
    found = {}
    for join in line.joins:
        before, after = line.holds[join.before], line.holds[join.after]
        key = id(before.options), id(after.options)
        if key not in efforts:
            assert before.desk is not None
            efforts[key] = _efforts(before.desk.model, before.options, after.options)
        cost = weights.moving * weights.hurry(join.seconds) * efforts[key]
        if join.before == join.after:
            continue
        if any(one.ends_mm or one.begins_mm for hold in (before, after) for one in hold.options):
            cost = cost + _drawing(before.options, after.options, join.rest, weights)
        found[join.before, join.after] = cost
    return found


def _drawing(before: tuple[Option, ...], after: tuple[Option, ...], rest: float, weights: Weights) -> RealArray:
    """What it costs to bring the head joint from where one option leaves it to where another begins."""
    away = np.array([[abs(one.ends_mm - two.begins_mm) for two in after] for one in before])
    needed = np.vectorize(seconds_to_draw)(away)
    return np.asarray(weights.drawing_per_mm * away + weights.no_time * (needed > rest))


def _efforts(model: Model, before: tuple[Option, ...], after: tuple[Option, ...]) -> RealArray:
    return np.array([[_effort(model, one.end, two.start) for two in after] for one in before])


@lru_cache(maxsize=1 << 15)
def _effort(model: Model, before: Fingering, after: Fingering) -> float:
    return effort(model, before, after)


def picks(plans: Iterable[Planned]) -> dict[str, Pick]:
    """A pick for each demand (by id) for which another fingering than that decided on makes the passage easier."""
    found: dict[str, Pick] = {}
    for one in plans:
        around: dict[int, list[Fingering]] = {}
        for join in one.line.joins:
            before, after = one.option(join.before), one.option(join.after)
            if before and after:
                around.setdefault(join.before, []).append(after.start)
                around.setdefault(join.after, []).append(before.end)
        for number, hold in enumerate(one.line.holds):
            if hold.decision is not None and one.numbers[number] > 0:
                found[hold.decision.demand.id] = _pick(hold, one.numbers[number], around.get(number, []))
    return found


def _pick(hold: Hold, number: int, around: list[Fingering]) -> Pick:
    taken = hold.options[number]
    if taken.begins_mm != taken.ends_mm:
        left = Message("choice.for_the_joint", mm=taken.begins_mm) if taken.begins_mm else Message("choice.from_rest")
        return Pick(taken.start, left, taken.begins_mm)
    here, there = (sum(len(moves(other, option.start)) for other in around) for option in (taken, hold.options[0]))
    best = str(hold.options[0].start)
    if here >= there:
        return Pick(taken.start, Message("choice.for_the_passage", fingering=best))
    fingers = Message("choice.fingers_move", n=here)
    return Pick(taken.start, Message("choice.for_the_hand", fingers=fingers, other=there, fingering=best))


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
                    unusual=is_unusual(hold, taken),
                )
            )
    order = {event.start: number for number, event in enumerate(part.events)}
    return tuple(sorted(found, key=lambda note: order[note.start]))


def plan_cost(part: Part, plans: Iterable[Planned]) -> PlanCost | None:
    """What the plan of a part costs beside choosing each alone; None where nothing is planned."""
    told = [one for one in plans if any(number >= 0 for number in one.numbers)]
    if not told:
        return None
    return PlanCost(part.whole, sum(one.cost for one in told), sum(one.alone for one in told))
