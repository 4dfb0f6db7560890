"""The pitch of a note from three witnesses: `<alter>`, the printed accidental, and what holds through bar and
tie."""

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from annotate.reading.accidentals import Accidental, accidental_of, arrow_means
from annotate.reading.values import MalformedError, decimal, shown, whole
from annotate.score import Note
from fingering_db.message import Message
from fingering_db.pitch import STEPS, Pitch

OCTAVES = range(-1, 11)
MAX_ALTER = 12
_AGREES = 0.1
"""Semitones by which a stored pitch may differ from a microtonal accidental without contradicting it."""
_AGREES_PLAIN = 0.4
"""The same for an ordinary accidental: small deviations of tuning are stored beside it."""

Key = tuple[int, str, int]
"""staff, step, octave: where an accidental holds."""


@dataclass(frozen=True, slots=True)
class Reading:
    """alter and cents as in Pitch. as_printed: a microtonal accidental tells it. conflict: None or what
    disagrees."""

    alter: int
    cents: float
    as_printed: bool = False
    conflict: Message | None = None
    unsized: str = ""
    """Name of an accidental without an agreed size that had to be taken at its assumed size."""


_NATURAL = Reading(0, 0.0)


@dataclass(frozen=True, slots=True)
class _Held:
    stored: Fraction
    alone: bool
    """The note that bore the accidental had no `<alter>`: the accidental alone told its pitch."""
    reading: Reading

    def tells(self, alter: Fraction | None) -> bool:
        """Whether it, and not its own `<alter>`, decides about a later note without an accidental."""
        if not self.reading.as_printed:
            return self.alone and alter is None
        total = self.reading.alter + self.reading.cents / 100.0
        return alter is None or alter == self.stored or alter == math.trunc(total)


class AccidentalMemory:
    """Accidentals that hold: through the bar on their step and octave, and through ties into later bars."""

    def __init__(self) -> None:
        self._bar: dict[Key, _Held] = {}
        self._ties: dict[Key, _Held] = {}

    def new_bar(self) -> None:
        """At a bar line everything ends but ties."""
        self._bar.clear()

    def read(self, key: Key, note: Note, alter: Fraction | None, glyph: str) -> Reading:
        """The reading of one note. Notes must come in the order in which they sound.

        alter: content of `<alter>` [semitones], None where missing; glyph: SMuFL name of the accidental, '' for none.
        A microtonal accidental beats a missing or whole alter; a fractional alter beats all.
        """
        printed = accidental_of(note.accidental, glyph) if note.accidental else None
        held: _Held | None
        if printed is not None:
            reading = _with_accidental(alter, printed, note.accidental)
            held = self._bar[key] = _Held(alter or Fraction(0), alter is None, reading)
        else:
            held = self._ties.get(key) if note.tie_stop else None
            held = held or self._bar.get(key)
            reading = _without_accidental(alter, held)
            if reading.conflict:
                self._bar.pop(key, None)
                held = None
        if note.tie_start and held is not None:
            self._ties[key] = held
        else:
            self._ties.pop(key, None)
        return reading


def _with_accidental(alter: Fraction | None, printed: Accidental, name: str) -> Reading:
    micro = printed.microtonal
    if alter is None:
        return Reading(printed.alter, printed.cents, micro, unsized="" if printed.agreed else name)
    off = abs(float(alter) - printed.semitones)
    if alter.denominator == 1 and micro:
        # Programs that know whole semitones only store a quarter-tone cut off, rounded, or as natural.
        conflict = None if off < 1.0 or alter == 0 else _disagree(name, alter, Message("reading.the_accidental"))
        return Reading(printed.alter, printed.cents, True, conflict, "" if printed.agreed else name)
    if off <= (_AGREES if micro else _AGREES_PLAIN) or arrow_means(name, float(alter)):
        return Reading(printed.alter, round(float(alter - printed.alter) * 100.0, 6), micro)
    plain = split(alter)
    conflict = _disagree(name, alter, Message("reading.the_stored_one")) if printed.agreed else None
    return Reading(plain.alter, plain.cents, micro, conflict)


def _without_accidental(alter: Fraction | None, held: _Held | None) -> Reading:
    if held is None:
        return split(alter) if alter else _NATURAL
    before = held.reading
    if held.tells(alter):
        return Reading(before.alter, before.cents, before.as_printed)
    plain = split(alter) if alter else _NATURAL
    if not before.as_printed:
        return plain
    off = abs(float(alter or 0) - before.alter - before.cents / 100.0)
    if off <= _AGREES:
        return Reading(before.alter, round(float((alter or 0) - before.alter) * 100.0, 6), True)
    conflict = _disagree(Message("reading.holds_here"), alter or Fraction(0), Message("reading.the_stored_one"))
    return Reading(plain.alter, plain.cents, conflict=conflict)


def _disagree(name: str | Message, alter: Fraction, taken: Message) -> Message:
    return Message("reading.accidentals_disagree", name=name, alter=float(alter), taken=taken)


@lru_cache(maxsize=256)
def split(alter: Fraction) -> Reading:
    """An alteration [semitones] as whole semitones and cents; half-way goes towards zero: 1.5 is a sharp
    +50."""
    size = math.ceil(abs(alter) - Fraction(1, 2))
    nearest = size if alter >= 0 else -size
    return Reading(nearest, round(float(alter - nearest) * 100.0, 6))


def read_step(text: str) -> str:
    """`<step>`: A to G. Raises MalformedError."""
    step = text.strip()
    if step not in STEPS:
        raise MalformedError(Message("score.step", text=shown(text)))
    return step


def read_octave(text: str) -> int:
    """`<octave>`: a whole number from -1 to 10. Raises MalformedError."""
    octave = whole(text, "octave")
    if octave not in OCTAVES:
        raise MalformedError(Message("score.octave", octave=octave, least=OCTAVES.start, most=OCTAVES.stop - 1))
    return octave


@lru_cache(maxsize=256)
def read_alter(text: str) -> Fraction | None:
    """`<alter>`, None where missing or empty. Raises MalformedError."""
    if not text.strip():
        return None
    alter = decimal(text, "alter")
    if abs(alter) > MAX_ALTER:
        raise MalformedError(Message("score.alter", text=shown(text), least=MAX_ALTER, most=MAX_ALTER))
    return alter


def pitch_of(step: str, octave: int, reading: Reading) -> Pitch:
    """The pitch as spelled; more than two sharps or flats are respelled."""
    if -2 <= reading.alter <= 2:
        return Pitch(step, reading.alter, octave, reading.cents)
    return Pitch.from_midi(Pitch(step, 0, octave, reading.cents).midi + reading.alter)


@dataclass(frozen=True, slots=True)
class Transposition:
    """From written to sounding. semitones: chromatic + 12 octaves; steps: diatonic + 7 octaves, None if not
    told."""

    semitones: Fraction
    steps: int | None = None

    def apply(self, written: Pitch) -> Pitch:
        """The sounding pitch, spelled a whole interval away where the file tells how many steps that is."""
        if not self.semitones:
            return written
        if self.steps is None or self.semitones % 12 == 0:
            return written.transposed(float(self.semitones))
        names = "CDEFGAB"
        octaves, degree = divmod(names.index(written.step) + self.steps, 7)
        bare = Pitch(names[degree], 0, written.octave + octaves, written.cents)
        alter = round(written.midi + float(self.semitones) - bare.midi, 6)
        if alter not in (-2, -1, 0, 1, 2):
            return written.transposed(float(self.semitones))
        return Pitch(bare.step, int(alter), bare.octave, written.cents)
