"""Fingerings that the composer wrote: a `<fingering>`, or words in rows of circles, fingers and keys."""

import re
from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction

from annotate.detecting.sonority import Sonority, gather
from annotate.drawing.diagram import read_diagram
from annotate.score import Part
from fingering_db.alternatives import holds
from fingering_db.fingering import Fingering, FingeringError

_CIRCLE = re.compile("[●○◐◑◒◓◉◎⦿⊙⬤◯⚫⚪⨂⊗]")
_FINGER = re.compile(r"(?:t|th|[1-4])(?:[ov½]|ov)?", re.IGNORECASE)
_KEY = re.compile(r"(?:tb|tr|tr\.?\s?[12]?|[a-h][#♯b♭]?|gis|es|dis|cis|gz)(?:v|o)?", re.IGNORECASE)
_APART = re.compile(r"[\s|/,–—-]+")
_NO_FINGERING = re.compile(r"\d{2,}[a-z]?|(?:[pf]{1,4}|mp|mf|sfz?|fp)")  # bar numbers, dynamics
_MOST_ROWS = 50  # of words at one place: more are no fingering


def _tokens(row: str) -> tuple[int, list[str]]:
    """How many circles a row has, and what else stands in it."""
    circles = len(_CIRCLE.findall(row))
    return circles, [token for token in _APART.split(_CIRCLE.sub(" ", row)) if token]


def _is_row(row: str) -> bool:
    """Whether everything in a row can belong to a fingering."""
    circles, tokens = _tokens(row)
    known = all(_FINGER.fullmatch(token) or _KEY.fullmatch(token) for token in tokens)
    return known and bool(circles or tokens or row.strip() in ("|", "/", "-"))


def is_fingering(rows: Sequence[str]) -> bool:
    """Whether rows of text are a fingering of both hands.

    It has three circles, or fingers with a bar between the hands, or three rows with fingers among them. One
    digit, as in exercises, is no such fingering.
    """
    if not 0 < len(rows) <= _MOST_ROWS or not all(_is_row(row) for row in rows):
        return False
    circles = sum(_tokens(row)[0] for row in rows)
    tokens = [token for row in rows for token in _tokens(row)[1]]
    fingers = [token for token in tokens if _FINGER.fullmatch(token)]
    if sum(token.casefold().startswith("t") for token in fingers) > 1:
        return False  # one thumb: the rehearsal mark T, written twice
    bar = any("|" in row for row in rows) or (any("/" in row for row in rows) and "T" in tokens)
    return (
        circles >= 3
        or (bar and len(fingers) + circles >= 1 and len(tokens) >= 2)
        or (len(rows) >= 3 and len(fingers) >= 2)
        or (len(rows) != 2 and "T" in tokens and len(fingers) >= 2)
    )


def read_fingering(text: str) -> Fingering | None:
    """The fingering that a text written in the score says in the way of this program, or draws; None for any other text."""
    try:
        return Fingering.parse(text)
    except FingeringError:
        return read_diagram(text)


class WrittenFingerings:
    """The fingerings written in a part, by place. This program's own are not among them, nor rehearsal marks, bar numbers and
    dynamics."""

    def __init__(self, part: Part) -> None:
        self._by_staff = part.staves > 1
        self._rows: dict[tuple[int, Fraction], list[str]] = defaultdict(list)
        marks = {(event.bar_index, event.rehearsal) for event in part.events}
        marks |= {(event.bar_index, event.bar) for event in part.events}
        marks |= {(each.bar_index, each.text.strip()) for each in part.directions if each.kind == "rehearsal"}
        for direction in part.directions:
            text = direction.text.strip()
            mark = direction.kind == "rehearsal" or (direction.bar_index, text) in marks
            if not direction.ours and not mark and not _NO_FINGERING.fullmatch(text):
                rows = [row for row in direction.text.splitlines() if row.strip()]
                key = (direction.staff if self._by_staff else 0, direction.onset)
                if all(_is_row(row) for row in rows):
                    self._rows[key].extend(rows)

    def at(self, sonority: Sonority) -> str:
        """The fingering at a sonority as written, rows of words apart by newlines; '' for none."""
        marks = [text for note in sonority.all_notes for kind, text in note.technical if kind == "fingering"]
        if is_fingering([" ".join(marks)] if marks else []):
            return " ".join(marks)
        rows = self._rows.get((sonority.first.staff if self._by_staff else 0, sonority.onset), [])
        # Words over a grace note and its main note stand at one moment: the main note has them.
        if sonority.first.grace or not is_fingering(rows):
            return ""
        return "\n".join(row.strip() for row in rows)

    @property
    def has_words(self) -> bool:
        """Whether there are words that may be fingerings."""
        return bool(self._rows)


def written_for_notes(part: Part) -> dict[int, Fingering]:
    """Fingerings written at single notes that are ways to hold just these notes, by the byte offset of their event."""
    told = WrittenFingerings(part)
    if not told.has_words and not any(note.technical for event in part.events for note in event.notes):
        return {}
    found: dict[int, Fingering] = {}
    for sonority in gather(part.events):
        own = None if sonority.is_chord else read_fingering(told.at(sonority))
        if own is not None and holds(own, sonority.notes[0].written.midi):
            found |= {event.start: own for event in sonority.events}
    return found
