"""The notes of one bar: accidentals settled in the order of sounding, then gathered to chords."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from annotate.reading.notes import RawNote, details_of
from annotate.reading.pitch_reading import (
    AccidentalMemory,
    Reading,
    Witness,
    pitch_of,
    read_alter,
    read_octave,
    read_step,
)
from annotate.reading.values import MalformedError
from annotate.score import Note
from fingering_db.message import Message

MAX_AT_ONCE = 500

Remark = Callable[..., None]
"""Takes code, the moment in the bar [quarters], and what else `Finding.of` takes."""


@dataclass(slots=True)
class RawEvent:
    """A chord within its bar. notes: the visible ones, or all where none is visible. Times in quarters."""

    notes: tuple[Note, ...]
    bar_index: int
    offset: Fraction
    duration: Fraction
    voice: str
    staff: int
    grace: bool
    cue: bool
    hidden: bool
    ossia: bool
    instrument: str
    chord_start: int


class ChordReader:
    """Reads the notes of the bars of one part in order, appending to `events`."""

    def __init__(self, events: list[RawEvent], remark: Remark) -> None:
        self._events = events
        self._remark = remark
        self._memory = AccidentalMemory()

    def bar(self, pending: list[RawNote], bar_index: int, in_order: bool) -> None:
        """Read a bar. pending: its notes in the order of the file; in_order: that is the order of sounding
        too.

        Raises MalformedError.
        """
        self._memory.new_bar()
        if len(pending) > MAX_AT_ONCE:
            _check_moments(pending)
        order = range(len(pending))
        sounding = order if in_order else sorted(order, key=lambda index: pending[index].offset)
        notes: dict[int, Note] = {}
        for index in sounding:
            note = self._note(pending[index])
            if note is not None:
                notes[index] = note
        chord: list[int] = []
        for index in order:
            if chord and not pending[index].chord:
                self._emit(pending, notes, chord, bar_index)
                chord = []
            chord.append(index)
        if chord:
            self._emit(pending, notes, chord, bar_index)

    def _note(self, raw: RawNote) -> Note | None:
        kids = raw.kids
        pitch = kids.get("pitch")
        if pitch is None:
            if "rest" not in kids and "unpitched" not in kids:
                self._remark("R107", raw.offset)
            return None
        parts = {child.tag: child.text for child in pitch.children}
        step, octave = read_step(parts.get("step", "")), read_octave(parts.get("octave", ""))
        ignored: list[Message] = []
        details = details_of(raw, ignored)
        for sentence in ignored:
            self._remark("R105", raw.offset, message=sentence, advice=Message("reading.check_note"))
        mark = kids.get("accidental")
        witness = Witness(
            (raw.staff, step, octave),
            read_alter(parts["alter"]) if "alter" in parts else None,
            mark.text.strip() if mark is not None else "",
            mark.attributes.get("smufl", "") if mark is not None else "",
            details.tie_start,
            details.tie_stop,
        )
        reading = self._memory.read(witness)
        self._doubts(reading, raw.offset)
        written = pitch_of(step, octave, reading)
        head, stem = kids.get("notehead"), kids.get("stem")
        return Note(
            start=raw.node.start,
            end=raw.node.end,
            written=written,
            sounding=raw.transposition.apply(written) if raw.transposition else written,
            tie_start=details.tie_start,
            tie_stop=details.tie_stop,
            slides=details.slides,
            notehead=head.text.strip() if head is not None else "",
            notehead_open=head is not None and head.attributes.get("filled") == "no",
            technical=details.technical,
            articulations=details.articulations,
            bend_alters=details.bend_alters,
            accidental=witness.accidental,
            stem=stem.text.strip() if stem is not None else "",
            microtonal_as_printed=reading.as_printed,
            slur_starts=details.slur_starts,
            slur_stops=details.slur_stops,
            ornaments=details.ornaments,
            parenthesised=head is not None and head.attributes.get("parentheses") == "yes",
        )

    def _doubts(self, reading: Reading, offset: Fraction) -> None:
        if reading.conflict:
            self._remark("R103", offset, message=reading.conflict)
        if reading.unsized:
            self._remark("R104", offset, name=reading.unsized, cents=reading.alter * 100 + reading.cents)

    def _emit(self, pending: list[RawNote], notes: dict[int, Note], chord: list[int], bar_index: int) -> None:
        pitched = [index for index in chord if index in notes]
        if not pitched:
            return
        seen = [index for index in pitched if not pending[index].unseen]
        shown = seen or pitched
        first = pending[chord[0]]
        self._events.append(
            RawEvent(
                notes=tuple([notes[index] for index in shown]),
                bar_index=bar_index,
                offset=first.offset,
                duration=first.duration,
                voice=first.voice,
                staff=pending[shown[0]].staff,
                grace=first.grace,
                cue=all("cue" in pending[index].kids for index in shown),
                hidden=not seen,
                ossia=all(pending[index].ossia for index in shown),
                instrument=first.instrument,
                chord_start=-1 if shown[0] == chord[0] else first.node.start,
            )
        )


def _check_moments(pending: list[RawNote]) -> None:
    """Refuse more notes and chords at one moment than anybody writes: each of them is compared with all others there."""
    count = Counter(raw.offset for raw in pending if not raw.chord)
    if max(count.values(), default=0) > MAX_AT_ONCE:
        raise MalformedError(Message("score.notes_at_once", most=MAX_AT_ONCE))
