"""Arrays kept between runs in the user's cache folder: computed once for an instrument and the code as they are."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import stat
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import platformdirs

from fingering_db import neighbours

Arrays: TypeAlias = Mapping[str, npt.NDArray[Any]]

_MOST_FILES = 24  # older ones are removed
_MOST_BYTES = 1 << 30  # of a file that is read
_SEAL = 32  # bytes at the beginning of a file
_BINARY = getattr(os, "O_BINARY", 0)


def fetch(key: str, compute: Callable[[], Arrays]) -> Arrays:
    """The arrays stored under a key, else computed and stored.

    key: names everything the arrays depend on but the code; the code's own digest is added, so a change of either gives
    new arrays. A file that is not what was stored, by the last bit, is computed anew; a folder that cannot be written to
    is done without. Safe when several runs build at once: a file is written beside and renamed.
    """
    name = hashlib.sha256(f"{_code()}{key}".encode()).hexdigest()[:32]
    path = folder()
    stored = _load(path / f"{name}.npz", name) if path else None
    if stored is not None:
        return stored
    arrays = compute()
    if path:
        with contextlib.suppress(OSError):
            _save(path, name, arrays)
    return arrays


def folder() -> Path | None:
    """Where the files are; None where the system knows no home for them."""
    try:
        path = Path(platformdirs.user_cache_dir("ventwise", appauthor=False))
    except (RuntimeError, KeyError, OSError):
        return None
    return path if path.is_absolute() else None


def _load(path: Path, name: str) -> Arrays | None:
    """The arrays in a file, None for whatever is not a file that `_save` wrote under this name."""
    try:
        # A pipe would hold up for ever, and a link may lead to one.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0) | _BINARY)
        with os.fdopen(handle, "rb") as file:
            found = os.fstat(handle)
            if not stat.S_ISREG(found.st_mode) or found.st_size > _MOST_BYTES:
                return None
            seal = file.read(_SEAL)
            packed = file.read()
        if seal != _seal(name, packed):
            return None
        stored = np.load(io.BytesIO(packed))
        return {each: stored[each] for each in stored.files}
    except Exception:  # of damage that the seal does not show there is none; of other versions of numpy there may be
        return None


def _seal(name: str, packed: bytes) -> bytes:
    """Tells whether a file is whole and stands under its own name."""
    return hashlib.blake2b(name.encode() + packed, digest_size=_SEAL).digest()


@cache
def _code() -> str:
    """Digest of every module of the package: any of them may change what is computed."""
    digest = hashlib.sha256(np.__version__.encode())
    for path in sorted(Path(__file__).parent.rglob("*.py")):
        digest.update(path.read_bytes())
    for path in sorted(
        path for path in (Path(__file__).parent / "data").rglob("*.toml") if path.parent.name != "instruments"
    ):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _save(path: Path, name: str, arrays: Arrays) -> None:
    path.mkdir(parents=True, exist_ok=True)
    neighbours.clear(path)
    named: dict[str, Any] = dict(arrays)
    out = io.BytesIO()
    np.savez(out, **named)
    packed = out.getvalue()
    with neighbours.held_file(path) as (beside, handle):
        with os.fdopen(os.dup(handle), "wb") as file:
            file.write(_seal(name, packed))
            file.write(packed)
        beside.replace(path / f"{name}.npz")
    kept = sorted(path.glob("*.npz"), key=lambda entry: entry.lstat().st_mtime, reverse=True)
    for old in kept[_MOST_FILES:]:
        old.unlink(missing_ok=True)
