"""The folder of a pack: all of it or nothing, and nothing in it that is not ours is touched.

A list in the folder tells the digest of every file; a file that differs from it, or is not in it, is not ours."""

import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from annotate.drawing.picture_folder import check_folder, placed
from annotate.files.placing import uninterrupted
from annotate.findings import InputError
from fingering_db.message import Message

LIST = "ventwise-pack.json"
_VERSION = 1
_MOST_LIST = 1 << 24  # bytes of a list that is looked into
_FOLDERS = ("pages", "sounds")


@dataclass(frozen=True, slots=True)
class _Listed:
    """Files of a folder, told by a list. digests: by name in the pack; inside: where the folder is in it ('', 'pages/')."""

    digests: Mapping[str, str]
    inside: str

    def is_ours(self, path: Path) -> bool:
        data = path.read_bytes()
        if path.name == LIST and not self.inside:
            return _read(data) is not None
        return self.digests.get(self.inside + path.name) == hashlib.sha256(data).hexdigest()

    def earlier(self, folder: Path) -> tuple[str, ...]:
        inside = (name.removeprefix(self.inside) for name in self.digests if name.startswith(self.inside))
        return tuple(name for name in inside if "/" not in name)


def check(folder: Path, names: Sequence[str]) -> None:
    """Raise InputError for a folder that surely cannot hold a pack with these files: before anything is judged."""
    check_folder(folder)
    known = _known(folder)
    for name in names:
        path = folder / name
        if os.path.lexists(path) and not (path.is_file() and _Listed(known, "").is_ours(path)):
            raise InputError(Message("file.pictures_not_ours", path=str(path)))


def write(folder: Path, files: Mapping[str, bytes]) -> None:
    """Have the files in the folder, in place of an earlier pack there. files: by name, folders parted by '/'.

    Raises InputError, with everything as it was, where a file of somebody else is in the way or there is no room."""
    listed = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    told = json.dumps({"ventwise-pack": _VERSION, "files": listed}, indent=1).encode() + b"\n"
    with _placed(folder, {**files, LIST: told}), uninterrupted():
        pass


@contextmanager
def _placed(folder: Path, files: Mapping[str, bytes]) -> Iterator[None]:
    known = _known(folder)
    with ExitStack() as held:
        top = {name: data for name, data in files.items() if "/" not in name}
        held.enter_context(placed(folder, top, _Listed(known, "")))
        for name in _FOLDERS:
            inside = f"{name}/"
            own = {each.removeprefix(inside): data for each, data in files.items() if each.startswith(inside)}
            if own or any(each.startswith(inside) for each in known):
                held.enter_context(placed(folder / name, own, _Listed(known, inside)))
        yield


def _known(folder: Path) -> dict[str, str]:
    path = folder / LIST
    try:
        return (_read(path.read_bytes()) or {}) if path.is_file() else {}
    except OSError as error:
        raise InputError(Message("file.pictures_no_room", path=str(folder), reason=error.strerror or "")) from error


def _read(data: bytes) -> dict[str, str] | None:
    """Digests by name of a list; None where it is not ours."""
    try:
        told = json.loads(data[:_MOST_LIST])
    except (ValueError, RecursionError):
        return None
    if not isinstance(told, dict) or told.get("ventwise-pack") != _VERSION or not isinstance(told.get("files"), dict):
        return None
    files = told["files"]
    safe = all(isinstance(one, str) and _is_plain(name) for name, one in files.items())
    return files if safe else None


def _is_plain(name: str) -> bool:
    parts = name.split("/")
    inside = len(parts) == 1 or (len(parts) == 2 and parts[0] in _FOLDERS)
    return inside and all(part not in ("", ".", "..") and "\\" not in part and "\0" not in part for part in parts)
