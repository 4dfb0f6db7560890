"""What is to be said of ordinary notes for which a player decided a fingering: keys that the flute lacks, and what it sounds."""

from collections.abc import Callable, Iterable

from annotate.choosing.codes import WRITTEN_FINGERING_DIFFERS
from annotate.choosing.judging import sounds_of
from annotate.choosing.options import Hold
from annotate.choosing.passage import Planned
from annotate.decisions.rulings import NOT_TAKEN, Ruling
from annotate.findings import Finding
from annotate.score import Event, Part
from fingering_db.alternatives import holds
from fingering_db.fingering import Fingering
from fingering_db.mechanism import has_touches
from fingering_db.message import Message
from fingering_db.playability import PLAYABLE_CONFIDENCE

_SAME_NOTE_SEMITONES = 0.6  # twice the usual tolerance


def fixed_remarks(part: Part, plans: Iterable[Planned], ruling_at: Callable[[Event], Ruling]) -> list[Finding]:
    """Findings about the decisions for a part's ordinary notes, each fingering at each pitch once."""
    found: dict[tuple[float, Fingering], Finding | None] = {}
    for hold in (hold for one in plans for hold in one.line.holds if hold.decision is None and hold.desk):
        fix = ruling_at(hold.first).fix
        if fix is not None and len(hold.first.notes) == 1:
            key = hold.first.notes[0].sounding.midi, fix
            if key not in found:
                found[key] = _remark(part, hold, fix)
    return [finding for finding in found.values() if finding]


def _remark(part: Part, hold: Hold, fix: Fingering) -> Finding | None:
    assert hold.desk is not None
    note, place = hold.first.notes[0], part.place(hold.first)
    if not has_touches(hold.desk.model.instrument, fix):
        message = Message("decisions.lacks", fingering=str(fix), flute=hold.desk.name)
        return Finding(NOT_TAKEN, "warning", place, message, Message("decisions.not_taken_advice"))
    if holds(fix, note.written.midi):
        return None
    strong = [one.pitch for one in sounds_of(hold.desk, fix) if one.strength >= PLAYABLE_CONFIDENCE]
    if any(abs(pitch.midi - note.sounding.midi) <= _SAME_NOTE_SEMITONES for pitch in strong):
        return None
    message = Message("decisions.fixed_against", sounds=tuple(strong))
    return Finding(WRITTEN_FINGERING_DIFFERS, "warning", place, message, Message("decisions.place_advice"))
