"""All that the techniques look at in one part, prepared once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from annotate.demand import Demand, Kind
from annotate.detecting.company import Company
from annotate.detecting.fingering_text import WrittenFingerings
from annotate.detecting.holding import HoldingWords
from annotate.detecting.instructions import Instructions
from annotate.detecting.players import PLAYERS, UNDECIDED, Verdict, judge_chords, reading_of, reading_of_note
from annotate.detecting.sonority import Link, Sonority, Ties, alternations, gather
from annotate.detecting.words import MULTIPHONIC, SEVERAL, Said, Spans, name_tells
from annotate.score import Event, Part


@dataclass(frozen=True, slots=True)
class Scene:
    """A part with its sonorities in order of time, ties, words, written fingerings, verdicts on chords.

    holding: which words hold where. verdicts: by index of the sonority; a chord tied from before has the verdict of the
    first. alternations: by index of a sonority, the other sound of its tremolo or trill.
    """

    part: Part
    sonorities: tuple[Sonority, ...]
    ties: Ties
    spans: Spans
    holding: HoldingWords
    fingerings: WrittenFingerings
    verdicts: dict[int, Verdict]
    index_of: dict[int, int]
    alternations: dict[int, Sonority]
    instructions: Instructions

    @classmethod
    def of(cls, part: Part, chords: str, company: Company, readings: Mapping[int, str]) -> Scene:
        """Prepare a part. readings: as in `detect`."""
        sonorities = gather(part.events)
        spans, ties, fingerings = Spans(part), Ties(sonorities), WrittenFingerings(part)
        several = spans.several is not None or SEVERAL in map(name_tells, (part.name, part.abbreviation))
        holding = HoldingWords(part, sonorities, spans, ties, several)
        verdicts = judge_chords(part, sonorities, spans, holding, fingerings, chords=chords, company=company)
        for index in verdicts:
            read = next((readings[event.start] for event in sonorities[index].events if event.start in readings), "")
            if read:
                verdicts[index] = Verdict(read)
        index_of = {event.start: index for index, s in enumerate(sonorities) for event in s.events}
        for index in sorted(verdicts):
            before = ties.before(sonorities[index])
            if before is not None:
                verdicts[index] = verdicts[index_of[before.first.start]]
        turns = alternations(part, sonorities)
        for index, other in turns.items():
            _agree(verdicts, index, index_of.get(other.first.start, -1))
        return cls(part, sonorities, ties, spans, holding, fingerings, verdicts, index_of, turns, Instructions(part))

    def sonority_of(self, event: Event) -> Sonority:
        return self.sonorities[self.index_of[event.start]]

    def verdict_of(self, sonority: Sonority) -> Verdict | None:
        """How a chord is read; None for a single note."""
        return self.verdicts.get(self.index_of[sonority.first.start])

    def multiphonic_word(self, sonority: Sonority) -> Said | None:
        """The technique word that makes a multiphonic of a note or chord."""
        return self.holding.technique_at(sonority, MULTIPHONIC)


def _agree(verdicts: dict[int, Verdict], one: int, other: int) -> None:
    """Both chords of a tremolo are read as the one of them that is decided: the same player, or the same players."""
    for decided, open_ in ((one, other), (other, one)):
        known, unknown = verdicts.get(decided), verdicts.get(open_)
        if known and unknown and unknown.outcome == UNDECIDED and known.outcome in (MULTIPHONIC, PLAYERS):
            verdicts[open_] = known


def demand(
    scene: Scene,
    kind: Kind,
    links: tuple[Link, ...],
    *,
    to: Link | None = None,
    fingering: str = "",
    open_pitches: bool = False,
    continuous: bool | None = None,
    word: str = "",
) -> Demand:
    """A demand on the events of `links`; its pitches are those of the first link. The id is given later."""
    events: list[Event] = []
    for link in links:
        held = {note.start for note in link.notes}
        whole = len(link.notes) == len(link.sonority.notes)
        events += [e for e in link.sonority.events if whole or held & {note.start for note in e.notes}]
    first = events[0]
    told = scene.instructions.slide_at(first.onset, first.staff)
    if kind == Kind.GLISSANDO:
        until = to.sonority.onset if to else first.onset
        told = scene.instructions.means_from(first.onset, until, first.staff) or told
    verdict = scene.verdict_of(links[0].sonority)
    reading = reading_of_note(word) if open_pitches else None
    if verdict is not None and verdict.outcome == MULTIPHONIC:
        reading = reading_of(verdict)
    return Demand(
        id="",
        kind=kind,
        place=scene.part.place(first),
        events=tuple(events),
        pitches=tuple(note.written for note in links[0].notes),
        sounding=tuple(note.sounding for note in links[0].notes),
        to=tuple(note.written for note in to.notes) if to else (),
        to_sounding=tuple(note.sounding for note in to.notes) if to else (),
        fingering=fingering,
        open_pitches=open_pitches,
        continuous=continuous,
        word=word,
        seconds_end=max(event.seconds_end for event in events),
        reading=reading,
        instruction=told,
    )
