"""Arrays kept between runs in the user's cache folder: computed once for an instrument and the code as they are.

A file is a line that names its kind, a header (JSON: name, type, shape and place of each array), and the arrays. It is mapped
into memory, not held there: what is not looked at takes no room. Checked whenever it is opened: kind, the header's checksum,
length, name, and the checksum of all of it (0.1 s for 300 MB, the largest; a time stamp would tell of changes, not of a disk
that forgets a bit)."""

import contextlib
import hashlib
import json
import mmap
import os
import stat
import time
import weakref
import zlib
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import platformdirs

from fingering_db import neighbours

Arrays: TypeAlias = Mapping[str, npt.NDArray[Any]]

_KIND = b"ventwise arrays 1\n"
_SUFFIX = ".arrays"
_MOST_FILES, _MOST_BYTES = 48, 3 << 30  # those not used for longest are removed
_ABANDONED_SECONDS = 24 * 3600.0
_ALIGN = 64
_PIECE = 1 << 20


def fetch(key: str, compute: Callable[[], Arrays]) -> Arrays:
    """The arrays stored under a key, read-only, else computed and stored.

    key: names everything the arrays depend on but the code; the code's own digest is added, so a change of either gives
    new arrays. A file that is damaged, or no regular file, is computed anew; a folder that cannot be written to is done
    without. Safe when several runs read and build at once: one builds while the others wait for it, and a file is written
    beside and renamed.
    """
    name, where = _name(key), folder()
    if where is None:
        return compute()
    path = where / f"{name}{_SUFFIX}"
    stored = _open(path)
    if stored is not None:
        return stored
    with contextlib.suppress(OSError):
        where.mkdir(parents=True, exist_ok=True)
    with neighbours.turn(path.with_suffix(".lock"), path.is_file):
        stored = _open(path)  # another run may have built it
        if stored is not None:
            return stored
        arrays = compute()
        with contextlib.suppress(OSError):
            _save(where, name, arrays)
        return arrays


_MAPPED: list[
    tuple[weakref.ref[mmap.mmap], list[tuple[int, int]]]
] = []  # with what is let go of each: from, so many bytes
_LARGE = 8 << 20  # bytes of an array: of a smaller one all is looked at again soon
_MOST_LOOKED_AT = 64 << 20
_WRITTEN = 64 << 10  # bytes at a time
_HELD_BEFORE: list[int] = []  # of programs and files, when nothing was looked at yet, or had just been let go


def let_go() -> None:
    """Give back to the system what was looked at of large arrays, where it is much; what is looked at again comes again. Else a
    long run holds, page by page, nearly all of a large file."""
    every = [(content, parts) for content, parts in ((one(), parts) for one, parts in _MAPPED) if content and parts]
    if sum(length for _, parts in every for _, length in parts) <= _MOST_LOOKED_AT:
        return
    if _mapped_bytes() - _HELD_BEFORE[0] > _MOST_LOOKED_AT:
        for content, parts in every:
            for start, length in parts:
                content.madvise(mmap.MADV_DONTNEED, start, length)
        _HELD_BEFORE[0] = _mapped_bytes()


def _mapped_bytes() -> int:
    """Of files and programs, in memory; 0 on a system that does not tell."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[2]) * mmap.PAGESIZE
    except (OSError, ValueError, IndexError):
        return 0


def is_stored(key: str) -> bool:
    """Whether there is a file of that key; whether it is whole shows when it is fetched."""
    where = folder()
    return where is not None and (where / f"{_name(key)}{_SUFFIX}").is_file()


def _name(key: str) -> str:
    return hashlib.sha256(f"{_code()}{key}".encode()).hexdigest()[:32]


def folder() -> Path | None:
    """Where the files are; None where the system knows no home for them."""
    try:
        path = Path(platformdirs.user_cache_dir("ventwise", appauthor=False))
    except (RuntimeError, KeyError, OSError):
        return None
    return path if path.is_absolute() else None


COMPUTES = (
    "acoustics/air",
    "acoustics/arrays",
    "acoustics/branches",
    "acoustics/embouchure",
    "acoustics/ends",
    "acoustics/hole",
    "acoustics/jet",
    "acoustics/resonance",
    "acoustics/tube",
    "atlas",
    "bands",
    "chart",
    "fingering",
    "fitting",
    "halves",
    "hand",
    "instrument",
    "mechanism",
    "model",
    "pitch",
    "playability",
    "retuning",
    "sounding",
    "store",
    "survey",
    "touches",
    "uncertainty",
)
"""Modules that decide what is computed for keeping: with those of TELLS_ONLY all that `survey` imports, and what they import (a
test holds it so)."""

TELLS_ONLY = ("message", "mistakes", "neighbours", "toml_size")
"""Imported too, but they only refuse a flute or say something: what is computed does not depend on them."""

_NOT_COMPUTED_FROM = ("evidence.toml",)


@cache
def _code() -> str:
    """Digest of the modules and tables that decide what is computed."""
    digest = hashlib.sha256(np.__version__.encode())
    here = Path(__file__).parent
    tables = sorted((*here.glob("data/charts/*.toml"), *here.glob("data/*.toml")))
    tables = [path for path in tables if path.name not in _NOT_COMPUTED_FROM]
    for path in (*(here / f"{name}.py" for name in COMPUTES), *tables):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _open(path: Path) -> Arrays | None:
    """The arrays of a file; None where there is none that is whole."""
    try:
        # Not blocking: what lies there may be a pipe that nobody writes to, or a link to one.
        flags = os.O_RDONLY | sum(getattr(os, name, 0) for name in ("O_NONBLOCK", "O_NOFOLLOW", "O_BINARY"))
        descriptor = os.open(path, flags)
    except OSError:
        return None
    try:
        about = os.fstat(descriptor)
        if not stat.S_ISREG(about.st_mode) or not about.st_size:
            return None
        content = mmap.mmap(descriptor, 0, access=mmap.ACCESS_READ)
        header = _header(content)
        if header is None or header["size"] != about.st_size or header["name"] != path.stem:
            return None
        if not _MAPPED:
            _HELD_BEFORE[:] = [_mapped_bytes()]
        arrays = {name: _array(content, entry) for name, entry in header["arrays"].items()}
        large = [
            (header["arrays"][name]["at"], array.nbytes) for name, array in arrays.items() if array.nbytes > _LARGE
        ]
        _MAPPED.append((weakref.ref(content), [_whole_pages(*part) for part in large]))
        if not _is_whole(descriptor, content, header):
            return None
        with contextlib.suppress(OSError):
            os.utime(path, ns=(time.time_ns(), about.st_mtime_ns))
        return arrays
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    finally:
        os.close(descriptor)


def _whole_pages(start: int, length: int) -> tuple[int, int]:
    """Of so many bytes from start on, those that fill pages."""
    first, past = -(-start // mmap.PAGESIZE), (start + length) // mmap.PAGESIZE
    return first * mmap.PAGESIZE, (past - first) * mmap.PAGESIZE


def _header(content: mmap.mmap) -> dict[str, Any] | None:
    start = len(_KIND) + 16
    if len(content) < start or content[: len(_KIND)] != _KIND:
        return None
    length, checksum = (int(content[at : at + 8], 16) for at in (len(_KIND), len(_KIND) + 8))
    raw = content[start : start + length]
    return json.loads(raw) if zlib.crc32(raw) == checksum else None


def _array(content: mmap.mmap, entry: Mapping[str, Any]) -> npt.NDArray[Any]:
    count = int(np.prod(entry["shape"], dtype=np.int64))
    if not count:
        return np.empty(entry["shape"], dtype=entry["type"])
    return np.frombuffer(content, dtype=entry["type"], count=count, offset=entry["at"]).reshape(entry["shape"])


def _is_whole(descriptor: int, content: mmap.mmap, header: Mapping[str, Any]) -> bool:
    """Whether all that is behind the header is what was written; what fills up the header too. Read in pieces: summing the
    mapping itself would bring all of it into the memory of this process."""
    body, checksum = header["body"], 0
    begin = content.find(b"\n", len(_KIND))
    if content[begin:body].strip(b"\n") != b"":
        return False
    os.lseek(descriptor, body, os.SEEK_SET)
    while piece := os.read(descriptor, _PIECE):
        checksum = zlib.crc32(piece, checksum)
    return bool(checksum == header["checksum"])


def _save(where: Path, name: str, arrays: Arrays) -> None:
    where.mkdir(parents=True, exist_ok=True)
    neighbours.clear(where)
    path = where / f"{name}{_SUFFIX}"
    with neighbours.held_file(where) as (beside, handle):
        with os.fdopen(os.dup(handle), "wb") as file:
            _write(file, name, arrays)
        beside.replace(path)
    _tidy(where, path)


def _write(file: Any, name: str, arrays: Arrays) -> None:
    entries: dict[str, Any] = {}
    whole = {each: np.ascontiguousarray(array).reshape(array.shape) for each, array in arrays.items()}
    body = at = 4096 * (1 + (256 * len(whole)) // 4096)
    checksum = 0
    for each, array in whole.items():
        entries[each] = {"type": array.dtype.str, "shape": list(array.shape), "at": at}
        for part in _filled(array):
            checksum = zlib.crc32(part, checksum)
        at += -(-array.nbytes // _ALIGN) * _ALIGN
    about = {"name": name, "arrays": entries, "body": body, "size": at, "checksum": checksum}
    raw = json.dumps(about).encode()
    file.write((_KIND + f"{len(raw):08x}{zlib.crc32(raw):08x}".encode() + raw).ljust(body, b"\n"))
    for array in whole.values():
        for part in _filled(array):
            # Linux (seen with 6.18) maps a file in the pieces that it was written in, and holds all of each that is looked at.
            for start in range(0, len(part), _WRITTEN):
                file.write(part[start : start + _WRITTEN])


def _filled(array: npt.NDArray[Any]) -> tuple[bytes | memoryview, ...]:
    """An array's bytes, uncopied, and what fills up to the next one."""
    return array.reshape(-1).view(np.uint8).data, bytes(-array.nbytes % _ALIGN)


def _tidy(where: Path, new: Path) -> None:
    """Remove what was not used for longest beyond the bounds."""
    found = []
    for path in where.iterdir():
        with contextlib.suppress(OSError):
            about = path.lstat()
            if not stat.S_ISREG(about.st_mode):
                continue
            if path.suffix == _SUFFIX:
                found.append((path != new, -about.st_atime_ns, about.st_size, path))
            elif path.suffix in (".npz", ".lock") and time.time() - about.st_mtime > _ABANDONED_SECONDS:
                path.unlink()  # of an earlier version, or of a run that was killed
    total = 0
    for number, (_, _, size, path) in enumerate(sorted(found)):
        total += size
        if number and (number >= _MOST_FILES or total > _MOST_BYTES):
            path.unlink(missing_ok=True)
