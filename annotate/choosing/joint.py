"""Where the telescoping head joint is: a glissando leaves it somewhere, there the next one begins, and what is played with it
out is judged there; in a rest it may go back."""

from dataclasses import replace
from functools import lru_cache

from annotate.choosing.desk import Desk
from annotate.choosing.holds import Hold, Option
from annotate.choosing.slides import FASTEST_SLIDE_MM_S, ways
from annotate.weights import Weights
from fingering_db.alternatives import ways_of
from fingering_db.fingering import Fingering
from fingering_db.glide import SLIDE, Glide
from fingering_db.hand import effort_of
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import sounds

NEAR_MM = 1.5
"""The joint is where it should be: half of the steps in which glides are searched, a few cents."""
_SETTINGS = 3  # at most so many are followed from note to note: ours
_TAKEN_UP_S = 0.1  # a hand needs so long to take up a movement of the joint: ours
_PLAIN_CENTS = 30.0
_HIGHER = (0, 1, 2)  # semitones: with the joint out a note may be had from the fingerings of those above


def seconds_to_draw(mm: float) -> float:
    """About how long the joint needs for so many mm, silently [s]; 0 where it is there."""
    return _TAKEN_UP_S + abs(mm) / FASTEST_SLIDE_MM_S if abs(mm) > NEAR_MM else 0.0


def with_the_joint(holds: list[Hold], weights: Weights) -> list[Hold]:
    """Holds of one voice in order, with options that begin where a glissando before them may have left the joint."""
    placed: list[Hold] = []
    settings: tuple[float, ...] = ()
    last: Hold | None = None
    for hold in holds:
        if last is not None and settings:
            rest = hold.first.seconds - last.last.seconds_end
            if rest >= max(map(seconds_to_draw, settings)):
                settings = ()  # it is back
        own = _with_settings(hold, settings, weights) if settings and hold.desk else hold
        if own.options:
            ends = sorted({round(one.ends_mm, 1) for one in own.options if abs(one.ends_mm) > NEAR_MM})
            settings = _apart(ends)
        placed.append(own)
        last = hold
    return placed


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
            more += _plain_out(hold, hold.desk, mm, weights)
        elif hold.options and hold.options[0].begins_mm != hold.options[0].ends_mm:
            more += _gliding_from(hold, hold.desk, mm, weights)
    return replace(hold, options=(*hold.options, *more)) if more else hold


def _plain_out(hold: Hold, desk: Desk, mm: float, weights: Weights) -> list[Option]:
    if len(hold.first.notes) > 1:
        return []
    found = out_at(desk, hold.first.notes[0].sounding, round(mm, 1))
    return [
        Option(
            one,
            one,
            weights.holding * effort_of(one) + weights.out_per_cent * abs(cents),
            begins_mm=mm,
            ends_mm=mm,
            off_cents=cents,
        )
        for one, cents in found
    ]


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


def _gliding_from(hold: Hold, desk: Desk, mm: float, weights: Weights) -> list[Option]:
    """The best glide for a demand that begins with the joint there."""
    assert hold.decision is not None
    demand, tolerance = hold.decision.demand, desk.tolerance(hold.decision.demand)
    found = ways(desk, demand.sounding, demand.to_sounding, tolerance, SLIDE, mm)
    usable = sorted((one for one in found if one.confidence >= DOUBTFUL_CONFIDENCE), key=_is_doubtful)[:1]
    return [
        Option(
            one.path[0].fingering,
            one.path[-1].fingering,
            weights.sounding * (1.0 - one.confidence) + weights.holding * one.effort,
            begins_mm=one.path[0].slide_mm,
            ends_mm=one.path[-1].slide_mm,
        )
        for one in usable
    ]
