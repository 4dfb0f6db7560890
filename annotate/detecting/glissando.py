"""Glissandi: lines from note to note; several between two chords of one player are one demand."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import takewhile

from annotate.demand import Demand, Kind
from annotate.detecting.multiphonic import opening
from annotate.detecting.players import UNDECIDED
from annotate.detecting.scene import Scene, demand
from annotate.detecting.sonority import Sonority, is_silent
from annotate.detecting.words import GLISSANDO as GLISSANDO_ROLE
from annotate.detecting.words import MULTIPHONIC, Said, find_words
from annotate.findings import Finding
from annotate.score import Event, Note, SlideMark
from fingering_db.message import Message


@dataclass(frozen=True, slots=True)
class End:
    """One end of a line: the mark, its note and event."""

    event: Event
    note: Note
    mark: SlideMark

    @property
    def key(self) -> tuple[str, int, str, int]:
        return self.event.voice, self.event.staff, self.mark.kind, self.mark.number


@dataclass(frozen=True, slots=True)
class Pairs:
    """Lines with both ends, and the ends that stay alone."""

    lines: tuple[tuple[End, End], ...]
    orphans: tuple[End, ...]


@dataclass(frozen=True, slots=True)
class Glissandi:
    """Demands and findings of this technique, and the byte offsets of the notes that they use."""

    demands: tuple[Demand, ...]
    findings: tuple[Finding, ...]
    used: frozenset[int]


def _ends(event: Event, role: str) -> list[End]:
    notes = sorted(event.notes, key=lambda note: note.sounding.midi)
    return [End(event, note, mark) for note in notes for mark in note.slides if mark.role == role]


def pair_lines(events: Iterable[Event]) -> Pairs:
    """Pair starts and stops by voice, kind and number, each start with the nearest later stop.

    Unnumbered lines on several notes of a chord pair from the lowest note up. A stop on the note where the
    next line starts closes the earlier one. A start repeated before any stop leaves the earlier one alone.
    """
    waiting: dict[tuple[str, int, str, int], list[End]] = defaultdict(list)
    lines: list[tuple[End, End]] = []
    orphans: list[End] = []
    for event in sorted(events, key=lambda e: (e.onset, not e.grace, e.start)):
        for stop in _ends(event, "stop"):
            if waiting[stop.key]:
                lines.append((waiting[stop.key].pop(0), stop))
            else:
                orphans.append(stop)
        for start in _ends(event, "start"):
            earlier = [end for end in waiting[start.key] if end.event.start != event.start]
            if earlier:
                orphans += earlier
                waiting[start.key].clear()
            waiting[start.key].append(start)
    orphans += [end for ends in waiting.values() for end in ends]
    orphans.sort(key=lambda end: (end.event.onset, end.note.start))
    return Pairs(tuple(lines), tuple(orphans))


def _line_finding(code: str, scene: Scene, end: End) -> Finding:
    sign = Message(f"sign.{end.mark.kind}")
    return Finding.of(code, scene.part.place(end.event), sign=sign, pitch=end.note.written)


def _between_finding(scene: Scene, start: Sonority, stop: Sonority, line: tuple[End, End]) -> list[Finding]:
    """A line over notes of its own voice: glissando and run, or a wrong end."""
    event = start.first
    first, last = scene.index_of[event.start], scene.index_of[stop.first.start]
    between = [
        each
        for each in scene.sonorities[first + 1 : last]
        if each.first.voice == event.voice and each.first.staff == event.staff and not each.first.grace
    ]
    tied = scene.ties.tied_between(start, stop)
    count = sum(each.first.start not in tied for each in between)
    if not count:
        return []
    sign, pitch, to = Message(f"sign.{line[0].mark.kind}"), line[0].note.written, line[1].note.written
    return [Finding.of("G206", scene.part.place(event), sign=sign, pitch=pitch, to=to, n=count)]


def _words_on(scene: Scene, start: Sonority, stop: Sonority) -> list[Said]:
    """Glissando words from the start of a line up to its end."""
    until = max(stop.onset, start.onset)
    return [
        said
        for said in takewhile(lambda each: each.direction.onset <= until, scene.spans.glissandi_from(start.onset))
        if (scene.part.staves == 1 or said.direction.staff == start.first.staff)
        and (said.direction.onset < stop.onset or said.direction.onset == start.onset)
    ]


def _told(words: list[Said], lines: list[tuple[End, End]]) -> tuple[str, bool | None]:
    """The word at a glissando as written, and whether words tell it smooth or chromatic."""
    hits = [said.hit for said in words]
    texts = [end.mark.text for line in lines for end in line if end.mark.text.strip()]
    hits += [hit for text in texts for hit in find_words(text) if hit.technique.role == GLISSANDO_ROLE]
    for hit in hits:
        if hit.technique.continuous is not None:
            return hit.word, hit.technique.continuous
    return (hits[0].word if hits else texts[0].strip() if texts else ""), None


def _between(
    scene: Scene, start: Sonority, stop: Sonority, lines: list[tuple[End, End]], used: set[int]
) -> list[Demand]:
    """The demands of all lines that lead from one sonority to another."""
    verdicts = [scene.verdict_of(sonority) for sonority in (start, stop)]
    routes: list[tuple[tuple[Note, ...], tuple[Note, ...]]] = [((), ())]
    if not all(verdict is None or verdict.outcome == MULTIPHONIC for verdict in verdicts):
        # Each player, or the flute beside the voice, has a line of his own.
        routes = [((a.note,), (b.note,)) for a, b in lines]
    words = _words_on(scene, start, stop)
    word, continuous = _told(words, lines)
    found = []
    for own, others in routes:
        # Empty: all notes of the sonority. What is tied to them has their pitches too.
        if [n.sounding.midi for n in own or start.notes] == [n.sounding.midi for n in others or stop.notes]:
            continue
        before, after = scene.ties.chain(start, own), scene.ties.chain(stop, others)
        seen = {link.sonority.first.start for link in before}
        links = before + tuple(link for link in after if link.sonority.first.start not in seen)
        used.update(note.start for link in links for note in link.notes)
        opened = opening(scene, start) if len(before[0].notes) == 1 else None
        opening_word = opened.word if opened else ""
        told = {"fingering": scene.fingerings.at(before[0].sonority), "word": word or opening_word}
        open_pitches, to = bool(opening_word), after[0]
        found.append(
            demand(scene, Kind.GLISSANDO, links, to=to, open_pitches=open_pitches, continuous=continuous, **told)
        )
    return found


def _word_findings(scene: Scene, groups: Iterable[tuple[Sonority, Sonority]]) -> list[Finding]:
    """Glissando words in bars where no line starts or is under way."""
    bars = {bar for start, stop in groups for bar in range(start.first.bar_index, stop.first.bar_index + 1)}
    return [
        Finding.of("G204", scene.part.place_of_word(said.direction), word=said.hit.word)
        for said in scene.spans.of_role(GLISSANDO_ROLE)
        if said.hit.technique.id != "chromatic run" and said.direction.bar_index not in bars
    ]


def find_glissandi(scene: Scene) -> Glissandi:
    """All glissandi of a part. One without a second end, a way to go or a printed end is a finding."""
    pairs = pair_lines(scene.part.events)
    alone = [end for end in pairs.orphans if not is_silent(end.event)]
    findings = [_line_finding("G201" if end.mark.role == "start" else "G202", scene, end) for end in alone]
    groups: dict[tuple[int, int], list[tuple[End, End]]] = defaultdict(list)
    for start, stop in pairs.lines:
        silent = [is_silent(end.event) for end in (start, stop)]
        if not any(silent):
            groups[scene.index_of[start.event.start], scene.index_of[stop.event.start]].append((start, stop))
        elif not all(silent):
            event = stop.event if silent[0] else start.event
            key = "reading.from_unseen" if silent[0] else "reading.to_unseen"
            message = Message(key, sign=Message(f"sign.{start.mark.kind}"))
            findings.append(Finding.of("G205", scene.part.place(event), message=message))
    demands: list[Demand] = []
    used: set[int] = set()
    ends = []
    for (first, last), lines in groups.items():
        start_sonority, stop_sonority = scene.sonorities[first], scene.sonorities[last]
        ends.append((start_sonority, stop_sonority))
        verdicts = (scene.verdicts.get(first), scene.verdicts.get(last))
        if any(verdict is not None and verdict.outcome == UNDECIDED for verdict in verdicts):
            continue  # told with the chord
        found = _between(scene, start_sonority, stop_sonority, lines, used)
        demands += found
        if not found:
            findings.append(_line_finding("G203", scene, lines[0][0]))
        findings += _between_finding(scene, start_sonority, stop_sonority, lines[0])
    findings += _word_findings(scene, ends)
    return Glissandi(tuple(demands), tuple(findings), frozenset(used))
