"""What is practised: every demand once, in the order to learn them, with what a player must know of it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from annotate.answers import Shifted
from annotate.choosing.desk import Desk
from annotate.choosing.hands import Step
from annotate.decision import Decision, Sound, Status
from annotate.demand import Kind
from annotate.findings import InputError
from annotate.pack.figures import Blown, blown
from annotate.pipeline import Looked
from annotate.questions import shifts
from annotate.report.content import Group, Report
from annotate.score import Event
from fingering_db.fingering import Fingering
from fingering_db.hand import effort_of
from fingering_db.motion import FingerMove, moves
from fingering_db.pitch import Pitch

_FAMILY_MOVES = 1
"""Fingerings that differ by no more fingers are one hand shape."""
_SAME_TONE_CENTS = 60.0


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone asked for. asked: as written; sound: what the fingering gives for it; band_cents: ± of its cents."""

    asked: Pitch
    sound: Sound
    band_cents: float


@dataclass(frozen=True, slots=True)
class Answer:
    """A demand on one flute. blown: its fingering with the lip at which the first of its tones lies where the decision says,
    None without one; tones: those that it sounds, as asked; ending: those at the end of its path. shifted: of a multiphonic,
    the same pattern at other places."""

    decision: Decision
    desk: Desk
    blown: Blown | None
    tones: tuple[Tone, ...]
    ending: tuple[Tone, ...] = ()
    shifted: tuple[Shifted, ...] = ()

    @property
    def fingerings(self) -> tuple[Fingering, ...]:
        """What is held: two of a tremolo, or of a glissando that ends on another one; none where nothing can be."""
        if self.blown is None:
            return ()
        path = self.decision.path
        return tuple(dict.fromkeys((self.blown.fingering, *(point.fingering for point in path[-1:]))))

    @property
    def first_tone(self) -> Tone | None:
        """The tone to seek first: the one most jets hold, of equal ones the lowest."""
        held = [one for one in self.tones if math.isfinite(one.sound.holds)]
        return max(held, key=lambda one: one.sound.holds, default=None)


@dataclass(frozen=True, slots=True)
class Entry:
    """What is practised once. number: in the order to learn; family: number of its hand shape; answers: one for each flute,
    the first flute first."""

    number: int
    family: int
    group: Group
    answers: tuple[Answer, ...]

    @property
    def key(self) -> str:
        """Its name in the page."""
        return f"e{self.number}"


@dataclass(frozen=True, slots=True)
class Way:
    """A move of the hand beside a demand. other: the demand there, None for an ordinary note; event: where; moved: the
    fingers that move."""

    event: Event
    other: Decision | None
    before: Fingering
    after: Fingering
    moved: tuple[FingerMove, ...]


@dataclass(frozen=True, slots=True)
class Ways:
    """To a demand and on from it; None where nothing comes before, or nothing follows."""

    to: Way | None
    on: Way | None


def entries(looked: Looked, report: Report, worst_first: bool = False) -> tuple[Entry, ...]:
    """Every demand once, easy ones first, hand shapes together. worst_first: unplayable ones first, then doubtful ones."""
    groups = _alike(report.groups)
    every = [one for group in groups for one in group.decisions]
    answers = {
        name: iter(_answers(desk, [one for one in every if one.flute == name])) for name, desk in looked.desks.items()
    }
    made = [(group, tuple(next(answers[one.flute]) for one in group.decisions)) for group in groups]
    ordered = sorted(made, key=lambda one: _difficulty(one[1][0].decision))
    found: list[Entry] = []
    family = 0
    while ordered:
        family += 1
        first = ordered.pop(0)
        alike = [first, *(one for one in ordered if _alike_played(first[1][0].decision, one[1][0].decision))]
        ordered = [one for one in ordered if not any(one is other for other in alike)]
        found += [Entry(0, family, group, answers) for group, answers in alike]
    if worst_first:
        found.sort(key=lambda one: -one.answers[0].decision.status.rank)
    return tuple(replace(one, number=number) for number, one in enumerate(found, start=1))


def _alike(groups: Sequence[Group]) -> list[Group]:
    """Groups that ask the same and are played the same are practised as one, though the reasons differ."""
    found: dict[object, Group] = {}
    for group in groups:
        demand = group.demand
        asked = demand.kind, demand.pitches, demand.sounding, demand.to, demand.to_sounding, demand.open_pitches
        played = ((one.flute, one.status, one.fingering, len(one.path), one.own_note) for one in group.decisions)
        key = asked, tuple(played)
        known = found.get(key)
        if known is None:
            found[key] = group
        else:
            also = (*known.also, group.demand.place, *group.also)
            found[key] = replace(known, also=also, ids=(*known.ids, *group.ids))
    return list(found.values())


def _difficulty(decision: Decision) -> tuple[float, ...]:
    """Status first, then what may fail, then the hand."""
    effort = effort_of(decision.fingering) if decision.fingering else math.inf
    return decision.status.rank, -round(decision.confidence, 1), len(decision.path), effort


def _alike_played(one: Decision, two: Decision) -> bool:
    """With one shape of the hand, and equally well: a doubt waits until all that is playable is learned."""
    if one.status != two.status or one.fingering is None or two.fingering is None:
        return False
    return len(moves(one.fingering, two.fingering)) <= _FAMILY_MOVES


def _answers(desk: Desk, decisions: Sequence[Decision]) -> list[Answer]:
    """On one flute, in the order of its decisions."""
    played = [one for one in decisions if one.fingering and one.status != Status.UNPLAYABLE]
    tones = {id(one): _tones(one) for one in played}
    wanted = [
        (one.fingering, one.path[0].slide_mm if one.path else 0.0, tuple(tone.sound.hz for tone in tones[id(one)]))
        for one in played
        if one.fingering
    ]
    found = dict(zip(tones, blown(desk, wanted), strict=True))
    return [_answer(one, desk, found.get(id(one)), tones.get(id(one), ())) for one in decisions]


def _answer(decision: Decision, desk: Desk, own: Blown | None, tones: tuple[Tone, ...]) -> Answer:
    moved = own is not None and decision.demand.kind == Kind.MULTIPHONIC
    ending = _tones(decision, ending=True) if own and decision.path else ()
    return Answer(decision, desk, own, tones, ending, _shifted(desk, own.fingering) if own and moved else ())


def _tones(decision: Decision, ending: bool = False) -> tuple[Tone, ...]:
    """Those asked for at the beginning, or at the end of a glissando and by the second sound of a tremolo."""
    demand = decision.demand
    asked_for = (demand.to, demand.to_sounding) if ending else (demand.pitches, demand.sounding)
    heard = decision.path[-1].sounds if ending else decision.sounds
    bands, tones = decision.band_cents[len(demand.pitches) if ending else 0 :], []
    for number, (asked, sounding) in enumerate(zip(*asked_for, strict=False)):
        near = min(heard, key=lambda one: abs(one.pitch.midi - sounding.midi), default=None)
        if near is not None and abs(near.pitch.midi - sounding.midi) * 100.0 <= _SAME_TONE_CENTS:
            tones.append(Tone(asked, near, bands[number] if number < len(bands) else near.band_cents))
    return tuple(tones)


def _shifted(desk: Desk, fingering: Fingering) -> tuple[Shifted, ...]:
    """Other places for its pattern; none for a fingering without one."""
    try:
        (found,) = shifts([desk], str(fingering))
    except InputError:
        return ()
    return tuple(one for one in found.reached if one.fingering != fingering)


def ways(looked: Looked) -> dict[str, Ways]:
    """For each demand the moves beside it on its first flute, by its id."""
    own = {one.demand.id: one for one in looked.result.first_flute()}
    to: dict[str, Way] = {}
    on: dict[str, Way] = {}
    for plan in looked.plans:
        for step in plan.steps():
            if step.after.decision:
                to.setdefault(step.after.decision.demand.id, _way(step, step.before.last, step.before.decision, own))
            if step.before.decision:
                on.setdefault(step.before.decision.demand.id, _way(step, step.after.first, step.after.decision, own))
    return {id: Ways(to.get(id), on.get(id)) for id in own}


def _way(step: Step, there: Event, decision: Decision | None, own: Mapping[str, Decision]) -> Way:
    decided = own.get(decision.demand.id) if decision else None
    return Way(there, decided, step.start, step.end, step.moved())
