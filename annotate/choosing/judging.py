"""Judging a fingering that somebody named: the composer's in the score, or a player's own decision."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from annotate.choosing.blowing import how_to_blow
from annotate.choosing.desk import Desk, shown, told_of_trials, transposition
from annotate.decision import Decision, Sound, Status
from annotate.demand import Demand
from annotate.findings import Finding
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.hand import effort_of
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import Candidate, Resonance, eased, fundamental_of, sounds, together_of


def heard_as(demand: Demand, fundamental: float | None, desk: Desk) -> Message:
    """That it is heard as one note, and which."""
    lowest = demand.sounding[0].hz(desk.a4_hz) if fundamental is None else fundamental
    heard = Pitch.from_midi(round(Pitch.from_hz(lowest, desk.a4_hz).midi) - transposition(demand))
    return Message("choice.one_note", pitches=demand.pitches, heard=heard)


@dataclass(frozen=True, slots=True)
class _Match:
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    strength: float
    together: float
    hz: tuple[float, ...]


@lru_cache(maxsize=1024)  # one fingering is often written many times
def _sounds(model: Model, fingering: Fingering) -> tuple[Resonance, ...]:
    return sounds(model, fingering)


@lru_cache(maxsize=1024)
def _together(model: Model, fingering: Fingering, hz: tuple[float, ...]) -> float:
    return together_of(model, fingering, hz)


def sounds_of(desk: Desk, fingering: Fingering) -> tuple[Sound, ...]:
    """What a fingering sounds, lip by the law. Raises FingeringError for a touch that the flute lacks."""
    return shown(_sounds(desk.model, fingering), desk.a4_hz)


def judged(demand: Demand, desk: Desk, fingering: Fingering) -> Decision | Finding:
    """A decision when the composer's fingering sounds the pitches, else the finding that says what it sounds."""
    tolerance = desk.tolerance(demand)
    try:
        resonances = _sounds(desk.model, fingering)
    except FingeringError as error:
        return Finding.of("P3", demand.place, demand.id, reason=error.message)
    match = _match(fingering, resonances, demand, desk)
    worst = max((abs(cents) for cents in match.deviation_cents), default=float("inf"))
    tried = desk.experience.of(fingering, demand.sounding, desk.model.instrument)
    works = tried is not None and tried.works
    if not works and (worst > 2.0 * tolerance or match.strength < DOUBTFUL_CONFIDENCE):
        heard = _strong(resonances, desk)
        return Finding.of("P2", demand.place, demand.id, fingering=str(fingering), sounds=heard)
    fundamental = fundamental_of(match.hz, resonances)
    good = worst <= tolerance and match.strength >= PLAYABLE_CONFIDENCE and fundamental is None
    why = Message("choice.written_fits", worst=worst, tolerance=tolerance)
    if fundamental is not None:
        why = heard_as(demand, fundamental, desk)
    if works and worst > tolerance:
        why = Message("log.far", worst=worst)
    if tried is not None:
        good = tried.works or (good and not tried.fails)
    return Decision(
        demand=demand,
        flute=desk.name,
        status=Status.PLAYABLE if good else Status.DOUBTFUL,
        why=why + told_of_trials(tried, match.strength),
        fingering=fingering,
        deviation_cents=match.deviation_cents,
        band_cents=match.band_cents,
        confidence=tried.confidence(match.strength) if tried else match.strength,
        together=match.together,
        one_note=fundamental is not None,
        sounds=shown(resonances, desk.a4_hz),
        tried=tried,
        by_model=match.strength if tried else math.nan,
        at_once=None if fundamental else how_to_blow(desk.model, fingering, match.hz, demand.pitches),
    )


def fixed(demand: Demand, desk: Desk, fingering: Fingering) -> Decision | Finding:
    """A player's decision for a fingering, taken whatever the model says of it; only the finding for a key that this flute
    lacks."""
    found = judged(demand, desk, fingering)
    if isinstance(found, Decision):
        return replace(found, why=Message("decisions.fixed") + found.why, ruled=True)
    if found.code == "P3":  # it cannot be held
        return replace(found, code="R304", advice=Message("decisions.not_taken_advice"))
    resonances = _sounds(desk.model, fingering)
    match = _match(fingering, resonances, demand, desk)
    return Decision(
        demand=demand,
        flute=desk.name,
        status=Status.DOUBTFUL,
        why=Message("decisions.fixed_against", sounds=_strong(resonances, desk)),
        fingering=fingering,
        deviation_cents=match.deviation_cents,
        band_cents=match.band_cents,
        confidence=match.strength,
        together=match.together,
        sounds=shown(resonances, desk.a4_hz),
        ruled=True,
    )


def _strong(resonances: tuple[Resonance, ...], desk: Desk) -> tuple[Pitch, ...]:
    return tuple(Pitch.from_hz(one.hz, desk.a4_hz) for one in resonances if one.strength >= PLAYABLE_CONFIDENCE)


def held(demand: Demand, desk: Desk, fingering: Fingering) -> Candidate:
    """A fingering as an answer to a demand, with the lip that its notes have by themselves (`lip_mm` is NaN), however far off.
    Raises FingeringError for a touch that the flute lacks."""
    resonances = _sounds(desk.model, fingering)
    match = _match(fingering, resonances, demand, desk)
    return Candidate(
        fingering=fingering,
        deviation_cents=match.deviation_cents,
        band_cents=match.band_cents,
        confidence=match.strength,
        together=match.together,
        one_note=len(match.hz) > 1 and fundamental_of(match.hz, resonances) is not None,
        lip_mm=math.nan,
        effort=effort_of(fingering),
        heard=lambda: resonances,
    )


def _match(fingering: Fingering, resonances: tuple[Resonance, ...], demand: Demand, desk: Desk) -> _Match:
    deviations, bands, strengths, hz = [], [], [], []
    for pitch in demand.sounding:
        near = min(resonances, key=lambda sound: abs(Pitch.from_hz(sound.hz, desk.a4_hz).midi - pitch.midi))
        deviations.append((Pitch.from_hz(near.hz, desk.a4_hz).midi - pitch.midi) * 100.0)
        strengths.append(near.strength)
        hz.append(near.hz)
        bands.append(near.band_cents)
    together = _together(desk.model, fingering, tuple(hz))
    strength = float(eased(np.array(min(strengths)), np.array(together)))
    return _Match(tuple(deviations), tuple(bands), strength, together, tuple(hz))
