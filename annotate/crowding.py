"""Which diagrams would stand too close to each other: the room that notes leave in the narrowest program measured."""

from collections.abc import Iterable
from fractions import Fraction
from itertools import accumulate, pairwise

from annotate.files.writing import ROWS
from annotate.score import Event, Part

# Staff spaces to the next note, at least, on the examples and the dense scores of the tests in Verovio 6.4 as it comes: from an
# eighth 1.7, from a quarter 2.7, from a half note 4.8. Other programs leave more.
_QUARTER, _LEAST, _GROWTH = 2.8, 1.7, 0.75
# A diagram with its margin, in staff spaces there: two or four signs at the size of lyrics, which it sets all words in.
_COLUMN, _ROWS = 4.0, 8.0


def crowded(part: Part, events: Iterable[Event], carrier: str) -> frozenset[int]:
    """Starts of those events whose diagrams find no room beside the next or the last one's."""
    close: set[int] = set()
    by_staff: dict[int, list[Event]] = {}
    for event in events:
        by_staff.setdefault(event.staff, []).append(event)
    for staff, own in by_staff.items():
        at = _along({one.onset for one in (*part.events, *own) if one.staff == staff})
        own.sort(key=lambda event: event.onset)
        for one, two in pairwise(own):
            if at[two.onset] - at[one.onset] < (_ROWS if carrier == ROWS else _COLUMN):
                close |= {one.start, two.start}
    return frozenset(close)


def _along(onsets: Iterable[Fraction]) -> dict[Fraction, float]:
    """How far along the staff each onset stands, at least [staff spaces]."""
    steps = sorted(onsets)
    wide = [max(_LEAST, _QUARTER * float(two - one) ** _GROWTH) for one, two in pairwise(steps)]
    return dict(zip(steps, accumulate(wide, initial=0.0), strict=True))
