"""Judging a fingering that somebody named: the composer's in the score, or a player's own decision."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from annotate.choosing.blowing import how_to_blow
from annotate.choosing.desk import Desk, figures_of, known_badly, shown, told_of_trials, transposition
from annotate.decision import Decision, Sound, Status, weak_tones
from annotate.demand import Demand
from annotate.findings import Finding
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.hand import effort_of
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import Candidate, Resonance, eased, fundamental_of, likely_within, sounds, together_of


def heard_as(demand: Demand, fundamental: float | None, desk: Desk) -> Message:
    """That it is heard as one note, and which."""
    lowest = demand.sounding[0].hz(desk.a4_hz) if fundamental is None else fundamental
    heard = Pitch.from_midi(round(Pitch.from_hz(lowest, desk.a4_hz).midi) - transposition(demand))
    return Message("choice.one_note", pitches=demand.pitches, heard=heard)


def in_doubt(demand: Demand, own: Candidate, desk: Desk) -> Message:
    """Which of its pitches may not sound, or that they hardly do at once."""
    weak = weak_tones(demand, own.deviation_cents, own.sounds, desk.a4_hz)
    common = {"worst": own.worst_cents, "least": PLAYABLE_CONFIDENCE}
    if weak:
        return Message("choice.weak_tone", pitches=tuple(weak), strength=min(weak.values()), **common)
    return Message("choice.weak_together", confidence=own.confidence, **common)


@lru_cache(maxsize=1024)  # one fingering is often written many times
def _sounds(model: Model, fingering: Fingering) -> tuple[Resonance, ...]:
    return sounds(model, fingering)


@lru_cache(maxsize=1024)
def _together(model: Model, fingering: Fingering, hz: tuple[float, ...]) -> float:
    return together_of(model, fingering, hz)


def sounds_of(desk: Desk, fingering: Fingering) -> tuple[Sound, ...]:
    """What a fingering sounds, lip by the law. Raises FingeringError for a touch that the flute lacks."""
    return shown(_sounds(desk.model, fingering), desk.a4_hz)


def judged(demand: Demand, desk: Desk, fingering: Fingering, fits: str = "written_fits") -> Decision | Finding:
    """A decision when the composer's fingering sounds the pitches, else the finding that says what it sounds. fits: the sentence
    that says so."""
    tolerance = desk.tolerance(demand)
    try:
        own, hz = _held(demand, desk, fingering)
    except FingeringError as error:
        return Finding.of("P3", demand.place, demand.id, reason=error.message)
    worst = max(map(abs, own.deviation_cents), default=math.inf)
    tried = desk.experience.of(fingering, demand.sounding, desk.model.instrument)
    works = tried is not None and tried.works
    if not works and (worst > 2.0 * tolerance or own.confidence < DOUBTFUL_CONFIDENCE):
        return Finding.of("P2", demand.place, demand.id, fingering=str(fingering), sounds=_strong(own, desk))
    fundamental = fundamental_of(hz, own.sounds)
    in_tune = likely_within(own.deviation_cents, own.band_cents, tolerance)
    good = in_tune and own.confidence >= PLAYABLE_CONFIDENCE and fundamental is None
    weak = worst <= tolerance and own.confidence < PLAYABLE_CONFIDENCE
    why = in_doubt(demand, own, desk) if weak else Message(f"choice.{fits}", worst=worst, tolerance=tolerance)
    if fundamental is not None:
        why = heard_as(demand, fundamental, desk)
    elif not weak:
        why += known_badly(own, tolerance)
    if works and worst > tolerance:
        why = Message("log.far", worst=worst)
    if tried is not None:
        good = tried.works or (good and not tried.fails)
    told = replace(own, one_note=fundamental is not None)
    if tried is not None:
        told = replace(told, tried=tried, by_model=own.confidence, confidence=tried.confidence(own.confidence))
    return Decision(
        demand=demand,
        flute=desk.name,
        status=Status.PLAYABLE if good else Status.DOUBTFUL,
        why=why + told_of_trials(tried, own.confidence),
        **figures_of(told, desk.a4_hz),
        at_once=None if fundamental else how_to_blow(desk.model, fingering, hz, demand.pitches, own.sounds),
    )


def fixed(demand: Demand, desk: Desk, fingering: Fingering) -> Decision | Finding:
    """A player's decision for a fingering, taken whatever the model says of it; only the finding for a key that this flute
    lacks."""
    found = judged(demand, desk, fingering, "decided_fits")
    if isinstance(found, Decision):
        return replace(found, why=Message("decisions.fixed") + found.why, ruled=True)
    if found.code == "P3":  # it cannot be held
        return replace(found, code="R304", advice=Message("decisions.not_taken_advice"))
    own, _ = _held(demand, desk, fingering)
    why = Message("decisions.fixed_against", sounds=_strong(own, desk))
    figures = figures_of(replace(own, one_note=False), desk.a4_hz)
    return Decision(demand, desk.name, Status.DOUBTFUL, why, **figures, ruled=True)


def _strong(own: Candidate, desk: Desk) -> tuple[Pitch, ...]:
    return tuple(Pitch.from_hz(one.hz, desk.a4_hz) for one in own.sounds if one.strength >= PLAYABLE_CONFIDENCE)


def held(demand: Demand, desk: Desk, fingering: Fingering) -> Candidate:
    """A fingering as an answer to a demand, with the lip that its notes have by themselves (`lip_mm` is NaN), however far off.
    Raises FingeringError for a touch that the flute lacks."""
    return _held(demand, desk, fingering)[0]


def _held(demand: Demand, desk: Desk, fingering: Fingering) -> tuple[Candidate, tuple[float, ...]]:
    """The same, and the resonances nearest to the pitches [Hz]."""
    resonances = _sounds(desk.model, fingering)
    midi = {one: Pitch.from_hz(one.hz, desk.a4_hz).midi for one in resonances}
    near = [min(resonances, key=lambda one: abs(midi[one] - pitch.midi)) for pitch in demand.sounding]
    hz = tuple(one.hz for one in near)
    together = _together(desk.model, fingering, hz)
    own = Candidate(
        fingering=fingering,
        deviation_cents=tuple(
            (midi[one] - pitch.midi) * 100.0 for one, pitch in zip(near, demand.sounding, strict=True)
        ),
        band_cents=tuple(one.band_cents for one in near),
        confidence=float(eased(np.array(min(one.strength for one in near)), np.array(together))),
        together=together,
        one_note=len(hz) > 1 and fundamental_of(hz, resonances) is not None,
        lip_mm=math.nan,
        effort=effort_of(fingering),
        heard=lambda: resonances,
    )
    return own, hz
