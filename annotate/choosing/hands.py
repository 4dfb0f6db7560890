"""What the hands hold one after the other: every note of a flute part with the fingerings that can sound it, and the ways
between them, repeats and endings followed."""

from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from annotate.choosing.desk import Desk, equal_for_the_ear, status_of
from annotate.choosing.holds import Hold, Option
from annotate.choosing.joint import NEAR_MM, held_at, plain_out, with_the_joint, written_mm
from annotate.decision import Decision, Status
from annotate.decisions.kept import NO_RULING, Ruling
from annotate.demand import Demand, Kind
from annotate.detecting.instructions import Instructions
from annotate.score import Event, Part
from annotate.weights import WEIGHTS, Weights
from fingering_db.alternatives import fingers_from_chart, trills_of, ways_of
from fingering_db.fingering import Fingering
from fingering_db.hand import effort_of
from fingering_db.mechanism import has_touches
from fingering_db.motion import FingerMove, effort, moves
from fingering_db.pitch import STEPS
from fingering_db.ranking import may_be_off, score

_SIGNS = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2, "sharp-sharp": 2}
_LETTERS = "CDEFGAB"
_SHARPENED = "FCGDAEB"  # in the order in which keys sharpen them; flattened in the opposite one


def upper_of(part: Part, event: Event) -> float | None:
    """Semitones from a single note with a trill to its upper note; None where none is written."""
    note = event.notes[0]
    trill = next((one for one in note.ornaments if one.kind == "trill"), None)
    if trill is None:
        return None
    written = note.written
    letter = _LETTERS[(_LETTERS.index(written.step) + 1) % 7]
    alter = _SIGNS.get(trill.accidental)
    if alter is None:
        alter = _in_key(letter, _fifths(part, event))
    semitones = (STEPS[letter] - STEPS[written.step]) % 12 + alter - written.alter
    return float(semitones)


def _fifths(part: Part, event: Event) -> int:
    """The key at an event: sharps, or flats below 0."""
    at = bisect_right(part.keys, (event.bar_index, 99)) - 1
    return part.keys[at][1] if at >= 0 else 0


def _in_key(letter: str, fifths: int) -> int:
    if fifths >= 0:
        return int(letter in _SHARPENED[:fifths])
    return -int(letter in _SHARPENED[fifths:])


ENOUGH_A_SECOND = 8.0
"""Changes a second from which two sounds are a tremolo and no longer one after the other; three strokes ask for no more: ours."""
_MEASURED_STROKES = 2


def wanted_a_second(strokes: int, first: Event) -> float:
    """Changes a second that a tremolo's strokes ask for: one stroke eighths, two sixteenths at the tempo of the place, but no
    more than make a tremolo; three strokes, or a trill (0), as many as make one."""
    seconds = first.seconds_end - first.seconds
    if not 1 <= strokes <= _MEASURED_STROKES or seconds <= 0.0:
        return ENOUGH_A_SECOND
    return min(2.0**strokes * float(first.duration) / seconds, ENOUGH_A_SECOND)


@dataclass(frozen=True, slots=True)
class Join:
    """The way from one hold of a line to another, by their numbers. seconds: about how long the fingers may take; rest: of that
    the silence between [s]."""

    before: int
    after: int
    seconds: float
    rest: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """One voice of a part, whole: its holds in written order, and the ways between those that are played one after the other. A
    hold without options, a long rest and another flute join nothing."""

    holds: tuple[Hold, ...]
    joins: tuple[Join, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """From one hold to the next on one flute, as it was chosen. seconds: about how long the fingers may take; rest: of that the
    silence between [s]."""

    desk: Desk
    before: Hold
    after: Hold
    one: Option
    two: Option
    seconds: float
    rest: float

    @property
    def start(self) -> Fingering:
        """What is left."""
        return self.one.end

    @property
    def end(self) -> Fingering:
        """What is taken."""
        return self.two.start

    def moved(self) -> tuple[FingerMove, ...]:
        return moves(self.start, self.end)


DeskAt = Callable[[Event], Desk | None]
RulingAt = Callable[[Event], Ruling]


def lines(
    part: Part,
    decisions: Iterable[Decision],
    desk_at: DeskAt,
    ruling_at: RulingAt = lambda _: NO_RULING,
    weights: Weights = WEIGHTS,
) -> tuple[Line, ...]:
    """The voices of a part. decisions: of one flute for each demand."""
    of_event = {event.start: one for one in decisions for event in one.demand.events}
    found, said = [], Instructions(part)
    for events in _voices(part):
        groups = _groups(events, of_event)
        own = [_hold(part, *group, desk_at, ruling_at, weights, said) for group in groups]
        slides = any(abs(option.ends_mm) > NEAR_MM for hold in own for option in hold.options)
        holds = tuple(with_the_joint(own, weights, said) if slides else own)
        found.append(Line(holds, _joins(part, holds, weights)))
    return tuple(found)


def _voices(part: Part) -> list[list[Event]]:
    voices: dict[tuple[int, str], list[Event]] = {}
    for event in part.events:
        if not (event.cue or event.hidden or event.ossia):
            voices.setdefault((event.staff, event.voice), []).append(event)
    return [sorted(events, key=lambda one: (one.onset, not one.grace, one.start)) for events in voices.values()]


def _groups(events: list[Event], of_event: dict[int, Decision]) -> list[tuple[Event, Event, Decision | None]]:
    """Events held as one: those of one demand, and tied ones."""
    groups: list[tuple[Event, Event, Decision | None]] = []
    for event in events:
        decision = of_event.get(event.start)
        same = groups and groups[-1][2] is decision
        if same and (decision is not None or all(note.tie_stop for note in event.notes)):
            groups[-1] = (groups[-1][0], event, decision)
        else:
            groups.append((event, event, decision))
    return groups


def _hold(
    part: Part,
    first: Event,
    last: Event,
    decision: Decision | None,
    desk_at: DeskAt,
    ruling_at: RulingAt,
    weights: Weights,
    said: Instructions,
) -> Hold:
    desk = desk_at(first)
    if desk is None:
        return Hold(first, last, None, (), decision)
    if decision is not None:
        return Hold(first, last, desk, _options(decision, desk, weights), decision)
    out_mm = held_at(first, desk.model.instrument, said)
    return Hold(first, last, desk, _ordinary(part, first, desk, ruling_at(first), weights, out_mm), None)


def _ordinary(
    part: Part, event: Event, desk: Desk, ruling: Ruling, weights: Weights, out_mm: float
) -> tuple[Option, ...]:
    """Ways to hold an ordinary note, none for a chord or a note beside the semitones. out_mm: where the composer wants the head
    joint."""
    if len(event.notes) > 1:
        return ()
    if abs(out_mm) > NEAR_MM:
        options = _ruled(plain_out(event, desk, out_mm, weights), ruling, desk, weights)
        return tuple(replace(one, begins_mm=out_mm, ends_mm=out_mm) for one in options)
    instrument = desk.model.instrument
    written = event.notes[0].sounding.midi - instrument.transposition_semitones
    steps = upper_of(part, event)
    options = _plain(desk, written, weights) if steps is None else _trill(desk, written, written + steps, weights)
    return _ruled(options, ruling, desk, weights) if ruling is not NO_RULING else options


def _ruled(options: tuple[Option, ...], ruling: Ruling, desk: Desk, weights: Weights) -> tuple[Option, ...]:
    if ruling.fix is not None and has_touches(desk.model.instrument, ruling.fix):
        return (Option(ruling.fix, ruling.fix, weights.holding * effort_of(ruling.fix)),)
    ruling = replace(ruling, fix=None)
    allowed = [one for one in options if ruling.allows(one.start)] or list(options)
    liked = len(ruling.prefer)
    return tuple(
        replace(one, cost=one.cost - weights.preferred * (ruling.liking(one.start) < liked)) for one in allowed
    )


@lru_cache(maxsize=4096)
def _plain(desk: Desk, written: float, weights: Weights) -> tuple[Option, ...]:
    ways = ways_of(desk.model.instrument, written)
    return tuple(
        Option(
            one.fingering,
            one.fingering,
            weights.holding * effort_of(one.fingering) + weights.alternative * one.cost,
        )
        for one in ways
    )


@lru_cache(maxsize=4096)
def _trill(desk: Desk, written: float, upper: float, weights: Weights) -> tuple[Option, ...]:
    """For each way to hold the lower note the best one for the upper."""
    best: dict[Fingering, Option] = {}
    for low, high in trills_of(desk.model.instrument, written, upper):
        there = effort(desk.model, low.fingering, high.fingering)
        held = weights.holding * max(effort_of(low.fingering), effort_of(high.fingering))
        move = weights.trill * weights.moving * weights.most_hurry * there
        cost = held + weights.alternative * (low.cost + high.cost) + move
        known = best.get(low.fingering)
        if known is None or cost < known.cost:
            best[low.fingering] = Option(low.fingering, low.fingering, cost, high.fingering)
    return tuple(best.values()) or _plain(desk, written, weights)


def _options(decision: Decision, desk: Desk, weights: Weights) -> tuple[Option, ...]:
    """The fingering decided on, and, where no player decided nor found it to work, those of its alternatives
    that are equal for the ear and leave the status as it is."""
    if decision.status == Status.UNPLAYABLE or not decision.fingering:
        return ()
    demand = decision.demand
    tolerance = desk.tolerance(demand)
    own = decision.fingering
    end = decision.path[-1].fingering if decision.path else own
    first = _option(own, end, decision.deviation_cents, decision.band_cents, decision.confidence, weights)
    begins, ends = _slide(decision, desk)
    found = [replace(first, begins_mm=begins, ends_mm=ends) if begins or ends else first]
    tried = decision.tried is not None and decision.tried.works
    if demand.kind in (Kind.MULTIPHONIC, Kind.MICROTONE) and not decision.ruled and not tried:
        for other in decision.alternatives:
            if status_of(other, tolerance) == decision.status and equal_for_the_ear(other, decision):
                held = other.fingering
                figures = other.deviation_cents, other.band_cents, other.confidence
                found.append(_option(held, held, *figures, weights))
    return (
        tuple(_unusual(one, demand, desk, weights) for one in found) if demand.kind == Kind.MICROTONE else tuple(found)
    )


def _unusual(option: Option, demand: Demand, desk: Desk, weights: Weights) -> Option:
    """A microtone's with what it costs to be far from the fingerings that a hand knows."""
    written = demand.sounding[0].midi - desk.model.instrument.transposition_semitones
    away = fingers_from_chart(desk.model.instrument, option.start, written)
    return replace(option, cost=option.cost + weights.unusual * away)


def _slide(decision: Decision, desk: Desk) -> tuple[float, float]:
    """Where the head joint is at the beginning and at the end [mm]."""
    if decision.demand.kind == Kind.GLISSANDO and decision.path:
        return decision.path[0].slide_mm, decision.path[-1].slide_mm
    out = written_mm(decision.demand.instruction, desk.model.instrument)
    return out, out


@lru_cache(maxsize=1 << 12)  # equal demands have equal ones
def _option(
    start: Fingering,
    end: Fingering,
    cents: tuple[float, ...],
    band: tuple[float, ...],
    confidence: float,
    weights: Weights,
) -> Option:
    off = may_be_off(np.array([cents]), np.array([band])) if cents else np.zeros(1)
    worth = float(score(np.array([confidence]), off, np.zeros(1))[0])
    return Option(start, end, weights.sounding * (1.0 - worth) + weights.holding * effort_of(start))


def _joins(part: Part, holds: tuple[Hold, ...], weights: Weights) -> tuple[Join, ...]:
    """As written; where there are repeats, as played."""
    joins: dict[tuple[int, int], Join] = {}
    for before, after in _played(part, holds) if part.played else pairwise(range(len(holds))):
        join = _join(holds, before, after, weights)
        known = joins.get((before, after))
        if join is not None and (known is None or join.seconds < known.seconds):
            joins[before, after] = join
    return tuple(joins.values())


def _played(part: Part, holds: tuple[Hold, ...]) -> Iterable[tuple[int, int]]:
    by_bar: dict[int, list[int]] = {}
    for number, hold in enumerate(holds):
        by_bar.setdefault(hold.first.bar_index, []).append(number)
    return dict.fromkeys(pairwise(number for bar in part.played for number in by_bar.get(bar, ())))


def _join(holds: tuple[Hold, ...], before: int, after: int, weights: Weights) -> Join | None:
    one, two = holds[before], holds[after]
    if not one.options or not two.options or one.desk is None or one.desk != two.desk:
        return None
    rest = two.first.seconds - one.last.seconds_end
    if after != before + 1:  # back in a repeat, or past an ending: the rest before the note in its bar
        rest = _into_bar(two.first)
    rest = max(rest, 0.0)
    if rest > weights.rest_resets_s:
        return None
    if strokes_between(one.last, two.first) is not None:
        return Join(before, after, weights.of_a_note / ENOUGH_A_SECOND)
    held = ((one, one.last), (two, two.first))
    shorter = min(weights.grace_s if event.grace else hold.seconds(event) for hold, event in held)
    return Join(before, after, rest + weights.of_a_note * shorter, rest)


def strokes_between(before: Event, after: Event) -> int | None:
    """Strokes of a tremolo between two notes that are written as one after the other, None where there is none."""
    ends = ((before, "start"), (after, "stop"))
    signs = [
        [one for one in each.notes[0].ornaments if (one.kind, one.role) == ("tremolo", role)] for each, role in ends
    ]
    return signs[0][0].strokes if all(signs) else None


def _into_bar(event: Event) -> float:
    """Seconds from the beginning of its bar to an event, at the tempo of the event; 0 for a grace note."""
    if not event.duration:
        return 0.0
    return float(event.in_bar / event.duration) * (event.seconds_end - event.seconds)
