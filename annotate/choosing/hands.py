"""What the hands hold one after the other: demands with the fingerings that answer them, and the ordinary notes beside
them with their standard fingerings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from annotate.choosing.desk import Desk, status_for
from annotate.decision import Decision, Status
from annotate.demand import Kind
from annotate.score import Event, Part
from fingering_db.fingering import Fingering
from fingering_db.hand import effort_of
from fingering_db.mechanism import chart_of
from fingering_db.motion import FingerMove, moves
from fingering_db.ranking import may_be_off, score

LONG_REST_SECONDS = 10.0
"""After so long a rest the hand starts afresh: ours."""

_OF_A_NOTE = 0.5  # of the shorter of two notes may pass while fingers move, beside a rest between them: ours
_PLAIN_CENTS = 10.0  # an ordinary note this near to a semitone has its standard fingering


@dataclass(frozen=True, slots=True)
class Option:
    """One way to hold: the fingering at its beginning, that at its end, and how good it is (as `finding.score`)."""

    start: Fingering
    end: Fingering
    score: float


@dataclass(frozen=True, slots=True)
class Hold:
    """What the hands hold from one event to another, on which flute (None for another instrument). options: the one decided
    on first. decision: None for an ordinary note."""

    first: Event
    last: Event
    desk: Desk | None
    options: tuple[Option, ...]
    decision: Decision | None


@dataclass(frozen=True, slots=True)
class Step:
    """From one hold to the next, on one flute. seconds: about how long the fingers may take."""

    desk: Desk
    before: Hold
    after: Hold
    seconds: float

    def moved(self) -> tuple[FingerMove, ...]:
        """The fingers that move between what was decided."""
        return moves(self.before.options[0].end, self.after.options[0].start)


DeskAt = Callable[[Event], Desk | None]


def lines(part: Part, decisions: Iterable[Decision], desk_at: DeskAt) -> tuple[tuple[Step, ...], ...]:
    """Unbroken lines of steps, each to or from a demand. decisions: of one flute for each demand; a demand without
    fingering, a long rest, another flute or a note that has no standard fingering breaks the line."""
    of_event = {event.start: one for one in decisions for event in one.demand.events}
    found: list[tuple[Step, ...]] = []
    for events in _voices(part):
        line: list[Step] = []
        for before, after in _pairs(events, of_event, desk_at):
            if line and line[-1].after is not before:
                found.append(tuple(line))
                line = []
            step = _step(before, after)
            if step is not None:
                line.append(step)
        found += [tuple(line)] if line else []
    return tuple(found)


def _voices(part: Part) -> list[list[Event]]:
    voices: dict[tuple[int, str], list[Event]] = {}
    for event in part.events:
        if not (event.cue or event.hidden or event.ossia):
            voices.setdefault((event.staff, event.voice), []).append(event)
    return [sorted(events, key=lambda one: (one.onset, not one.grace, one.start)) for events in voices.values()]


def _pairs(events: list[Event], of_event: dict[int, Decision], desk_at: DeskAt) -> list[tuple[Hold, Hold]]:
    """Neighbouring holds of which one at least is a demand; the same hold twice where a line goes on through it."""
    groups: list[tuple[Event, Event, Decision | None]] = []
    for event in events:
        decision = of_event.get(event.start)
        if groups and decision is not None and groups[-1][2] is decision:
            groups[-1] = (groups[-1][0], event, decision)
        else:
            groups.append((event, event, decision))
    near = [
        number
        for number in range(len(groups) - 1)
        if groups[number][2] is not None or groups[number + 1][2] is not None
    ]
    holds = {number: _hold(*groups[number], desk_at) for one in near for number in (one, one + 1)}
    return [(holds[number], holds[number + 1]) for number in near]


def _hold(first: Event, last: Event, decision: Decision | None, desk_at: DeskAt) -> Hold:
    desk = desk_at(first)
    if desk is None:
        return Hold(first, last, None, (), decision)
    options = _standard(first, desk) if decision is None else _options(decision, desk)
    return Hold(first, last, desk, options, decision)


def _standard(event: Event, desk: Desk) -> tuple[Option, ...]:
    """Standard fingerings of an ordinary note, none for a chord or a note beside the semitones."""
    if len(event.notes) > 1:
        return ()
    instrument = desk.model.instrument
    written = event.notes[0].sounding.midi - instrument.transposition_semitones
    own = [note.fingering for note in chart_of(instrument) if abs(note.pitch.midi - written) * 100.0 < _PLAIN_CENTS]
    return tuple(Option(fingering, fingering, 0.0) for fingering in own)


def _options(decision: Decision, desk: Desk) -> tuple[Option, ...]:
    """The fingering decided on, and, where no player decided nor found it to work, those of its alternatives
    that leave the status as it is."""
    if decision.status == Status.UNPLAYABLE or not decision.fingering:
        return ()
    demand = decision.demand
    tolerance = desk.tolerance(demand)
    own = decision.fingering
    end = decision.path[-1].fingering if decision.path else own
    found = [_option(own, end, decision.deviation_cents, decision.band_cents, decision.confidence)]
    tried = decision.tried is not None and decision.tried.works
    if demand.kind in (Kind.MULTIPHONIC, Kind.MICROTONE) and not decision.ruled and not tried:
        for other in decision.alternatives:
            worst = max(map(abs, other.deviation_cents))
            if status_for(worst, other.confidence, tolerance) == decision.status:
                held = other.fingering
                found.append(_option(held, held, other.deviation_cents, other.band_cents, other.confidence))
    return tuple(found)


@lru_cache(maxsize=1 << 12)  # equal demands have equal ones
def _option(
    start: Fingering, end: Fingering, cents: tuple[float, ...], band: tuple[float, ...], confidence: float
) -> Option:
    off = may_be_off(np.array([cents]), np.array([band])) if cents else np.zeros(1)
    worth = score(np.array([confidence]), off, np.array([effort_of(start)]))
    return Option(start, end, float(worth[0]))


def _step(before: Hold, after: Hold) -> Step | None:
    rest = max(after.first.seconds - before.last.seconds_end, 0.0)
    if rest > LONG_REST_SECONDS or not before.options or not after.options:
        return None
    if before.desk is None or before.desk != after.desk:
        return None  # the hand takes up another flute
    lengths = [event.seconds_end - event.seconds for event in (before.last, after.first)]
    return Step(before.desk, before, after, rest + _OF_A_NOTE * min(lengths))
