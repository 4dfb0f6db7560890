"""Evidence on how the chords of a part are to be read, each piece with its weight and its words (`evidence.toml`).

Here stands what holds for all chords of a part; `players.py` adds what stands at each of them.
"""

import tomllib
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from annotate.detecting.company import Company
from annotate.detecting.fingering_text import WrittenFingerings
from annotate.detecting.sonority import Sonority, overlapping
from annotate.detecting.words import NUMBERED, PLAIN, SEVERAL, Spans, name_tells
from annotate.reading.flute_parts import flute_family
from annotate.score import Note, Part
from fingering_db.message import Message
from fingering_db.pitch import Pitch

_ODD_HEADS = {"diamond", "x", "cross", "circle-x", "circled", "circle dot", "triangle", "square"}


@dataclass(frozen=True, slots=True)
class Reason:
    """One row of evidence that holds for a chord. decides: it can lead to its reading; certain: nothing weighs against it.
    text: in words."""

    key: str
    speaks_for: str
    weight: int
    text: Message
    decides: bool = False
    certain: bool = False


@cache
def evidence_table() -> dict[str, Any]:
    """The weights file as plain tables."""
    return tomllib.loads(files("annotate.detecting").joinpath("evidence.toml").read_text("utf-8"))


def reason_for(key: str, **what: Hashable) -> Reason:
    """A row of the table; what: the values of its words."""
    row = evidence_table()["evidence"][key]
    text = Message(f"evidence.{key}", **what)
    return Reason(key, row["speaks_for"], row["weight"], text, row.get("decides", False), row.get("certain", False))


def marked_as_harmonic(note: Note) -> bool:
    """The circle of a harmonic; some programs write it as that of an open string."""
    return any(kind in ("harmonic", "open-string") for kind, _ in note.technical)


def odd_head(note: Note) -> str:
    """The head of a sung (or otherwise special) note: its name, or 'hollow'; '' for others and the diamond of a harmonic."""
    if marked_as_harmonic(note):
        return ""
    return note.notehead if note.notehead in _ODD_HEADS else "hollow" if note.notehead_open else ""


class PartEvidence:
    """What holds for all chords of a part, and whether it is a part for one flute."""

    def __init__(
        self, part: Part, sonorities: Sequence[Sonority], spans: Spans, fingerings: WrittenFingerings, company: Company
    ) -> None:
        self._part, self._spans, self._company = part, spans, company
        self._sonorities = sonorities
        self._chords = [sonority for sonority in sonorities if sonority.is_chord]
        self._apart = bool(overlapping(tuple(sonorities)))
        told = {name_tells(name): name for name in reversed(_names(part))}
        self.several = SEVERAL in told or spans.several is not None
        self.reasons = self._name(told) + self._ensemble() + self._chord_kinds()
        if not self.several:
            self.reasons += self._technique(fingerings) + self._habit()
        if not any(each.key == "technique_elsewhere" for each in self.reasons):
            self.reasons.append(reason_for("no_technique"))

    def _name(self, told: dict[str, str]) -> list[Reason]:
        """told: names of the part by what they tell."""
        if SEVERAL in told:
            return [reason_for("plural_name", what=told[SEVERAL])]
        found = []
        if NUMBERED in told:
            found.append(reason_for("numbered_name", what=told[NUMBERED]))
        elif PLAIN in told:
            found.append(reason_for("plain_name", what=told[PLAIN]))
        # A part taken out of an orchestra's score is alone too.
        if self._company.parts == 1:
            found.append(reason_for("only_part"))
        return found

    def _ensemble(self) -> list[Reason]:
        found = []
        company = self._company
        if company.parts >= evidence_table()["many_parts"]:
            found.append(reason_for("many_parts", what=str(company.parts)))
        if company.section:
            found.append(reason_for("sections", what=company.section))
        if company.desk:
            found.append(reason_for("desks", what=company.desk))
        return found

    def _chord_kinds(self) -> list[Reason]:
        """One chord that no tube can sound is a slip of the composer; many are a habit of writing two lines."""
        table, chords = evidence_table(), self._chords
        found = []
        lowest = Pitch.parse(table["lowest_upper_note"]).midi
        # Half a semitone: a microtone flat of it may still be meant.
        low = sum(max(pitch.midi for pitch in chord.written) < lowest - 0.5 for chord in chords)
        if low >= 2 and low >= table["low_chords"] * len(chords):
            found.append(reason_for("low_notes", low=_share(low, len(chords))))
        consonant = sum(_is_consonant(chord) for chord in chords)
        if self.several:
            return found
        if chords and consonant >= table["consonant_share"] * len(chords):
            few = len(chords) < table["consonant_chords"]
            found.append(reason_for("consonant_few" if few else "consonant", some=_share(consonant, len(chords))))
        if chords and len(chords) < table["rare_share"] * len(self._sonorities):
            found.append(reason_for("rare", some=len(chords), of=len(self._sonorities)))
        return found

    def _technique(self, fingerings: WrittenFingerings) -> list[Reason]:
        if not flute_family(self._part):
            return []
        if self._spans.modern is not None:
            return [_elsewhere("word_stands", word=self._spans.modern.hit.word)]
        for sonority in self._sonorities:
            if fingerings.at(sonority):
                return [_elsewhere("fingering_stands")]
            for note in sonority.all_notes:
                if note.microtonal_as_printed:
                    return [_elsewhere("microtones_stand")]
                if odd_head(note):
                    return [_elsewhere("head_stands", head=Message(f"notehead.{odd_head(note)}"))]
        return []

    def _habit(self) -> list[Reason]:
        """Bare chords again and again in a part for one flute, where no orchestra plays."""
        table = evidence_table()
        chords = [chord for chord in self._chords if not chord.first.grace]
        count, of = len(chords), len(self._sonorities)
        large = self._company.parts >= table["many_parts"] or self._company.section
        if not count or self._apart or large or not flute_family(self._part):
            return []
        alone = self._company.parts == 1 and count >= table["habit_share_alone"] * of
        if alone or (count >= table["habit_chords"] and count >= table["habit_share"] * of):
            return [reason_for("habit", some=count, of=of)]
        return []


def _names(part: Part) -> list[str]:
    names = [name for name in (part.name, part.abbreviation) if name.strip()]
    return names or [each.name for each in part.instruments if each.name.strip()]


def _elsewhere(key: str, **what: Hashable) -> Reason:
    return reason_for("technique_elsewhere", what=Message(f"evidence.{key}", **what))


def _share(some: int, of: int) -> Message:
    return Message("reading.some_of", part=some, whole=of) if some < of else Message("reading.all_of")


def _is_consonant(chord: Sonority) -> bool:
    low, *others = (pitch.midi for pitch in chord.written)
    table = evidence_table()["consonant_semitones"]
    return all(abs(other - low - round(other - low)) < 0.1 and round(other - low) in table for other in others)
