"""Deciding multiphonics."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from annotate.choosing.codes import WRITTEN_FINGERING_DIFFERS, WRITTEN_FINGERING_UNKNOWN
from annotate.choosing.desk import Desk, decided, instead, preferred, ranked, shown, status_of, transposition
from annotate.decision import Decision, Status
from annotate.demand import Demand
from annotate.detecting.fingering_text import read_fingering
from annotate.findings import Finding
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.hand import effort_of
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import Candidate, Resonance, fundamental_of, sounds

MOST_PITCHES = 6  # up to 2.6 kHz a fingering has some six to nine resonances: ours


def decide_multiphonic(
    demand: Demand, desk: Desk, prefer: Fingering | None = None
) -> tuple[Decision, tuple[Finding, ...]]:
    """Judge the composer's own fingering where there is one, else search; unplayable chords get what is near.

    prefer: the fingering to take if it is among those found, None for the best by itself."""
    written = read_fingering(demand.fingering)
    if written is not None:
        judged = judge_written(demand, desk, written)
        if isinstance(judged, Decision):
            return judged, ()
        decision, _ = decide_multiphonic_by_search(demand, desk, prefer)
        return decision, (judged,)
    return decide_multiphonic_by_search(demand, desk, prefer)


def decide_multiphonic_by_search(
    demand: Demand, desk: Desk, prefer: Fingering | None = None
) -> tuple[Decision, tuple[Finding, ...]]:
    """The best fingering for the chord, or for one note with a partner left open."""
    if len(demand.sounding) > MOST_PITCHES:
        return Decision(demand, desk.name, Status.UNPLAYABLE, none_found(demand, desk)), ()
    tolerance = desk.tolerance(demand)
    candidates = ranked(desk.find(demand.sounding, tolerance), tolerance)
    if demand.open_pitches:
        candidates = tuple(candidate for candidate in candidates if _partner(candidate, demand.sounding[0], desk))
    if not candidates or status_of(candidates[0], tolerance) == Status.UNPLAYABLE:
        return _unplayable(demand, desk, candidates), ()
    candidates = preferred(candidates, prefer)
    best = candidates[0]
    status = status_of(best, tolerance)
    why = _reason(best, status, tolerance, demand, desk)
    if demand.open_pitches:
        partner = _partner(best, demand.sounding[0], desk)
        assert partner is not None
        name = Pitch.from_midi(Pitch.from_hz(partner.hz, desk.a4_hz).midi - transposition(demand))
        why += Message("choice.second_pitch_open", pitch=name)
    return decided(demand, desk, status, why, best, candidates), ()


def _sounding_hz(best: Candidate, demand: Demand, desk: Desk) -> tuple[float, ...]:
    pairs = zip(demand.sounding, best.deviation_cents, strict=False)
    return tuple(pitch.hz(desk.a4_hz) * 2.0 ** (cents / 1200.0) for pitch, cents in pairs)


def _heard_as(demand: Demand, fundamental: float | None, desk: Desk) -> Message:
    lowest = demand.sounding[0].hz(desk.a4_hz) if fundamental is None else fundamental
    heard = Pitch.from_midi(round(Pitch.from_hz(lowest, desk.a4_hz).midi) - transposition(demand))
    return Message("choice.one_note", pitches=demand.pitches, heard=heard)


def _reason(best: Candidate, status: Status, tolerance: float, demand: Demand, desk: Desk) -> Message:
    worst, band = best.worst_cents, best.worst_band
    if best.one_note:
        return _heard_as(demand, fundamental_of(_sounding_hz(best, demand, desk), best.sounds), desk)
    if status == Status.PLAYABLE and best.inside_band:
        return Message("choice.inside_band", worst=worst, band=band)
    if status == Status.PLAYABLE:
        return Message("choice.within", worst=worst, tolerance=tolerance)
    if worst > tolerance:
        reach = Message("choice.lip_may_make_it_up") if worst <= tolerance + band else None
        return Message("choice.nearest", worst=worst, tolerance=tolerance, band=band) + reach
    return Message("choice.weak_resonance", worst=worst, confidence=best.confidence, least=PLAYABLE_CONFIDENCE)


def none_found(demand: Demand, desk: Desk) -> Message:
    """Why no fingering answers a sound that has none."""
    if len(demand.sounding) > MOST_PITCHES:
        return Message("choice.too_many_pitches", n=len(demand.sounding), most=MOST_PITCHES)
    return _why_none(demand, desk, ranked(desk.find(demand.sounding, desk.tolerance(demand)), desk.tolerance(demand)))


def _why_none(demand: Demand, desk: Desk, candidates: tuple[Candidate, ...]) -> Message:
    tolerance = desk.tolerance(demand)
    tried = len(desk.model.reach.placements)
    if demand.open_pitches:
        return Message("choice.no_second_resonance", tried=tried, within=2 * tolerance)
    if candidates:
        best = candidates[0].confidence
        return Message("choice.too_weak", tried=tried, confidence=best, least=DOUBTFUL_CONFIDENCE)
    return Message("choice.none_has_all", tried=tried, within=2 * tolerance)


def _unplayable(demand: Demand, desk: Desk, candidates: tuple[Candidate, ...]) -> Decision:
    why = _why_none(demand, desk, candidates)
    proposals = () if demand.open_pitches else instead(desk, demand, demand.sounding)
    return Decision(demand, desk.name, Status.UNPLAYABLE, why, instead=proposals)


def _partner(candidate: Candidate, pitch: Pitch, desk: Desk) -> Resonance | None:
    """The strongest other resonance, next to it among the playable ones, that is heard beside it and not as its harmonic."""
    note = pitch.hz(desk.a4_hz)
    strong = [sound for sound in candidate.sounds if sound.strength >= PLAYABLE_CONFIDENCE]
    at = min(range(len(strong)), key=lambda n: abs(Pitch.from_hz(strong[n].hz).midi - pitch.midi), default=None)
    if at is None:
        return None
    neighbours = [strong[n] for n in (at - 1, at + 1) if 0 <= n < len(strong)]
    fitting = [sound for sound in neighbours if fundamental_of((note, sound.hz), candidate.sounds) is None]
    return max(fitting, key=lambda sound: sound.strength, default=None)


@dataclass(frozen=True, slots=True)
class _Match:
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    strength: float
    hz: tuple[float, ...]


@lru_cache(maxsize=1024)  # one fingering is often written many times
def _sounds(model: Model, fingering: Fingering) -> tuple[Resonance, ...]:
    return sounds(model, fingering)


def judge_written(demand: Demand, desk: Desk, fingering: Fingering) -> Decision | Finding:
    """A decision when the composer's fingering sounds the pitches, else the finding that says what it sounds."""
    tolerance = desk.tolerance(demand)
    place = demand.place
    try:
        resonances = _sounds(desk.model, fingering)
    except FingeringError as error:
        return Finding(
            WRITTEN_FINGERING_UNKNOWN,
            "warning",
            place,
            Message("choice.written_unknown", reason=str(error)),
            Message("choice.written_unknown_advice"),
            demand.id,
        )
    match = _match(resonances, demand, desk)
    worst = max((abs(cents) for cents in match.deviation_cents), default=float("inf"))
    if worst > 2.0 * tolerance or match.strength < DOUBTFUL_CONFIDENCE:
        strong = [Pitch.from_hz(sound.hz, desk.a4_hz) for sound in resonances if sound.strength >= PLAYABLE_CONFIDENCE]
        message = Message("choice.written_differs", fingering=str(fingering), sounds=tuple(strong))
        return Finding(
            WRITTEN_FINGERING_DIFFERS,
            "warning",
            place,
            message,
            Message("choice.written_differs_advice"),
            demand.id,
        )
    fundamental = fundamental_of(match.hz, resonances)
    good = worst <= tolerance and match.strength >= PLAYABLE_CONFIDENCE and fundamental is None
    why = Message("choice.written_fits", worst=worst, tolerance=tolerance)
    if fundamental is not None:
        why = _heard_as(demand, fundamental, desk)
    return Decision(
        demand=demand,
        flute=desk.name,
        status=Status.PLAYABLE if good else Status.DOUBTFUL,
        why=why,
        fingering=fingering,
        deviation_cents=match.deviation_cents,
        band_cents=match.band_cents,
        confidence=match.strength,
        one_note=fundamental is not None,
        sounds=shown(resonances, desk.a4_hz),
    )


def held(demand: Demand, desk: Desk, fingering: Fingering) -> Candidate:
    """A fingering as an answer to a demand, with the lip that its notes have by themselves (`lip_mm` is NaN), however far off.
    Raises FingeringError for a touch that the flute lacks."""
    resonances = _sounds(desk.model, fingering)
    match = _match(resonances, demand, desk)
    return Candidate(
        fingering=fingering,
        deviation_cents=match.deviation_cents,
        band_cents=match.band_cents,
        confidence=match.strength,
        together=math.nan,
        one_note=len(match.hz) > 1 and fundamental_of(match.hz, resonances) is not None,
        lip_mm=math.nan,
        effort=effort_of(fingering),
        sounds=resonances,
    )


def _match(resonances: tuple[Resonance, ...], demand: Demand, desk: Desk) -> _Match:
    deviations, bands, strengths, hz = [], [], [], []
    for pitch in demand.sounding:
        near = min(resonances, key=lambda sound: abs(Pitch.from_hz(sound.hz, desk.a4_hz).midi - pitch.midi))
        deviations.append((Pitch.from_hz(near.hz, desk.a4_hz).midi - pitch.midi) * 100.0)
        strengths.append(near.strength)
        hz.append(near.hz)
        bands.append(near.band_cents)
    return _Match(tuple(deviations), tuple(bands), min(strengths), tuple(hz))
