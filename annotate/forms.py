"""The forms a score may be kept in: where its meaning comes from, and how marks are put into it and taken out."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from annotate.files.container import ScoreFile
from annotate.files.stripping import may_hold_marks, strip
from annotate.files.writing import Mark, splice, verify_roundtrip
from annotate.score import Part

NATIVE = (".mscx", ".mscz")
"""Endings of MuseScore's own files."""


class Form(Protocol):
    """How a score is kept. All bytes are those of the score itself, unpacked from its archive."""

    def meaning(self) -> bytes:
        """MusicXML bytes that say what the score means, without our marks. Raises InputError."""

    def stripped(self) -> bytes:
        """The score's bytes without our marks. Raises InputError."""

    def marked(self, meaning: bytes, parts: Sequence[Part], marks: Sequence[Mark], carrier: str) -> bytes:
        """The score's bytes with these marks in place of earlier ones, checked. marks: at bytes of `meaning`, read to
        `parts`. Raises InputError."""

    def verify(self, new: bytes) -> None:
        """Raise SelfCheckError unless `new` without our marks is the score without our marks."""


@dataclass(frozen=True, slots=True)
class MusicXml:
    """MusicXML means what it says: meaning and place are the same bytes."""

    file: ScoreFile

    def meaning(self) -> bytes:
        return self.stripped() if may_hold_marks(self.file.data) else self.file.data

    def stripped(self) -> bytes:
        return strip(self.file.data)

    def marked(self, meaning: bytes, parts: Sequence[Part], marks: Sequence[Mark], carrier: str) -> bytes:
        return splice(meaning, marks, carrier)

    def verify(self, new: bytes) -> None:
        verify_roundtrip(self.file.data, new)


def is_native(path: Path) -> bool:
    """Whether the name is that of one of MuseScore's own files."""
    return path.suffix.lower() in NATIVE


def form_of(file: ScoreFile, *, read: bool = True, program: str = "") -> Form:
    """The form of a score that was loaded. read: whether its meaning will be asked for; program: the MuseScore to ask.

    Raises InputError where that needs a program that is not there."""
    if is_native(file.path):
        from annotate.musescore.form import MuseScore  # noqa: PLC0415 - for its own files alone
        from annotate.musescore.program import find_program  # noqa: PLC0415

        return MuseScore(file, find_program(program) if read else None)
    return MusicXml(file)
