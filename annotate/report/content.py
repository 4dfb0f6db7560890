"""What every rendering of a report shows, worked out once from a Result: counts, ids, groups, comparisons."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import groupby

from annotate.decision import Decision, Result, Sound, Status
from annotate.demand import Demand
from annotate.findings import Finding
from annotate.language import words
from annotate.place import Place
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE

EXPECTED_STRENGTH = 0.5
"""A resonance at least this strong is expected to sound alone."""
_SAME_NOTE_CENTS = 60.0
"""A resonance this near to a pitch asked for is that pitch: widest tolerance at which a demand can be met."""
_CONFIDENCE_WORDS = ((0.8, "very_likely"), (PLAYABLE_CONFIDENCE, "likely"), (DOUBTFUL_CONFIDENCE, "uncertain"))
_SEVERITIES = {"error": 0, "warning": 1, "info": 2}


@dataclass(frozen=True, slots=True)
class Counts:
    playable: int
    doubtful: int
    unplayable: int

    @property
    def demands(self) -> int:
        return self.playable + self.doubtful + self.unplayable


@dataclass(frozen=True, slots=True)
class NumberedFinding:
    """A finding with its id in this report: f1, f2, .."""

    id: str
    finding: Finding


@dataclass(frozen=True, slots=True)
class Group:
    """Demands that ask the same and are decided the same. decisions: of the first such demand, one per flute;
    also: places of the others, in score order; ids: of all of them. tells_reading: it is the first that was read for its
    reason."""

    decisions: tuple[Decision, ...]
    also: tuple[Place, ...]
    ids: tuple[str, ...] = ()
    tells_reading: bool = True

    @property
    def demand(self) -> Demand:
        return self.decisions[0].demand


@dataclass(frozen=True, slots=True)
class FindingGroup:
    """Findings of one code and severity that say the same: one message and advice, several places."""

    code: str
    severity: str
    message: Message | str
    advice: Message | str
    places: tuple[Place, ...]
    demands: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """A demand that another flute plays better or worse than the first. status: on that flute."""

    demand: Demand
    status: Status
    better: bool


@dataclass(frozen=True, slots=True)
class OtherFingering:
    """A demand that another flute plays as well as the first with another fingering. worst_cents, first_worst_cents: largest
    deviations without sign on the two, NaN where there are none."""

    demand: Demand
    fingering: Fingering | None
    worst_cents: float
    first_worst_cents: float


@dataclass(frozen=True, slots=True)
class Report:
    """The whole report. total: first flute; per_flute: counts by flute name, in the order asked for; by_demand: ids of
    findings by demand."""

    result: Result
    total: Counts
    per_flute: tuple[tuple[str, Counts], ...]
    findings: tuple[NumberedFinding, ...]
    groups: tuple[Group, ...]
    finding_groups: tuple[FindingGroup, ...]
    by_demand: Mapping[str, tuple[str, ...]]
    several_parts: bool

    def findings_of(self, demand_id: str) -> tuple[str, ...]:
        """Ids of the findings that belong to a demand."""
        return self.by_demand.get(demand_id, ()) if demand_id else ()


def build(result: Result) -> Report:
    """Work out everything the renderings share."""
    flutes = tuple(dict.fromkeys([*result.flutes, *(decision.flute for decision in result.decisions)]))
    findings = tuple(NumberedFinding(f"f{n}", one) for n, one in enumerate(result.findings, start=1))
    by_demand: dict[str, list[str]] = {}
    for numbered in findings:
        by_demand.setdefault(numbered.finding.demand, []).append(numbered.id)
    per_flute = ((name, [one for one in result.decisions if one.flute == name]) for name in flutes)
    return Report(
        result=result,
        total=count(result.first_flute()),
        per_flute=tuple((name, count(decisions)) for name, decisions in per_flute),
        findings=findings,
        groups=_groups(result.decisions),
        finding_groups=_finding_groups(result.findings),
        by_demand={demand: tuple(ids) for demand, ids in by_demand.items()},
        several_parts=len({one.demand.place.part_id for one in result.decisions}) > 1,
    )


def count(decisions: list[Decision] | tuple[Decision, ...]) -> Counts:
    return Counts(*(sum(decision.status == status for decision in decisions) for status in Status))


def confidence_word(decision: Decision) -> str:
    """Name of the words for how surely it sounds, never at odds with the status: very_likely, likely, uncertain, unlikely;
    pitch_doubtful, jumps or one_note where it sounds and something else makes it doubtful."""
    if decision.one_note:
        return "one_note"
    if decision.status == Status.DOUBTFUL and decision.confidence >= PLAYABLE_CONFIDENCE:
        return "jumps" if decision.jump_cents else "pitch_doubtful"
    return next((name for limit, name in _CONFIDENCE_WORDS if decision.confidence >= limit), "unlikely")


def deviations(decision: Decision) -> tuple[tuple[Pitch, float, float], ...]:
    """(pitch asked for, as written; cents sounding minus asked; ± of it) for each pitch that has a figure."""
    asked = decision.demand.pitches + decision.demand.to
    figures = zip(asked, decision.deviation_cents, decision.band_cents, strict=False)
    return tuple(figure for figure in figures if math.isfinite(figure[1]))


def spelled_as_asked(pitch: Pitch, asked: tuple[Pitch, ...]) -> Pitch:
    """The same sounding pitch, spelled as the score spells that note if the score asks for it here."""
    key = round(pitch.midi - pitch.cents / 100.0)
    for other in asked:
        if round(other.midi - other.cents / 100.0) == key:
            return Pitch(other.step, other.alter, other.octave, pitch.cents)
    return pitch


def other_sounds(decision: Decision) -> tuple[Sound, ...]:
    """What may sound beside the pitches asked for, lowest first, named in written pitch."""
    demand = decision.demand
    asked = demand.sounding + demand.to_sounding
    transposed = [a.midi - b.midi for a, b in zip(demand.pitches, demand.sounding, strict=False)]
    shift = round(transposed[0]) if transposed else 0
    found = []
    for sound in decision.sounds:
        near = any(abs(sound.pitch.midi - pitch.midi) * 100.0 <= _SAME_NOTE_CENTS for pitch in asked)
        if sound.strength >= EXPECTED_STRENGTH and not near:
            pitch = spelled_as_asked(sound.pitch.transposed(shift), demand.pitches + demand.to)
            found.append(replace(sound, pitch=pitch))
    return tuple(found)


def compared(report: Report) -> tuple[tuple[str, str], ...]:
    """(flute, the flute it is compared with: the first that the same demands are judged on), in the order asked for; parts
    with flutes of their own are not compared with each other."""
    pairs = {(other.flute, first.flute): None for first, other in _side_by_side(report)}
    order = [name for name, _ in report.per_flute]
    return tuple(sorted(pairs, key=lambda pair: (order.index(pair[0]), order.index(pair[1]))))


def changes(report: Report, flute: str, first: str) -> tuple[Change, ...]:
    """Demands that `flute` plays better or worse than the flute `first`, in score order."""
    found = []
    for reference, decision in _side_by_side(report):
        if (decision.flute, reference.flute) == (flute, first) and decision.status != reference.status:
            better = decision.status.rank < reference.status.rank
            found.append(Change(decision.demand, decision.status, better))
    return tuple(found)


def other_fingerings(report: Report, flute: str, first: str) -> tuple[OtherFingering, ...]:
    """Demands that both flutes play equally well, each with a fingering of its own, in score order."""
    return tuple(
        OtherFingering(decision.demand, decision.fingering, _worst(decision), _worst(reference))
        for reference, decision in _side_by_side(report)
        if (decision.flute, reference.flute) == (flute, first)
        and decision.status == reference.status != Status.UNPLAYABLE
        and decision.fingering != reference.fingering
    )


def _side_by_side(report: Report) -> tuple[tuple[Decision, Decision], ...]:
    """(decision on the first flute, decision on another one) for each demand judged on several."""
    first = {decision.demand.id: decision for decision in report.result.first_flute()}
    pairs = ((first[decision.demand.id], decision) for decision in report.result.decisions)
    return tuple((one, two) for one, two in pairs if one is not two)


def _worst(decision: Decision) -> float:
    return max((abs(cents) for _, cents, _ in deviations(decision)), default=math.nan)


def _groups(decisions: tuple[Decision, ...]) -> tuple[Group, ...]:
    """Equal demands with equal decisions on every flute, in the order of their first places."""
    by_demand: dict[str, list[Decision]] = {}
    for decision in decisions:
        by_demand.setdefault(decision.demand.id, []).append(decision)
    alike: dict[object, list[list[Decision]]] = {}
    for answers in by_demand.values():
        key = (_asked(answers[0].demand), tuple(_decided(decision) for decision in answers))
        alike.setdefault(key, []).append(answers)
    read: set[object] = set()
    groups = []
    for members in alike.values():
        first = members[0][0].demand
        places = tuple(answers[0].demand.place for answers in members[1:])
        ids = tuple(answers[0].demand.id for answers in members)
        groups.append(Group(tuple(members[0]), places, ids, tells_reading=first.reading not in read))
        read.add(first.reading)
    return tuple(groups)


def _asked(demand: Demand) -> object:
    """What must be equal for two demands to ask the same; sounding pitches tell a piccolo from a flute."""
    pitches = (demand.pitches, demand.sounding, demand.to, demand.to_sounding)
    how = demand.fingering, demand.to_fingering, demand.instruction, demand.strokes, demand.continuous
    return demand.kind, pitches, how, demand.open_pitches, demand.reading


def _decided(decision: Decision) -> object:
    """What must be equal for two decisions to read the same (figures as they are shown)."""
    rounded = tuple(f"{cents:.0f}" for cents in decision.deviation_cents)
    figures = (rounded, tuple(map(round, decision.band_cents)), round(decision.confidence, 2))
    texts = (decision.flute, decision.status, words().say(decision.why), decision.fingering)
    others = tuple(one.fingering for one in decision.alternatives), decision.instead
    return texts, figures, others


def _finding_groups(findings: tuple[Finding, ...]) -> tuple[FindingGroup, ...]:
    """Equal messages together; errors first, then by code, then in the order they came."""
    ordered = sorted(findings, key=lambda one: (_SEVERITIES.get(one.severity, len(_SEVERITIES)), one.code))
    groups = []
    for (code, severity), members in groupby(ordered, key=lambda one: (one.code, one.severity)):
        texts: dict[tuple[str, str], list[Finding]] = {}
        for finding in members:
            said = words().say(finding.message), words().say(finding.advice)
            texts.setdefault(said, []).append(finding)
        for same in texts.values():
            places = tuple({str(one.place): one.place for one in same if one.place}.values())
            demands = tuple(one.demand for one in same)
            groups.append(FindingGroup(code, severity, same[0].message, same[0].advice, places, demands))
    return tuple(groups)
