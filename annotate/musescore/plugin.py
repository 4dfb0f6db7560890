"""The plug-in for MuseScore 3: put into its folder, and what it asks this program."""

import json
import shutil
import sys
from importlib.resources import files
from pathlib import Path

from annotate.decision import Status
from annotate.files.own_rows import grammar
from annotate.findings import InputError
from annotate.language import Words, words
from annotate.musescore.native import as_json, error_as_json, native_marks
from annotate.pipeline import Options, look, marks_of
from fingering_db.message import Message

ENGLISH = words()
_FILES = ("ventwise.qml", "ventwise-remove.qml", "ours.js")
_GRAMMAR = "var GRAMMAR = null"
_WORDS = "var WORDS = null"
_SHOWN, _TOLD = ("write", "writes", "remove", "removes"), ("not_exported", "no_answer", "no_list", "missed")
_COMMAND = 'property string command: "ventwise"'


def install(folder: Path | None, say: Words = ENGLISH) -> Message:
    """Copy the plug-in into a folder, with this installation's command and these words; returns what to do next.

    Raises InputError where the folder is not named, is not there or cannot be written.
    """
    if folder is None or not folder.is_dir():
        if folder is None:
            raise InputError(Message("musescore.no_folder_named"))
        raise InputError(Message("musescore.no_folder", path=str(folder)))
    try:
        for name, text in plug_in(_command(), say).items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(Message("musescore.folder_unwritable", path=str(folder), reason=error.strerror)) from error
    return Message("musescore.installed", count=len(_FILES), path=str(folder))


def plug_in(command: str, say: Words = ENGLISH) -> dict[str, str]:
    """Its files by name. command: how this program is started, and asked."""
    values = {"path": "%1", "command": "%1", "n": "%1"}
    told = {key: say.text(f"plugin.{key}", **values) for key in _TOLD} | {"language": say.language}
    found = {}
    for name in _FILES:
        text = files("annotate").joinpath("musescore", name).read_text(encoding="utf-8")
        text = text.replace(_COMMAND, "property string command: '" + command.replace("\\", "/") + "'")
        text = text.replace(_GRAMMAR, f"var GRAMMAR = {json.dumps(grammar(), ensure_ascii=False)}")
        for key in _SHOWN:
            text = text.replace(f"{{{key}}}", say.text(f"plugin.{key}"))
        found[name] = text.replace(_WORDS, f"var WORDS = {json.dumps(told, ensure_ascii=False)}")
    return found


def places(score: Path, say: Words = ENGLISH) -> str:
    """The list of places for a score that the plug-in has exported, or the error, as JSON: a plug-in sees no exit status."""
    try:
        looked = look(score, Options(language=say.language))
        marks = [mark for part in marks_of(looked) for mark in part.marks]
        counts = [decision.status for decision in looked.result.first_flute()]
        figures = {"unplayable": counts.count(Status.UNPLAYABLE), "marked": len(marks)}
        told = say.text("plugin.judged", n=len(counts), **figures)
        return as_json(native_marks(looked.parts, marks), told)
    except InputError as error:
        return error_as_json(say.say(error.messages[0]))


def _command() -> str:
    """How this installation is started, quoted where there are blanks."""
    beside = shutil.which("ventwise", path=str(Path(sys.executable).parent)) or shutil.which("ventwise")
    return f'"{beside}"' if beside else f'"{sys.executable}" -m ventwise'
