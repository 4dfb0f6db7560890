"""The forms a score may be kept in: where its meaning comes from, and how marks are put into it and taken out."""

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from annotate.files.container import ScoreFile, pack
from annotate.files.stripping import may_hold_marks, strip
from annotate.files.writing import Mark, SelfCheckError, splice, verify_roundtrip
from annotate.findings import InputError
from annotate.musescore.native import native_marks, splice_native, strip_native
from annotate.musescore.program import export, find_program
from annotate.musescore.selfcheck import verify_places, verify_same_music
from annotate.score import Part
from fingering_db.message import Message

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


@dataclass(frozen=True, slots=True)
class MuseScore:
    """MuseScore's own file: the program says what it means, its bytes tell where the chords stand."""

    file: ScoreFile
    program: Path | None
    """None: marks can be taken out, which needs no program."""

    def meaning(self) -> bytes:
        return self._export(self.stripped())

    def stripped(self) -> bytes:
        return strip_native(self.file.data)

    def marked(self, meaning: bytes, parts: Sequence[Part], marks: Sequence[Mark], carrier: str) -> bytes:
        """See Form. Asks the program once more: what it makes of the new bytes must be the same music."""
        if not marks:
            return self.stripped()
        if self.file.packed and _excerpts(self.file):
            raise InputError(Message("file.linked_parts"))
        new = splice_native(self.stripped(), native_marks(parts, marks))
        after = self._export(new)
        verify_same_music(meaning, after)
        verify_places(after, parts, marks)
        return new

    def verify(self, new: bytes) -> None:
        # A splice that is not undone byte for byte, whatever the program makes of it.
        if strip_native(new) != self.stripped():
            raise SelfCheckError(Message("file.not_given_back"))

    def _export(self, data: bytes) -> bytes:
        assert self.program is not None
        return export(self.file.path, pack(self.file, data), self.program)


def _excerpts(file: ScoreFile) -> bool:
    """Whether an archive holds parts beside the score."""
    with zipfile.ZipFile(io.BytesIO(file.raw)) as archive:
        return any(name.startswith("Excerpts/") for name in archive.namelist())


def is_native(path: Path) -> bool:
    """Whether the name is that of one of MuseScore's own files."""
    return path.suffix.lower() in NATIVE


def form_of(file: ScoreFile, *, read: bool = True, program: str = "") -> Form:
    """The form of a score that was loaded. read: whether its meaning will be asked for; program: the MuseScore to ask.

    Raises InputError where that needs a program that is not there."""
    if is_native(file.path):
        return MuseScore(file, find_program(program) if read else None)
    return MusicXml(file)
