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


@dataclass(frozen=True, slots=True)
class AtOnce:
    """Two pitches, by their numbers among those asked for. share: of the broad jets that sound both. first, second: the one that
    more of the stated jets hold by itself, to be sought first, and the other. speed_m_s: air speeds from and to at which
    they sound (quartiles), None where no jet sounds both. soft: these speeds lie below those at which the first is held
    alone."""

    first: int
    second: int
    share: float
    speed_m_s: tuple[float, float] | None
    soft: bool


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
    low_first = bool(held[number[lower]] >= held[number[higher]])
    first, second = (lower, higher) if low_first else (higher, lower)
    jets = broad_jets()
    found = side_by_side(modes, jets, (number[lower], number[higher]))
    if not found.both.any():
        return AtOnce(first, second, 0.0, None, soft=False)
    speeds = np.sort(jets.speed[found.both])
    alone = jets.speed[found.alone[:, 0 if low_first else 1]]
    soft = len(alone) > 0 and _middle(speeds) < 0.8 * _middle(np.sort(alone))
    return AtOnce(first, second, float(found.both.mean()), _from_to(speeds), soft)


def _middle(grown: RealArray) -> float:
    """The median of what grows."""
    return float(grown[(len(grown) - 1) // 2] + grown[len(grown) // 2]) / 2.0


def _from_to(grown: RealArray) -> tuple[float, float]:
    """Without the outer quarters: a jet far off is a chance."""
    least, most = np.rint(np.array([0.25, 0.75]) * (len(grown) - 1)).astype(int)
    return float(grown[least]), float(grown[most])
