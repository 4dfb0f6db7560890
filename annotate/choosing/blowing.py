"""How to blow for a chord, in a sentence: what the model of the jet knows of its least easy pair."""

import math
from functools import lru_cache

from fingering_db.at_once import EASY, AtOnce, at_once
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.pitch import Pitch


def how_to_blow(
    model: Model, fingering: Fingering, hz: tuple[float, ...], named: tuple[Pitch, ...], lip_mm: float = math.nan
) -> Message | None:
    """How easily the pitches of a fingering, each near one of its resonances [Hz], sound at once, how to blow, and which to seek
    first; None where there are not two. named: the same as they are to be called. lip_mm: one lip for all (equivalent
    length), NaN for the law's."""
    found = _at_once(model, fingering, hz, None if math.isnan(lip_mm) else lip_mm)
    if found is None:
        return None
    pair = tuple(named[number] for number in sorted((found.first, found.second)))
    first, second = named[found.first], named[found.second]
    if found.speed_m_s is None:
        return Message("at_once.none", pair=pair)
    low, high = (round(speed) for speed in found.speed_m_s)
    speed = Message("at_once.speeds", low=low, high=high) if low < high else Message("at_once.speed", low=low)
    key = "at_once.easy" if found.share >= EASY else "at_once.narrow"
    return Message(key, pair=pair, how=Message(f"at_once.{found.way}", first=first, second=second, speed=speed))


@lru_cache(maxsize=4096)
def _at_once(model: Model, fingering: Fingering, hz: tuple[float, ...], lip_mm: float | None) -> AtOnce | None:
    return at_once(model, fingering, hz, lip_mm) if len(hz) > 1 else None
