"""`flute fit`: a flute's file from notes that its player played on known fingerings, and what to think of it, in words."""

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec

from annotate.choosing.desks import flute_named
from annotate.files.errors import bytes_of, file_error, plain
from annotate.files.placing import Ready, prepared, standing
from annotate.findings import InputError
from annotate.language import Words
from annotate.output import KEEP, display_width, pad, together, wrap
from annotate.player import recording
from fingering_db.chart import ChartNote
from fingering_db.instrument import Instrument, InstrumentError, decode, shipped
from fingering_db.instrument_text import as_toml
from fingering_db.message import Message
from fingering_db.played import MOST_BYTES, PlayedError, PlayedNote, read
from fingering_db.player_fit import NothingPlayedError, PlayerFit, Told, fit_player, mistaken_for

_WIDTH = 80
_FEW = 4  # notes: so few do not tell how well others are predicted (ours)


def fit_flute(
    name: str, played: Path, out: Path, a4_hz: float | None, words: Words, on_written: Callable[[Ready], None]
) -> str:
    """Fit a flute to a table of played notes, write its new file to `out`, and say what came out.

    a4_hz: what cents in the table count from [Hz], None for the flute's own. Raises InputError: a table with every mistake."""
    instrument = flute_named(name)
    if any(
        out.exists() and other.exists() and out.samefile(other)
        for other in (Path(name), played, recording.table_of(played))
    ):
        raise file_error(out, Message("played.is_an_input"))
    before = standing(out)
    notes, remarks = notes_of(played, instrument, a4_hz or instrument.a4_hz)
    try:
        if not notes:
            raise NothingPlayedError
        fit = fit_player(instrument, notes)
    except NothingPlayedError as error:
        raise file_error(played, Message("played.nothing_near")) from error
    text = _file_text(fit, instrument, played, out, words)

    def verify(content: bytes) -> None:
        decode(content.decode("utf-8"), str(out))

    try:
        with prepared(out, text.encode("utf-8"), verify, before) as ready:
            ready.place()
            on_written(ready)
    except InstrumentError as error:
        raise InputError(error.message) from error
    told = [line for one in remarks for line in wrap(words.say(one), _WIDTH, hanging=2)]
    if played.suffix.lower() == recording.SUFFIX:
        told += wrap(words.text("fit.recording"), _WIDTH)
    return "\n".join([*_told(fit, instrument, played, words), *told])


def notes_of(played: Path, instrument: Instrument, a4_hz: float) -> tuple[tuple[PlayedNote, ...], tuple[Message, ...]]:
    """The notes of a table, or of a recording and the table beside it, and what to say of them. Raises InputError with every
    mistake on a line of its own."""
    is_recording = played.suffix.lower() == recording.SUFFIX
    table = recording.table_of(played) if is_recording else played
    raw = bytes_of(table, MOST_BYTES, Message("played.expected_order" if is_recording else "played.expected_table"))
    try:
        notes = read(raw, instrument, a4_hz, measured=not is_recording)
    except PlayedError as error:
        raise InputError(*(file_error(table, one).messages[0] for one in error.mistakes)) from error
    return recording.heard(played, notes, instrument, a4_hz) if is_recording else (notes, ())


def _file_text(fit: PlayerFit, base: Instrument, played: Path, out: Path, words: Words) -> str:
    """The new flute's file: its numbers rounded, with their origin on top."""
    name = f"{out.stem}-fitted" if out.stem in shipped() else out.stem or "fitted"
    counted = sum(one.counts for one in fit.notes)
    (before, _), (after, _), (left_out, _) = fit.figures()
    rms = {"before": before, "after": after, "left_out": left_out}
    origin = words.text("fit.origin", flute=base.name, notes=counted, played=plain(played.name), **rms)
    title = words.text("fit.title", title=base.title, notes=counted)
    return as_toml(msgspec.structs.replace(_rounded(fit.instrument), name=name, title=title), origin)


def _rounded(of: Instrument) -> Instrument:
    """Lengths to a hundredth of a millimetre, as no player hears them finer."""
    lip = {name: round(getattr(of.lip, name), 2) for name in ("at_c4_mm", "per_octave_mm", "curve_mm")}
    return msgspec.structs.replace(
        of,
        temperature_c=round(of.temperature_c, 1),
        lip=msgspec.structs.replace(of.lip, **lip),
        head=msgspec.structs.replace(of.head, stopper_mm=round(of.head.stopper_mm, 2)),
        body=msgspec.structs.replace(of.body, end_mm=round(of.body.end_mm, 2)),
        holes=tuple(msgspec.structs.replace(hole, position_mm=round(hole.position_mm, 2)) for hole in of.holes),
    )


def _told(fit: PlayerFit, base: Instrument, played: Path, words: Words) -> Iterator[str]:
    counted = [one for one in fit.notes if one.counts]
    lines = words.text("fit.fitted", n=len(counted), flute=base.name, played=played.name)
    yield from wrap(lines, _WIDTH)
    yield from _table(list(_figures(fit, words)))
    if len({(one.note.fingering, one.note.note) for one in counted}) < _FEW:
        yield from wrap(words.text("fit.few"), _WIDTH)
    elif not fit.is_better():
        yield from wrap(words.text("fit.no_better"), _WIDTH)
    yield from _table(list(_quantities(fit, words)))
    yield from wrap(words.text("fit.open", before=fit.open_cents[0], after=fit.open_cents[1]), _WIDTH)
    rows = "  ".join(
        f"{words.pitch(one.note.note)}{KEEP}{words.number(one.before, '+.0f')}→{words.number(one.after, '+.0f')}"
        for one in counted
    )
    yield from wrap(f"{words.text('fit.rows')} {rows}", _WIDTH, hanging=2)
    for one in fit.notes:
        if not one.counts:
            yield from wrap(words.say(_outlier(fit.instrument, one)), _WIDTH, hanging=2)
    if fit.next_notes:
        notes = tuple(f"{words.pitch(note.pitch)} ({together(str(note.fingering))})" for note in fit.next_notes)
        yield from wrap(words.text("fit.next", notes=notes), _WIDTH, hanging=2)


def _figures(fit: PlayerFit, words: Words) -> Iterator[tuple[str, str]]:
    for key, (rms, worst) in zip(("before", "after", "left_out"), fit.figures(), strict=True):
        yield words.text(f"fit.{key}"), words.text("fit.figures", rms=rms, worst=worst)


def _quantities(fit: PlayerFit, words: Words) -> Iterator[tuple[str, str]]:
    for one in fit.moved:
        unit = "celsius" if one.kind == "temperature" else "mm"
        moved = words.text(f"fit.{unit}", before=one.before, after=one.after, sigma=one.sigma)
        yield words.text(f"fit.{one.kind}"), moved
    yield words.text("fit.holes"), words.text("fit.at_most", most=fit.farthest_mm)


def _table(rows: list[tuple[str, str]]) -> Iterator[str]:
    width = max(display_width(label) for label, _ in rows)
    yield from (f"  {pad(label, width)}  {value}" for label, value in rows)


def _outlier(fitted: Instrument, one: Told) -> Message:
    """A row that does not fit, and what it may have been."""
    note = one.note
    about = {"line": note.line, "note": note.note, "fingering": together(str(note.fingering))}
    guess = _guess(mistaken_for(fitted, note))
    if math.isnan(one.after):
        return Message("fit.nothing_near", **about) + guess
    return Message("fit.outlier", **about, cents=one.after) + guess


def _guess(found: tuple[str, ChartNote | float] | None) -> Message:
    if found is None:
        return Message("fit.mistyped")
    what = found[1]
    if isinstance(what, ChartNote):
        return Message("fit.other_note", note=what.pitch, fingering=together(str(what.fingering)))
    return Message("fit.other_resonance", hz=what)
