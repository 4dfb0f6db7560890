"""Waiting for files to be saved: looked at again and again, without anything to be installed."""

import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

EVERY_SECONDS = 0.2
"""Between two looks: short enough that nobody waits, long enough that nothing is felt of it."""

Look = tuple[int, int, int]


def look(path: Path) -> Look | None:
    """Time of change [ns], size [bytes] and number of the file on its disk; None while there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def saves(
    paths: Sequence[Path],
    *,
    every: float = EVERY_SECONDS,
    pause: Callable[[float], None] = time.sleep,
    seen: Callable[[Path], Look | None] = look,
) -> Iterator[Path]:
    """Each path once at the beginning and then after each save, for ever: when two looks in a row agree, so that a file is
    not read while it is being written. A file that is gone for a moment (programs rename a new one over it) is waited for.
    """
    known: dict[Path, Look | None] = dict.fromkeys(paths)
    before: dict[Path, Look | None] = {path: seen(path) for path in paths}
    for path in paths:
        known[path] = before[path]
        yield path
    while True:
        pause(every)
        for path in paths:
            now = seen(path)
            if now is not None and now == before[path] and now != known[path]:
                known[path] = now
                yield path
            before[path] = now
