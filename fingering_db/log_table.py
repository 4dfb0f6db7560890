"""The form in which players may hand their logs to each other: a table (CSV), described in data/LOG-FORMAT.md."""

import csv
import hashlib
import io
import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime

from fingering_db.fingering import Fingering, FingeringError
from fingering_db.message import Message
from fingering_db.pitch import Pitch, PitchError
from fingering_db.played import PlayedError, decoded, table_rows, wrong_header
from fingering_db.player_log import exact
from fingering_db.trials import Trial

COLUMNS = ("id", "time", "player", "flute", "flute_id", "fingering", "pitches", "outcome", "remark", "source")
NEEDED = ("flute", "fingering", "outcome")
MOST_BYTES = 64 << 20
_OUTCOMES = {"worked": True, "failed": False}
_LONGEST = 500  # characters of a text
_ID = re.compile(r"[0-9A-Za-z._-]{1,64}")
_COMMAND = ("=", "+", "-", "@", "\t", "\r", "'")  # what some programs take for the beginning of a formula


def write(trials: Iterable[Trial]) -> str:
    """The table of trials. No cell begins as a formula: an apostrophe stands before it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for one in trials:
        outcome = "worked" if one.worked else "failed"
        pitches = " ".join(map(exact, one.pitches))
        cells = (one.id, one.time, one.player, one.flute, one.flute_id, str(one.fingering), pitches, outcome)
        writer.writerow(
            [f"'{cell}" if cell.startswith(_COMMAND) else cell for cell in (*cells, one.remark, one.source)]
        )
    return out.getvalue()


def read(raw: bytes, source: str, player: str) -> tuple[Trial, ...]:
    """The trials of a table. source: kept with those that do not tell where they come from; player: who a row without a player is
    by. A row without an id gets one from what it says, so that reading it twice gives one trial. Raises PlayedError with every
    mistake by line and column."""
    numbered = table_rows(decoded(raw, MOST_BYTES))
    _, header = next(numbered, (1, []))
    if not header:
        raise PlayedError(Message("log.no_header", columns=COLUMNS))
    names = [cell.strip().lower() for cell in header]
    wrong = wrong_header(names, COLUMNS, NEEDED)
    if wrong:
        raise PlayedError(*wrong)
    found: list[Trial] = []
    for line, cells in numbered:
        try:
            found.append(_trial(line, dict(zip(names, cells, strict=False)), source, player))
        except PlayedError as error:
            wrong += error.mistakes
    if wrong:
        raise PlayedError(*wrong)
    return _told_apart(found)


def _trial(line: int, row: dict[str, str], source: str, player: str) -> Trial:
    cells = {name: _unmarked(row.get(name, "")) for name in COLUMNS}
    wrong: list[Message] = []

    def mistaken(column: str, why: Message | str) -> None:
        wrong.append(Message("played.mistake", line=line, column=column, why=why))

    fingering, pitches = None, []
    try:
        fingering = Fingering.typed(cells["fingering"])
    except FingeringError as error:
        mistaken("fingering", error.message)
    try:
        pitches = [Pitch.parse(each) for each in cells["pitches"].split()]
    except PitchError as error:
        mistaken("pitches", error.message)
    worked = _OUTCOMES.get(cells["outcome"].lower())
    if worked is None:
        mistaken("outcome", Message("log.expected_outcome", text=cells["outcome"][:60]))
    if cells["time"] and not _is_time(cells["time"]):
        mistaken("time", Message("log.expected_time", text=cells["time"][:60]))
    if not cells["flute"]:
        mistaken("flute", Message("log.expected_name"))
    if cells["id"] and not _ID.fullmatch(cells["id"]):
        mistaken("id", Message("log.expected_id", text=cells["id"][:60]))
    for name in ("player", "flute", "flute_id", "remark", "source"):
        if len(cells[name]) > _LONGEST:
            mistaken(name, Message("log.too_long", most=_LONGEST))
    if wrong or fingering is None or worked is None:
        raise PlayedError(*wrong)
    trial = Trial(
        cells["id"], cells["time"], cells["player"] or player, cells["flute"], cells["flute_id"],
        fingering, tuple(pitches), worked, cells["remark"], cells["source"] or source,
    )  # fmt: skip
    return trial if trial.id else replace(trial, id=id_of(trial))


def _unmarked(cell: str) -> str:
    cell = cell.strip()
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(_COMMAND) else cell


def _is_time(text: str) -> bool:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def id_of(one: Trial) -> str:
    """An id made from what a trial says; the same wherever it is read, so its file does not count."""
    return hashlib.sha256("\n".join(_said(one)).encode()).hexdigest()[:16]


def _said(one: Trial) -> tuple[str, ...]:
    pitches = " ".join(map(exact, one.pitches))
    return (one.time, one.player, one.flute, one.flute_id, str(one.fingering), pitches, str(one.worked), one.remark)


def not_lost(trials: Iterable[Trial], known: Iterable[Trial], unnamed: str = "") -> tuple[Trial, ...]:
    """Trials to be added to those known: of those with an id that another one has, the ones that say something else, under
    an id of their own. unnamed: the player that `read` gave to rows without one."""
    by_id = {one.id: one for one in known}
    found = []
    for one in trials:
        there = by_id.get(one.id)
        own = one if there is None or _is_same(one, there, unnamed) else replace(one, id=id_of(one))
        if own.id not in by_id:
            by_id[own.id] = own
            found.append(own)
    return tuple(found)


def _is_same(one: Trial, there: Trial, unnamed: str) -> bool:
    """Whether two with the same id are one trial: its player may be told in one of them alone. Without a time, ids may be the
    numbers of the rows of two people's tables."""
    is_open = bool(one.time) and (one.player == unnamed or not there.player)
    return _said(replace(one, player=there.player) if is_open else one) == _said(there)


def _told_apart(trials: list[Trial]) -> tuple[Trial, ...]:
    """Rows without an id that say the same are several trials: the second is numbered."""
    counted: dict[str, int] = {}
    found = []
    for one in trials:
        counted[one.id] = counted.get(one.id, 0) + 1
        made = one.id == id_of(one)
        found.append(replace(one, id=f"{one.id}-{counted[one.id]}") if made and counted[one.id] > 1 else one)
    return tuple(found)


def now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
