"""One part, bar by bar: where every note stands in its bar, and what it is."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, NoReturn

from annotate.files.own_marks import SIGNATURE
from annotate.findings import Finding, InputError, Remarks
from annotate.reading.chord_notes import ChordReader
from annotate.reading.notes import RawNote, duration_from_type
from annotate.reading.pitch_reading import Transposition
from annotate.reading.repeats import RepeatSign, jumps_of, signs_of
from annotate.reading.time import Meter, TempoMark, read_meter, read_metronome, read_sound_tempo
from annotate.reading.tree import Node
from annotate.reading.values import MalformedError, decimal, flat, shown, whole
from annotate.score import Direction, Event, Part
from fingering_db.message import Message

MAX_GRID = 10**15
"""Ticks to a quarter note: beyond every rhythm, and short enough to reckon with."""
_DOUBLE_BARS = frozenset({"light-light", "light-heavy", "heavy-light", "heavy-heavy", "heavy"})
MAX_TEXT = 10_000
"""Characters of the texts of one direction: three pages."""
_KINDS = {"words": "words", "symbol": "symbol", "other-direction": "other", "rehearsal": "rehearsal"}
_ZERO = Fraction(0)
_FIFTHS = re.compile(r"-?[0-7]")

SKIMMED = frozenset({
    "note", "rest", "chord", "grace", "duration", "backup", "forward", "attributes", "divisions", "time",
    "beats", "beat-type", "senza-misura", "direction", "direction-type", "rehearsal", "metronome",
    "beat-unit", "beat-unit-dot", "per-minute", "sound", "offset", "instrument-change", "instrument-sound",
})  # fmt: skip
"""Elements kept of a part that is not asked for: its time, tempo and rehearsal marks."""
LEFT_OUT = frozenset({
    "beam", "lyric", "print", "harmony", "figured-bass", "listening", "play",
    "tuplet", "fermata", "arpeggiate", "clef", "wedge", "level", "footnote", "pedal",
    "midi-instrument", "midi-device", "part-symbol", "grouping", "link", "bookmark", "measure-style",
})  # fmt: skip
"""Elements left out of a part that is read in full."""


@dataclass(slots=True)
class RawPart:
    """A part before its time is known. contents (quarters that the notes fill), meters,
    bars (numbers as printed), implicit: one entry for each bar."""

    id: str
    events: list[Event] = field(default_factory=list)
    directions: list[Direction] = field(default_factory=list)
    double_bars: list[tuple[int, Fraction | None]] = field(default_factory=list)
    """(bar index, offset in quarters; None for the end of the bar)."""
    lines: list[tuple[tuple[int, Fraction], tuple[int, Fraction], int]] = field(default_factory=list)
    """Lines over the staff: (bar index, offset) of both ends, staff."""
    dynamics: list[tuple[int, Fraction, int, str]] = field(default_factory=list)
    """(bar index, offset, staff, sign)."""
    keys: list[tuple[int, int]] = field(default_factory=list)
    """(bar index, sharps or below 0 flats)."""
    repeats: list[RepeatSign] = field(default_factory=list)
    tempos: list[TempoMark] = field(default_factory=list)
    rehearsals: dict[int, str] = field(default_factory=dict)
    contents: list[Fraction] = field(default_factory=list)
    meters: list[Meter] = field(default_factory=list)
    bars: list[str] = field(default_factory=list)
    implicit: list[bool] = field(default_factory=list)
    silent: list[bool] = field(default_factory=list)
    """Nothing but rests in this bar."""
    voices: set[str] = field(default_factory=set)
    changed: dict[str, str] = field(default_factory=dict)
    """Sound ids of the instruments that `<instrument-change>` tells of, by an id made of both."""
    staves: int = 1
    octaves_transposed: bool = False


class PartReader:
    """Reads the bars of one part in order. full: notes too; else only time, tempo and rehearsal marks."""

    def __init__(self, part: Part, full: bool, remarks: Remarks) -> None:
        self.raw = RawPart(part.id)
        self.full = full
        self._part = part
        self._remarks = remarks
        self._instruments = frozenset(each.id for each in part.instruments)
        self._divisions: Fraction | None = None
        self._grid = 1
        self._lengths: dict[str, int] = {}
        self._quarters_of: dict[int, Fraction] = {}
        self._meter = Meter(Fraction(4), Fraction(1))
        self._transpositions: dict[int, Transposition] = {}
        self._ossia: set[int] = set()
        self._unseen: set[int] = set()
        self._chords = ChordReader(self.raw.events, self._remark)
        self._instrument = ""
        self._changed: dict[str, str] = {}
        self._pending: list[RawNote] = []
        self._open_lines: dict[tuple[str, str, int], tuple[int, Fraction]] = {}
        # Ticks, of which there are self._grid to the quarter, from the beginning of the bar.
        self._cursor = self._reach = self._last = self._last_duration = 0
        self._after_note = False
        self._in_order = self._silent = True

    def measure(self, node: Node) -> None:
        """Read one `<measure>`. Raises InputError naming part and bar."""
        raw = self.raw
        raw.bars.append(self._bar(node))
        raw.implicit.append(node.attributes.get("implicit") == "yes")
        raw.meters.append(self._meter)
        self._cursor = self._reach = 0
        self._after_note = False
        self._in_order = self._silent = True
        try:
            self._children(node)
        except MalformedError as error:
            raise InputError(
                Message("score.at_bar", part=self._part.title, bar=raw.bars[-1], what=error.message)
            ) from None
        raw.contents.append(self._quarters(self._reach))
        raw.silent.append(self._silent)

    def refuse(self, node: Node, why: Message) -> NoReturn:
        """Raise InputError naming part and bar. node: a `<measure>` that has only begun."""
        raise InputError(Message("score.at_bar", part=self._part.title, bar=self._bar(node), what=why))

    def _bar(self, node: Node) -> str:
        return flat(node.attributes.get("number", "")) or str(len(self.raw.bars) + 1)

    def _children(self, measure: Node) -> None:
        for child in measure.children:
            tag = child.tag
            if tag == "note":
                self._note(child)
            elif tag == "backup":
                self._move(-self._length(child.text_of("duration"), Message("score.backup_duration")))
            elif tag == "forward":
                self._move(self._length(child.text_of("duration"), Message("score.forward_duration")))
            elif tag == "attributes":
                self._attributes(child)
            elif tag == "direction":
                self._direction(child)
            elif tag == "sound":
                self._sound(child, _ZERO)
            elif tag == "barline":
                self._barline(child)
        if self._pending:
            pending, self._pending = self._pending, []
            self._chords.bar(pending, len(self.raw.bars) - 1, self._in_order)

    # -- time

    def _length(self, text: str, what: str | Message) -> int:
        """Ticks of a duration in divisions; the grid is made finer where a duration does not fall on it."""
        known = self._lengths.get(text)
        if known is None:
            if self._divisions is None:
                self._divisions = Fraction(1)
                self._remark("R102")
            duration = decimal(text, what)
            if duration < 0:
                raise MalformedError(Message("score.negative", name=what, text=shown(text)))
            known = self._lengths[text] = self._ticks(duration / self._divisions)
        return known

    def _ticks(self, quarters: Fraction) -> int:
        finer = (quarters * self._grid).denominator
        if finer > 1:
            self._grid *= finer
            if self._grid > MAX_GRID:
                raise MalformedError(Message("score.no_common_grid"))
            self._cursor, self._reach = self._cursor * finer, self._reach * finer
            self._last, self._last_duration = self._last * finer, self._last_duration * finer
            self._lengths, self._quarters_of = {}, {}
        return int(quarters * self._grid)

    def _quarters(self, ticks: int) -> Fraction:
        known = self._quarters_of.get(ticks)
        if known is None:
            known = self._quarters_of[ticks] = Fraction(ticks, self._grid)
        return known

    def _offset(self, text: str) -> Fraction:
        """Quarters of an `<offset>` in divisions, which may be negative; 0 for an empty one."""
        if not text:
            return _ZERO
        size = self._length(text.lstrip("+-"), "offset")
        return Fraction(-size if text.startswith("-") else size, self._grid)

    def _move(self, by: int) -> None:
        self._cursor += by
        if by < 0:
            self._in_order = False
        if self._cursor < 0:
            self._cursor = 0
            self._remark("R108")
        self._reach = max(self._reach, self._cursor)
        self._after_note = False

    def _note(self, node: Node) -> None:
        kids = {child.tag: child for child in node.children}
        chord = "chord" in kids and self._after_note
        if "rest" not in kids:
            self._silent = False
        if "grace" in kids:
            duration = 0
        elif "duration" in kids:
            text = kids["duration"].text
            duration = self._length(text if text in self._lengths else text.strip(), "duration")
        else:
            duration = self._last_duration if chord else self._printed_length(node)
        if not chord:
            if "chord" in kids and self.full:
                self._remark("R109")
            self._last = self._cursor
            self._last_duration = duration
            self._cursor += duration
            self._reach = max(self._reach, self._cursor)
            self._after_note = True
        if self.full:
            self._keep(node, kids, duration, chord)

    def _printed_length(self, node: Node) -> int:
        if not self.full:
            return 0
        length = duration_from_type(node)
        if length is None:
            raise MalformedError(Message("score.no_duration"))
        self._remark("R106")
        return self._ticks(length)

    def _keep(self, node: Node, kids: dict[str, Node], duration: int, chord: bool) -> None:
        before = self._pending[-1] if chord and self._pending else None
        voice = kids["voice"].text.strip() if "voice" in kids else (before.voice if before else "1")
        staff = self._staff(kids["staff"].text) if "staff" in kids else (before.staff if before else 1)
        if "instrument" in kids:
            id = kids["instrument"].attributes.get("id", "")
            self._instrument = self._changed.get(id, id)
        self.raw.voices.add(voice)
        self._pending.append(
            RawNote(
                node=node,
                kids=kids,
                offset=self._quarters(self._last),
                duration=self._quarters(duration),
                chord=chord,
                grace="grace" in kids,
                voice=voice,
                staff=staff,
                instrument=self._instrument if len(self._instruments) > 1 or self._changed else "",
                transposition=self._transpositions.get(staff) or self._transpositions.get(0),
                unseen=node.attributes.get("print-object") == "no" or staff in self._unseen,
                ossia=staff in self._ossia,
            )
        )

    def _staff(self, text: str) -> int:
        staff = whole(text, "staff")
        if not 1 <= staff <= 100:
            raise MalformedError(Message("score.staff_number", staff=staff))
        return staff

    # -- everything else

    def _attributes(self, node: Node) -> None:
        for child in node.children:
            if child.tag == "divisions":
                divisions = decimal(child.text, "divisions")
                if divisions <= 0:
                    raise MalformedError(Message("score.divisions", divisions=child.text.strip()))
                if divisions != self._divisions:
                    self._divisions = divisions
                    self._lengths = {}
            elif child.tag == "time":
                self._meter = read_meter(child)
                if not self._reach:
                    self.raw.meters[-1] = self._meter
            elif child.tag == "key":
                self._key(child)
            elif child.tag == "staves":
                self.raw.staves = max(self.raw.staves, self._staff(child.text))
            elif child.tag == "transpose":
                self._transpose(child)
            elif child.tag == "staff-details":
                self._staff_details(child)

    def _key(self, node: Node) -> None:
        fifths = node.text_of("fifths").strip()
        if _FIFTHS.fullmatch(fifths):
            self.raw.keys.append((len(self.raw.bars) - 1, int(fifths)))

    def _transpose(self, node: Node) -> None:
        octaves = whole(node.text_of("octave-change", "0") or "0", "octave-change")
        chromatic = decimal(node.text_of("chromatic", "0") or "0", "chromatic")
        if abs(octaves) > 10 or abs(chromatic) > 120:
            raise MalformedError(Message("score.transposition", semitones=float(chromatic), octaves=octaves))
        diatonic = node.text_of("diatonic")
        steps = whole(diatonic, "diatonic") + 7 * octaves if diatonic else None
        staff = self._staff(node.attributes["number"]) if "number" in node.attributes else 0
        if not staff:
            self._transpositions = {}
        moved = Transposition(chromatic + 12 * octaves, steps)
        self._transpositions[staff] = moved
        if moved.semitones and moved.semitones % 12 == 0:
            self.raw.octaves_transposed = True

    def _staff_details(self, node: Node) -> None:
        staff = self._staff(node.attributes.get("number", "1"))
        kind = node.text_of("staff-type")
        if kind:
            (self._ossia.add if kind in ("ossia", "cue") else self._ossia.discard)(staff)
        shown = node.attributes.get("print-object")
        if shown:
            (self._unseen.add if shown == "no" else self._unseen.discard)(staff)

    def _direction(self, node: Node) -> None:
        shift = node.child("offset")
        offset = self._offset("" if shift is None else shift.text.strip())
        here = self._quarters(self._cursor) + offset
        for kind in node.all("direction-type"):
            for metronome in kind.all("metronome"):
                self._metronome(metronome, here)
            for mark in kind.all("rehearsal"):
                text = flat(mark.text)
                if text:
                    self.raw.rehearsals.setdefault(len(self.raw.bars) - 1, text)
        sound = node.child("sound")
        if sound is not None:
            # The standard: a direction's offset moves what is printed; what is played, only if it says so.
            played = shift is not None and shift.attributes.get("sound") == "yes"
            self._sound(sound, offset if played else _ZERO)
        if self.full:
            staff = self._staff(node.text_of("staff", "1") or "1")
            index = len(self.raw.bars) - 1
            self.raw.directions.extend(_texts(node, index, here, staff))
            for sign in (each for kind in node.all("direction-type") for each in kind.children):
                if sign.tag == "dynamics":
                    self.raw.dynamics.extend((index, here, staff, each.tag) for each in sign.children)
                elif sign.tag in ("dashes", "bracket"):
                    self._line(sign, (index, here), staff)

    def _line(self, sign: Node, moment: tuple[int, Fraction], staff: int) -> None:
        """One end of a line or bracket; those without a second end are left out."""
        role, key = sign.attributes.get("type", ""), (sign.tag, sign.attributes.get("number", "1"), staff)
        if role == "start":
            self._open_lines[key] = moment
        elif role == "stop" and key in self._open_lines:
            self.raw.lines.append((self._open_lines.pop(key), moment, staff))

    def _sound(self, node: Node, offset: Fraction) -> None:
        self.raw.repeats.extend(jumps_of(node, len(self.raw.bars) - 1))
        offset = self._offset(node.text_of("offset")) or offset
        try:
            tempo = read_sound_tempo(node)
        except MalformedError as error:
            self._remark("R105", what=error.message)
            tempo = None
        if tempo is not None:
            self.raw.tempos.append(
                TempoMark(len(self.raw.bars) - 1, self._quarters(self._cursor) + offset, True, tempo)
            )
        change = node.child("instrument-change")
        if change is not None and change.attributes.get("id", "") in self._instruments:
            self._change(change)

    def _change(self, change: Node) -> None:
        """Another instrument from here on; one of the same id that sounds otherwise is an instrument of its own."""
        id, sound = change.attributes["id"], change.text_of("instrument-sound").strip()
        if sound:
            self._changed[id] = f"{id} {sound}"
            self.raw.changed[self._changed[id]] = sound
        self._instrument = self._changed.get(id, id)

    def _metronome(self, node: Node, offset: Fraction) -> None:
        try:
            read = read_metronome(node)
        except MalformedError as error:
            self._remark("R105", what=error.message)
            return
        if read is not None:
            self.raw.tempos.append(TempoMark(len(self.raw.bars) - 1, offset, False, *read))

    def _barline(self, node: Node) -> None:
        if node.text_of("bar-style") in _DOUBLE_BARS:
            location = node.attributes.get("location", "right")
            offset = {"left": _ZERO, "middle": self._quarters(self._cursor)}.get(location)
            self.raw.double_bars.append((len(self.raw.bars) - 1, offset))
        self.raw.repeats.extend(signs_of(node, len(self.raw.bars) - 1))

    def _remark(self, code: str, offset: Fraction | None = None, **said: Any) -> None:
        moment = self._quarters(self._cursor) if offset is None else offset
        place = replace(self._part.whole, bar=self.raw.bars[-1], beat=1 + moment / self._meter.unit)
        self._remarks.add(Finding.of(code, place, **said))


def pickup(raw: RawPart, index: int, lengths: Sequence[Fraction]) -> Fraction:
    """Quarters missing at the front of a bar: a pick-up of one beat in 4/4 is its fourth beat, not its first.

    Counted so are a first bar, and an unnumbered bar that completes the short one before it. lengths: quarters of the
    bars of the score.
    """
    nominal, length = raw.meters[index].bar, lengths[index]
    if nominal is None or not 0 < length < nominal:
        return _ZERO
    if index == 0:
        return nominal - length if raw.implicit[0] or raw.bars[0] == "0" else _ZERO
    completes = raw.implicit[index] and lengths[index - 1] + length == nominal
    return nominal - length if completes else _ZERO


def _texts(node: Node, bar_index: int, offset: Fraction, staff: int) -> list[Direction]:
    """The texts of a direction, one for each kind: several words are one text, joined with blanks. Raises MalformedError.

    Their `onset` is as printed, from the beginning of the bar [quarters]; bar and beat come with the time of the score."""
    texts: dict[str, list[str]] = {}
    signed: list[bool] = []
    for kind in node.all("direction-type"):
        for child in kind.children:
            name = _KINDS.get(child.tag)
            text = " ".join(child.text.split())
            if name is None or not text:
                continue
            texts.setdefault(name, []).append(text)
            if name == "words":
                signed.append(len(text) > 1 and text.endswith(SIGNATURE))
    if sum(len(text) + 1 for found in texts.values() for text in found) > MAX_TEXT:
        raise MalformedError(Message("score.direction_long", most=MAX_TEXT))
    ours = bool(signed) and all(signed)
    at = offset, "", bar_index, _ZERO, staff, node.text_of("voice"), node.start, node.end
    return [Direction(" ".join(found), *at, ours and name == "words", name) for name, found in texts.items()]
