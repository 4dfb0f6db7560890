"""Where the telescoping head joint is: the composer writes it, or a glissando leaves it somewhere, there the next one begins, and
what is played with it out is judged there; in a rest it may go back."""

import math
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

import numpy as np

from annotate.choosing.desk import EQUAL_CENTS, EQUAL_CONFIDENCE, Desk
from annotate.choosing.holds import Hold, Option
from annotate.choosing.slides import FASTEST_SLIDE_MM_S, ways
from annotate.decision import Decision
from annotate.demand import Instruction
from annotate.detecting.instructions import Instructions
from annotate.score import Event
from annotate.weights import Weights
from fingering_db.alternatives import ways_of
from fingering_db.fingering import Fingering
from fingering_db.glide import SLIDE, Glide
from fingering_db.hand import effort_of
from fingering_db.instrument import Instrument
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import may_be_off, score, sounds

NEAR_MM = 1.5
"""The joint is where it should be: half of the steps in which glides are searched, a few cents."""
_SETTINGS = 3  # at most so many are followed from note to note: ours
_TAKEN_UP_S = 0.1  # a hand needs so long to take up a movement of the joint: ours
_PLAIN_CENTS = 30.0
_NEVER = Fraction(-1)  # before the first onset
_HIGHER = (0, 1, 2, 3)  # semitones: with the joint out a note may be had from the fingerings of those above


def seconds_to_draw(mm: float) -> float:
    """About how long the joint needs for so many mm, silently [s]; 0 where it is there."""
    return _TAKEN_UP_S + abs(mm) / FASTEST_SLIDE_MM_S if abs(mm) > NEAR_MM else 0.0


def written_mm(told: Instruction | None, instrument: Instrument) -> float:
    """How far out the composer wants the joint [mm]: 0 where nothing is told or the flute has no such joint, more than it has
    where that is asked."""
    if told is None or told.means or instrument.slide is None:
        return 0.0
    return told.slide_share * instrument.slide.travel_mm if math.isfinite(told.slide_share) else told.slide_mm


def held_at(event: Event, instrument: Instrument, said: Instructions) -> float:
    """Where an ordinary note's joint is as the composer writes [mm], 0 for nothing, or more than this flute has."""
    mm = written_mm(said.slide_at(event.onset, event.staff), instrument) if instrument.slide else 0.0
    return mm if instrument.slide and mm <= instrument.slide.travel_mm else 0.0


def is_unusual(hold: Hold, taken: Option) -> bool:
    """Whether an ordinary note is held otherwise than usual because the joint is out."""
    if hold.decision is not None or hold.desk is None or abs(taken.begins_mm) <= NEAR_MM:
        return False
    instrument = hold.desk.model.instrument
    usual = ways_of(instrument, hold.first.notes[0].sounding.midi - instrument.transposition_semitones)[:1]
    return taken.start not in [one.fingering for one in usual]


def with_the_joint(holds: list[Hold], weights: Weights, said: Instructions) -> list[Hold]:
    """Holds of one voice in order, with options that begin where a glissando before them may have left the joint, or at rest."""
    placed: list[Hold] = []
    settings: tuple[float, ...] = ()
    last: Hold | None = None
    moved = _NEVER
    for hold in holds:
        if last is not None and settings:
            rest = hold.first.seconds - last.last.seconds_end
            if rest >= max(map(seconds_to_draw, settings)):
                settings = ()  # it is back
        as_written = _is_written(hold, said, moved)
        own = hold if as_written or not hold.desk else _with_settings(hold, (0.0, *settings), weights)
        if any(one.begins_mm != one.ends_mm for one in own.options):
            moved = hold.first.onset
        elif as_written and own.options:
            moved = _NEVER  # it is where it is written again
        if own.options:
            ends = sorted({round(one.ends_mm, 1) for one in own.options if abs(one.ends_mm) > NEAR_MM})
            settings = _apart(ends)
        placed.append(own)
        last = hold
    return placed


def _is_written(hold: Hold, said: Instructions, moved: Fraction) -> bool:
    """Whether the composer says where the joint is: out at an ordinary note, or anything since a glissando moved it."""
    told = said.slide_said(hold.first.onset, hold.first.staff)
    out = hold.decision is None and told is not None and told[1].slide_mm != 0.0
    return told is not None and (out or told[0] > moved)


def _apart(ends: list[float]) -> tuple[float, ...]:
    found: list[float] = []
    for mm in ends:
        if not found or mm - found[-1] > NEAR_MM:
            found.append(mm)
    return tuple(found[:_SETTINGS])


def _with_settings(hold: Hold, settings: tuple[float, ...], weights: Weights) -> Hold:
    assert hold.desk is not None
    more: list[Option] = []
    for mm in settings:
        if any(abs(one.begins_mm - mm) <= NEAR_MM for one in hold.options):
            continue
        if hold.decision is None:
            more += plain_out(hold.first, hold.desk, mm, weights)
        elif hold.options and hold.options[0].begins_mm != hold.options[0].ends_mm:
            more += _gliding_from(hold, hold.desk, mm, weights)
    return replace(hold, options=(*hold.options, *more)) if more else hold


def plain_out(event: Event, desk: Desk, mm: float, weights: Weights) -> tuple[Option, ...]:
    """Ways to hold an ordinary note with the joint out, none for a chord."""
    if len(event.notes) > 1:
        return ()
    found = out_at(desk, event.notes[0].sounding, round(mm, 1))
    return tuple(
        Option(
            one,
            one,
            weights.holding * effort_of(one) + weights.out_per_cent * abs(cents),
            begins_mm=mm,
            ends_mm=mm,
            off_cents=cents,
        )
        for one, cents in found
    )


@lru_cache(maxsize=4096)
def out_at(desk: Desk, sounding: Pitch, mm: float) -> tuple[tuple[Fingering, float], ...]:
    """Fingerings that sound an ordinary note with the joint out, as near as the lip can bend it true, with how far off
    [cents]; none where the note must be refused."""
    instrument = desk.model.instrument
    most = _PLAIN_CENTS + instrument.lip.bend_cents
    found: dict[Fingering, float] = {}
    for higher in _HIGHER:
        written = sounding.midi - instrument.transposition_semitones + higher
        for way in ways_of(instrument, written)[:2]:
            told = sounds(desk.model, way.fingering, slide_mm=mm)
            strong = [one for one in told if one.strength >= PLAYABLE_CONFIDENCE]
            off = min(((Pitch.from_hz(one.hz, desk.a4_hz).midi - sounding.midi) * 100.0 for one in strong),
                      key=abs, default=most + 1.0)  # fmt: skip
            if abs(off) <= most:
                found.setdefault(way.fingering, off)
    return tuple(found.items())


def _is_doubtful(glide: Glide) -> bool:
    return glide.one_note or glide.confidence < PLAYABLE_CONFIDENCE


def _worth(one: Glide) -> float:
    off = may_be_off(np.array([one.start_cents + one.end_cents]), np.array([one.band_cents]))
    return float(score(np.array([one.confidence]), off, np.zeros(1))[0])


def _as_good(one: Glide, best: Decision) -> bool:
    """Whether a glissando is hardly less sure and hardly more out of tune than the best."""
    near = one.confidence >= best.confidence - EQUAL_CONFIDENCE and one.one_note <= best.one_note
    return near and one.worst_cents <= max(map(abs, best.deviation_cents), default=0.0) + EQUAL_CENTS


def _gliding_from(hold: Hold, desk: Desk, mm: float, weights: Weights) -> list[Option]:
    """The best glide for a demand that begins with the joint there."""
    assert hold.decision is not None
    demand, tolerance = hold.decision.demand, desk.tolerance(hold.decision.demand)
    found = ways(desk, demand.sounding, demand.to_sounding, tolerance, SLIDE, mm)
    fitting = (one for one in found if one.confidence >= DOUBTFUL_CONFIDENCE and (mm or _as_good(one, hold.decision)))
    usable = sorted(fitting, key=_is_doubtful)[:1]
    return [
        Option(
            one.path[0].fingering,
            one.path[-1].fingering,
            weights.sounding * (1.0 - _worth(one)) + weights.holding * one.effort,
            begins_mm=one.path[0].slide_mm,
            ends_mm=one.path[-1].slide_mm,
        )
        for one in usable
    ]
