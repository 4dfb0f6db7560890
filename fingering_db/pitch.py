"""Pitches as musicians name them: a tempered note, its spelling, and cents beside it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from fingering_db.message import Message, MessageError

MOST_CENTS = 1200
"""Largest deviation that is read in a text, either way."""
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARP_NAMES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]
_ACCIDENTALS = {"": 0, "#": 1, "##": 2, "x": 2, "b": -1, "bb": -2, "♯": 1, "♭": -1, "𝄪": 2, "𝄫": -2, "♮": 0}
_SUFFIX = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_PITCH = re.compile(r"\s*([A-Ga-g])(##|bb|[#xb♯♭𝄪𝄫♮]?)(-?\d{1,2})\s*(?:([+-]\d+(?:\.\d+)?))?\s*\Z")


class PitchError(MessageError):
    """A text that names no pitch."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """A note as spelled, with a deviation in cents: C#5+50 is a quarter-tone above C sharp.

    step: A to G. alter: whole semitones, -2 to 2. octave: scientific (A4 = 440 Hz). cents: any real number.
    """

    step: str
    alter: int
    octave: int
    cents: float = 0.0

    @classmethod
    def parse(cls, text: str) -> Pitch:
        """Read `C5`, `F#4`, `Bb3`, `C5+50`. Raises PitchError saying what was expected."""
        found = _PITCH.match(text)
        if not found:
            raise PitchError(Message("error.pitch_h" if text.strip()[:1] in "Hh" else "error.pitch", text=text))
        step, accidental, octave, cents = found.groups()
        if abs(float(cents or 0.0)) > MOST_CENTS:
            raise PitchError(Message("error.pitch_cents", text=text, most=MOST_CENTS))
        return cls(step.upper(), _ACCIDENTALS[accidental], int(octave), float(cents or 0.0))

    @classmethod
    def from_midi(cls, midi: float) -> Pitch:
        """The nearest tempered note, spelled with sharps, and the rest in cents (-50 < cents <= 50)."""
        # Ties go down, so that a quarter-tone reads +50 as players write it.
        note = math.ceil(midi - 0.5)
        name = _SHARP_NAMES[note % 12]
        return cls(name[0], len(name) - 1, note // 12 - 1, round((midi - note) * 100.0, 6))

    @classmethod
    def from_hz(cls, hz: float, a4: float = 440.0) -> Pitch:
        """The nearest tempered note to a frequency [Hz] and the rest in cents."""
        return cls.from_midi(69.0 + 12.0 * math.log2(hz / a4))

    @property
    def midi(self) -> float:
        """MIDI note number with its fraction; A4 is 69."""
        return 12.0 * (self.octave + 1) + STEPS[self.step] + self.alter + self.cents / 100.0

    def hz(self, a4: float = 440.0) -> float:
        """Frequency [Hz] in equal temperament with A4 at `a4` [Hz]."""
        return float(a4 * 2.0 ** ((self.midi - 69.0) / 12.0))

    @property
    def name(self) -> str:
        """The tempered note, as spelled, without cents: `Bb4`."""
        return f"{self.step}{_SUFFIX[self.alter]}{self.octave}"

    def __str__(self) -> str:
        return self.name + (f"{self.cents:+.0f}" if round(self.cents) else "")

    def transposed(self, semitones: float) -> Pitch:
        """This pitch moved by semitones; the spelling is kept for whole octaves, else sharps are used."""
        if semitones % 12 == 0:
            return Pitch(self.step, self.alter, self.octave + int(semitones // 12), self.cents)
        return Pitch.from_midi(self.midi + semitones)
