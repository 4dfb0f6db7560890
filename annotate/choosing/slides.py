"""Deciding glissandi: what lip and fingers can do without a jump, and what a run of semitones offers instead."""

from __future__ import annotations

from functools import lru_cache

from annotate.choosing.desk import Desk, shown, status_of
from annotate.choosing.single import compass
from annotate.decision import DOUBTFUL, PLAYABLE, UNPLAYABLE, Decision, Instead, PathPoint
from annotate.demand import Demand
from fingering_db.finding import Candidate
from fingering_db.glide import FingerGlide, finger_glides
from fingering_db.model import Model
from fingering_db.pitch import Pitch


def decide_glissando(demand: Demand, desk: Desk) -> Decision:
    """Lip, then fingers rolling off perforated keys, then (where the notation leaves it open) a run of semitones."""
    if demand.continuous is False:
        return _run(demand, desk)
    if len(demand.sounding) != len(demand.to_sounding) or not demand.to_sounding:
        why = (
            f"The slide joins {len(demand.sounding)} to {len(demand.to_sounding)} pitches; each needs one to slide to."
        )
        return Decision(demand, desk.name, UNPLAYABLE, why, band_cents=desk.band_cents())
    return _by_lip(demand, desk) or _by_fingers(demand, desk) or _not_continuous(demand, desk)


def _asked_cents(demand: Demand) -> float:
    pairs = zip(demand.sounding, demand.to_sounding, strict=True)
    return max(abs(to.midi - start.midi) * 100.0 for start, to in pairs)


def _by_lip(demand: Demand, desk: Desk) -> Decision | None:
    """Both ends within the lip's bend of one fingering half-way."""
    bend = desk.model.instrument.lip.bend_cents
    asked = _asked_cents(demand)
    if asked > 2.0 * bend:
        return None
    middle = tuple(
        Pitch.from_midi((start.midi + to.midi) / 2.0)
        for start, to in zip(demand.sounding, demand.to_sounding, strict=True)
    )
    tolerance = desk.tolerance(demand)
    best = next((one for one in desk.find(middle, tolerance).best if status_of(one, tolerance) == PLAYABLE), None)
    if best is None:
        return None
    why = f"Asks {asked:.0f} cents; the lip alone bends about {bend:.0f} either way from this fingering."
    path = tuple(
        PathPoint(t, 0.0, (), lip, str(best.fingering), shown(best.sounds, desk.a4_hz))
        for t, lip in ((0.0, -asked / 2.0), (1.0, asked / 2.0))
    )
    return _decision(demand, desk, PLAYABLE, why, best, path)


def _by_fingers(demand: Demand, desk: Desk) -> Decision | None:
    tolerance = desk.tolerance(demand)
    glides = _finger_glides(desk.model, demand.sounding, demand.to_sounding, 2.0 * tolerance, desk.a4_hz)
    rated = [(status_of(_worse(glide), tolerance), glide) for glide in glides]
    usable = [pair for pair in rated if pair[0] != UNPLAYABLE]
    if not usable:
        return None
    status, glide = min(usable, key=lambda pair: pair[0] != PLAYABLE)
    holes = " and ".join(glide.holes)
    how = "from open hole to lifted key" if glide.lifts else "over the open hole"
    why = f"Fingers roll {how} at {holes}: {glide.start.fingering} to {glide.end.fingering}, ends within tolerance."
    if status == DOUBTFUL:
        why = f"Fingers roll {how} at {holes}, but an end is up to {_worse(glide).worst_cents:.0f} cents off."
    elif glide.lifts or len(glide.holes) > 1:
        status = DOUBTFUL
        why += " A key leaves its seat or several fingers move: evenness depends on the hand."
    path = tuple(
        PathPoint(t, 0.0, (), 0.0, str(end.fingering), shown(end.sounds, desk.a4_hz))
        for t, end in ((0.0, glide.start), (1.0, glide.end))
    )
    return _decision(demand, desk, status, why, glide.start, path)


@lru_cache(maxsize=256)
def _finger_glides(
    model: Model, start: tuple[Pitch, ...], end: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float
) -> tuple[FingerGlide, ...]:
    return finger_glides(model, start, end, tolerance_cents, a4_hz)


def _worse(glide: FingerGlide) -> Candidate:
    return max(glide.start, glide.end, key=lambda end: (end.confidence < glide.confidence + 1e-9, end.worst_cents))


def _not_continuous(demand: Demand, desk: Desk) -> Decision:
    bend = desk.model.instrument.lip.bend_cents
    why = (
        f"Asks {_asked_cents(demand):.0f} cents without a jump; the lip gives {2 * bend:.0f}, and no two fingerings "
        f"for the ends differ only in open-hole keys."
    )
    if len(demand.sounding) > 1 or not _inside_compass(demand, desk):
        return Decision(demand, desk.name, UNPLAYABLE, why, band_cents=desk.band_cents())
    run = Instead(demand.pitches, "", "a run of semitones between the two, with standard fingerings", demand.to)
    if demand.continuous is None:
        why += " As a run of semitones it is playable; the notation does not say which is meant."
        return Decision(demand, desk.name, DOUBTFUL, why, band_cents=desk.band_cents(), instead=(run,))
    return Decision(demand, desk.name, UNPLAYABLE, why, band_cents=desk.band_cents(), instead=(run,))


def _run(demand: Demand, desk: Desk) -> Decision:
    if len(demand.sounding) == 1 and _inside_compass(demand, desk):
        why = "A run of semitones with standard fingerings."
        return Decision(demand, desk.name, PLAYABLE, why, band_cents=desk.band_cents(), confidence=1.0)
    why = "A run of semitones needs one note at a time, inside the flute's compass."
    return Decision(demand, desk.name, UNPLAYABLE, why, band_cents=desk.band_cents())


def _inside_compass(demand: Demand, desk: Desk) -> bool:
    low, high = compass(desk)
    return all(low.midi <= pitch.midi <= high.midi for pitch in (*demand.sounding, *demand.to_sounding))


def _decision(
    demand: Demand, desk: Desk, status: str, why: str, start: Candidate, path: tuple[PathPoint, ...]
) -> Decision:
    return Decision(
        demand=demand,
        flute=desk.name,
        status=status,
        why=why,
        fingering=str(start.fingering),
        deviation_cents=start.deviation_cents,
        band_cents=desk.band_cents(),
        confidence=start.confidence,
        sounds=shown(start.sounds, desk.a4_hz),
        path=path,
    )
