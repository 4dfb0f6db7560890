"""All that a flute can sound, computed once: for every distinct sound its resonances as functions of the lip.

A resonance is a branch (acoustics/branches.py): for each lip between its shortest and its longest one frequency, falling as
the lip grows. Kept are its places at some lips (knots) with the derivatives; between two knots it is a cubic (Hermite). Where
that is not good to a few thousandths of a cent, seen at the middle, and where a branch begins or ends between two knots, that
piece has FINE + 1 places of its own. How strongly each sounds is taken linear between every other knot."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray

KNOTS, FINE = 13, 16
STRENGTHS = range(0, KNOTS, 2)
"""Knots at which strength is kept."""

Floats: TypeAlias = npt.NDArray[np.float32]
Float16s: TypeAlias = npt.NDArray[np.float16]


LINE = np.dtype(
    [
        ("cents", np.float32, (KNOTS,)),
        ("shortest", np.float32),
        ("longest", np.float32),
        ("fine_at", np.int32),
        ("bend", np.float16, (KNOTS,)),
        ("rough", np.uint16),
        ("strength", np.float16, (len(STRENGTHS),)),
    ],
    align=True,
)
"""What is kept of a branch, side by side: looking at one touches one place of a large file. cents: place at each knot above
base_hz [cents], that of the branch's end where it does not exist. shortest, longest [m]. fine_at: line of `fine` of its
first rough piece. bend: derivative at each knot [cents from knot to knot], 0 where the branch does not exist. rough: bit j
for piece j. strength: how surely it sounds alone, 0 to 1, at the knots in STRENGTHS."""

_WORDS, _HALVES = LINE.itemsize // 4, LINE.itemsize // 2
_BEND, _STRENGTH = (LINE.fields[name][1] // 2 for name in ("bend", "strength"))  # type: ignore[index]


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Places of n branches over the lip, one line each. base_hz: cents 0. lips: shape (k,), the knots, growing [m]. lines: shape
    (n,), of LINE. fine: shape (n_rough, FINE + 1), places [cents] at lips told by `share_of`."""

    base_hz: float
    lips: RealArray
    lines: npt.NDArray[Any]
    fine: Floats

    @classmethod
    def of(cls, base_hz: float, lips: RealArray, fine: Floats, **columns: npt.NDArray[Any] | float) -> Curves:
        """From what the lines have, each of shape (n, ..) or the same for all."""
        lines = np.empty(len(np.asarray(columns["cents"])), dtype=LINE)
        for name, column in columns.items():
            lines[name] = column
        return cls(base_hz, lips, lines, fine)

    @property
    def shortest(self) -> Floats:
        """Shape (n,) [m]."""
        return np.asarray(self.lines["shortest"])

    @property
    def longest(self) -> Floats:
        """Shape (n,) [m]."""
        return np.asarray(self.lines["longest"])

    @property
    def cents(self) -> Floats:
        """Shape (n, k) [cents]."""
        return np.asarray(self.lines["cents"])

    def at_knot(self, knot: int, line: IndexArray) -> Floats:
        """Places of lines at a knot, same shape [cents]."""
        return np.take(self.lines.view(np.float32), line * _WORDS + knot)

    @property
    def spacing(self) -> float:
        """From knot to knot [m]."""
        return float(self.lips[1] - self.lips[0])

    def take(self, lines: IndexArray) -> Curves:
        """Some lines, in this order; `fine` stays whole."""
        return replace(self, lines=np.take(self.lines, lines))

    def places(self, line: IndexArray, lip_m: RealArray) -> tuple[RealArray, RealArray]:
        """Place [cents above base_hz] and derivative [cents/m] of lines with these lips [m], same shape; of a lip beyond
        the branch's ends, at its end."""
        lip = np.minimum(np.maximum(lip_m, self.shortest[line]), self.longest[line])
        return self.pieces(line, self.piece_at(lip)).at(lip)

    def piece_at(self, lip_m: RealArray) -> IndexArray:
        """Number of the piece of each lip [m], the one from knot j to the next being j; the outer two reach on."""
        piece = ((lip_m - self.lips[0]) / self.spacing).astype(np.intp)
        return np.asarray(np.minimum(np.maximum(piece, 0), len(self.lips) - 2))

    def cubics(self, line: IndexArray, piece: IndexArray) -> tuple[tuple[RealArray, ...], tuple[IndexArray, ...]]:
        """One piece each of some lines, shapes that go together: the coefficients of the place [cents] over the share of the way
        from knot to knot, and which of them are rough."""
        cents, bend = self.lines.view(np.float32), self.lines.view(np.float16)
        first, steep = line * _WORDS + piece, line * _HALVES + (_BEND + piece)
        c0, c1 = cents[first].astype(float), bend[steep].astype(float)
        rise = cents[first + 1] - c0
        c3 = c1 + bend[steep + 1] - 2.0 * rise
        rough = (self.lines["rough"][line] >> piece.astype(np.uint16)) & 1
        return (c0, c1, rise - c1 - c3, c3), np.nonzero(rough)

    def pieces(self, line: IndexArray, piece: IndexArray) -> Pieces:
        """The same, to be asked for places."""
        cubic, rough = self.cubics(line, piece)
        fine = self._fine(line[rough], np.broadcast_to(piece, line.shape)[rough]) if len(rough[0]) else None
        return Pieces(self.lips[piece], self.spacing, cubic, rough, fine)

    def exists(self, line: IndexArray, lip_m: RealArray) -> BoolArray:
        """Whether they are resonances with these lips [m]."""
        return np.asarray((self.shortest[line] <= lip_m) & (lip_m <= self.longest[line]))

    def strengths(self, line: IndexArray, lip_m: RealArray) -> RealArray:
        """How surely each sounds alone, 0 to 1, with these lips [m]."""
        at = np.clip((lip_m - self.lips[0]) / (STRENGTHS.step * self.spacing), 0.0, len(STRENGTHS) - 1.0)
        left = np.minimum(at.astype(np.intp), len(STRENGTHS) - 2)
        first, strength = line * _HALVES + (_STRENGTH + left), self.lines.view(np.float16)
        one, two = strength[first].astype(float), strength[first + 1].astype(float)
        return np.asarray(one + (at - left) * (two - one))

    def hz(self, cents: RealArray) -> RealArray:
        """Frequency [Hz] of places."""
        return np.asarray(self.base_hz * 2.0 ** (cents / 1200.0))

    def cents_of(self, hz: RealArray) -> RealArray:
        """Place of frequencies."""
        return np.asarray(1200.0 * np.log2(hz / self.base_hz))

    def _fine(self, line: IndexArray, piece: IndexArray) -> _Fine:
        below = self.lines["rough"][line] & ((np.uint16(1) << piece.astype(np.uint16)) - np.uint16(1))
        first = (self.lines["fine_at"][line] + _ONES[below]) * (FINE + 1)
        ends = self.shortest[line].astype(float), self.longest[line].astype(float)
        return _Fine(self.fine.reshape(-1), first, *piece_of(self.lips, *ends, piece))


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """What some branches do between two knots, any one shape. begin [m]: the first of them; cubic: coefficients of the place
    [cents] over the share of the way to the second; rough, fine: where in the shape, and what, those have that are told by places
    of their own."""

    begin: RealArray
    spacing: float
    cubic: tuple[RealArray, ...]
    rough: tuple[IndexArray, ...]
    fine: _Fine | None

    def at(self, lip_m: RealArray) -> tuple[RealArray, RealArray]:
        """Place [cents] and derivative [cents/m] with these lips [m], of a shape that goes with theirs."""
        c0, c1, c2, c3 = self.cubic
        t = (lip_m - self.begin) / self.spacing
        place = c0 + t * (c1 + t * (c2 + t * c3))
        slope = (c1 + t * (2.0 * c2 + 3.0 * t * c3)) / self.spacing
        if self.fine:
            place[self.rough], slope[self.rough] = self.fine.at(np.broadcast_to(lip_m, place.shape)[self.rough])
        return place, slope


@dataclass(frozen=True, slots=True, eq=False)
class _Fine:
    """Rough pieces, shape (n,). first: of their places in `flat`; the others as `piece_of` gives them."""

    flat: Floats
    first: IndexArray
    low: RealArray
    high: RealArray
    begins: BoolArray
    ends: BoolArray

    def at(self, lip_m: RealArray) -> tuple[RealArray, RealArray]:
        """As Pieces.at."""
        wide = self.high - self.low
        share, rate = share_of((lip_m - self.low) / wide, self.begins, self.ends)
        at = share * FINE
        left = np.minimum(np.maximum(at.astype(np.intp) - 1, 0), FINE - 3)
        t = at - left
        y0, y1, y2, y3 = self.flat[self.first + left + np.arange(4)[:, None]].astype(float)
        # Newton's form of the cubic through 0, 1, 2, 3.
        a1, second = y1 - y0, y2 - y1
        a2 = 0.5 * (second - a1)
        a3 = (y3 - y2 - 2.0 * second + a1) / 6.0
        cents = y0 + t * (a1 + (t - 1.0) * (a2 + (t - 2.0) * a3))
        slope = a1 + (2.0 * t - 1.0) * a2 + (t * (3.0 * t - 6.0) + 2.0) * a3
        return cents, slope * (FINE * rate / wide)


@dataclass(frozen=True, slots=True, eq=False)
class Shelf:
    """In what order the branches stand in the lines of the arrays: in groups that fall about as far over all lips, in each
    growing as their places at the middle knot do. So those near a pitch stand side by side.

    line: shape (n,), of each branch; branch, sound: shape (n,), of each line; middle: shape (n,), place of each line at the
    middle knot [cents]; groups: shape (g + 1,), first line of each; least, most: shape (g, k), place at each knot above that
    at the middle one [cents]."""

    line: IndexArray
    branch: IndexArray
    sound: IndexArray
    middle: Floats
    groups: IndexArray
    least: RealArray
    most: RealArray

    @classmethod
    def of(cls, blocks: Sequence[Curves], sound: IndexArray) -> Shelf:
        """The order for branches that stand in blocks one after the other, and the sounds they are of, shape (n,)."""

        def at_knot(knot: int) -> Floats:
            return np.concatenate([block.cents[:, knot] for block in blocks])

        knots = len(blocks[0].lips)
        middle = at_knot(knots // 2)
        group = np.searchsorted(_FALLS, at_knot(0) - at_knot(knots - 1))
        branch: IndexArray = np.lexsort((middle, group)).astype(np.int32)
        line: IndexArray = np.empty(len(branch), dtype=np.int32)
        line[branch] = np.arange(len(branch), dtype=np.int32)
        groups = np.searchsorted(group[branch], np.arange(len(_FALLS) + 2))
        middle = middle[branch]
        least, most = (np.zeros((len(groups) - 1, knots)) for _ in range(2))
        for knot in range(knots):
            apart = at_knot(knot)[branch] - middle
            for number, (first, past) in enumerate(pairwise(groups.tolist())):
                if past > first:
                    own = apart[first:past]
                    least[number, knot], most[number, knot] = own.min(), own.max()
        return cls(line, branch, sound[branch], middle, groups, least, most)

    def near(self, low_cents: float, high_cents: float, first: int, last: int) -> list[slice]:
        """Stretches of lines in which all stand whose place at the knot `last` is at most high_cents and at the knot `first` at
        least low_cents."""
        bounds = np.stack([low_cents - self.most[:, first], high_cents - self.least[:, last]], axis=1).astype(
            np.float32
        )
        found = []
        for (begin, past), bound in zip(pairwise(self.groups.tolist()), bounds, strict=True):
            if past > begin:
                low, high = self.middle[begin:past].searchsorted(bound, side="right").tolist()
                found += [slice(begin + low, begin + high)] if high > low else []
        return found


_FALLS = (40.0, 80.0, 160.0, 320.0, 640.0)  # [cents] over all lips, between the groups


@dataclass(frozen=True, slots=True, eq=False)
class Atlas:
    """Branches are numbered by sound, then frequency; n of them, of n_sounds sounds.

    starts: shape (n_sounds + 1,), first branch of each sound; sound: shape (n,), of each branch. curves: by lines of the shelf.
    law_cents, law_strength: shape (n,), with the lip that the law gives there; NaN where there is none. own_band: shape (n,),
    error of dimensions and lip [cents] there, or at the end that is nearest (bands.py)."""

    starts: IndexArray
    sound: IndexArray
    shelf: Shelf
    curves: Curves
    law_cents: Floats
    law_strength: Float16s
    own_band: Float16s

    @classmethod
    def of(
        cls, starts: IndexArray, blocks: list[Curves], law_cents: Floats, law_strength: Float16s, own_band: Float16s
    ) -> Atlas:
        """From curves in the order of the branches, each block with its own `fine`, which are used up: what is in its place is
        let go, so that little is held twice."""
        sound: IndexArray = np.repeat(np.arange(len(starts) - 1, dtype=np.int32), np.diff(starts))
        shelf = Shelf.of(blocks, sound)
        lines, first, (base_hz, lips) = np.empty(len(sound), dtype=LINE), 0, (blocks[0].base_hz, blocks[0].lips)
        own, fine = [], []
        for block in _used_up(blocks):
            own.append(shelf.line[first : first + len(block.lines)])
            fine.append(block.fine)
            lines[own[-1]] = block.lines
            first += len(block.lines)
        count = _ONES[lines["rough"]]
        lines["fine_at"] = fine_at = np.cumsum(count) - count
        shelved = np.empty((int(count.sum()), FINE + 1), dtype=np.float32)
        for line, places in zip(own, _used_up(fine), strict=True):
            shelved[ragged(fine_at[line], fine_at[line] + count[line])[1]] = places
        return cls(starts, sound, shelf, Curves(base_hz, lips, lines, shelved), law_cents, law_strength, own_band)

    @property
    def lips(self) -> RealArray:
        """The knots, growing [m]."""
        return self.curves.lips

    def places(self, branch: IndexArray, lip_m: RealArray) -> tuple[RealArray, RealArray]:
        """As Curves.places, of branches."""
        return self.curves.places(self.shelf.line[branch], lip_m)

    def exists(self, branch: IndexArray, lip_m: RealArray) -> BoolArray:
        """As Curves.exists, of branches."""
        return self.curves.exists(self.shelf.line[branch], lip_m)

    def strengths(self, branch: IndexArray, lip_m: RealArray) -> RealArray:
        """As Curves.strengths, of branches."""
        return self.curves.strengths(self.shelf.line[branch], lip_m)

    def hz(self, cents: RealArray) -> RealArray:
        """Frequency [Hz] of places."""
        return self.curves.hz(cents)

    def by_law(self, sound: int) -> IndexArray:
        """Branches of one sound that have resonances with the lip of the law, in order."""
        own = np.arange(self.starts[sound], self.starts[sound + 1])
        return own[np.isfinite(self.law_cents[own])]

    def part(self, sound: int) -> Atlas:
        """The atlas of one sound, as its sound 0."""
        own = np.arange(self.starts[sound], self.starts[sound + 1])
        starts: IndexArray = np.array([0, len(own)], dtype=np.int32)
        curves = self.curves.take(self.shelf.line[own])
        first = curves.lines["fine_at"].astype(np.intp)
        fine = self.curves.fine[ragged(first, first + _ONES[curves.lines["rough"]])[1]]
        return Atlas.of(
            starts, [replace(curves, fine=fine)], self.law_cents[own], self.law_strength[own], self.own_band[own]
        )

    def all_of(self, sounds: IndexArray) -> tuple[IndexArray, IndexArray]:
        """(number in sounds, branch) of every branch of some sounds, in order."""
        return ragged(self.starts[sounds], self.starts[sounds + 1])


_Part = TypeVar("_Part")


def _used_up(parts: list[_Part]) -> Iterator[_Part]:
    """Each in turn, and not held any longer."""
    parts.reverse()
    while parts:
        yield parts.pop()


def ragged(first: IndexArray, past: IndexArray) -> tuple[IndexArray, IndexArray]:
    """(number, value) for every value from first to past of each number."""
    count = past - first
    number = np.repeat(np.arange(len(first)), count)
    return number, np.arange(len(number)) - np.repeat(np.cumsum(count) - count - first, count)


_ONES = np.array([bits.bit_count() for bits in range(1 << (KNOTS - 1))], dtype=np.intp)
"""How many bits are set."""


def piece_of(
    lips: RealArray, shortest: RealArray, longest: RealArray, piece: IndexArray
) -> tuple[RealArray, RealArray, BoolArray, BoolArray]:
    """Lips [m] between which pieces of branches reach, and whether the branch ends at the lower and at the upper of them."""
    low, high = np.maximum(lips[piece], shortest), np.minimum(lips[piece + 1], longest)
    return low, high, shortest > lips[piece], longest < lips[piece + 1]


def share_of(part: RealArray, begins: BoolArray, ends: BoolArray) -> tuple[RealArray, RealArray]:
    """The share 0..1 of a piece's places that lies before this part 0..1 of its lips, and its derivative: near an end the place
    goes as a root of the lip."""
    part = np.minimum(np.maximum(part, 1e-12), 1.0 - 1e-12)
    last, both = ends & ~begins, begins & ends
    root = np.sqrt(np.where(last, 1.0 - part, part))
    plain = ~(begins | ends)
    share = np.where(plain, part, np.where(last, 1.0 - root, root))
    rate = np.where(plain, 1.0, 0.5 / root)
    if both.any():
        part = part[both]
        share[both] = np.arccos(1.0 - 2.0 * part) / np.pi
        rate[both] = 1.0 / (np.pi * np.sqrt(part * (1.0 - part)))
    return share, rate


def part_of(share: RealArray, begins: BoolArray, ends: BoolArray) -> RealArray:
    """The inverse of `share_of`."""
    both = 0.5 * (1.0 - np.cos(np.pi * share))
    return np.where(begins, np.where(ends, both, share**2), np.where(ends, 1.0 - (1.0 - share) ** 2, share))
