"""Which events of today's score a decisions file means: places survive bars that are inserted and cut."""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from annotate.decisions.address import Address, Content, at, places
from annotate.score import Event, Part

# Worth of an event as the place that is meant: it is the how many-eth of as many as ever; the bars have moved as at the
# nearest place that is sure; the same beat; the same bar number; the same number though there are more or fewer now. Ours.
_COUNT, _SHIFT, _BEAT, _BAR, _NUMBER = 8, 5, 3, 2, 1
_SAME_BEAT = 0.01


@dataclass(frozen=True, slots=True)
class Meant:
    """An event that a decision is about. moved: it stands at another bar or beat than the file says; sure: no other place is
    as likely to be meant."""

    event: Event
    moved: bool
    sure: bool


def meant(part: Part, addresses: Iterable[Address]) -> dict[Address, Meant]:
    """The events that addresses of one part mean, without those of which nothing stands in the part any more."""
    standing: dict[Content, list[Event]] = defaultdict(list)
    for event in places(part):
        standing[at(event)].append(event)
    asked = [one for one in addresses if one.content in standing]
    sure = {one: event for one in asked for event in _surely(one, standing[one.content])}
    shifts = sorted((bar, now - bar) for one, event in sure.items() for bar, now in _bars(one, event))
    chosen = {one: _chosen(one, standing[one.content], shifts, sure.get(one)) for one in asked}
    found: dict[Address, Meant] = {}
    taken: set[int] = set()
    # Who names a place as it stands has it, and who is sure comes before who is not; the others look at what is left.
    # In whatever order a file has its lines.
    for one in sorted(asked, key=lambda one: (chosen[one].moved, not chosen[one].sure, one.number, str(one))):
        if chosen[one].moved and chosen[one].event.start in taken:
            if taken.issuperset(event.start for event in standing[one.content]):
                continue
            chosen[one] = replace(_chosen(one, standing[one.content], shifts, None, taken), sure=False)
        taken.add(chosen[one].event.start)
        found[one] = chosen[one]
    return found


def _chosen(
    one: Address,
    events: list[Event],
    shifts: list[tuple[int, int]],
    sure: Event | None,
    taken: Collection[int] = (),
) -> Meant:
    """The event among those where the same stands, but for those taken (by where they begin in the file)."""
    worth = [
        -1 if event.start in taken else _worth(one, event, number, len(events), shifts)
        for number, event in enumerate(events, start=1)
    ]
    best = max(worth)
    event = sure or events[worth.index(best)]
    return Meant(event, not _stands_at(one, event), sure is not None or worth.count(best) == 1)


def _surely(one: Address, events: list[Event]) -> list[Event]:
    """The event where there is no doubt: the only one there is and was, or the same count of as many as ever."""
    if len(events) == 1 and one.total <= 1:
        return events
    return [events[one.number - 1]] if len(events) == one.total else []


def _stands_at(one: Address, event: Event) -> bool:
    return event.bar == one.bar and abs(float(event.beat) - one.beat) < _SAME_BEAT


def _worth(one: Address, event: Event, number: int, total: int, shifts: list[tuple[int, int]]) -> int:
    same_number = number == one.number
    moved = [_shift_near(bar, shifts) == now - bar for bar, now in _bars(one, event)]
    return (
        _COUNT * (same_number and total == one.total)
        + _SHIFT * any(moved)
        + _BEAT * (abs(float(event.beat) - one.beat) < _SAME_BEAT)
        + _BAR * (event.bar == one.bar)
        + _NUMBER * same_number
    )


def _shift_near(bar: int, shifts: list[tuple[int, int]]) -> int | None:
    """By how many bars the nearest place that is sure has moved; None where none is."""
    return min(shifts, key=lambda one: abs(one[0] - bar))[1] if shifts else None


def _bars(one: Address, event: Event) -> list[tuple[int, int]]:
    """Bar numbers then and now, where both are numbers."""
    found = [re.match(r"\d{1,9}", text) for text in (one.bar, event.bar)]
    numbers = [int(each[0]) for each in found if each]
    return [(numbers[0], numbers[1])] if len(numbers) == 2 else []
