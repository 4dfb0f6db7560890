"""Deciding multiphonics."""

from annotate.choosing.desk import (
    Desk,
    decided,
    instead,
    known_badly,
    preferred,
    ranked,
    sounding_hz,
    status_of,
    transposition,
)
from annotate.choosing.judging import heard_as, in_doubt
from annotate.decision import Decision, Status
from annotate.decisions.kept import NO_RULING, Ruling
from annotate.demand import Demand
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import Candidate, Resonance, fundamental_of

MOST_PITCHES = 6  # up to 2.6 kHz a fingering has some six to nine resonances: ours


def decide_multiphonic(
    demand: Demand, desk: Desk, ruling: Ruling = NO_RULING, prefer: Fingering | None = None
) -> Decision:
    """The best fingering for the chord, or for one note with a partner left open; unplayable chords get what is near.

    prefer: the fingering to take if it is among those found, None for the best by itself."""
    if len(demand.sounding) > MOST_PITCHES:
        return Decision(demand, desk.name, Status.UNPLAYABLE, none_found(demand, desk))
    tolerance = desk.tolerance(demand)
    found = ranked(desk.find(demand.sounding, tolerance), tolerance)
    if demand.open_pitches:
        found = tuple(candidate for candidate in found if _partner(candidate, demand.sounding[0], desk))
    candidates = tuple(one for one in found if ruling.allows(one.fingering))
    if not candidates or status_of(candidates[0], tolerance) == Status.UNPLAYABLE:
        if found and status_of(found[0], tolerance) != Status.UNPLAYABLE:
            return Decision(demand, desk.name, Status.UNPLAYABLE, Message("decisions.all_forbidden"), ruled=True)
        return _unplayable(demand, desk, candidates)
    candidates = preferred(candidates, prefer, ruling, tolerance)
    best = candidates[0]
    status = status_of(best, tolerance)
    why = _reason(best, status, tolerance, demand, desk)
    if demand.open_pitches:
        partner = _partner(best, demand.sounding[0], desk)
        assert partner is not None
        name = Pitch.from_midi(Pitch.from_hz(partner.hz, desk.a4_hz).midi - transposition(demand))
        why += Message("choice.second_pitch_open", pitch=name)
    return decided(demand, desk, status, why, best, candidates)


def _reason(best: Candidate, status: Status, tolerance: float, demand: Demand, desk: Desk) -> Message:
    worst, band = best.worst_cents, best.worst_band
    if best.tried and best.tried.works:
        return (
            Message("choice.within", worst=worst, tolerance=tolerance)
            if worst <= tolerance
            else Message("log.far", worst=worst)
        )
    if best.one_note:
        return _one_note(best, tolerance, demand, desk)
    if status == Status.PLAYABLE and best.inside_band:
        return Message("choice.inside_band", worst=worst, band=band)
    badly = known_badly(best, tolerance) if best.confidence >= PLAYABLE_CONFIDENCE else None
    if status == Status.PLAYABLE or badly:
        return Message("choice.within", worst=worst, tolerance=tolerance) + badly
    if worst > tolerance:
        reach = Message("choice.lip_may_make_it_up") if worst <= tolerance + band else None
        return Message("choice.nearest", worst=worst, tolerance=tolerance, band=band) + reach
    return in_doubt(demand, best, desk)


def _one_note(best: Candidate, tolerance: float, demand: Demand, desk: Desk) -> Message:
    """That it is heard as one note: on every fingering in tune, or on one that is out of tune too."""
    if best.worst_cents <= tolerance:
        return heard_as(demand, fundamental_of(sounding_hz(best, demand, desk), best.sounds), desk)
    near = Message("choice.nearest", worst=best.worst_cents, tolerance=tolerance, band=best.worst_band)
    return near + Message("tremolo.one_note", pitches=demand.pitches)


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
    why = _why_none(demand, desk, candidates) + desk.left_out(demand)
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
