"""The report as one file: written in the place of an earlier one, never of anything else."""

from pathlib import Path

from annotate.files.errors import file_error
from annotate.files.placing import NOTHING, prepared, standing
from annotate.findings import InputError
from annotate.pack.prepare import report_file
from annotate.pipeline import Looked
from fingering_db.message import Message
from fingering_db.survey import Progress

ENDINGS = (".html", ".pdf")
_OURS = {".html": b'<meta name="generator" content="ventwise">', ".pdf": b"ventwise"}


def check(path: Path) -> str:
    """What stands there now, for `write`. Raises InputError for another kind of file, and for one that is not ours."""
    if path.suffix.lower() not in ENDINGS:
        raise InputError(Message("pack.report_name", name=str(path)))
    before = standing(path)
    if before != NOTHING and _OURS[path.suffix.lower()] not in path.read_bytes():
        raise file_error(path, Message("pack.other_file"))
    return before


def write(path: Path, looked: Looked, before: str, progress: Progress | None = None) -> None:
    """Write the report. before: as `check` told. Raises InputError, with everything as it was."""
    with prepared(path, report_file(looked, path.suffix.lower(), progress), lambda _: None, before) as ready:
        ready.place()
