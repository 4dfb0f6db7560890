"""The user's own MuseScore, asked to export a score as MusicXML: it alone knows what its files mean."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from annotate.findings import InputError
from fingering_db.message import Message

VARIABLE = "VENTWISE_MUSESCORE"
"""Environment variable that names the program, where it is not on the PATH."""
TIME_LIMIT_SECONDS = 180.0
"""A large orchestral score is exported in a few seconds; a program that hangs is ended after this."""

# Names the program has been installed under on Linux; then the usual places on macOS and Windows (from memory, untried).
_NAMES = ("mscore4", "musescore4", "mscore3", "musescore3", "mscore", "musescore", "MuseScore4", "MuseScore3")
_PLACES = (
    "/Applications/MuseScore 4.app/Contents/MacOS/mscore",
    "/Applications/MuseScore 3.app/Contents/MacOS/mscore",
    "C:/Program Files/MuseScore 4/bin/MuseScore4.exe",
    "C:/Program Files/MuseScore 3/bin/MuseScore3.exe",
)


def find_program(named: str = "") -> Path:
    """The MuseScore to ask: `named`, else the one that VENTWISE_MUSESCORE names, else one that is installed.

    Raises InputError where there is none, with what to do.
    """
    asked = named or os.environ.get(VARIABLE, "")
    if asked:
        found = shutil.which(asked)
        if found is None:
            raise InputError(Message("musescore.no_program", name=asked))
        return Path(found)
    found = next(filter(None, map(shutil.which, (*_NAMES, *_PLACES))), None)
    if found is not None:
        return Path(found)
    raise InputError(Message("musescore.not_found", variable=VARIABLE))


def export(score: Path, data: bytes, program: Path, time_limit: float = TIME_LIMIT_SECONDS) -> bytes:
    """MusicXML bytes that the program makes of a score. score: for its ending and for messages; data: the file's bytes.

    Raises InputError, in one line, where the program is missing, fails, hangs or writes nothing (MuseScore 3 does so, with
    exit status 0, for files of MuseScore 4).
    """
    with tempfile.TemporaryDirectory(prefix="ventwise-") as folder:
        source, target = Path(folder, "score" + score.suffix.lower()), Path(folder, "score.musicxml")
        source.write_bytes(data)
        try:
            command = [str(program), "-o", str(target), str(source)]
            done = subprocess.run(
                command,
                stdin=subprocess.DEVNULL,
                capture_output=True,
                env=_environment(),
                timeout=time_limit,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise _failed(score, program, Message("musescore.endless", seconds=time_limit)) from None
        except OSError as error:
            raise _failed(score, program, Message("musescore.not_started", reason=error.strerror)) from error
        if not target.is_file():
            told = done.stderr.decode("utf-8", "replace").strip().splitlines()
            why = Message("musescore.wrote_nothing")
            if done.returncode:
                why = Message("musescore.ended", status=done.returncode)
            raise _failed(score, program, Message("musescore.saying", why=why, told=told[-1][:120]) if told else why)
        return target.read_bytes()


def _failed(score: Path, program: Path, why: Message) -> InputError:
    return InputError(Message("musescore.failed", path=str(score), program=program.name, why=why))


def _environment() -> dict[str, str]:
    """No window is wanted, and where there is no screen there could be none."""
    return os.environ | ({"QT_QPA_PLATFORM": "offscreen"} if sys.platform.startswith("linux") else {})
