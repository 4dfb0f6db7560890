"""What a project has accepted: unplayable places that a check of every change need not refuse again, in one file."""

import json
from collections.abc import Iterable, Mapping
from pathlib import Path

import msgspec

from annotate import since
from annotate.decision import Decision, Result, Status
from annotate.files.errors import bytes_of, unfit
from annotate.report import json_report
from fingering_db.message import Message

_EXPECTED = Message("file.expected_accepted")
_MOST_BYTES = 64 << 20
_KEPT = ("id", "kind", "part", "part_id", "bar", "beat", "written", "to", "status", "fingering")


class _File(msgspec.Struct):
    version: int
    scores: dict[str, msgspec.Raw]


def load(path: Path) -> dict[str, since.Earlier]:
    """Accepted places by the name of the score; empty where there is no such file. Raises InputError for another file."""
    if not path.exists():
        return {}
    try:
        kept = msgspec.json.decode(bytes_of(path, _MOST_BYTES, _EXPECTED), type=_File)
    except msgspec.MsgspecError as error:
        raise unfit(path, Message("file.unreadable", reason=str(error)), _EXPECTED) from error
    return {name: since.read(report, path) for name, report in kept.scores.items()}


def text_of(results: Mapping[str, Result]) -> str:
    """The contents of the file: of each score what is unplayable, short enough to be read in a change of a project."""
    scores = {}
    for name, result in sorted(results.items()):
        report = json.loads(json_report.render(result))
        unplayable = [one for one in report["demands"] if one["status"] == Status.UNPLAYABLE]
        demands = [{key: one[key] for key in _KEPT} for one in unplayable]
        if demands:
            scores[name] = {"version": since.VERSION, "flutes": report["flutes"], "demands": demands}
    return json.dumps({"version": since.VERSION, "scores": scores}, indent=1, ensure_ascii=False) + "\n"


def refused(result: Result, accepted: since.Earlier | None) -> Iterable[Decision]:
    """What is unplayable and not accepted; a place that inserted bars have moved is still the same."""
    own = [one for one in result.first_flute() if one.status == Status.UNPLAYABLE]
    if accepted is None:
        return own
    changes = since.compare(accepted, result)
    other = {entry.id for entry in changes.new} | {pair.now.id for pair in changes.changed if pair.now}
    return [one for one in own if one.demand.id in other]
