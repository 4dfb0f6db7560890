"""Fingerings chosen together: of those that answer a demand equally well, the ones that the hand gets to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from annotate.choosing.hands import DeskAt, Hold, Option, Step, lines
from annotate.decision import Decision
from annotate.score import Part
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.motion import effort, moves
from fingering_db.ranking import EFFORT_WEIGHT

_LEISURE_SECONDS = 0.5  # with as much time a finger that moves costs half of what a pressed key does: ours
_MOST_HURRY, _LEAST_HURRY = 4.0, 0.1


@dataclass(frozen=True, slots=True)
class Pick:
    """A fingering for a demand, and the sentence that says why it and not the best by itself."""

    fingering: Fingering
    why: Message


def planned(part: Part, decisions: Iterable[Decision], desk_at: DeskAt) -> dict[str, Pick]:
    """A pick for each demand (by id) for which another fingering than that decided on makes the passage easier.

    Exact for each unbroken line of holds: the best sum of what fingerings are worth less what the ways cost."""
    found: dict[str, Pick] = {}
    for line in lines(part, decisions, desk_at):
        holds = _holds(line)
        numbers = best_way(line)
        for at, (hold, number) in enumerate(zip(holds, numbers, strict=True)):
            if hold.decision is not None and number:
                around = [holds[k].options[numbers[k]] for k in (at - 1, at + 1) if 0 <= k < len(holds)]
                found[hold.decision.demand.id] = _pick(hold, number, around)
    return found


def _holds(line: tuple[Step, ...]) -> list[Hold]:
    return [line[0].before, *(step.after for step in line)]


def _pick(hold: Hold, number: int, around: list[Option]) -> Pick:
    here, there = (
        sum(len(moves(other.end, option.start)) for other in around)
        for option in (hold.options[number], hold.options[0])
    )
    why = Message(
        "choice.for_the_hand",
        fingers=Message("choice.fingers_move", n=here),
        other=there,
        fingering=str(hold.options[0].start),
    )
    return Pick(hold.options[number].start, why)


def best_way(line: tuple[Step, ...]) -> tuple[int, ...]:
    """Number of the option to take at each hold of a line; the first where two ways are as good."""
    worth = [[option.score for option in hold.options] for hold in _holds(line)]
    best, came = [worth[0]], []
    for number, step in enumerate(line, start=1):
        row, back = [], []
        for at, after in enumerate(step.after.options):
            ways = [best[-1][k] - cost(step, one, after) for k, one in enumerate(step.before.options)]
            k = max(range(len(ways)), key=lambda n: (ways[n], -n))
            row.append(ways[k] + worth[number][at])
            back.append(k)
        best.append(row)
        came.append(back)
    last = max(range(len(best[-1])), key=lambda n: (best[-1][n], -n))
    chosen = [last]
    for back in reversed(came):
        chosen.append(back[chosen[-1]])
    return tuple(reversed(chosen))


def cost(step: Step, before: Option, after: Option) -> float:
    """What a way costs, in units of confidence; dearer the less time there is."""
    hurry = min(max(_LEISURE_SECONDS / max(step.seconds, 1e-3), _LEAST_HURRY), _MOST_HURRY)
    return 0.5 * EFFORT_WEIGHT * hurry * effort(step.desk.model, before.end, after.start)


def steps(part: Part, decisions: Iterable[Decision], desk_at: DeskAt) -> tuple[Step, ...]:
    """Every step to or from a demand, in order of time, between the fingerings decided on."""
    found = [step for line in lines(part, decisions, desk_at) for step in line]
    return tuple(sorted(found, key=lambda step: step.after.first.onset))
