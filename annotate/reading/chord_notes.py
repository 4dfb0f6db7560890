"""The notes of one bar: accidentals settled in the order of sounding, then gathered to chords."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from annotate.reading.notes import RawNote, note_of
from annotate.reading.pitch_reading import AccidentalMemory, pitch_of, read_alter, read_octave, read_step
from annotate.reading.values import MalformedError
from annotate.score import Event, Note
from fingering_db.message import Message
from fingering_db.pitch import Pitch

MAX_AT_ONCE = 500
_NO_TIME = Fraction(0)

Remark = Callable[..., None]
"""Takes code, the moment in the bar [quarters], and what else `Finding.of` takes."""


class ChordReader:
    """Reads the notes of the bars of one part in order, appending to `events`: of their times only that in the bar is known."""

    def __init__(self, events: list[Event], remark: Remark) -> None:
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
        notes = {index: note for index in sounding if (note := self._note(pending[index])) is not None}
        starts = [index for index in order if not pending[index].chord]
        for first, stop in pairwise((*starts, len(pending))):
            self._emit(pending, notes, range(first, stop), bar_index)

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
        note = note_of(raw, Pitch(step, 0, octave), ignored)
        for sentence in ignored:
            self._remark("R105", raw.offset, message=sentence, advice=Message("reading.check_note"))
        alter = read_alter(parts["alter"]) if "alter" in parts else None
        glyph = kids["accidental"].attributes.get("smufl", "") if "accidental" in kids else ""
        reading = self._memory.read((raw.staff, step, octave), note, alter, glyph)
        if reading.conflict:
            self._remark("R103", raw.offset, message=reading.conflict)
        if reading.unsized:
            self._remark("R104", raw.offset, name=reading.unsized, cents=reading.alter * 100 + reading.cents)
        written = pitch_of(step, octave, reading)
        sounding = raw.transposition.apply(written) if raw.transposition else written
        return replace(note, written=written, sounding=sounding, microtonal_as_printed=reading.as_printed)

    def _emit(self, pending: list[RawNote], notes: dict[int, Note], chord: range, bar_index: int) -> None:
        pitched = [index for index in chord if index in notes]
        if not pitched:
            return
        seen = [index for index in pitched if not pending[index].unseen]
        shown = seen or pitched
        first = pending[chord[0]]
        self._events.append(
            Event(
                notes=tuple([notes[index] for index in shown]),
                bar="",
                bar_index=bar_index,
                beat=_NO_TIME,
                onset=_NO_TIME,
                duration=first.duration,
                seconds=0.0,
                seconds_end=0.0,
                voice=first.voice,
                staff=pending[shown[0]].staff,
                grace=first.grace,
                cue=all("cue" in pending[index].kids for index in shown),
                hidden=not seen,
                ossia=all(pending[index].ossia for index in shown),
                instrument=first.instrument,
                in_bar=first.offset,
                chord_start=-1 if shown[0] == chord[0] else first.node.start,
            )
        )


def _check_moments(pending: list[RawNote]) -> None:
    """Refuse more notes and chords at one moment than anybody writes: each of them is compared with all others there."""
    count = Counter(raw.offset for raw in pending if not raw.chord)
    if max(count.values(), default=0) > MAX_AT_ONCE:
        raise MalformedError(Message("score.notes_at_once", most=MAX_AT_ONCE))
