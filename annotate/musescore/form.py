"""MuseScore's own file as a form of a score (`annotate/forms`)."""

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from annotate.files.container import ScoreFile, pack
from annotate.files.writing import Mark, SelfCheckError
from annotate.findings import InputError
from annotate.musescore.native import native_marks, splice_native, strip_native
from annotate.musescore.program import export
from annotate.musescore.selfcheck import verify_places, verify_same_music
from annotate.score import Part
from fingering_db.message import Message


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
