"""What one flute answers to a question without a score."""

import math
from dataclasses import dataclass

from annotate.decision import Sound, Status
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.shifts import Interval, Pattern
from fingering_db.trials import Tried


@dataclass(frozen=True, slots=True)
class FoundFingering:
    """A fingering that sounds the pitches asked for. deviation_cents, band_cents: per pitch from the lowest up, sounding minus
    asked and the ± of it [cents]. confidence: 0..1. together: how easily they sound at once, NaN for one pitch; one_note:
    they are heard as one note and its harmonics. lip_mm: the one lip for all of them, as equivalent length [mm].
    set_size: at how many places along the tube its pattern can stand. sounds: all its resonances, lowest first. tried: how
    players' trials went, None for none; by_model: the confidence before them."""

    flute: str
    fingering: Fingering
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    confidence: float
    together: float
    one_note: bool
    lip_mm: float
    set_size: int
    sounds: tuple[Sound, ...]
    tried: Tried | None = None
    by_model: float = math.nan


@dataclass(frozen=True, slots=True)
class Near:
    """Pitches near those asked for, and a fingering that sounds them. confidence: 0..1."""

    pitches: tuple[Pitch, ...]
    fingering: Fingering
    confidence: float


@dataclass(frozen=True, slots=True)
class Search:
    """Fingerings for sounding pitches on one flute. asked: from the lowest up; written: the same as its part writes them.
    tolerance_cents: as asked. sounds_found: how many different sounds answer; found: the best of them, the best first; near:
    what is near where nothing answers; surest: confidence of the best that comes near the pitches, if none is expected to sound,
    NaN otherwise. tried: fingerings that were looked at. remark: what the flute's file says that bears
    on all its figures, '' for nothing. failed: left out of `found`, for the player has tried them in vain. at_once: how to blow
    for the first of `found`, None for one pitch or one note."""

    flute: str
    asked: tuple[Pitch, ...]
    written: tuple[Pitch, ...]
    tolerance_cents: float
    tried: int
    sounds_found: int = 0
    found: tuple[FoundFingering, ...] = ()
    near: tuple[Near, ...] = ()
    surest: float = math.nan
    remark: str = ""
    failed: tuple[FoundFingering, ...] = ()
    at_once: Message | None = None


@dataclass(frozen=True, slots=True)
class Sounding:
    """What a fingering sounds, the head joint drawn out by slide_mm [mm]: every resonance, lowest first."""

    flute: str
    fingering: Fingering
    sounds: tuple[Sound, ...]
    slide_mm: float = 0.0
    remark: str = ""


@dataclass(frozen=True, slots=True)
class WayPoint:
    """A glide at time t (0..1): slide [mm], open share of half-holed keys by touch, lip as equivalent length [mm]."""

    t: float
    slide_mm: float
    open: tuple[tuple[str, float], ...]
    lip_mm: float
    fingering: Fingering
    sounds: tuple[Sound, ...]


@dataclass(frozen=True, slots=True)
class Way:
    """A way to slide. means: 'slide', 'half-hole' or 'key lift'. deviation_cents, band_cents: of each pitch at the start,
    then at the end [cents]. confidence: 0..1, that of the weakest point."""

    flute: str
    status: Status
    why: Message
    means: str
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    confidence: float
    path: tuple[WayPoint, ...]

    @property
    def fingering(self) -> Fingering:
        """That of its beginning."""
        return self.path[0].fingering


@dataclass(frozen=True, slots=True)
class Gliding:
    """Ways to slide between sounding pitches on one flute, the best first; why_none: what is in the way where there is
    none."""

    flute: str
    start: tuple[Pitch, ...]
    end: tuple[Pitch, ...]
    ways: tuple[Way, ...] = ()
    why_none: Message | None = None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Shifted:
    """A pattern at one place of the tube. hole: name of its (first) small place. reachable: some fingering forms it; else why
    says what is in the way and the rest is empty. keys: how many touches hold its shut places. lip_mm: the one lip, as
    equivalent length [mm]. intervals: from the lowest resonance to the next two. contrary: the fingers that move against the
    ear on the way from the place before, None for none."""

    flute: str
    hole: str
    reachable: bool
    why: Message | None
    fingering: Fingering | None
    keys: int
    lip_mm: float
    sounds: tuple[Sound, ...]
    intervals: tuple[Interval, ...]
    contrary: Fingering | None = None


@dataclass(frozen=True, slots=True)
class Shifts:
    """Every place that a pattern can be moved to on one flute, from the top. spread_cents: how far its intervals to the second
    and the third resonance differ from place to place; spread_below_cents: the same without the first place, None where that
    tells nothing. first, adds, lacks: beside the flute asked first, places that this one has more and fewer."""

    flute: str
    pattern: Pattern
    places: tuple[Shifted, ...]
    spread_cents: tuple[float, float]
    spread_below_cents: tuple[float, float] | None = None
    first: str = ""
    adds: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    remark: str = ""

    @property
    def reached(self) -> tuple[Shifted, ...]:
        """The places that some fingering forms."""
        return tuple(one for one in self.places if one.reachable)


Answer = Search | Sounding | Gliding | Shifts
