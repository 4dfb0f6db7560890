"""The desks at which a question or a score is answered: one for each flute named."""

from collections.abc import Iterable
from pathlib import Path

from annotate.choosing.desk import Desk
from annotate.findings import InputError
from fingering_db import player_log
from fingering_db.instrument import Instrument, InstrumentError, load, shipped
from fingering_db.message import Message
from fingering_db.model import acoustic_fingerprint, model
from fingering_db.setting import drawn
from fingering_db.trials import NO_EXPERIENCE, Experience
from fingering_db.tuning import out_of_tune

DEFAULT_FLUTE = "open-hole-b"


def desks_for(
    names: Iterable[str], a4_hz: float | None = None, tolerance_cents: float | None = None, slide_mm: float = 0.0
) -> list[Desk]:
    """A desk for each flute, none twice. Raises InputError for one that is not there, and for different flutes of one name,
    which no report could tell apart."""
    found: dict[str, Desk] = {}
    for name in names:
        one = desk(name, a4_hz, tolerance_cents, slide_mm)
        other = found.setdefault(one.name, one)
        if other.model.instrument != one.model.instrument:
            raise InputError(Message("file.same_flute_name", flute=name, name=one.name))
    return list(found.values())


def desk(name: str, a4_hz: float | None = None, tolerance_cents: float | None = None, slide_mm: float = 0.0) -> Desk:
    """A flute ready to be asked, its head joint drawn out by slide_mm; A4 is its own where none is told. Raises InputError for
    one that is not there."""
    instrument = flute_named(name)
    told = f"{instrument.name} {slide_mm:+g} mm" if slide_mm else instrument.name
    return Desk(
        told, drawn(model(instrument), slide_mm), a4_hz or instrument.a4_hz, tolerance_cents, experience_on(instrument)
    )


def flute_named(name: str) -> Instrument:
    """A flute by name or file. Raises InputError for one that is not there, and one of the user's own on which the chart does
    not sound."""
    try:
        instrument = load(name)
    except InstrumentError as error:
        raise InputError(error.message) from error
    refuse_out_of_tune(instrument, name)
    return instrument


def refuse_out_of_tune(instrument: Instrument, source: str) -> None:
    """Raise InputError for a flute of the user's own on which the chart does not sound."""
    what = None if source in shipped() else out_of_tune(instrument)
    if what is not None:
        raise InputError(Message("flute_file.at", source=source, what=what))


def experience_on(instrument: Instrument) -> Experience:
    """What the user's log tells of a flute. Raises InputError for a log that cannot be read: it is never passed over in
    silence."""
    where = player_log.path()
    if where is None:
        return NO_EXPERIENCE
    trials = read_log(where).trials
    if not trials:
        return NO_EXPERIENCE
    return Experience(trials, player_log.player(), instrument.name, acoustic_fingerprint(instrument))


def read_log(where: Path) -> player_log.Log:
    """The player's log. Raises InputError for one that cannot be read."""
    try:
        return player_log.read(where)
    except player_log.LogError as error:
        raise InputError(Message("log.unreadable", path=str(where), reason=error.reason)) from error
