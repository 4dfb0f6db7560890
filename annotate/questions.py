"""Questions without a score: which fingerings sound pitches, what a fingering sounds, how to slide, where a pattern goes."""

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

from annotate.answers import FoundFingering, Gliding, Near, Search, Shifted, Shifts, Sounding, Way, WayPoint
from annotate.choosing.blowing import how_to_blow
from annotate.choosing.desk import Desk, figures_of, shown, status_of
from annotate.choosing.multiphonics import MOST_PITCHES
from annotate.choosing.slides import glide_reason, glide_status, no_way, ways
from annotate.decision import Status
from annotate.findings import InputError
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.glide import Glide
from fingering_db.message import Message
from fingering_db.motion import against_the_ear, as_fingering
from fingering_db.nearby import nearby
from fingering_db.pitch import Pitch, PitchError
from fingering_db.ranking import Candidate
from fingering_db.ranking import sounds as resonances_of
from fingering_db.shifts import Pattern, PatternError, Shift, set_size, spread_cents
from fingering_db.shifts import shifts as places_for

_GLIDES = 5  # ways answered
LOWEST, HIGHEST = Pitch("C", 0, 0), Pitch("B", 0, 9)
"""Pitches between which a question makes sense; the flutes' own compasses are far within."""


def find(desk: Desk, texts: Sequence[str], tolerance_cents: float, limit: int) -> Search:
    """Ranked fingerings for pitches (sounding pitch). Raises InputError for a text that is no pitch."""
    asked = pitches_of(texts)
    found = desk.search(asked, tolerance_cents, limit)
    expected = tuple(one for one in found.best if status_of(one, tolerance_cents) != Status.UNPLAYABLE)
    near = () if expected else nearby(desk.model, asked, tolerance_cents, desk.a4_hz, doubtful_too=True)
    near = tuple(one for one in near if not desk.failed_before(one))
    shift = desk.model.instrument.transposition_semitones
    return Search(
        flute=desk.name,
        asked=asked,
        written=tuple(pitch.transposed(-shift) for pitch in asked),
        tolerance_cents=tolerance_cents,
        tried=len(desk.model.reach.placements),
        sounds_found=found.count,
        found=tuple(_found(desk, candidate) for candidate in expected),
        near=tuple(Near(one.pitches, one.candidate.fingering, one.candidate.confidence) for one in near),
        surest=found.best[0].confidence if found.best and not expected else math.nan,
        remark=desk.model.instrument.remark,
        failed=tuple(_found(desk, candidate) for candidate in found.failed),
        at_once=_how_to_blow(desk, asked, expected[0]) if expected else None,
    )


def _how_to_blow(desk: Desk, asked: tuple[Pitch, ...], best: Candidate) -> Message | None:
    if best.one_note:
        return None
    pairs = zip(asked, best.deviation_cents, strict=True)
    hz = tuple(pitch.hz(desk.a4_hz) * 2.0 ** (cents / 1200.0) for pitch, cents in pairs)
    return how_to_blow(desk.model, best.fingering, hz, asked, best.sounds, best.lip_mm)


def _found(desk: Desk, one: Candidate) -> FoundFingering:
    size = set_size(desk.model, one.fingering)
    return FoundFingering(flute=desk.name, lip_mm=one.lip_mm, set_size=size, **figures_of(one, desk.a4_hz))


def sounds(desk: Desk, text: str, slide_mm: float = 0.0) -> Sounding:
    """Resonances of a fingering, the head joint drawn out by slide_mm. Raises InputError for a text that is no fingering of
    this flute."""
    try:
        fingering = Fingering.typed(text)
        resonances = resonances_of(desk.model, fingering, slide_mm=slide_mm)
    except FingeringError as error:
        raise InputError(error.message) from error
    return Sounding(desk.name, fingering, shown(resonances, desk.a4_hz), slide_mm, desk.model.instrument.remark)


def glide(desk: Desk, start: str, end: str, tolerance_cents: float) -> Gliding:
    """Ways to slide from one set of sounding pitches to another. Raises InputError for a text that names no pitches."""
    first, last = pitches_of(start.split()), pitches_of(end.split())
    if len(first) != len(last):
        raise InputError(Message("question.unequal", start=len(first), end=len(last)))
    if [pitch.midi for pitch in first] == [pitch.midi for pitch in last]:
        raise InputError(Message("question.nothing_moves", start=start, end=end))
    rated = [(glide_status(one, tolerance_cents), one) for one in ways(desk, first, last, tolerance_cents)]
    usable = [pair for pair in rated if pair[0] != Status.UNPLAYABLE]
    return Gliding(
        flute=desk.name,
        start=first,
        end=last,
        ways=tuple(_way(desk, one, status, tolerance_cents) for status, one in usable[:_GLIDES]),
        why_none=None if usable else no_way(desk, first, last),
        remark=desk.model.instrument.remark,
    )


def _way(desk: Desk, one: Glide, status: Status, tolerance_cents: float) -> Way:
    return Way(
        flute=desk.name,
        status=status,
        why=glide_reason(one, status, tolerance_cents, 0.0, desk.a4_hz),
        means=one.means,
        deviation_cents=one.start_cents + one.end_cents,
        band_cents=one.band_cents,
        confidence=one.confidence,
        path=tuple(
            WayPoint(p.t, p.slide_mm, p.open, p.lip_mm, p.fingering, shown(p.sounds, desk.a4_hz)) for p in one.path
        ),
    )


def pitches_of(texts: Sequence[str]) -> tuple[Pitch, ...]:
    """Different pitches, from the lowest up. Raises InputError for texts that are none, or none that a flute could sound."""
    if not texts:
        raise InputError(Message("question.no_pitch"))
    if "|" in texts:
        raise InputError(Message("question.a_fingering", text=" ".join(texts)))
    if len(texts) > MOST_PITCHES:
        raise InputError(Message("question.too_many", count=len(texts), most=MOST_PITCHES))
    found = tuple(sorted(map(_pitch, texts), key=lambda pitch: pitch.midi))
    twice = next((low for low, high in pairwise(found) if low.midi == high.midi), None)
    if twice:
        raise InputError(Message("question.pitch_twice", texts=" ".join(texts), pitch=str(twice)))
    return found


def _pitch(text: str) -> Pitch:
    try:
        pitch = Pitch.parse(text)
    except PitchError as error:
        raise InputError(error.message) from error
    if not LOWEST.midi <= pitch.midi <= HIGHEST.midi:
        raise InputError(Message("question.beyond", text=text, least=str(LOWEST), most=str(HIGHEST)))
    return pitch


def shifts(desks: Sequence[Desk], text: str) -> tuple[Shifts, ...]:
    """Every place that a pattern (`small 4`), or the pattern of a fingering, can be moved to on each flute, and what each
    flute after the first adds to it. Raises InputError for a text that is neither, or a fingering without a pattern."""
    first, *others = (_shifts(desk, text) for desk in desks)
    return first, *(_beside(one, first) for one in others)


def _beside(one: Shifts, first: Shifts) -> Shifts:
    here, there = ([place.hole for place in each.reached] for each in (one, first))
    adds = tuple(hole for hole in here if hole not in there)
    return replace(one, first=first.flute, adds=adds, lacks=tuple(hole for hole in there if hole not in here))


def _shifts(desk: Desk, text: str) -> Shifts:
    try:
        pattern = Pattern.of(Fingering.typed(text), desk.model.instrument) if "|" in text else Pattern.parse(text)
    except PatternError as error:
        key = "question.no_pattern_read" if "|" in text else "question.no_pattern"
        raise InputError(Message(key, reason=error.message)) from error
    except FingeringError as error:
        raise InputError(error.message) from error
    found = places_for(desk.model, pattern)
    reached = [one for one in found if one.reachable]
    others = tuple(one for one in found if one.hole != found[0].hole)
    against = _against_on_the_way(reached, desk)
    return Shifts(
        flute=desk.name,
        pattern=pattern,
        places=tuple(Shifted(desk.name, **_told(desk, one), contrary=against.get(one.hole)) for one in found),
        spread_cents=_spread(found),
        spread_below_cents=_spread(others) if len(reached) > 2 and found[0].reachable else None,
        remark=desk.model.instrument.remark,
    )


def _told(desk: Desk, one: Shift) -> dict[str, Any]:
    return {each.name: getattr(one, each.name) for each in fields(one)} | {"sounds": shown(one.sounds, desk.a4_hz)}


def _spread(found: tuple[Shift, ...]) -> tuple[float, float]:
    return spread_cents(found, 0), spread_cents(found, 1)


def _against_on_the_way(reached: list[Shift], desk: Desk) -> dict[str, Fingering | None]:
    """For each place the fingers that move against the ear on the way from the place before it."""
    found: dict[str, Fingering | None] = {}
    for before, after in pairwise(reached):
        heard = tuple(sound.hz for sound in before.sounds[: len(before.intervals) + 1])
        if before.fingering and after.fingering and heard:
            against = against_the_ear(desk.model, before.fingering, after.fingering, heard)
            found[after.hole] = as_fingering(tuple(one.move for one in against))
    return found
