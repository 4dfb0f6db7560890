"""The cheapest choices for a row of places of which some are joined by costs: exact, by dynamic programming.

Places are taken in order. Open are those that are still joined to a later one; the table holds, for every choice at the open
places, the least costs of everything before (bucket elimination: Dechter 1999, from memory). A plain passage has one open
place, a repeat adds one, a second ending another, so the work grows with the length and not with the number of ways.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray


@dataclass(frozen=True, slots=True)
class Selection:
    """One choice for every place, and what it costs."""

    cost: float
    numbers: tuple[int, ...]


@dataclass(slots=True)
class _Done:
    """A place whose choice is settled: for every choice at the places then open (axes) and each of the best so far (last axis),
    the number of its own choice times `kept`, plus which of the best before."""

    place: int
    open: tuple[int, ...]
    came: IndexArray
    kept: int


def cheapest(
    own: Sequence[RealArray], joined: Mapping[tuple[int, int], RealArray], most: int = 1
) -> tuple[Selection, ...]:
    """The `most` cheapest ways, cheapest first; of equals the one with the earlier choices. own: by place, shape (n_choices,),
    each not empty. joined: by two places in any order, shape (choices of the first, of the second)."""
    edges, last = _by_later(own, joined)
    table: RealArray = np.zeros(1)
    open_: tuple[int, ...] = ()
    done: list[_Done] = []
    for place, costs in enumerate(own):
        table = table[..., None, :] + np.asarray(costs)[:, None]
        open_ = (*open_, place)
        for other, cost in edges.get(place, ()):
            if other in open_:
                table = table + _spread(cost, open_.index(other), len(open_))
        for settled in [one for one in open_ if last[one] <= place]:
            axis = open_.index(settled)
            open_ = (*open_[:axis], *open_[axis + 1 :])
            table, came, kept = _settle(table, axis, most)
            done.append(_Done(settled, open_, came, kept))
    return tuple(_way(float(cost), number, done, len(own)) for number, cost in enumerate(table))


def _by_later(
    own: Sequence[RealArray], joined: Mapping[tuple[int, int], RealArray]
) -> tuple[dict[int, list[tuple[int, RealArray]]], list[int]]:
    """Joins by their later place, the earlier place's choices along the first axis; and the last place each is joined to."""
    edges: dict[int, list[tuple[int, RealArray]]] = defaultdict(list)
    last = list(range(len(own)))
    for (one, two), cost in joined.items():
        early, late = min(one, two), max(one, two)
        edges[late].append((early, cost if one < two else cost.T))
        last[early] = max(last[early], late)
    return edges, last


def _spread(cost: RealArray, axis: int, axes: int) -> RealArray:
    """A join's costs along the axis of its earlier place and the last one before that of the best."""
    shape = [1] * axes + [1]
    shape[axis], shape[axes - 1] = cost.shape
    return cost.reshape(shape)


def _settle(table: RealArray, axis: int, most: int) -> tuple[RealArray, IndexArray, int]:
    """The table without an axis: for each choice elsewhere the best over it."""
    order = (*(n for n in range(table.ndim - 1) if n != axis), axis, table.ndim - 1)
    moved = table.transpose(order)
    kept = moved.shape[-1]
    flat = moved.reshape(*moved.shape[:-2], -1)
    came = np.argsort(flat, axis=-1, kind="stable")[..., :most]
    # In most music one place is open at a time; indexing is several times faster there.
    return flat[came] if flat.ndim == 1 else np.take_along_axis(flat, came, axis=-1), came, kept


def _way(cost: float, number: int, done: list[_Done], places: int) -> Selection:
    numbers = [0] * places
    for one in reversed(done):
        at = int(one.came[(*(numbers[other] for other in one.open), number)])
        numbers[one.place], number = divmod(at, one.kept)
    return Selection(cost, tuple(numbers))
