"""The plug-in for MuseScore 3: put into its folder, and what it asks this program."""

from __future__ import annotations

import shutil
import sys
from importlib.resources import files
from pathlib import Path

from annotate.decision import Status
from annotate.findings import InputError
from annotate.musescore.placing import as_json, error_as_json, native_marks
from annotate.pipeline import Options, look, marks_of

_FILES = ("ventwise.qml", "ventwise-remove.qml", "ours.js")
_COMMAND = 'property string command: "ventwise"'


def install(folder: Path | None) -> str:
    """Copy the plug-in into a folder, with the command of this installation; returns what to do next, in one sentence.

    Raises InputError where the folder is not named, is not there or cannot be written.
    """
    if folder is None or not folder.is_dir():
        told = "no folder" if folder is None else f"{folder}: there is no such folder"
        raise InputError(f"{told}: expected MuseScore's folder for plug-ins, Documents/MuseScore3/Plugins for most")
    try:
        for name in _FILES:
            text = files("annotate").joinpath("musescore", name).read_text(encoding="utf-8")
            command = _command().replace("\\", "/")
            text = text.replace(_COMMAND, f"property string command: '{command}'")
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror}): expected a folder for plug-ins") from error
    return f"written: {len(_FILES)} files into {folder}; switch the plug-in on in MuseScore's list of plug-ins"


def places(score: Path) -> str:
    """The list of places for a score that the plug-in has exported, or the error, as JSON: a plug-in sees no exit status."""
    try:
        looked = look(score, Options())
        marks = [mark for part in marks_of(looked) for mark in part.marks]
        counts = [decision.status for decision in looked.result.first_flute()]
        told = (
            f"{len(counts)} places judged, {counts.count(Status.UNPLAYABLE)} of them unplayable; {len(marks)} marked."
        )
        return as_json(native_marks(looked.parts, marks), told)
    except InputError as error:
        return error_as_json("; ".join(str(line) for line in error.args))


def _command() -> str:
    """How this installation is started, quoted where there are blanks."""
    beside = shutil.which("ventwise", path=str(Path(sys.executable).parent)) or shutil.which("ventwise")
    return f'"{beside}"' if beside else f'"{sys.executable}" -m ventwise'
