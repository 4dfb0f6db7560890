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


def bytes_of(path: Path, most_bytes: int, expected: Message) -> bytes:
    """A file's bytes, at most one more than `most_bytes`. Raises InputError for what is no file or cannot be read."""
    try:
        if path.exists() and not path.is_file():
            raise file_error(path, Message("played.no_file", expected=expected))
        with path.open("rb") as file:
            return file.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        raise file_error(path, Message("played.unreadable", reason=reason(error), expected=expected)) from error
