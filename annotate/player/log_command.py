"""`log`: what a player found when trying fingerings, added to the log, told, imported and exported."""

import re
from collections.abc import Callable
from pathlib import Path

from annotate.choosing import desks
from annotate.choosing.desks import DEFAULT_FLUTE, read_log
from annotate.decision import Decision, Result
from annotate.files.errors import bytes_of, file_error, plain
from annotate.files.placing import Ready, prepared, standing
from annotate.findings import InputError
from annotate.language import Words
from annotate.output import KEEP, together, wrap
from annotate.pipeline import Options, look
from annotate.place import Place
from fingering_db import log_table, player_log
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import Instrument
from fingering_db.mechanism import hole_states
from fingering_db.message import Message
from fingering_db.model import acoustic_fingerprint
from fingering_db.pitch import Pitch, PitchError
from fingering_db.played import PlayedError
from fingering_db.survey import Progress
from fingering_db.trials import Trial

_WIDTH = 80
_LONGEST = 500
_BAR = re.compile(r"(?:bar\s+)?(?P<bar>\S+?)(?:\s*,\s*beat\s+|\s+)?(?P<beat>\d+(?:\.\d+)?)?", re.IGNORECASE)


def add_fingering(text: str, pitches: tuple[str, ...], flute: str, worked: bool, remark: str, words: Words) -> str:
    """Log that a fingering gave these sounding pitches, or failed to. Raises InputError."""
    instrument = desks.flute_named(flute)
    try:
        fingering = Fingering.typed(text)
        hole_states(instrument, fingering)
        asked = tuple(Pitch.parse(one) for one in pitches)
    except (FingeringError, PitchError) as error:
        about = Message("log.place_or_fingering", text=plain(text)) if "|" not in text else error.message
        raise InputError(about) from error
    return _add(_trial(instrument, fingering, asked, worked, remark), words)


def add_place(
    place: str,
    pitches: tuple[str, ...],
    score: Path,
    flute: str,
    worked: bool,
    remark: str,
    words: Words,
    progress: Progress | None = None,
) -> str:
    """Log how the fingering went that is proposed for a place of a score: as the report tells it, in English or in these words
    (`Flute, bar 12, beat 2`), `12` or `12 2`. Raises InputError."""
    if pitches:
        raise InputError(Message("log.no_pitches_at_place"))
    looked = look(score, Options((flute,) if flute != DEFAULT_FLUTE else ()), progress)
    decision = _at(place, looked.result, words)
    assert decision.fingering is not None
    instrument = looked.desks[decision.flute].model.instrument
    return _add(_trial(instrument, decision.fingering, decision.demand.sounding, worked, remark), words)


def _at(told: str, result: Result, words: Words) -> Decision:
    held = [one for one in result.first_flute() if one.fingering and not one.path]
    found = [one for one in held if _is_at(told.strip(), one.demand.place, words)]
    if len(found) == 1:
        return found[0]
    there = tuple(one.demand.place for one in (found or held)[:6])
    raise InputError(Message("log.several_places" if found else "log.no_place", place=plain(told), places=there))


def _is_at(told: str, place: Place, words: Words) -> bool:
    bar_beat = words.text("place.bar_beat", bar=place.bar, beat=words.beat(place))
    if told in (str(place), words.place(place), bar_beat):
        return True
    found = _BAR.fullmatch(told)
    if not found or place.bar != found["bar"]:
        return False
    return not found["beat"] or float(found["beat"]) == float(place.beat)


def _trial(
    instrument: Instrument, fingering: Fingering, pitches: tuple[Pitch, ...], worked: bool, remark: str
) -> Trial:
    told = " ".join(plain(remark).split())[:_LONGEST]
    own = player_log.new_id(), log_table.now(), player_log.player(), instrument.name, acoustic_fingerprint(instrument)
    return Trial(*own, fingering, tuple(Pitch.parse(player_log.exact(one)) for one in pitches), worked, told)


def _add(trial: Trial, words: Words) -> str:
    where = _log()
    try:
        player_log.add(where, [trial])
    except player_log.LogError as error:
        raise _unwritable(where, error) from error
    return "\n".join(wrap(words.text("log.added", told=_row(trial, words)), _WIDTH, hanging=2))


def listing(words: Words) -> str:
    """Every trial, the last one first, and how many lines of the log are not whole."""
    log = read_log(_log())
    where = words.text("log.where", path=str(_log()), n=len(log.trials))
    lines = wrap(where, _WIDTH)
    for one in reversed(log.trials):
        lines += wrap(_row(one, words), _WIDTH, hanging=2)
    if log.left_aside:
        lines += wrap(words.text("log.left_aside", n=log.left_aside), _WIDTH)
    return "\n".join(lines)


def _row(one: Trial, words: Words) -> str:
    pitches = words.value(one.pitches, "chord") if one.pitches else words.text("log.any_pitch")
    told = [one.time[:16].replace("T", KEEP), words.text("log.worked" if one.worked else "log.failed"), pitches]
    told += [together(str(one.fingering)), one.flute, one.player, one.remark, f"({one.source})" if one.source else ""]
    return "  ".join(part for part in told if part)


def export(out: Path, words: Words, on_written: Callable[[Ready], None]) -> str:
    """Write the log as a table that other players can import. Raises InputError."""
    before = standing(out)
    trials = read_log(_log()).trials
    content = log_table.write(trials).encode("utf-8")

    def verify(again: bytes) -> None:
        if log_table.read(again, "", "") != tuple(trials):
            raise file_error(out, Message("log.not_given_back"))

    with prepared(out, content, verify, before) as ready:
        ready.place()
        on_written(ready)
    return words.text("log.exported", n=len(trials))


def import_(source: Path, words: Words) -> str:
    """Add the trials of a table, each with where it comes from; those that the log has already stay once. Raises InputError, with
    every mistake of the table on a line."""
    where = _log()
    raw = bytes_of(source, log_table.MOST_BYTES, Message("log.expected_table"))
    try:
        rows = log_table.read(raw, plain(source.name), unnamed := plain(source.stem))
    except PlayedError as error:
        raise InputError(*(file_error(source, one).messages[0] for one in error.mistakes)) from error
    try:
        # Read before the lock: whatever another writer adds meanwhile has an id of its own, and `add` looks again.
        new = player_log.add(where, log_table.not_lost(rows, player_log.read(where).trials, unnamed))
    except player_log.LogError as error:
        raise _unwritable(where, error) from error
    players = tuple(sorted({one.player for one in new if one.player != player_log.player()}))
    told = words.text("log.imported", n=len(new), known=len(rows) - len(new))
    if players:
        told = f"{told} {words.text('log.players', players=players)}"
    return "\n".join(wrap(told, _WIDTH))


def _log() -> Path:
    where = player_log.path()
    if where is None:
        raise InputError(Message("log.nowhere", variable=player_log.FOLDER_VARIABLE))
    return where


def _unwritable(where: Path, error: player_log.LogError) -> InputError:
    return InputError(Message("log.unwritable", path=str(where), reason=error.reason))
