"""From marks at bytes of an exported score to places that MuseScore's own file and its plug-in know."""

import json
from collections.abc import Iterable, Sequence

from annotate.files.writing import Mark
from annotate.musescore.native import NativeMark, text_of
from annotate.score import Part


def native_marks(parts: Sequence[Part], marks: Iterable[Mark]) -> tuple[NativeMark, ...]:
    """Each mark at its part, staff, bar, position and voice. parts: those read, with their events."""
    events = {event.start: (part, event) for part in parts for event in part.events}
    found = []
    for mark in marks:
        part, event = events[mark.offset]
        # The program numbers the voices of a part through its staves, four to a staff; a chord moved across to the
        # staff beside it stays in its own voice.
        track = int(event.voice) - 1 if event.voice.isdecimal() else 4 * (event.staff - 1)
        staff, voice = divmod(max(track, 0), 4)
        found.append(
            NativeMark(part.number, staff + 1, event.bar_index, event.in_bar, voice, (*mark.below, *mark.rows))
        )
    return tuple(found)


def as_json(marks: Iterable[NativeMark], told: str) -> str:
    """The list the plug-in reads: places with texts, and one sentence to show."""
    places = [
        {
            "part": mark.part,
            "staff": mark.staff,
            "measure": mark.measure,
            "quarters": [mark.position.numerator, mark.position.denominator],
            "voice": mark.voice,
            "text": text_of(mark.rows),
        }
        for mark in marks
    ]
    return json.dumps({"version": 1, "told": told, "places": places}, ensure_ascii=True)


def error_as_json(message: str) -> str:
    """What the plug-in reads where the score could not be looked at."""
    return json.dumps({"version": 1, "error": message}, ensure_ascii=True)
