"""What was decided for one demand on one flute."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from annotate.demand import Demand, NotJudged, Undecided
from annotate.findings import Finding
from annotate.place import Place
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.playability import PLAYABLE_CONFIDENCE
from fingering_db.trials import Tried


class Status(StrEnum):
    """Whether a demand can be played on a flute; from best to worst."""

    PLAYABLE = "playable"
    DOUBTFUL = "doubtful"
    UNPLAYABLE = "unplayable"

    @property
    def rank(self) -> int:
        """0 for the best."""
        return _RANKS[self]


_RANKS = {status: rank for rank, status in enumerate(Status)}


@dataclass(frozen=True, slots=True)
class Sound:
    """One resonance of a fingering. hz: frequency; pitch: nearest note (sounding) with cents; strength: 0..1,
    how surely it sounds alone (under 0.5: not expected to); band_cents: ± of the cents; holds: share of the stated jets that
    hold it, speed_m_s: their air speeds from and to [m/s], NaN where not known."""

    hz: float
    pitch: Pitch
    strength: float
    band_cents: float = 0.0
    holds: float = math.nan
    speed_m_s: tuple[float, float] = (math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another fingering for the same demand, in order of confidence and ease; figures as in `Decision`."""

    fingering: Fingering
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    confidence: float
    tried: Tried | None = None
    by_model: float = math.nan
    one_note: bool = False


@dataclass(frozen=True, slots=True)
class Instead:
    """Something near that can be played. pitches: written pitch, low to high; to: where a glissando goes; why: one
    phrase; fingering: None where standard fingerings are meant."""

    pitches: tuple[Pitch, ...]
    fingering: Fingering | None
    why: Message
    to: tuple[Pitch, ...] = ()


@dataclass(frozen=True, slots=True)
class PathPoint:
    """A glissando at time t (0..1): slide [mm], open fraction of half-holed keys, lip [cents], sounds."""

    t: float
    slide_mm: float
    open: tuple[tuple[str, float], ...]
    lip_cents: float
    fingering: Fingering
    sounds: tuple[Sound, ...] = ()


@dataclass(frozen=True, slots=True)
class Decision:
    """One demand on one flute. status: playable, doubtful or unplayable; why: one sentence with figures.

    fingering: None if none. deviation_cents: per pitch of the demand, sounding minus asked, each uncertain by +/- its
    band_cents. confidence: 0..1. together: how easily the pitches sound at once, 0..1, NaN for one pitch or where not
    known. one_note: they are heard as one note and its harmonics. notes: technique notes as written into the score, top to
    bottom. contrary: the fingers that move against the ear on the way to it, as a fingering ('3v | Eb'), None for none.
    ruled: a decisions file chose the fingering; own_note: what the player wrote there about this place. tried: how players'
    trials went, None for none; by_model: the confidence before them. jump_cents: the largest step on the way of a glissando,
    0 where it is continuous. at_once: how to blow for its pitches together, None where that was not looked at.
    """

    demand: Demand
    flute: str
    status: Status
    why: Message
    fingering: Fingering | None = None
    deviation_cents: tuple[float, ...] = ()
    band_cents: tuple[float, ...] = ()
    confidence: float = 0.0
    together: float = math.nan
    one_note: bool = False
    sounds: tuple[Sound, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    instead: tuple[Instead, ...] = ()
    path: tuple[PathPoint, ...] = ()
    notes: tuple[str, ...] = ()
    contrary: Fingering | None = None
    ruled: bool = False
    own_note: str = ""
    tried: Tried | None = None
    by_model: float = math.nan
    jump_cents: float = 0.0
    at_once: Message | None = None


class Tone(Protocol):
    """A resonance, of a decision or of the model."""

    @property
    def hz(self) -> float: ...

    @property
    def strength(self) -> float: ...


def weak_tones(
    demand: Demand, deviation_cents: Sequence[float], sounds: Sequence[Tone], a4_hz: float
) -> dict[Pitch, float]:
    """Pitches of a demand, as written, whose resonance is not expected to sound by itself, each with its strength.

    deviation_cents: as in `Decision`; sounds: of its fingering."""
    found = {}
    for written, asked, cents in zip(demand.pitches, demand.sounding, deviation_cents, strict=False):
        hz = asked.hz(a4_hz) * 2.0 ** (cents / 1200.0)
        nearest = min(sounds, key=lambda one: abs(one.hz - hz), default=None)
        if nearest and nearest.strength < PLAYABLE_CONFIDENCE:
            found[written] = nearest.strength
    return found


@dataclass(frozen=True, slots=True)
class PlannedNote:
    """A note (or demand) in the plan of its part. start: byte offset of its event; fingering, end: at its beginning and its end;
    other: what a trill alternates with; alternatives: what the next best plans of the passage take; demand: its id, '' for an
    ordinary note. unusual: an ordinary note held otherwise than usual, for the head joint is out."""

    place: Place
    start: int
    fingering: Fingering
    end: Fingering
    other: Fingering | None = None
    alternatives: tuple[Fingering, ...] = ()
    demand: str = ""
    unusual: bool = False


@dataclass(frozen=True, slots=True)
class PlanCost:
    """What the plan of a part costs, and what it would if each note had the fingering that is cheapest by itself [pressed
    keys]."""

    part: Place
    cost: float
    alone: float


@dataclass(frozen=True, slots=True)
class Result:
    """The whole outcome of a run, before it is worded or written. flutes: names in the order asked for.

    decisions: score order; with several flutes each demand once per flute, first flute first.
    a4_hz: the tuning the pitches asked for were taken at. decisions_file: the one that was honoured, '' for none.
    """

    score: str
    flutes: tuple[str, ...]
    decisions: tuple[Decision, ...] = ()
    findings: tuple[Finding, ...] = field(default=())
    not_judged: tuple[NotJudged, ...] = ()
    undecided: tuple[Undecided, ...] = ()
    parts_read: tuple[Message | str, ...] = ()
    a4_hz: float = 440.0
    marked: int = 0
    """How many marks were written into the score."""
    decisions_file: str = ""
    plan: tuple[PlannedNote, ...] = ()
    """Of every part, on its first flute."""
    plan_costs: tuple[PlanCost, ...] = ()
    numbers: Mapping[Fingering, int] = field(default_factory=dict)
    """Those that a page in the usual style gives to fingerings."""

    def unusual_notes(self) -> tuple[PlannedNote, ...]:
        """Ordinary notes whose fingering a player would not guess."""
        return tuple(note for note in self.plan if note.unusual)

    def first_flute(self) -> tuple[Decision, ...]:
        """Decisions on the flute named first (per part, for scores with several parts)."""
        seen: dict[str, Decision] = {}
        for decision in self.decisions:
            seen.setdefault(decision.demand.id, decision)
        return tuple(seen.values())
