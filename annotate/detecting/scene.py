"""All that the techniques look at in one part, prepared once."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from annotate.demand import Demand, Kind
from annotate.detecting.fingering_text import WrittenFingerings
from annotate.detecting.players import Verdict, judge_chords
from annotate.detecting.sonority import Link, Sonority, Ties, gather
from annotate.detecting.words import MULTIPHONIC, Said, Spans
from annotate.score import Event, Part
from fingering_db.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Scene:
    """A part with its sonorities in order of time, ties, words, written fingerings, verdicts on chords.

    verdicts: by index of the sonority; a chord tied from before has the verdict of the first. by_staff: the sonorities by
    staff, all under 0 in a part of one staff.
    """

    part: Part
    sonorities: tuple[Sonority, ...]
    ties: Ties
    spans: Spans
    fingerings: WrittenFingerings
    verdicts: dict[int, Verdict]
    index_of: dict[int, int]
    by_staff: dict[int, list[Sonority]]

    @classmethod
    def of(cls, part: Part, chords: str, parts_in_score: int) -> Scene:
        """Prepare a part."""
        sonorities = gather(part.events)
        spans, ties, fingerings = Spans(part), Ties(sonorities), WrittenFingerings(part)
        verdicts = judge_chords(part, sonorities, spans, fingerings, chords=chords, parts_in_score=parts_in_score)
        index_of = {event.start: index for index, s in enumerate(sonorities) for event in s.events}
        for index in sorted(verdicts):
            before = ties.before(sonorities[index])
            if before is not None:
                verdicts[index] = verdicts[index_of[before.first.start]]
        by_staff: dict[int, list[Sonority]] = {}
        for sonority in sonorities:
            by_staff.setdefault(sonority.first.staff if part.staves > 1 else 0, []).append(sonority)
        return cls(part, sonorities, ties, spans, fingerings, verdicts, index_of, by_staff)

    def sonority_of(self, event: Event) -> Sonority:
        """The sonority an event belongs to."""
        return self.sonorities[self.index_of[event.start]]

    def verdict_of(self, sonority: Sonority) -> Verdict | None:
        """How a chord is read; None for a single note."""
        return self.verdicts.get(self.index_of[sonority.first.start])

    def first_under(self, said: Said) -> Sonority | None:
        """The first sonority at or after a word, on its staff."""
        on_staff = self.by_staff.get(said.direction.staff if self.part.staves > 1 else 0, [])
        index = bisect_left(on_staff, said.direction.onset, key=lambda sonority: sonority.onset)
        return on_staff[index] if index < len(on_staff) else None

    def multiphonic_word(self, sonority: Sonority) -> Said | None:
        """The technique word that makes a multiphonic of a single note.

        A word that stands at a chord speaks of written chords; single notes after it stay single notes.
        """
        said = self.spans.technique_at(sonority.first, MULTIPHONIC)
        if said is None:
            return None
        first = self.first_under(said)
        return None if first is not None and first.is_chord else said


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
    target: tuple[tuple[Pitch, Pitch], ...] = ()
    if to is not None:
        target = tuple((note.written, note.sounding) for note in to.notes)
    first = events[0]
    return Demand(
        id="",
        kind=kind,
        place=scene.part.place(first),
        events=tuple(events),
        pitches=tuple(note.written for note in links[0].notes),
        sounding=tuple(note.sounding for note in links[0].notes),
        to=tuple(written for written, _ in target),
        to_sounding=tuple(sounding for _, sounding in target),
        fingering=fingering,
        open_pitches=open_pitches,
        continuous=continuous,
        word=word,
        seconds_end=max(event.seconds_end for event in events),
    )
