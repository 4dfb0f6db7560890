"""Where a glissando breaks: the key that has to move at once."""

from __future__ import annotations

from annotate.choosing.desk import Desk
from fingering_db.chart import chart
from fingering_db.fingering import FINGERS, Fingering
from fingering_db.pitch import Pitch

_FOOT = FINGERS.index("R4")


def where_it_breaks(desk: Desk, start: tuple[Pitch, ...], end: tuple[Pitch, ...]) -> str:
    """One sentence for single notes of the standard chart, with a blank before it; '' for others."""
    if len(start) != 1 or len(end) != 1:
        return ""
    first, last = _standard(desk, start[0]), _standard(desk, end[0])
    if first is None or last is None:
        return ""
    moving = [
        (number, before or after)
        for number, (before, after) in enumerate(zip(first.touches, last.touches, strict=True))
        if before != after
    ]
    if any(number == _FOOT for number, _ in moving):
        return f" It breaks at the foot touch: {_touch(first)} to {_touch(last)} cannot be half held."
    keys = ", ".join(touch for _, touch in moving)
    return f" It breaks where {keys} must move at once." if keys else " It breaks between two registers."


def _standard(desk: Desk, pitch: Pitch) -> Fingering | None:
    """The chart's fingering for a sounding pitch to the nearest semitone."""
    instrument = desk.model.instrument
    written = round(pitch.midi) - instrument.transposition_semitones
    return next((note.fingering for note in chart(instrument.chart) if note.pitch.midi == written), None)


def _touch(fingering: Fingering) -> str:
    return fingering.touches[_FOOT] or "no foot key"
