"""The player's log: a file to which lines are only ever added, in the user's data folder.

A line is its kind, a checksum (CRC-32 of the rest) and the trial as JSON. Writers take turns by a lock; a line counts once it is
on the disk (fsync), and only then does `add` return. A run that is killed while it writes leaves at most the beginning of its own
lines: the next writer begins a new line, and readers leave aside what does not match its checksum."""

import contextlib
import json
import os
import secrets
import stat
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path

import platformdirs

from fingering_db import neighbours
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.message import Message, in_english
from fingering_db.pitch import Pitch, PitchError
from fingering_db.trials import Trial

try:
    import fcntl
except ImportError:  # a system without such locks: its appends are taken to be whole
    fcntl = None  # type: ignore[assignment]

FOLDER_VARIABLE, PLAYER_VARIABLE = "VENTWISE_DATA", "VENTWISE_PLAYER"
NAME = "log.ventwise"
MOST_BYTES = 64 << 20
_TOO_LARGE = Message("flute_file.too_large", most=MOST_BYTES >> 10)
_KIND = "ventwise-log-1"


class LogError(ValueError):
    @property
    def reason(self) -> Message | str:
        """Why: one of ours, or what the system says."""
        reason: Message | str = self.args[0]
        return reason

    def __str__(self) -> str:
        return in_english(self.reason)


@dataclass(frozen=True, slots=True)
class Log:
    """What a log holds, in the order in which it was written. left_aside: lines that are not whole."""

    trials: tuple[Trial, ...] = ()
    left_aside: int = 0


def path() -> Path | None:
    """Where the log is: in the folder that VENTWISE_DATA names, else in the user's data folder; None for no log, where the
    variable is set to nothing or the system knows no home."""
    folder = os.environ.get(FOLDER_VARIABLE)
    if folder is not None:
        return Path(folder) / NAME if folder.strip() else None
    try:
        place = Path(platformdirs.user_data_dir("ventwise", appauthor=False))
    except (RuntimeError, KeyError, OSError):
        return None
    return place / NAME if place.is_absolute() else None


def player() -> str:
    """Who keeps the log: the name in VENTWISE_PLAYER, '' for none."""
    return " ".join(os.environ.get(PLAYER_VARIABLE, "").split())


def new_id() -> str:
    """An id that no other trial has."""
    return secrets.token_hex(8)


def read(where: Path) -> Log:
    """Everything in a log; empty where there is none. Raises LogError."""
    try:
        # Not blocking: what lies there may be a pipe that nobody writes to.
        handle = os.open(where, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(handle, "rb") as file:
            return _decoded(_all_of(file.fileno()))
    except FileNotFoundError:
        return Log()
    except (OSError, ValueError) as error:
        raise _log_error(error) from error


def _log_error(error: OSError | ValueError) -> LogError:
    return error if isinstance(error, LogError) else LogError(getattr(error, "strerror", None) or str(error))


def add(where: Path, trials: Iterable[Trial]) -> tuple[Trial, ...]:
    """Add trials whose id the log does not have yet, each line whole and on the disk when this returns; gives those added. Raises
    LogError, with nothing of what was there before touched."""
    try:
        where.parent.mkdir(parents=True, exist_ok=True)
        is_new = not where.exists()
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        handle = os.open(where, flags, 0o600)
        try:
            with _locked(handle):
                return _add_to(handle, tuple(trials))
        finally:
            os.close(handle)
            if is_new:
                neighbours.keep_names(where.parent)
    except (OSError, ValueError) as error:
        raise _log_error(error) from error


def _add_to(handle: int, trials: tuple[Trial, ...]) -> tuple[Trial, ...]:
    content = _all_of(handle)
    known = {one.id for one in _decoded(content).trials}
    new: dict[str, Trial] = {}
    for one in trials:
        if one.id not in known:
            new.setdefault(one.id, one)
    lines = b"".join(map(_line, new.values()))
    if not lines:
        return ()
    # What a killed run left of its line is ended, so that it stands by itself.
    lines = (b"\n" if content and not content.endswith(b"\n") else b"") + lines
    if len(content) + len(lines) > MOST_BYTES:
        raise LogError(_TOO_LARGE)
    neighbours.write_all(handle, lines)
    return tuple(new.values())


def _all_of(handle: int) -> bytes:
    about = os.fstat(handle)
    if not stat.S_ISREG(about.st_mode):
        raise LogError(Message("flute_file.no_file"))
    if about.st_size > MOST_BYTES:
        raise LogError(_TOO_LARGE)
    with os.fdopen(handle, "rb", closefd=False) as file:
        file.seek(0)
        return file.read()


@contextmanager
def _locked(handle: int) -> Iterator[None]:
    if fcntl is None:
        yield
        return
    fcntl.flock(handle, fcntl.LOCK_EX)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_UN)


def _line(one: Trial) -> bytes:
    told = {each.name: getattr(one, each.name) for each in fields(one)}
    told |= {"fingering": str(one.fingering), "pitches": [exact(pitch) for pitch in one.pitches]}
    # ASCII: no end of line but ours, whatever a remark holds.
    text = json.dumps(told, ensure_ascii=True, separators=(",", ":")).encode("ascii")
    return b"%s %08x %s\n" % (_KIND.encode("ascii"), zlib.crc32(text), text)


def exact(pitch: Pitch) -> str:
    """A pitch with its cents, to a ten-thousandth: `C5+12.5`."""
    cents = f"{pitch.cents:+.4f}".rstrip("0").rstrip(".")
    return pitch.name + (cents if float(cents) else "")


def _decoded(content: bytes) -> Log:
    *lines, last = content.split(b"\n")
    read = [_trial(line) for line in lines if line]
    # Without its end a line may be one that somebody writes at this moment: it counts when it is whole, and is no loss else.
    return Log(tuple(one for one in (*read, _trial(last)) if one), read.count(None))


def _trial(line: bytes) -> Trial | None:
    kind, _, rest = line.partition(b" ")
    checksum, _, text = rest.partition(b" ")
    if kind != _KIND.encode("ascii") or checksum != b"%08x" % zlib.crc32(text):
        return None
    try:
        told = json.loads(text)
        return Trial(
            **{name: str(told[name]) for name in ("id", "time", "player", "flute", "flute_id", "remark", "source")},
            fingering=Fingering.parse(told["fingering"]),
            pitches=tuple(Pitch.parse(each) for each in told["pitches"]),
            worked=told["worked"] is True,
        )
    except (ValueError, KeyError, TypeError, FingeringError, PitchError):
        return None
