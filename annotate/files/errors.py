"""How errors about a file are told: on one line, with the name of the file first."""

from pathlib import Path

from annotate.findings import InputError
from fingering_db.message import Message


def file_error(path: Path, text: Message) -> InputError:
    return InputError(Message("file.about", path=plain(str(path)), what=text))


def reason(error: BaseException) -> str:
    """Why the system or a library refused."""
    return plain(getattr(error, "strerror", None) or str(error) or type(error).__name__)


def plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def unfit(path: Path, why: Message | str, expected: Message) -> InputError:
    """A file of the user's that is not what was expected."""
    return file_error(path, Message("file.unfit", why=why, expected=expected))


def bytes_of(path: Path, most_bytes: int, expected: Message) -> bytes:
    """A file's bytes. Raises InputError for what is no file, cannot be read or is larger than `most_bytes`; what may never end,
    as a pipe, is not opened."""
    try:
        if not path.is_file():
            raise unfit(path, Message("file.no_file" if path.exists() else "file.missing"), expected)
        with path.open("rb") as file:
            raw = file.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        raise unfit(path, Message("file.unreadable", reason=reason(error)), expected) from error
    if len(raw) > most_bytes:
        raise unfit(path, Message("file.too_large", most=most_bytes / (1 << 20)), expected)
    return raw
