"""How to blow for a chord, in a sentence: what the model of the jet knows of its least easy pair."""

import math
from collections.abc import Sequence
from functools import lru_cache

from fingering_db.at_once import EASY, AtOnce, at_once
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.playability import PLAYABLE_CONFIDENCE
from fingering_db.ranking import Resonance


def how_to_blow(
    model: Model,
    fingering: Fingering,
    hz: tuple[float, ...],
    named: tuple[Pitch, ...],
    sounds: Sequence[Resonance],
    lip_mm: float = math.nan,
) -> Message | None:
    """How easily the pitches of a fingering, each near one of its resonances [Hz], sound at once, how to blow, and which to seek
    first; None where there are not two, or one is not expected to sound at all. named: the same as they are to be called.
    sounds: the fingering's; lip_mm: one lip for all (equivalent length), NaN for the law's."""
    nearest = (min(sounds, key=lambda sound: abs(sound.hz - one), default=None) for one in hz)
    if any(one is None or one.strength < PLAYABLE_CONFIDENCE for one in nearest):
        return None
    found = _at_once(model, fingering, hz, None if math.isnan(lip_mm) else lip_mm)
    if found is None:
        return None
    pair = tuple(named[number] for number in sorted((found.first, found.second)))
    first, second = named[found.first], named[found.second]
    if found.speed_m_s is None:
        told = Message(NONE, pair=pair)
    else:
        low, high = (round(speed) for speed in found.speed_m_s)
        speed = Message("at_once.speeds", low=low, high=high) if low < high else Message("at_once.speed", low=low)
        key = "at_once.easy" if found.share >= EASY else "at_once.narrow"
        told = Message(key, pair=pair, how=Message(f"at_once.{found.way}", first=first, second=second, speed=speed))
    return Message("at_once.hardest", said=told) if len(named) > 2 else told


NONE = "at_once.none"


def none_told(told: Message) -> bool:
    """Whether what `how_to_blow` said is that no jet does it."""
    return _value(told, "said", told).key == NONE


def air_told(told: Message | None) -> tuple[float, float] | None:
    """From which air speed to which `how_to_blow` said that all tones sound [m/s]; None where it has no speed."""
    if told is None:
        return None
    how = _value(_value(told, "said", told), "how", told)
    speeds = dict(_value(how, "speed", how).values)
    low, high = speeds.get("low"), speeds.get("high", speeds.get("low"))
    return (float(low), float(high)) if isinstance(low, int) and isinstance(high, int) else None


def _value(of: Message, name: str, other: Message) -> Message:
    found = dict(of.values).get(name)
    return found if isinstance(found, Message) else other


@lru_cache(maxsize=4096)
def _at_once(model: Model, fingering: Fingering, hz: tuple[float, ...], lip_mm: float | None) -> AtOnce | None:
    return at_once(model, fingering, hz, lip_mm) if len(hz) > 1 else None
