"""What an ordinary trill alternates with: the next step up, by the sign at the trill, else by the key."""

from bisect import bisect_right

from annotate.score import Event, Part
from fingering_db.pitch import STEPS

_SIGNS = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2, "sharp-sharp": 2}
_LETTERS = "CDEFGAB"
_SHARPENED = "FCGDAEB"  # in the order in which keys sharpen them; flattened in the opposite one


def upper_of(part: Part, event: Event) -> float | None:
    """Semitones from a single note with a trill to its upper note; None where none is written."""
    note = event.notes[0]
    trill = next((one for one in note.ornaments if one.kind == "trill"), None)
    if trill is None:
        return None
    written = note.written
    letter = _LETTERS[(_LETTERS.index(written.step) + 1) % 7]
    alter = _SIGNS.get(trill.accidental)
    if alter is None:
        alter = _in_key(letter, _fifths(part, event))
    semitones = (STEPS[letter] - STEPS[written.step]) % 12 + alter - written.alter
    return float(semitones)


def _fifths(part: Part, event: Event) -> int:
    """The key at an event: sharps, or flats below 0."""
    at = bisect_right(part.keys, (event.bar_index, 99)) - 1
    return part.keys[at][1] if at >= 0 else 0


def _in_key(letter: str, fifths: int) -> int:
    if fifths >= 0:
        return int(letter in _SHARPENED[:fifths])
    return -int(letter in _SHARPENED[fifths:])
