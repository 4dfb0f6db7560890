"""Where a glissando breaks: the key that has to move at once."""

from annotate.choosing.desk import Desk
from fingering_db.chart import chart
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.touches import FINGERS

_FOOT = FINGERS.index("R4")


def where_it_breaks(desk: Desk, start: tuple[Pitch, ...], end: tuple[Pitch, ...]) -> Message | None:
    """One sentence for single notes of the standard chart; None for others."""
    if len(start) != 1 or len(end) != 1:
        return None
    first, last = _standard(desk, start[0]), _standard(desk, end[0])
    if first is None or last is None:
        return None
    moving = [
        (number, before or after)
        for number, (before, after) in enumerate(zip(first.touches, last.touches, strict=True))
        if before != after
    ]
    if any(number == _FOOT for number, _ in moving):
        return Message("glide.breaks_at_the_foot", before=_touch(first), after=_touch(last))
    keys = tuple(touch for _, touch in moving)
    return Message("glide.breaks_at", keys=keys) if keys else Message("glide.breaks_between_registers")


def _standard(desk: Desk, pitch: Pitch) -> Fingering | None:
    """The chart's fingering for a sounding pitch to the nearest semitone."""
    instrument = desk.model.instrument
    written = round(pitch.midi) - instrument.transposition_semitones
    return next((note.fingering for note in chart(instrument.chart) if note.pitch.midi == written), None)


def _touch(fingering: Fingering) -> str | Message:
    return fingering.touches[_FOOT] or Message("glide.no_foot_key")
