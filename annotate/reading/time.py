"""Time of the whole score: where each bar begins, how fast it goes, and where rehearsal marks stand."""

import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from annotate.reading.notes import type_length
from annotate.reading.tree import Node
from annotate.reading.values import MalformedError, decimal, shown, whole
from fingering_db.message import Message

DEFAULT_TEMPO = 120.0
"""Quarters a minute where the score tells none (the default of MIDI and of notation programs)."""
MAX_TEMPO = 10_000


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature. bar: quarters, None where it is free. unit: quarters of one beat (of the
    denominator)."""

    bar: Fraction | None
    unit: Fraction


FREE = Meter(None, Fraction(1))


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A tempo at a place. quarters: a minute; ratio: instead, a multiple of the tempo before (metric
    modulation).

    played: from `<sound>`, which beats a printed metronome mark at the same place.
    """

    bar_index: int
    offset: Fraction
    played: bool
    quarters: float = 0.0
    ratio: float = 0.0


def read_meter(time: Node) -> Meter:
    """`<time>`: the length of a bar, and the beat (the largest denominator of an additive signature).

    Raises MalformedError.
    """
    if time.child("senza-misura") is not None:
        return FREE
    beats, types = time.all("beats"), time.all("beat-type")
    if not beats or len(beats) != len(types):
        raise MalformedError(Message("score.no_beats"))
    bar, largest = Fraction(0), 0
    for count, kind in zip(beats, types, strict=True):
        denominator = whole(kind.text, "beat-type")
        numbers = [decimal(each, "beats") for each in count.text.split("+")]
        if not 0 < denominator <= 1024 or not 0 < sum(numbers) <= 10_000:
            raise MalformedError(Message("score.time_signature", text=shown(count.text + "/" + kind.text)))
        bar += sum(numbers) * Fraction(4, denominator)
        largest = max(largest, denominator)
    return Meter(bar, Fraction(4, largest))


def read_sound_tempo(sound: Node) -> float | None:
    """`<sound tempo>`, quarters a minute; None where it tells none. Raises MalformedError."""
    text = sound.attributes.get("tempo")
    return None if text is None else _tempo(decimal(text, "tempo"), text)


def read_metronome(metronome: Node) -> tuple[float, float] | None:
    """`<metronome>` as (quarters a minute, 0), or (0, ratio) for 'this note becomes that one'; None if
    neither.

    Raises MalformedError. Of a range ('60-72') and of words around ('c. 60') the first number counts.
    """
    named: list[tuple[str, int]] = []
    for child in metronome.children:
        if child.tag == "beat-unit":
            named.append((child.text, 0))
        elif child.tag == "beat-unit-dot" and named:
            named[-1] = named[-1][0], named[-1][1] + 1
    units = [_beat(name, dots) for name, dots in named]
    if len(units) == 2:
        return 0.0, float(units[1] / units[0])
    text = metronome.text_of("per-minute")
    if not units or not text:
        return None
    number = "".join(char if char in "0123456789." else " " for char in text).split()
    number = [each.rstrip(".") for each in number if each.strip(".")]
    if not number:
        raise MalformedError(Message("score.metronome", text=shown(text)))
    return _tempo(decimal(number[0], "metronome mark") * units[0], text), 0.0


def _beat(name: str, dots: int) -> Fraction:
    length = type_length(name.strip(), dots)
    if length is None:
        raise MalformedError(Message("score.beat_unit", text=shown(name)))
    return length


def _tempo(quarters: Fraction, text: str) -> float:
    if not 0 < quarters <= MAX_TEMPO:
        raise MalformedError(Message("score.tempo", text=shown(text), most=MAX_TEMPO))
    return float(quarters)


def bar_lengths(contents: Sequence[Sequence[Fraction]], meters: Sequence[Sequence[Meter]]) -> list[Fraction]:
    """The length of each bar of the score [quarters].

    contents[part][bar]: how far the notes of the part reach; meters likewise. A part that fills its time
    signature exactly tells the length; else the fullest part does; a bar that is empty everywhere lasts its
    time signature.
    """
    lengths: list[Fraction] = []
    for index in range(max((len(each) for each in contents), default=0)):
        full, most, nominal = Fraction(0), Fraction(0), Fraction(0)
        for content, meter in zip(contents, meters, strict=True):
            if index < len(content):
                wanted = meter[index].bar
                most = max(most, content[index])
                if wanted is not None:
                    nominal = max(nominal, wanted)
                    if wanted == content[index]:
                        full = max(full, wanted)
        lengths.append(full or most or nominal)
    return lengths


class Timeline:
    """Onsets of bars and seconds of moments."""

    def __init__(self, lengths: Sequence[Fraction], marks: Sequence[TempoMark]) -> None:
        """marks: of all parts, those of earlier parts first."""
        self.lengths = list(lengths)
        self.bars = [Fraction(0)]
        for length in lengths:
            self.bars.append(self.bars[-1] + length)
        self.told = bool(marks)
        self._starts, self._tempos, self._seconds = [0.0], [DEFAULT_TEMPO], [0.0]
        placed = [
            (max(Fraction(0), self.moment(mark.bar_index, mark.offset)), mark.played, -order, mark)
            for order, mark in enumerate(marks)
        ]
        for onset, _, _, mark in sorted(placed, key=lambda each: each[:3]):
            self._add(float(onset), mark)
        self._known: dict[Fraction, float] = {}

    def _add(self, start: float, mark: TempoMark) -> None:
        before = self._tempos[-1]
        same = start == self._starts[-1]
        if mark.ratio:
            # A ratio speaks of the tempo before this moment, whatever other parts say at it.
            before = self._tempos[-2] if same and len(self._tempos) > 1 else before
            tempo = min(max(before * mark.ratio, 1e-3), float(MAX_TEMPO))
        else:
            tempo = mark.quarters
        if same:
            self._tempos[-1] = tempo
            return
        self._seconds.append(self._seconds[-1] + (start - self._starts[-1]) * 60.0 / before)
        self._starts.append(start)
        self._tempos.append(tempo)

    def seconds(self, onset: Fraction) -> float:
        """Seconds from the beginning of the score to a moment [quarters]."""
        known = self._known.get(onset)
        if known is None:
            moment = float(onset)
            index = max(0, bisect.bisect_right(self._starts, moment) - 1)
            known = self._seconds[index] + (moment - self._starts[index]) * 60.0 / self._tempos[index]
            self._known[onset] = known
        return known

    def moment(self, bar: int, offset: Fraction) -> Fraction:
        """Quarters from the beginning of the score to an offset from that of a bar (by its index)."""
        return self.bars[bar] + offset

    def bar_at(self, onset: Fraction) -> int:
        """Index of the bar in which a moment lies; the last one for moments behind the end."""
        return max(0, min(bisect.bisect_right(self.bars, onset) - 1, len(self.lengths) - 1))
