"""Answers that differ only by a key that hardly sounds: one of each is told, with the little finger where the chart has it."""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.mechanism import chart_of
from fingering_db.model import Model
from fingering_db.touches import FINGERS

IDLE_CENTS = 5.0
"""A key that moves no pitch asked for by more is idle: ours."""

_LIKE_CONFIDENCE = 0.05  # ours
_R4 = FINGERS.index("R4")
_HELD_BY_THE_CHART = "Eb"


def told_apart(
    model: Model, rows: IndexArray, cents: RealArray, confidence: RealArray, order: IndexArray, limit: int
) -> IndexArray:
    """The first `limit` of `order`, without those that differ from an earlier one by idle keys only: at most one other
    finger than the right little one, and no pitch by more than IDLE_CENTS.

    rows: shape (n,), of `reach.states`; cents: shape (n, k); confidence: shape (n,); order: numbers of these, best first.
    Of answers that differ by the right little finger alone the one on E flat is taken, as the chart has it, unless the
    chart itself lifts it for this very fingering."""
    kept = np.empty(0, dtype=np.intp)
    packed = _packed(model)
    touches = [option.touch for option in model.reach.choices[_R4]]
    for start in range(0, len(order), _BLOCK):
        # Those kept so far, and the next ones, each of which is compared with all of them.
        pool = np.concatenate([kept, order[start : start + _BLOCK]])
        easiest = model.easiest[rows[pool]]
        alike = _idle(packed[easiest], cents[pool], len(kept))
        little = [touches[number] for number in model.reach.placements[easiest, _R4].tolist()]
        own = list(range(len(kept)))
        taken = (1 << len(kept)) - 1  # as bits, as what is lifted of these
        lifted = sum(1 << number for number in own if little[number] == "")
        for place, like in enumerate(alike, len(kept)):
            if like & taken:
                if not like & lifted or little[place] != _HELD_BY_THE_CHART:
                    continue
                first = next(number for number, at in enumerate(own) if like >> at & 1)
                like_sure = confidence[pool[place]] >= confidence[pool[own[first]]] - _LIKE_CONFIDENCE
                if little[own[first]] == "" and like_sure and _steadier(model, *easiest[[own[first], place]]):
                    taken ^= 1 << own[first] | 1 << place
                    lifted &= taken
                    own[first] = place
            elif len(own) == limit:
                return np.asarray(pool[own])
            else:
                taken |= 1 << place
                lifted |= (little[place] == "") << place
                own.append(place)
        kept = pool[own]
    return kept


_BLOCK = 64


@lru_cache(maxsize=8)
def _packed(model: Model) -> npt.NDArray[np.uint64]:
    """Each placement of all fingers but the right little one as a number with a byte for each."""
    hands = np.delete(model.reach.placements, _R4, axis=1)
    return np.ascontiguousarray(hands).view(np.uint64)[:, 0]


_LOWEST_BITS = np.uint64(0x0101010101010101)


def _idle(hands: npt.NDArray[np.uint64], cents: RealArray, first: int) -> list[int]:
    """For each from number `first` on, which of all differ by idle keys only, as bits."""
    apart = hands[first:, None] ^ hands
    for shift in (4, 2, 1):
        apart |= apart >> np.uint64(shift)
    apart &= _LOWEST_BITS  # one bit for each finger that differs
    near = (apart & (apart - np.uint64(1))) == 0
    for own in cents.T:
        near &= np.abs(own[first:, None] - own) <= IDLE_CENTS
    bits = np.packbits(near, axis=1, bitorder="little")
    every, width = bits.tobytes(), bits.shape[1]
    return [int.from_bytes(every[start : start + width], "little") for start in range(0, len(every), width)]


def _steadier(model: Model, kept: int, other: int) -> bool:
    """Whether two fingerings, the first with the right little finger up, differ by that finger alone, and the chart does not
    have the first."""
    hands = model.reach.placements[[kept, other]]
    return int((hands[0] != hands[1]).sum()) == 1 and tuple(hands[0].tolist()) not in _of_the_chart(model)


@lru_cache(maxsize=8)
def _of_the_chart(model: Model) -> frozenset[tuple[int, ...]]:
    """Placements of the standard fingerings."""
    rows = (
        tuple(
            [option.touch for option in options].index(touch)
            for options, touch in zip(model.reach.choices, note.fingering.touches, strict=True)
        )
        for note in chart_of(model.instrument)
    )
    return frozenset(rows)
