"""Deciding multiphonics."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from annotate.choosing.codes import WRITTEN_FINGERING_DIFFERS, WRITTEN_FINGERING_UNKNOWN
from annotate.choosing.desk import Desk, alternatives, instead, preferred, ranked, shown, status_of, transposition
from annotate.decision import Decision, Status
from annotate.demand import Demand
from annotate.detecting.fingering_text import read_fingering
from annotate.findings import Finding
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import Candidate, Resonance, sounds

MOST_PITCHES = 6  # up to 2.6 kHz a fingering has some six to nine resonances: ours
_HARMONIC_CENTS = 40.0  # a partner this near a harmonic of the other would only colour it


def decide_multiphonic(
    demand: Demand, desk: Desk, prefer: Fingering | None = None
) -> tuple[Decision, tuple[Finding, ...]]:
    """Judge the composer's own fingering where there is one, else search; unplayable chords get what is near.

    prefer: the fingering to take if it is among those found, None for the best by itself."""
    written = read_fingering(demand.fingering)
    if written is not None:
        judged = _judge_written(demand, desk, written)
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
        why = Message("choice.too_many_pitches", n=len(demand.sounding), most=MOST_PITCHES)
        return Decision(demand, desk.name, Status.UNPLAYABLE, why), ()
    tolerance = desk.tolerance(demand)
    candidates = ranked(desk.find(demand.sounding, tolerance), tolerance)
    if demand.open_pitches:
        candidates = tuple(candidate for candidate in candidates if _partner(candidate, demand.sounding[0], desk))
    if not candidates or status_of(candidates[0], tolerance) == Status.UNPLAYABLE:
        return _unplayable(demand, desk, candidates), ()
    candidates = preferred(candidates, prefer)
    best = candidates[0]
    status = status_of(best, tolerance)
    why = _reason(best, status, tolerance, desk)
    if demand.open_pitches:
        partner = _partner(best, demand.sounding[0], desk)
        assert partner is not None
        name = Pitch.from_midi(Pitch.from_hz(partner.hz, desk.a4_hz).midi - transposition(demand))
        why += Message("choice.second_pitch_open", pitch=name)
    return _decision(demand, desk, best, status, why, candidates), ()


def _decision(
    demand: Demand, desk: Desk, best: Candidate, status: Status, why: Message, candidates: tuple[Candidate, ...]
) -> Decision:
    return Decision(
        demand=demand,
        flute=desk.name,
        status=status,
        why=why,
        fingering=best.fingering,
        deviation_cents=best.deviation_cents,
        band_cents=best.band_cents,
        confidence=best.confidence,
        sounds=shown(best.sounds, desk.a4_hz),
        alternatives=alternatives(candidates, desk.tolerance(demand)),
        instead=instead(desk, demand, demand.sounding) if status != Status.PLAYABLE and not demand.open_pitches else (),
    )


def _reason(best: Candidate, status: Status, tolerance: float, desk: Desk) -> Message:
    worst, band = best.worst_cents, max(best.band_cents)
    if status == Status.PLAYABLE and best.inside_band:
        return Message("choice.inside_band", worst=worst, band=band)
    if status == Status.PLAYABLE:
        return Message("choice.within", worst=worst, tolerance=tolerance)
    if worst > tolerance:
        reach = Message("choice.lip_may_make_it_up") if worst <= tolerance + band else None
        return Message("choice.nearest", worst=worst, tolerance=tolerance, band=band) + reach
    return Message("choice.weak_resonance", worst=worst, confidence=best.confidence, least=PLAYABLE_CONFIDENCE)


def _unplayable(demand: Demand, desk: Desk, candidates: tuple[Candidate, ...]) -> Decision:
    tolerance = desk.tolerance(demand)
    tried = len(desk.model.reach.placements)
    if demand.open_pitches:
        why = Message("choice.no_second_resonance", tried=tried, within=2 * tolerance)
    elif candidates:
        why = Message("choice.too_weak", tried=tried, confidence=candidates[0].confidence, least=DOUBTFUL_CONFIDENCE)
    else:
        why = Message("choice.none_has_all", tried=tried, within=2 * tolerance)
    proposals = () if demand.open_pitches else instead(desk, demand, demand.sounding)
    return Decision(demand, desk.name, Status.UNPLAYABLE, why, instead=proposals)


def _partner(candidate: Candidate, pitch: Pitch, desk: Desk) -> Resonance | None:
    """The strongest other resonance that is no harmonic relation of the note, next to it among the playable ones."""
    note = pitch.hz(desk.a4_hz)
    strong = [sound for sound in candidate.sounds if sound.strength >= PLAYABLE_CONFIDENCE]
    at = min(range(len(strong)), key=lambda n: abs(Pitch.from_hz(strong[n].hz).midi - pitch.midi), default=None)
    if at is None:
        return None
    neighbours = [strong[n] for n in (at - 1, at + 1) if 0 <= n < len(strong)]
    fitting = [sound for sound in neighbours if not _is_harmonic(sound.hz, note)]
    return max(fitting, key=lambda sound: sound.strength, default=None)


def _is_harmonic(one: float, other: float) -> bool:
    """Whether two frequencies stand in the ratio 1:2 or 1:3 within _HARMONIC_CENTS."""
    cents = abs(Pitch.from_hz(one).midi - Pitch.from_hz(other).midi) * 100.0
    return any(abs(cents - harmonic) < _HARMONIC_CENTS for harmonic in (1200.0, 1902.0))


@dataclass(frozen=True, slots=True)
class _Match:
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    strength: float


@lru_cache(maxsize=1024)  # one fingering is often written many times
def _sounds(model: Model, fingering: Fingering) -> tuple[Resonance, ...]:
    return sounds(model, fingering)


def _judge_written(demand: Demand, desk: Desk, fingering: Fingering) -> Decision | Finding:
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
    good = worst <= tolerance and match.strength >= PLAYABLE_CONFIDENCE
    why = Message("choice.written_fits", worst=worst, tolerance=tolerance)
    return Decision(
        demand=demand,
        flute=desk.name,
        status=Status.PLAYABLE if good else Status.DOUBTFUL,
        why=why,
        fingering=fingering,
        deviation_cents=match.deviation_cents,
        band_cents=match.band_cents,
        confidence=match.strength,
        sounds=shown(resonances, desk.a4_hz),
    )


def _match(resonances: tuple[Resonance, ...], demand: Demand, desk: Desk) -> _Match:
    deviations, bands, strengths = [], [], []
    for pitch in demand.sounding:
        near = min(resonances, key=lambda sound: abs(Pitch.from_hz(sound.hz, desk.a4_hz).midi - pitch.midi))
        deviations.append((Pitch.from_hz(near.hz, desk.a4_hz).midi - pitch.midi) * 100.0)
        strengths.append(near.strength)
        bands.append(near.band_cents)
    return _Match(tuple(deviations), tuple(bands), min(strengths))
