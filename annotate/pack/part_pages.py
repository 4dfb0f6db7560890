"""The pages of a part: what stands above each demand, drawn where the engraver kept room for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from annotate.drawing import picture
from annotate.marking import Stand
from annotate.output import clean, wrap
from annotate.pack.engraving import UNIT, Room, Sheet, engrave, kept
from annotate.pack.look import look
from annotate.pack.svg_out import Store

# Width of a letter of the words above a diagram, in their size, at the most: bold letters of Times.
_NARROW, _LETTER, _CAPITAL, _WIDE = 0.36, 0.58, 0.79, 1.0
_FAR = 4  # quarters to the next diagram from which on both have room by themselves
_OURS, _OWN = 'font-weight="bold"', 'font-style="italic"'
_SLIP = 0.6  # mm that a room is wider than what stands in it
_TOUCH = 0.7  # mm between the rooms of neighbours: a full system is squeezed a little
_NOTE_LETTERS, _NOTE_ROWS = 22, 2  # of a player's own note above the notes; all of it stands on the card


@dataclass(frozen=True, slots=True)
class Above:
    """What stands above a note [mm]: words over a drawing. shapes: SVG text of its inside, a line for each hand, '' for none;
    scale: mm of one of its points; noted: how many of the words' lines are the player's own."""

    words: tuple[str, ...]
    shapes: str
    drawn: tuple[float, float]
    scale: float
    noted: int

    @property
    def width(self) -> float:
        """[mm]"""
        widest = max((sum(map(_width, row)) for row in self.words), default=0.0)
        return max(self.drawn[0], widest * look().printed.note_text)

    @property
    def height(self) -> float:
        """[mm]"""
        return self.drawn[1] + len(self.words) * look().printed.note_text * 1.15 + look().printed.gap


def _width(letter: str) -> float:
    if letter in "fijlt.,:;!|'()[]- ":
        return _NARROW
    return _WIDE if letter in "mwMW&%@ÆæŒœ" or letter > "\u2000" else _CAPITAL if letter.isupper() else _LETTER


def above(stand: Stand, own_note: str = "") -> Above:
    """The words and the drawing of a stand, over them what the player noted there."""
    noted = wrap(clean(own_note), _NOTE_LETTERS) if own_note else []
    if len(noted) > _NOTE_ROWS:
        noted = [*noted[: _NOTE_ROWS - 1], f"{noted[_NOTE_ROWS - 1][: _NOTE_LETTERS - 2]} …"]
    words = (*noted, *(clean(row) for row in stand.notes))
    if stand.drawn is None:
        return Above(words, "", (0.0, 0.0), 0.0, len(noted))
    drawing = picture.drawing(stand.drawn, stand.contrary)
    shapes = "\n".join(map("".join, picture.rows(drawing)))
    width, height = picture.size(drawing)
    scale = look().printed.diagram / height
    return Above(words, shapes, (width * scale, height * scale), scale, len(noted))


@dataclass(frozen=True, slots=True)
class Drawn:
    """A part on sheets. paper, phone: its pages as SVG texts, what they refer to in a Store; groups of class `vw-room` hold what
    was drawn above the note named by their `data-note`. others: for each other flute, what stands there instead, by note."""

    paper: tuple[str, ...]
    phone: tuple[str, ...]
    others: Mapping[str, Mapping[str, Above]]


def pages(
    mei: str,
    stands: Mapping[str, Sequence[Stand]],
    names: Mapping[int, str],
    sheets: tuple[Sheet, Sheet],
    drawings: Store,
    noted: Mapping[int, str],
    together: Sequence[tuple[str, str]] = (),
) -> Drawn:
    """The pages of a part. stands: by flute, the first one's are drawn, with room for the others'; names: of the notes, by
    their byte offset; noted: what
    the player noted, by the same; together: of notes that no turn of a page is to part."""
    by_flute = {
        flute: {
            names[stand.event.start]: (stand, above(stand, noted.get(stand.event.start, "")))
            for stand in own
            if stand.event.start in names
        }
        for flute, own in stands.items()
    }
    first = next(iter(by_flute.values()), {})
    every = {note: float(stand.event.onset) for own in by_flute.values() for note, (stand, _) in own.items()}
    notes = sorted(every, key=lambda note: every[note])
    largest = [_largest([own[note][1] for own in by_flute.values() if note in own]) for note in notes]
    shown = [(note, size) for note, size in zip(notes, largest, strict=True) if size != (0.0, 0.0)]
    rooms = _rooms([(note, every[note], size) for note, size in shown], sheets[0])

    def draw(number: int, x: float, top: float) -> str:
        note, (width, height) = shown[number]
        what = first[note][1] if note in first else None
        return _drawn(note, what, x, top, (width * UNIT, height * UNIT), drawings)

    paper, phone = engrave(mei, rooms, sheets, draw, together)
    others = {
        flute: {note: what for note, (_, what) in own.items()} for flute, own in by_flute.items() if own is not first
    }
    return Drawn(tuple(paper), tuple(phone), others)


def _largest(each: Sequence[Above]) -> tuple[float, float]:
    """Width and height that hold any of them [mm]; 0 for nothing."""
    there = [one for one in each if one.words or one.shapes]
    return max((one.width for one in there), default=0.0), max((one.height for one in there), default=0.0)


def _rooms(shown: Sequence[tuple[str, float, tuple[float, float]]], sheet: Sheet) -> list[Room]:
    """shown: note, its onset, width and height."""
    wide = [(note, onset, (width + _SLIP, height)) for note, onset, (width, height) in shown]
    gaps = [
        (kept(*one[2], sheet) + kept(*two[2], sheet)) / 2.0 + _TOUCH if 0 < two[1] - one[1] < _FAR else 0.0
        for one, two in pairwise(wide)
    ]
    # A syllable keeps its distance from another one only: one ends each row.
    beside = [own or _SLIP * bool(before) for before, own in zip([0.0, *gaps], [*gaps, 0.0], strict=True)][: len(wide)]
    return [Room(note, *size, gap) for (note, _, size), gap in zip(wide, beside, strict=True)]


def _drawn(note: str, what: Above | None, x: float, top: float, size: tuple[float, float], drawings: Store) -> str:
    """A group with what stands in a room of this size [SVG units], at its bottom."""
    wide, high = size
    mark = f'<rect class="mark" x="{x - wide / 2:.0f}" y="{top:.0f}" width="{wide:.0f}" height="{high:.0f}" fill="none"'
    inner = [f'{mark} stroke="none"/>']
    if what is not None:
        top += high - what.height * UNIT
        text = look().printed.note_text * UNIT
        inner += [
            f'<text x="{x:.0f}" y="{top + text * (0.8 + 1.15 * row):.0f}" text-anchor="middle" font-size="{text:.0f}" '
            f'class="vw-note" {_OWN if row < what.noted else _OURS}>{escape(told)}</text>'
            for row, told in enumerate(what.words)
        ]
        if what.shapes:
            at = f"{x - what.drawn[0] * UNIT / 2:.0f} {top + len(what.words) * text * 1.15:.0f}"
            move = f"translate({at}) scale({what.scale * UNIT:.4f})"
            inner.append(f'<use href="#{drawings.name(what.shapes)}" transform="{move}"/>')
    return f'<g class="vw-room" data-note="{note}">{"".join(inner)}</g>'
