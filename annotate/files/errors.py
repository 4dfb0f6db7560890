"""How errors about a file are told: on one line, with the name of the file first."""

from pathlib import Path

from annotate.findings import InputError
from fingering_db.message import Message


def file_error(path: Path, text: Message) -> InputError:
    """The error of a file."""
    return InputError(Message("file.about", path=plain(str(path)), what=text))


def reason(error: BaseException) -> str:
    """Why the system or a library refused."""
    return plain(getattr(error, "strerror", None) or str(error) or type(error).__name__)


def plain(text: str) -> str:
    """The text on one line."""
    return "".join(c if c.isprintable() else "?" for c in text)
