"""Small files that players write by hand."""

from pathlib import Path

from annotate.files.errors import file_error, reason
from fingering_db.message import Message


def content_of(path: Path, most_bytes: int, expected: Message) -> bytes:
    """A file's bytes, at most one more than `most_bytes`. Raises InputError for what is no file or cannot be read."""
    try:
        if path.exists() and not path.is_file():
            raise file_error(path, Message("played.no_file", expected=expected))
        with path.open("rb") as file:
            return file.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        raise file_error(path, Message("played.unreadable", reason=reason(error), expected=expected)) from error
