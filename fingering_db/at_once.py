"""How to blow so that two tones of a fingering sound at once, as far as the model of the jet knows."""

import itertools
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import RealArray
from fingering_db.acoustics.jet import Modes, broad_jets, held_share, side_by_side, stated_jets
from fingering_db.fingering import Fingering
from fingering_db.model import Model, sound_of
from fingering_db.playability import modes_of

EASY = 0.08
"""Share of broad jets from which on a pair is called easy: a tenth of the pairs of random fingerings reach it. Ours."""


FIRM, SOFT, OWN = "firm", "soft", "own"


@dataclass(frozen=True, slots=True)
class AtOnce:
    """Two pitches, by their numbers among those asked for. share: of the broad jets that sound both. speed_m_s: air speeds from
    and to at which they sound (quartiles), None where no jet sounds both. way: FIRM, amid them the first is held by itself
    too (quartiles); else SOFT, below the speeds of either by itself, or OWN, between or above them. first, second: what speaks
    first and what joins it: with FIRM the one that more of the stated jets hold, else the one that more of the jets hold that
    sound both."""

    first: int
    second: int
    share: float
    speed_m_s: tuple[float, float] | None
    way: str = FIRM


def at_once(of: Model, fingering: Fingering, hz: tuple[float, ...], lip_mm: float | None = None) -> AtOnce | None:
    """Of the pairs of pitches of a fingering, each near one of its resonances [Hz], the one that sounds at once least easily;
    None where there are not two. lip_mm: one lip (equivalent length), else by the law. Some milliseconds a pair.

    Raises FingeringError when the flute has no such touch."""
    lips = None if lip_mm is None else np.array([lip_mm * 1e-3])
    crossings = of.resonances(of.bore(np.array([sound_of(of, fingering)])), lips)
    if not len(crossings.hz):
        return None
    modes, _ = modes_of(of.curve.size.likened(crossings))
    number = [int(np.abs(np.log(crossings.hz / one)).argmin()) for one in hz]
    told = (_pair(modes, number, pair) for pair in itertools.combinations(range(len(hz)), 2))
    return min((one for one in told if one), key=lambda one: one.share, default=None)


def _pair(modes: Modes, number: list[int], pair: tuple[int, int]) -> AtOnce | None:
    lower, higher = sorted(pair, key=lambda asked: number[asked])
    if number[lower] == number[higher]:
        return None
    wanted = np.zeros(modes.hz.shape, dtype=bool)
    wanted[0, [number[lower], number[higher]]] = True
    held = held_share(modes, stated_jets(), wanted)[0][0]
    surer = [float(held[number[lower]]), float(held[number[higher]])]
    jets = broad_jets()
    found = side_by_side(modes, jets, (number[lower], number[higher]))
    way, speed = FIRM, None
    if found.both.any():
        grown = np.sort(jets.speed[found.both])
        speed, middle = _from_to(grown), float(grown[(len(grown) - 1) // 2] + grown[len(grown) // 2]) / 2.0
        alone = [_from_to(np.sort(jets.speed[one])) if one.any() else None for one in found.alone.T]
        there = [one is not None and one[0] <= middle <= one[1] for one in alone]
        if any(there):
            surer = [share if own else -1.0 for share, own in zip(surer, there, strict=True)]
        else:
            way = SOFT if all(one is None or middle < one[0] for one in alone) else OWN
            surer = found.held[found.both].sum(axis=0).tolist()
    first, second = (lower, higher) if surer[0] >= surer[1] else (higher, lower)
    return AtOnce(first, second, float(found.both.mean()), speed, way)


def _from_to(grown: RealArray) -> tuple[float, float]:
    """Without the outer quarters: a jet far off is a chance."""
    least, most = np.rint(np.array([0.25, 0.75]) * (len(grown) - 1)).astype(int)
    return float(grown[least]), float(grown[most])
