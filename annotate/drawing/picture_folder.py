"""The folder of the pictures: what stands in it already and is not ours stays, and files come all or none.

A file counts as ours when it carries our mark, which is a digest of its contents, so that a picture that somebody has
worked on since is not ours any more. Other folders that we fill tell by an `Ours` of their own which files are ours.
"""

import csv
import io
import os
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Protocol

from annotate.drawing.picture_files import COLUMNS, PLACES, is_marked
from annotate.files.errors import reason
from annotate.files.placing import uninterrupted
from annotate.findings import InputError
from fingering_db import neighbours
from fingering_db.message import Message

_NAME = re.compile(r"[a-z0-9][a-z0-9.-]*\.(svg|png)")
_OLD, _NEW = "old", "new"  # inside the folder of our work
_MOST_LIST = 1 << 24  # bytes of a list of places that is looked into


class Ours(Protocol):
    """How our files in a folder are told from others."""

    def is_ours(self, path: Path) -> bool:
        """Whether a file is as we wrote it. path: of a file, no link."""

    def earlier(self, folder: Path) -> tuple[str, ...]:
        """Names of what we wrote there the last time, as far as that is told."""


class Pictures:
    """Pictures carry a mark; a list of places is ours when it is in just our form."""

    def is_ours(self, path: Path) -> bool:
        data = path.read_bytes()
        return _listed(data) is not None if path.name == PLACES else is_marked(data, path.suffix)

    def earlier(self, folder: Path) -> tuple[str, ...]:
        places = folder / PLACES
        return (_listed(places.read_bytes()) if places.is_file() else None) or ()


def _listed(data: bytes) -> tuple[str, ...] | None:
    """Names of the pictures in a list of places; None where it is not ours."""
    try:
        rows = list(csv.reader(io.StringIO(data[:_MOST_LIST].decode("utf-8")), strict=True))
    except (UnicodeDecodeError, csv.Error):
        return None
    whole = bool(rows) and tuple(rows[0]) == COLUMNS and all(len(row) == len(COLUMNS) for row in rows)
    names = tuple(name for row in rows[1:] for name in row[-3:] if name) if whole else ()
    return names if whole and all(_NAME.fullmatch(name) for name in names) else None


def check_folder(folder: Path) -> None:
    """Raise InputError, one line, for a folder that surely cannot hold the pictures: before anything is judged.

    What stands in it under the names of pictures is known only afterwards; `placed` looks at that."""
    with _told(folder):
        missing = _missing(folder)
        above = missing[0].parent if missing else folder
        if not os.access(above, os.W_OK | os.X_OK):
            raise InputError(Message("file.pictures_protected", path=str(above)))


@contextmanager
def placed(folder: Path, contents: Mapping[str, bytes], ours: Ours | None = None) -> Iterator[None]:
    """Have the files in the folder while the body runs, and afterwards if nothing went wrong there.

    The folder and those above it are made where missing. Our own earlier files are replaced, and those of them that
    are not written any more go. On any failure, here or in the body, everything is as before. What killed runs left
    there is cleared. ours: pictures, where none is given. Raises InputError, one line, for a folder that cannot be written
    and for a file in the way that is not ours.
    """
    with _told(folder):
        missing = _missing(folder)
        neighbours.clear(folder, _take_back)
        old = _to_replace(folder, contents, ours or Pictures())
    made: list[Path] = []
    moved: list[tuple[Path, Path]] = []
    with ExitStack() as held:
        try:
            with _told(folder):
                for one in missing:
                    one.mkdir()
                    made.append(one)
                work = held.enter_context(neighbours.held_folder(folder))
                made.append(work)
                for one in (work / _OLD, work / _NEW):
                    one.mkdir()
                for name, data in contents.items():
                    (work / _NEW / name).write_bytes(data)
                for names, source, target in ((old, folder, work / _OLD), (contents, work / _NEW, folder)):
                    for name in names:
                        (source / name).rename(target / name)
                        moved.append((source / name, target / name))
            yield
        except BaseException:
            with uninterrupted():
                for before, after in reversed(moved):
                    after.rename(before)
                _remove_all(made)
            raise
        with uninterrupted():
            _remove_all([work])


def _remove_all(made: list[Path]) -> None:
    """The folder of our work with all in it, and those above it as far as they are empty."""
    for one in reversed(made):
        if one.name.startswith(".ventwise-"):
            shutil.rmtree(one, ignore_errors=True)
        with suppress(OSError):  # somebody else has put something there meanwhile
            one.rmdir()


def _take_back(work: Path) -> None:
    """Clear what a killed run left: pictures that it had moved away go back where none has come in their place."""
    old = work / _OLD
    for path in sorted(old.iterdir()) if old.is_dir() else ():
        if not os.path.lexists(work.parent / path.name):
            path.rename(work.parent / path.name)
    shutil.rmtree(work, ignore_errors=True)


@contextmanager
def _told(folder: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:
        raise InputError(Message("file.pictures_no_room", path=str(folder), reason=reason(error))) from error


def _missing(folder: Path) -> list[Path]:
    """Folders to make, outermost first."""
    missing = []
    for one in (folder, *folder.parents):
        if one.is_dir():
            break
        if one.exists() or one.is_symlink():
            raise InputError(Message("file.pictures_no_folder", path=str(one)))
        missing.append(one)
    return missing[::-1]


def _to_replace(folder: Path, contents: Mapping[str, bytes], ours: Ours) -> tuple[str, ...]:
    """Our earlier files. Raises InputError for a file in the way that is not ours."""
    if not folder.is_dir():
        return ()

    def is_ours(name: str) -> bool:
        path = folder / name
        return path.is_file() and not path.is_symlink() and ours.is_ours(path)

    for name in contents:
        if os.path.lexists(folder / name) and not is_ours(name):
            raise InputError(Message("file.pictures_not_ours", path=str(folder / name)))
    known = dict.fromkeys([*contents, *(name for name in ours.earlier(folder) if is_ours(name))])
    return tuple(name for name in known if (folder / name).exists())
