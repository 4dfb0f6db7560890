"""Putting contents into place, all or nothing: a neighbour is filled, looked at and renamed, and never over anything that
somebody else has saved meanwhile."""

import contextlib
import hashlib
import os
import signal
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from annotate.files.errors import file_error, reason
from fingering_db import neighbours
from fingering_db.message import Message

_HANG_UP = (signal.SIGHUP,) if hasattr(signal, "SIGHUP") else ()
NOTHING = ""
"""What stands at a place where there is no file."""


def standing(path: Path) -> str:
    """What stands at a place, as a digest to compare with later; NOTHING where there is no file.

    Raises InputError for what cannot be read; what is no file is left for others to refuse."""
    try:
        if not path.is_file():
            return NOTHING
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        raise file_error(path, Message("file.not_replaceable", reason=reason(error))) from error


def standing_of(content: bytes) -> str:
    """What `standing` tells of a file of this content."""
    return hashlib.sha256(content).hexdigest()


@dataclass(frozen=True, slots=True)
class Ready:
    """Contents that wait beside their place. losses: what of the file there does not go on to the new one, one line each."""

    path: Path
    target: Path
    neighbour: Path
    before: str | None
    losses: tuple[Message, ...]

    def place(self) -> None:
        """Rename it to its place. Raises InputError, with everything as it was, where something else stands there than
        `before`, and for a folder that cannot be written."""
        if self.before is not None and standing(self.target) != self.before:
            raise file_error(self.path, Message("file.saved_meanwhile"))
        with _told(self.path):
            self.neighbour.replace(self.target)
        neighbours.keep_names(self.target.parent)


@contextmanager
def prepared(path: Path, content: bytes, verify: Callable[[bytes], None], before: str | None = None) -> Iterator[Ready]:
    """Have the contents ready beside their place; gone at the end unless they were placed.

    The neighbour is its owner's alone while it fills, is read back and given to `verify`, which raises if it is not as it
    should be. A symbolic link stays and the file it leads to is meant; an existing file's permissions, owner and extended
    attributes are handed on as far as the system allows. before: what stood there when the work began, None for
    whatever it be. What killed runs left in that folder is cleared. Raises InputError for a place that cannot be
    written, and what `verify` raises.
    """
    with _told(path, "file.expected_folder"):
        target = path.resolve()
        old = target.stat() if target.exists() else None
        if old and not stat.S_ISREG(old.st_mode):
            raise file_error(path, Message("file.is_a_folder"))
        if old and not os.access(target, os.W_OK):
            raise file_error(path, Message("file.write_protected"))
        neighbours.clear(target.parent)
    with contextlib.ExitStack() as held:
        with _told(path):
            neighbour, handle = held.enter_context(neighbours.held_file(target.parent))
            neighbours.write_all(handle, content)
            losses = _made_like(neighbour, target, old)
            again = neighbour.read_bytes()
        verify(again)
        yield Ready(path, target, neighbour, before, losses)


@contextmanager
def uninterrupted() -> Iterator[None]:
    """What is begun inside is not ended half-way by a signal: it comes when the work is done.

    By handlers and not by a mask, which another thread would not have."""
    came: list[int] = []
    before: dict[int, Any] = {}
    with contextlib.suppress(ValueError):  # not the main thread, which alone is interrupted
        for one in (signal.SIGINT, signal.SIGTERM, *_HANG_UP):
            before[one] = signal.signal(one, lambda number, _: came.append(number))
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler if handler is not None else signal.SIG_DFL)
        if came:
            signal.raise_signal(came[0])


def _made_like(neighbour: Path, target: Path, old: os.stat_result | None) -> tuple[Message, ...]:
    """Give a new file the permissions of the old one (of any new file of this user, where there is none), its owner and
    its extended attributes; what could not be given, and hard links, are told."""
    if old is None:
        mask = os.umask(0o077)
        os.umask(mask)
        neighbour.chmod(0o666 & ~mask)
        return ()
    losses: list[Message] = []
    own = neighbour.stat()
    mode = stat.S_IMODE(old.st_mode)
    if hasattr(os, "chown") and (own.st_uid, own.st_gid) != (old.st_uid, old.st_gid):
        try:
            os.chown(neighbour, old.st_uid, old.st_gid)
        except OSError:
            losses.append(Message("file.owner_lost"))
            mode &= ~(stat.S_ISUID | stat.S_ISGID)
    neighbour.chmod(mode)
    lost = _attributes_lost(neighbour, target)
    if lost:
        losses.append(Message("file.attributes_lost", names=tuple(lost)))
    if old.st_nlink > 1:
        losses.append(Message("file.hard_links", n=old.st_nlink - 1))
    return tuple(losses)


def _attributes_lost(neighbour: Path, target: Path) -> list[str]:
    if not hasattr(os, "listxattr"):
        return []
    lost = []
    with contextlib.suppress(OSError):  # a file system without any
        for name in os.listxattr(target):
            try:
                os.setxattr(neighbour, name, os.getxattr(target, name))
            except OSError:
                lost.append(name)
    return lost


@contextmanager
def _told(path: Path, expected: str = "file.expected_room") -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError, RuntimeError) as error:
        raise file_error(path, Message("file.unwritable", reason=reason(error), expected=Message(expected))) from error
