"""All that a flute can sound, computed once: for every distinct sound its resonances as functions of the lip.

A resonance is a branch (acoustics/branches.py): for each lip between its shortest and its longest one frequency, falling as
the lip grows. Kept are its places at some lips (knots) with the derivatives; between two knots it is a cubic (Hermite). Where
that is not good to a few thousandths of a cent, seen at the middle, and where a branch begins or ends between two knots, that
piece has FINE + 1 places of its own. How strongly each sounds is taken linear between every other knot."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray

KNOTS, FINE = 13, 16
STRENGTHS = range(0, KNOTS, 2)
"""Knots at which strength is kept."""

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Atlas:
    """Branches ordered by sound, then frequency; n of them, of n_sounds sounds.

    base_hz, step: cents 0 and what a grid step is [cents]. lips: shape (k,), the knots, growing [m]. starts: shape
    (n_sounds + 1,), first branch of each sound. cents: shape (k, n), place at each knot above base_hz [cents], that of the
    branch's end where it does not exist. bend: shape (k, n), its derivative [cents/m], 0 there. shortest, longest: shape (n,)
    [m]. rough: shape (n,), bit j for piece j; fine_at: shape (n,), line of `fine` of its first rough piece; fine: shape
    (n_rough, FINE + 1), places [cents] at lips told by `share_of`. strength: shape
    (len(STRENGTHS), n). law_cents, law_strength: shape (n,), with the lip that the law gives there; NaN where there is none.
    own_band: shape (n,), error of dimensions and lip [cents] there, or at the end that is nearest (bands.py)."""

    base_hz: float
    lips: RealArray
    starts: IndexArray
    cents: Floats
    bend: Floats
    shortest: Floats
    longest: Floats
    rough: npt.NDArray[np.uint16]
    fine_at: npt.NDArray[np.int32]
    fine: Floats
    strength: npt.NDArray[np.float16]
    law_cents: Floats
    law_strength: npt.NDArray[np.float16]
    own_band: npt.NDArray[np.float16]

    @property
    def spacing(self) -> float:
        """Between two knots [m]."""
        return float(self.lips[1] - self.lips[0])

    def sound_of(self, branch: IndexArray) -> IndexArray:
        """The sound of each branch."""
        return np.asarray(np.searchsorted(self.starts, branch, side="right") - 1)

    def places(self, branch: IndexArray, lip_m: RealArray) -> tuple[RealArray, RealArray]:
        """Place [cents above base_hz] and derivative [cents/m] of branches with these lips [m], same shape; of a lip beyond
        the branch's ends, at its end."""
        lip = np.clip(lip_m, self.shortest[branch], self.longest[branch])
        at = (lip - self.lips[0]) / self.spacing
        piece = np.clip(at.astype(np.intp), 0, len(self.lips) - 2)
        t = at - piece
        one, two = self.cents[piece, branch].astype(float), self.cents[piece + 1, branch].astype(float)
        d1, d2 = self.bend[piece, branch] * self.spacing, self.bend[piece + 1, branch] * self.spacing
        c2, c3 = 3.0 * (two - one) - 2.0 * d1 - d2, 2.0 * (one - two) + d1 + d2
        cents, slope = one + t * (d1 + t * (c2 + t * c3)), (d1 + t * (2.0 * c2 + 3.0 * t * c3)) / self.spacing
        rough = (self.rough[branch] >> piece.astype(np.uint16)) & 1 > 0
        if rough.any():
            cents[rough], slope[rough] = self._finely(branch[rough], piece[rough], lip[rough])
        return cents, slope

    def _finely(self, branch: IndexArray, piece: IndexArray, lip: RealArray) -> tuple[RealArray, RealArray]:
        below = self.rough[branch] & ((np.uint16(1) << piece.astype(np.uint16)) - np.uint16(1))
        line = self.fine_at[branch] + _ones(below)
        low, high, begins, ends = self._piece(branch, piece)
        share, rate = share_of((lip - low) / (high - low), begins, ends)
        at = share * FINE
        left = np.clip(at.astype(np.intp) - 1, 0, FINE - 3)
        t = at - left
        y = [self.fine[line, left + k].astype(float) for k in range(4)]
        # Newton's form of the cubic through 0, 1, 2, 3.
        a1, a2, a3 = y[1] - y[0], (y[2] - 2.0 * y[1] + y[0]) / 2.0, (y[3] - 3.0 * y[2] + 3.0 * y[1] - y[0]) / 6.0
        cents = y[0] + t * (a1 + (t - 1.0) * (a2 + (t - 2.0) * a3))
        slope = a1 + (2.0 * t - 1.0) * a2 + (3.0 * t * t - 6.0 * t + 2.0) * a3
        return cents, slope * FINE * rate / (high - low)

    def _piece(self, branch: IndexArray, piece: IndexArray) -> tuple[RealArray, RealArray, BoolArray, BoolArray]:
        """Lips [m] between which a piece reaches, and whether the branch ends at the lower and at the upper of them."""
        return piece_of(self.lips, self.shortest[branch].astype(float), self.longest[branch].astype(float), piece)

    def exists(self, branch: IndexArray, lip_m: RealArray) -> BoolArray:
        """Whether branches have resonances with these lips [m]."""
        return np.asarray((self.shortest[branch] <= lip_m) & (lip_m <= self.longest[branch]))

    def strengths(self, branch: IndexArray, lip_m: RealArray) -> RealArray:
        """How surely each sounds alone, 0 to 1, with these lips [m]."""
        return _between(self.strength, branch, (lip_m - self.lips[0]) / (STRENGTHS.step * self.spacing))

    def hz(self, cents: RealArray) -> RealArray:
        """Frequency [Hz] of places."""
        return np.asarray(self.base_hz * 2.0 ** (cents / 1200.0))

    def cents_of(self, hz: RealArray) -> RealArray:
        """Place of frequencies."""
        return np.asarray(1200.0 * np.log2(hz / self.base_hz))

    def by_law(self, sound: int) -> IndexArray:
        """Branches of one sound that have resonances with the lip of the law, in order."""
        own = np.arange(self.starts[sound], self.starts[sound + 1])
        return own[np.isfinite(self.law_cents[own])]

    def part(self, sound: int) -> Atlas:
        """The atlas of one sound, as its sound 0."""
        own = slice(int(self.starts[sound]), int(self.starts[sound + 1]))
        cut: dict[str, Any] = {name: np.array(getattr(self, name)[..., own]) for name in _PER_BRANCH}
        return replace(self, starts=np.array([0, own.stop - own.start], dtype=np.int32), **cut)

    def all_of(self, sounds: IndexArray) -> tuple[IndexArray, IndexArray]:
        """(number in sounds, branch) of every branch of some sounds, in order."""
        return ragged(self.starts[sounds], self.starts[sounds + 1])


_PER_BRANCH = [field.name for field in fields(Atlas) if field.name not in ("base_hz", "lips", "starts", "fine")]


def ragged(first: IndexArray, past: IndexArray) -> tuple[IndexArray, IndexArray]:
    """(number, value) for every value from first to past of each number."""
    count = past - first
    number = np.repeat(np.arange(len(first)), count)
    return number, np.arange(len(number)) - np.repeat(np.cumsum(count) - count - first, count)


def _between(table: npt.NDArray[Any], branch: IndexArray, at: RealArray) -> RealArray:
    at = np.clip(at, 0.0, len(table) - 1.0)
    left = np.minimum(at.astype(np.intp), len(table) - 2)
    one, two = table[left, branch].astype(float), table[left + 1, branch].astype(float)
    return np.asarray(one + (at - left) * (two - one))


def _ones(bits: npt.NDArray[np.uint16]) -> IndexArray:
    """How many bits are set."""
    count = np.zeros(len(bits), dtype=np.intp)
    for bit in range(KNOTS - 1):
        count += (bits >> np.uint16(bit)) & 1
    return count


def piece_of(
    lips: RealArray, shortest: RealArray, longest: RealArray, piece: IndexArray
) -> tuple[RealArray, RealArray, BoolArray, BoolArray]:
    """As Atlas._piece, for the ends [m] of branches."""
    low, high = np.maximum(lips[piece], shortest), np.minimum(lips[piece + 1], longest)
    return low, high, shortest > lips[piece], longest < lips[piece + 1]


def share_of(part: RealArray, begins: BoolArray, ends: BoolArray) -> tuple[RealArray, RealArray]:
    """The share 0..1 of a piece's places that lies before this part 0..1 of its lips, and its derivative: near an end the place
    goes as a root of the lip."""
    part = np.clip(part, 1e-12, 1.0 - 1e-12)
    low, high = np.sqrt(part), np.sqrt(1.0 - part)
    share = np.where(begins, np.where(ends, np.arccos(1.0 - 2.0 * part) / np.pi, low), np.where(ends, 1.0 - high, part))
    rate = np.where(begins, np.where(ends, 1.0 / (np.pi * low * high), 0.5 / low), np.where(ends, 0.5 / high, 1.0))
    return share, rate


def part_of(share: RealArray, begins: BoolArray, ends: BoolArray) -> RealArray:
    """The inverse of `share_of`."""
    both = 0.5 * (1.0 - np.cos(np.pi * share))
    return np.where(begins, np.where(ends, both, share**2), np.where(ends, 1.0 - (1.0 - share) ** 2, share))
