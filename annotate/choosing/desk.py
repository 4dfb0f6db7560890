"""What every decision needs: the flute, the tolerances, and how candidates become statuses and values to show."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from annotate.choosing.blowing import how_to_blow
from annotate.decision import Alternative, Decision, Instead, Sound, Status
from annotate.decisions.kept import Ruling
from annotate.demand import Demand, Kind
from fingering_db.experienced import experienced
from fingering_db.fingering import Fingering
from fingering_db.mechanism import chart_of
from fingering_db.message import Message
from fingering_db.model import Model
from fingering_db.nearby import KEPT_SEMITONES, Nearby, nearby
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import Candidate, Found, Resonance, find, likely_within, with_jets
from fingering_db.trials import NO_EXPERIENCE, Experience, Tried
from fingering_db.uncertainty import band_cents

_ALTERNATIVES = 5
_TOLERANCE = 30.0  # cents
_OF_THE_STEP = 0.4  # of its distance from the nearest tempered note: 20 cents of the 50 of a quarter-tone
_LEAST_TOLERANCE = 5.0  # cents
# Two answers that differ by no more than these in confidence and in how far they are off are equal for the ear: ours.
EQUAL_CONFIDENCE, EQUAL_CENTS = 0.1, 10.0
_FIGURES = ("deviation_cents", "band_cents", "confidence", "tried", "by_model", "fingering", "one_note", "together")


@dataclass(frozen=True, slots=True)
class Desk:
    """A flute and the options a decision depends on. tolerance_cents: from the user, None for the usual one. experience: what
    players found when they tried."""

    name: str
    model: Model
    a4_hz: float
    tolerance_cents: float | None = None
    experience: Experience = NO_EXPERIENCE

    def tolerance(self, demand: Demand) -> float:
        """30 cents, less for microtones, or what the user said: 20 for a quarter-tone, 13 for a sixth-tone, 10 for an
        eighth-tone, so that the tempered note beside it is none of the answers."""
        if self.tolerance_cents is not None:
            return self.tolerance_cents
        if demand.kind != Kind.MICROTONE:
            return _TOLERANCE
        midi = demand.sounding[0].midi
        return max(_OF_THE_STEP * abs(midi - round(midi)) * 100.0, _LEAST_TOLERANCE)

    def search(self, sounding: tuple[Pitch, ...], tolerance_cents: float, limit: int) -> Found:
        """Search within the tolerance itself, as the user asks it directly; what worked for the player first, what failed left
        out."""
        tried = len(self.experience.about(sounding, self.model.instrument))
        found = find(self.model, sounding, tolerance_cents, self.a4_hz, limit + tried)
        found = experienced(self.model, found, sounding, self.a4_hz, self.experience)
        return replace(found, best=tuple(self.with_jets(one, sounding) for one in found.best[:limit]))

    def find(self, sounding: tuple[Pitch, ...], tolerance_cents: float) -> Found:
        """Search up to twice the tolerance, the candidates without what the jets make of them (`with_jets`); repeated questions
        are answered from memory. What worked for the player comes first, what failed is left out."""
        found = _find(self.model, sounding, 2.0 * tolerance_cents, self.a4_hz)
        return experienced(self.model, found, sounding, self.a4_hz, self.experience)

    def failed_before(self, near: Nearby) -> bool:
        """Whether the player has tried a proposal in vain."""
        tried = self.experience.of(near.candidate.fingering, near.pitches, self.model.instrument)
        return tried is not None and tried.fails

    def left_out(self, demand: Demand) -> Message | None:
        """What the search leaves out because the player tried it in vain, None for nothing."""
        tolerance = self.tolerance(demand)
        failed = self.find(demand.sounding, tolerance).failed if len(demand.sounding) else ()
        missed = tuple(str(one.fingering) for one in failed if status_of(one, tolerance) != Status.UNPLAYABLE)
        return Message("log.left_out", fingerings=missed) if missed else None

    def with_jets(self, one: Candidate, sounding: tuple[Pitch, ...]) -> Candidate:
        """A candidate that `find` gave for these pitches, with what the jets make of it."""
        return with_jets(self.model, one, tuple(pitch.hz(self.a4_hz) for pitch in sounding))

    def band_cents(self) -> float:
        """Uncertainty of a deviation [cents]."""
        return band_cents(self.model.instrument)


@lru_cache(maxsize=1024)
def _find(model: Model, sounding: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float) -> Found:
    return find(model, sounding, tolerance_cents, a4_hz)


@lru_cache(maxsize=1024)
def _nearby(model: Model, sounding: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float) -> tuple[Nearby, ...]:
    return nearby(model, sounding, tolerance_cents, a4_hz)


def transposition(demand: Demand) -> float:
    """Sounding minus written [semitones]."""
    return demand.sounding[0].midi - demand.pitches[0].midi if demand.pitches else 0.0


def status_of(candidate: Candidate | Alternative, tolerance_cents: float) -> Status:
    """playable: more likely than not within the tolerance and expected to sound, or tried by the player with success; doubtful:
    within twice the tolerance, or may sound, or heard as one note and its harmonics."""
    if candidate.tried and candidate.tried.works:
        return Status.PLAYABLE
    if candidate.confidence < DOUBTFUL_CONFIDENCE:
        return Status.UNPLAYABLE
    in_tune = likely_within(candidate.deviation_cents, candidate.band_cents, tolerance_cents)
    good = in_tune and candidate.confidence >= PLAYABLE_CONFIDENCE and not candidate.one_note
    return Status.PLAYABLE if good else Status.DOUBTFUL


def known_badly(candidate: Candidate, tolerance_cents: float) -> Message | None:
    """That a pitch is within the tolerance and yet more likely outside than in; None where it is not so."""
    if candidate.worst_cents > tolerance_cents or likely_within(
        candidate.deviation_cents, candidate.band_cents, tolerance_cents
    ):
        return None
    return Message("choice.known_badly", band=max(candidate.band_cents), tolerance=tolerance_cents)


def preferred(
    candidates: tuple[Candidate, ...], fingering: Fingering | None, ruling: Ruling, tolerance_cents: float
) -> tuple[Candidate, ...]:
    """The same with the candidate of that fingering first; without one, with that which a player likes best of those that are
    equal to the first for the ear."""
    if fingering:
        return tuple(sorted(candidates, key=lambda one: one.fingering != fingering))
    if not ruling.prefer or not candidates:
        return candidates
    best = candidates[0]
    status = status_of(best, tolerance_cents)

    def place(one: Candidate) -> int:
        equal = equal_for_the_ear(one, best) and status_of(one, tolerance_cents) == status
        return ruling.liking(one.fingering) if equal else len(ruling.prefer)

    return tuple(sorted(candidates, key=place))


def equal_for_the_ear(one: Candidate | Alternative, best: Candidate | Decision) -> bool:
    """Whether an answer is hardly less sure and hardly more out of tune than the best, and one note only where that is."""
    worst, least = (max(map(abs, each.deviation_cents)) for each in (one, best))
    near = one.confidence >= best.confidence - EQUAL_CONFIDENCE and worst <= least + EQUAL_CENTS
    return near and one.one_note <= best.one_note


def ranked(found: Found, tolerance_cents: float) -> tuple[Candidate, ...]:
    """Candidates with the playable ones first, the search's order kept within a status; one note and its harmonics after the
    others that are no worse than doubtful, but before those beyond the tolerance, which a search within it does not have."""
    in_tune = [one for one in found.best if one.one_note and one.worst_cents <= tolerance_cents]
    as_one = any(status_of(one, tolerance_cents) == Status.DOUBTFUL for one in in_tune)

    def place(one: Candidate) -> tuple[bool, int, bool]:
        works, status = one.tried is not None and one.tried.works, status_of(one, tolerance_cents)
        return not works, status.rank, as_one and not works and one.worst_cents > tolerance_cents

    return tuple(sorted(found.best, key=place))


def told_of_trials(tried: Tried | None, by_model: float) -> Message | None:
    """How players' trials went and what they have changed, None where nobody tried. by_model: the confidence before them."""
    if tried is None:
        return None
    own, others = tried.worked + tried.failed, tried.others_worked + tried.others_failed
    told = Message("log.model", by_model=by_model, confidence=tried.confidence(by_model))
    if others:
        told = Message("log.others", worked=tried.others_worked, n=others) + told
    return Message("log.own", worked=tried.worked, n=own) + told if own else told


def alternatives(candidates: tuple[Candidate, ...], tolerance_cents: float) -> tuple[Alternative, ...]:
    """The next best, one for each way of holding all fingers but the right little one, none of a worse status than the
    first."""
    worst = status_of(candidates[0], tolerance_cents).rank if candidates else 0
    seen = {candidates[0].fingering.touches[:-1]} if candidates else set()
    chosen = []
    for candidate in candidates[1:]:
        hold = candidate.fingering.touches[:-1]
        if hold in seen or status_of(candidate, tolerance_cents).rank > worst:
            continue
        seen.add(hold)
        chosen.append(Alternative(**{name: getattr(candidate, name) for name in _FIGURES[:7]}))
        if len(chosen) == _ALTERNATIVES:
            break
    return tuple(chosen)


def shown(sounds: tuple[Resonance, ...], a4_hz: float) -> tuple[Sound, ...]:
    """Resonances with the nearest sounding pitch."""
    return tuple(
        Sound(one.hz, Pitch.from_hz(one.hz, a4_hz), one.strength, one.band_cents, one.holds, one.speed_m_s)
        for one in sounds
    )


def figures_of(one: Candidate, a4_hz: float) -> dict[str, Any]:
    """What a decision and an answer say of a candidate, by the names of their fields."""
    return {name: getattr(one, name) for name in _FIGURES} | {"sounds": shown(one.sounds, a4_hz)}


def sounding_hz(best: Candidate, demand: Demand, desk: Desk) -> tuple[float, ...]:
    """What a candidate sounds for the pitches of a demand, in their order [Hz]."""
    pairs = zip(demand.sounding, best.deviation_cents, strict=False)
    return tuple(pitch.hz(desk.a4_hz) * 2.0 ** (cents / 1200.0) for pitch, cents in pairs)


def blowing(best: Candidate, demand: Demand, desk: Desk) -> Message | None:
    """How to blow for an answer's pitches at once (`how_to_blow`)."""
    hz = sounding_hz(best, demand, desk)
    return how_to_blow(desk.model, best.fingering, hz, demand.pitches, best.sounds, best.lip_mm)


def decided(
    demand: Demand, desk: Desk, status: Status, why: Message, best: Candidate, others: tuple[Candidate, ...] = ()
) -> Decision:
    """A decision for a fingering that was found. others: those found, `best` first, of which the next become alternatives."""
    best = desk.with_jets(best, demand.sounding)
    return Decision(
        demand=demand,
        flute=desk.name,
        status=status,
        why=why + told_of_trials(best.tried, best.by_model) + desk.left_out(demand),
        **figures_of(best, desk.a4_hz),
        alternatives=alternatives(others, desk.tolerance(demand)),
        at_once=blowing(best, demand, desk) if not best.one_note and not demand.open_pitches else None,
        instead=instead(desk, demand, demand.sounding) if status != Status.PLAYABLE and not demand.open_pitches else (),
    )


def instead(desk: Desk, demand: Demand, sounding: tuple[Pitch, ...]) -> tuple[Instead, ...]:
    """The playable sets most like it, in written pitch and the score's spelling where a note stays; for a multiphonic with
    none near, one of its notes by itself, and called that."""
    moved_by = transposition(demand)
    spelling = dict(zip(demand.sounding, demand.pitches, strict=True))
    proposals = []
    for near in _nearby(desk.model, sounding, desk.tolerance(demand), desk.a4_hz):
        if desk.failed_before(near):
            continue
        written = tuple(spelling.get(pitch) or pitch.transposed(-moved_by) for pitch in near.pitches)
        kept = tuple(spelling[pitch] for pitch in near.pitches if pitch in spelling)
        why = Message("choice.moved_by", confidence=near.candidate.confidence, n=near.moved)
        if kept:
            why = Message("choice.keeps", pitches=kept, why=why)
        proposals.append(Instead(written, near.candidate.fingering, why))
    if not proposals and len(sounding) > 1:
        return _plain_note(desk, sounding, spelling)
    return tuple(proposals)


def _plain_note(desk: Desk, sounding: tuple[Pitch, ...], spelling: dict[Pitch, Pitch]) -> tuple[Instead, ...]:
    """The lowest of some pitches that the chart has, on its standard fingering; () where it has none."""
    instrument = desk.model.instrument
    for pitch in sounding:
        for note in chart_of(instrument):
            away = abs(note.pitch.midi + instrument.transposition_semitones - pitch.midi)
            if away <= KEPT_SEMITONES:
                return (Instead((spelling.get(pitch, note.pitch),), note.fingering, Message("choice.plain_note")),)
    return ()
