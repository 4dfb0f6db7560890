"""Which flutes each event of a part is judged on."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from annotate.choosing.desk import Desk
from annotate.decision import Decision
from annotate.detecting.detect import Detected
from annotate.findings import Finding
from annotate.language import known_remark
from annotate.reading.changes import Turns
from annotate.score import Event, Part
from fingering_db.message import Message

DesksAt = Callable[[Event], list[Desk]]
"""The flutes that an event is judged on, the one that decides first; none where no flute of ours plays it."""


def desks_at(played: Turns, desks: Mapping[str, list[Desk]], event: Event) -> list[Desk]:
    """The flutes for an event. desks: by family."""
    return desks[played.family_of(event)]


def on_our_flutes(detected: Detected, at: DesksAt) -> Detected:
    """The same without what is played on another instrument or on a kind of flute without a model."""
    return replace(
        detected,
        demands=tuple(demand for demand in detected.demands if at(demand.events[0])),
        undecided=tuple(one for one in detected.undecided if at(one.events[0])),
    )


def transpositions(part: Part, at: DesksAt) -> tuple[Finding, ...]:
    """A finding for each flute whose notes the file transposes otherwise than the flute does, at the first of them."""
    found: dict[str, Finding] = {}
    for event in part.events:
        desks = [] if event.cue or event.hidden else at(event)
        if not desks or desks[0].name in found:
            continue
        note, own = event.notes[0], desks[0].model.instrument.transposition_semitones
        told = round(note.sounding.midi - note.written.midi)
        if told != own:
            values: dict[str, Any] = {"flute": desks[0].name, "own": _semitones(own), "told": _semitones(told)}
            found[desks[0].name] = Finding.of("R113", part.place(event), **values)
    return tuple(found.values())


def flute_remarks(part: Part, decisions: Iterable[Decision], desks: Mapping[str, list[Desk]]) -> tuple[Finding, ...]:
    """What the files of the part's flutes say that bears on all their figures, of those flutes that something was judged
    on; and that the player's log was heeded."""
    decisions = tuple(decisions)
    judged_on = {decision.flute for decision in decisions}
    known = {desk.name: desk for own in desks.values() for desk in own if desk.model.instrument.remark}
    used = {name: desk for name, desk in known.items() if name in judged_on}
    less_certain = tuple(
        Finding.of(
            "P7", part.whole, flute=name, remark=known_remark(desk.model.instrument.remark), band=desk.band_cents()
        )
        for name, desk in used.items()
    )
    return less_certain + _heeded(part, decisions, desks)


def _heeded(part: Part, decisions: Iterable[Decision], desks: Mapping[str, list[Desk]]) -> tuple[Finding, ...]:
    """That the player's log knows something of places here, whether a report shows them or not."""
    known = {desk.name: desk for own in desks.values() for desk in own}

    def is_known(one: Decision) -> bool:
        desk = known.get(one.flute)
        return desk is not None and bool(desk.experience.about(one.demand.sounding, desk.model.instrument))

    places = {one.demand.id for one in decisions if is_known(one)}
    return (Finding.of("P13", part.whole, n=len(places)),) if places else ()


def _semitones(count: int) -> Message:
    if not count:
        return Message("reading.as_written")
    return Message("reading.semitones_above" if count > 0 else "reading.semitones_below", n=abs(count))
