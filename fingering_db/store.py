"""Arrays kept between runs in the user's cache folder: computed once for an instrument and the code as they are."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import zipfile
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import platformdirs

Arrays: TypeAlias = Mapping[str, npt.NDArray[Any]]

_MOST_FILES = 24  # older ones are removed


def fetch(key: str, compute: Callable[[], Arrays]) -> Arrays:
    """The arrays stored under a key, else computed and stored.

    key: names everything the arrays depend on but the code; the code's own digest is added, so a change of either gives
    new arrays. A file that cannot be read is computed anew, a folder that cannot be written to is done without. Safe
    when several runs build at once: a file is written beside and renamed.
    """
    path = folder() / f"{hashlib.sha256(f'{_code()}{key}'.encode()).hexdigest()[:32]}.npz"
    with contextlib.suppress(OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile), path.open("rb") as file:
        stored = np.load(file)
        return {name: stored[name] for name in stored.files}
    arrays = compute()
    with contextlib.suppress(OSError):
        _save(path, arrays)
    return arrays


def folder() -> Path:
    """Where the files are."""
    return Path(platformdirs.user_cache_dir("ventwise", appauthor=False))


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


def _save(path: Path, arrays: Arrays) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    named: dict[str, Any] = dict(arrays)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix="building-", suffix=".tmp")
    try:
        with os.fdopen(handle, "wb") as file:
            np.savez(file, **named)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    kept = sorted(path.parent.glob("*.npz"), key=lambda entry: entry.stat().st_mtime, reverse=True)
    for old in kept[_MOST_FILES:]:
        old.unlink(missing_ok=True)
