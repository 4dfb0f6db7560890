"""Files and folders under names of ours beside the user's, for the time of one run, and those that a killed run left.

Whoever makes one holds a lock on it for as long as it is in use; the system drops the lock of a process that ends in
whatever way. So one that can be locked belongs to nobody any more, and is cleared by the next run in that folder.
"""

import contextlib
import os
import re
import secrets
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

try:
    import fcntl
except ImportError:  # a system without such locks
    fcntl = None  # type: ignore[assignment]

_NAME = re.compile(r"\.ventwise-[0-9a-f]{16}\.tmp")
_OLD_S = 3600.0  # age from which one is nobody's where locks cannot tell [s]: no run writes for so long
_TRIES = 100
_LOOK_AGAIN_S = 0.2


@contextmanager
def held_file(folder: Path) -> Iterator[tuple[Path, int]]:
    """A new, empty file that its owner alone can read and write, and its open descriptor; removed at the end if it is
    still there. Raises OSError."""

    def create(path: Path) -> int:
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)

    path, handle = _held(folder, create)
    try:
        yield path, handle
    finally:
        with contextlib.suppress(OSError):  # what went wrong before is what is told
            os.close(handle)
        with contextlib.suppress(OSError):
            path.unlink()


@contextmanager
def held_folder(folder: Path) -> Iterator[Path]:
    """A new, empty folder; it is for the caller to remove. Raises OSError."""

    def create(path: Path) -> int:
        path.mkdir(mode=0o700)
        return os.open(path, os.O_RDONLY) if fcntl else -1

    path, handle = _held(folder, create)
    try:
        yield path
    finally:
        if handle >= 0:
            os.close(handle)


def _held(folder: Path, create: Callable[[Path], int]) -> tuple[Path, int]:
    """Make and lock; once more where a run that clears took it for left behind in the moment between."""
    for _ in range(_TRIES):
        # A short name of its own: one made from a long file name could be too long.
        path = folder / f".ventwise-{secrets.token_hex(8)}.tmp"
        try:
            handle = create(path)
        except FileNotFoundError:
            if not folder.is_dir():
                raise
            continue
        if handle < 0 or (_lock(handle) is not False and path.exists()):
            return path, handle
        os.close(handle)
    raise OSError("no temporary file can be made here")


def write_all(handle: int, content: bytes) -> None:
    """Have all of it on the disk. Raises OSError."""
    view = memoryview(content)
    while view:
        view = view[os.write(handle, view) :]
    os.fsync(handle)


def keep_names(folder: Path) -> None:
    """Have the names of new files on the disk too, where the system can; else the files themselves are safe."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def turn(path: Path, is_done: Callable[[], bool]) -> Iterator[None]:
    """Hold the lock of this name, so that of several runs one does the work: the others wait until it lets go, which it
    does however it ends, or until `is_done`. Where there are no locks, or it is held for an hour, nobody waits."""
    handle = -1
    with contextlib.suppress(OSError):
        flags = os.O_RDWR | os.O_CREAT | sum(getattr(os, name, 0) for name in ("O_NOFOLLOW", "O_NONBLOCK"))
        handle = os.open(path, flags, 0o600)
    try:
        begun = time.monotonic()
        while handle >= 0 and _lock(handle) is False and not is_done() and time.monotonic() - begun < _OLD_S:
            time.sleep(_LOOK_AGAIN_S)
        yield
    finally:
        if handle >= 0:
            with contextlib.suppress(OSError):
                path.unlink()
            with contextlib.suppress(OSError):
                os.close(handle)


def clear(folder: Path, remove_folder: Callable[[Path], None] | None = None) -> None:
    """Remove what killed runs of this user left in a folder; never fails. remove_folder: removes a folder of that kind
    (without it folders stay)."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in [entry for entry in entries if _NAME.fullmatch(entry.name)]:
            with contextlib.suppress(OSError):
                _clear_one(Path(entry.path), entry.stat(follow_symlinks=False), remove_folder)


def _clear_one(path: Path, found: os.stat_result, remove_folder: Callable[[Path], None] | None) -> None:
    remove = remove_folder if stat.S_ISDIR(found.st_mode) else Path.unlink if stat.S_ISREG(found.st_mode) else None
    if not remove or (hasattr(os, "geteuid") and found.st_uid != os.geteuid()):
        return
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK) if fcntl else -1
    try:
        locked = _lock(handle)
        if locked or (locked is None and time.time() - found.st_mtime > _OLD_S):
            remove(path)
    finally:
        if handle >= 0:
            os.close(handle)


def _lock(handle: int) -> bool | None:
    """Whether the lock was free and is ours now; None where this place knows no locks."""
    if not fcntl:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True
