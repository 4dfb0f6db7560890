"""From the bytes of a MusicXML file to a Score. Two steps: all parts within their bars, then time for all of
them."""

from collections.abc import Collection
from dataclasses import replace
from fractions import Fraction
from typing import NoReturn

from annotate.files.encoding import TextForm, inspect
from annotate.findings import Finding, InputError, Remarks
from annotate.reading.flute_parts import flute_family
from annotate.reading.heading import read_part_list, read_title
from annotate.reading.part import LEFT_OUT, SKIMMED, PartReader, RawPart, pickup
from annotate.reading.repeats import order_played
from annotate.reading.time import DEFAULT_TEMPO, Timeline, bar_lengths
from annotate.reading.tree import Node, walk
from annotate.reading.values import shown
from annotate.score import Direction, Event, LineOverStaff, Part, Score, ScoreInstrument
from fingering_db.message import Message

_NAMES = {"utf-8": "UTF-8", "iso8859-1": "ISO-8859-1", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}


def repairs(form: TextForm) -> tuple[Finding, ...]:
    """What is wrong with the bytes of a file of this form, as warnings."""
    found: list[Finding] = []
    if form.start:
        found.append(Finding.of("F103", None))
    if form.contradicted:
        found.append(Finding.of("F101", None, declared=form.declared, actual=_NAMES[form.encoding]))
    if form.broken_at >= 0:
        found.append(Finding.of("F102", None, byte=form.broken_at))
    return tuple(found)


MAX_BYTES = 256 * 2**20
"""Largest score that is read."""


def read_headings(data: bytes) -> Score:
    """Title and list of parts, no music; of what follows the list of parts only changes of instruments are looked at.

    data: the XML bytes. Raises InputError in one line.
    """
    return _with_changes(_read(data, None, headings_only=True), data)


def _with_changes(headings: Score, data: bytes) -> Score:
    """The headings, with the instruments that a part for no flute changes to on its way."""
    forms = ("ascii", "utf-16-le", "utf-16-be")
    music = data[max(data.rfind("</part-list>".encode(form)) for form in forms) :]
    if not any("<instrument-sound".encode(form) in music for form in forms):
        return headings
    changed = {part.id: part.instruments for part in read_score(data, ()).parts}
    parts = tuple(
        part if flute_family(part) else replace(part, instruments=changed.get(part.id, part.instruments))
        for part in headings.parts
    )
    return replace(headings, parts=parts)


def read_score(data: bytes, wanted: Collection[str] | None = None) -> Score:
    """The whole score: notes and directions of the `wanted` parts (ids; None for all), tempo from all parts.

    data: the XML bytes. Raises InputError, in one line with part and bar, for what cannot be read.
    """
    return _read(data, wanted, headings_only=False)


def _read(data: bytes, wanted: Collection[str] | None, *, headings_only: bool) -> Score:
    if len(data) > MAX_BYTES:
        raise InputError(Message("score.too_large", size=len(data) >> 20, most=MAX_BYTES >> 20))
    form = inspect(data)
    gathering = _Gathering(wanted, headings_only)
    walk(data, form, gathering)
    # Timing makes remarks too, so it comes before they are collected.
    parts = gathering.parts if headings_only else gathering.timed()
    return Score(parts, gathering.version, gathering.title, repairs(form) + gathering.remarks.findings())


class _Gathering:
    """Receives the score bar by bar."""

    def __init__(self, wanted: Collection[str] | None, headings_only: bool) -> None:
        self.headings_only = headings_only
        self.version = self.title = ""
        self.parts: tuple[Part, ...] = ()
        self._listed: dict[str, Part] = {}
        self._wanted = wanted
        self.remarks = Remarks()
        self._raw: dict[str, RawPart] = {}
        self._reader: PartReader | None = None

    def root(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "score-timewise":
            raise InputError(Message("score.timewise"))
        if tag != "score-partwise":
            raise InputError(Message("score.other_root", tag=shown(tag)))
        self.version = attributes.get("version", "")

    def heading(self, node: Node) -> None:
        if node.tag == "part-list":
            if self.parts:
                return  # the first list counts: who reads the headings alone sees no other
            self.parts = read_part_list(node)
            self._listed = {part.id: part for part in self.parts}
        else:
            self.title = read_title(node) or self.title

    def open_part(self, part_id: str) -> tuple[frozenset[str], bool]:
        if not part_id and len(self._raw) < len(self.parts):
            # Some programs leave the id out: then the order tells.
            part_id = self.parts[len(self._raw)].id
        part = self._listed.get(part_id)
        if part_id in self._raw:
            raise InputError(Message("score.part_twice", id=part_id))
        if part is None:
            part = Part(part_id, len(self.parts) + 1, part_id, "")
            self.parts = (*self.parts, part)
            self._listed[part_id] = part
            self.remarks.add(Finding.of("R110", None, id=shown(part_id)))
        full = self._wanted is None or part_id in self._wanted
        self._reader = PartReader(part, full, self.remarks)
        self._raw[part_id] = self._reader.raw
        return (LEFT_OUT, False) if full else (SKIMMED, True)

    def measure(self, node: Node) -> None:
        assert self._reader is not None
        self._reader.measure(node)

    def refuse(self, node: Node, why: Message) -> NoReturn:
        assert self._reader is not None
        self._reader.refuse(node, why)

    def close_part(self) -> None:
        self._reader = None

    def timed(self) -> tuple[Part, ...]:
        """The parts with their music, times told."""
        raws = list(self._raw.values())
        lengths = bar_lengths([_told_contents(raw) for raw in raws], [raw.meters for raw in raws])
        timeline = Timeline(lengths, [mark for raw in raws for mark in raw.tempos])
        if raws and not timeline.told:
            self.remarks.add(Finding.of("R101", None, tempo=DEFAULT_TEMPO))
        rehearsals = _rehearsals(raws, len(lengths))
        done = []
        for part in self.parts:
            raw = self._raw.get(part.id)
            if raw is None:
                self.remarks.add(Finding.of("R111", None, part=part.title))
            done.append(part if raw is None else _timed_part(part, raw, timeline, rehearsals))
        return tuple(done)


def _told_contents(raw: RawPart) -> list[Fraction]:
    """What a part tells of the lengths of bars; nothing where it rests in an unnumbered bar.

    Such bars are pick-ups and halves of split bars, and programs write a rest of a whole bar into them.
    """
    return [
        Fraction(0) if silent and implicit else content
        for content, silent, implicit in zip(raw.contents, raw.silent, raw.implicit, strict=True)
    ]


def _rehearsals(raws: list[RawPart], bars: int) -> list[str]:
    """For each bar 'C', 'C+1', .. since the last rehearsal mark of any part, '' before the first."""
    marks: dict[int, str] = {}
    for raw in raws:
        for index, text in raw.rehearsals.items():
            marks.setdefault(index, text)
    told: list[str] = []
    letter, since = "", 0
    for index in range(bars):
        if index in marks:
            letter, since = marks[index], index
        told.append(letter + (f"+{index - since}" if letter and index > since else ""))
    return told


def _timed_part(part: Part, raw: RawPart, timeline: Timeline, rehearsals: list[str]) -> Part:
    changed = tuple(ScoreInstrument(id, "", sound) for id, sound in raw.changed.items())
    # Before the change the part's only instrument plays.
    first = part.instruments[0].id if changed and len(part.instruments) == 1 else ""
    pads = [pickup(raw, index, timeline.lengths) for index in range(len(raw.bars))]
    events = [_event(each, raw, timeline, pads, rehearsals, first) for each in raw.events]
    events.sort(key=lambda event: event.onset)
    directions = [_direction(each, raw, timeline, pads) for each in raw.directions]
    doubles = {
        timeline.moment(index, timeline.lengths[index] if offset is None else offset)
        for index, offset in raw.double_bars
    }
    return replace(
        part,
        instruments=part.instruments + changed,
        events=tuple(events),
        directions=tuple(directions),
        double_bars=tuple(sorted(doubles)),
        lines=tuple(
            LineOverStaff(timeline.moment(*start), timeline.moment(*stop), on) for start, stop, on in raw.lines
        ),
        keys=tuple(sorted(raw.keys)),
        dynamics=tuple(sorted((timeline.moment(bar, at), staff, sign) for bar, at, staff, sign in raw.dynamics)),
        played=order_played(len(raw.bars), raw.repeats) if raw.repeats else (),
        staves=raw.staves,
        multiple_voices=len(raw.voices) > 1,
        octaves_transposed=raw.octaves_transposed,
    )


def _event(
    event: Event, raw: RawPart, timeline: Timeline, pads: list[Fraction], rehearsals: list[str], first: str
) -> Event:
    """The event with its place and time. first: the instrument of those that tell none."""
    index = event.bar_index
    onset = timeline.moment(index, event.in_bar)
    return replace(
        event,
        bar=raw.bars[index],
        beat=1 + (pads[index] + event.in_bar) / raw.meters[index].unit,
        onset=onset,
        seconds=timeline.seconds(onset),
        seconds_end=timeline.seconds(onset + event.duration),
        rehearsal=rehearsals[index],
        instrument=event.instrument or first,
    )


def _direction(direction: Direction, raw: RawPart, timeline: Timeline, pads: list[Fraction]) -> Direction:
    onset = max(Fraction(0), timeline.moment(direction.bar_index, direction.onset))
    # A negative offset may put words into the bar before.
    index = min(timeline.bar_at(onset), direction.bar_index)
    beat = 1 + (onset - timeline.bars[index] + pads[index]) / raw.meters[index].unit
    return replace(direction, onset=onset, bar=raw.bars[index], bar_index=index, beat=beat)
