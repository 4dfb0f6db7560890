"""One `<note>` element as the rest of the program wants it: ties, technique signs, slides, head and stem."""

from dataclasses import dataclass
from fractions import Fraction

from annotate.reading.pitch_reading import Transposition
from annotate.reading.tree import Node
from annotate.reading.values import MalformedError, decimal, digit, shown, whole
from annotate.score import Note, Ornament, SlideMark
from fingering_db.message import Message
from fingering_db.pitch import Pitch

_TYPES = {
    "maxima": Fraction(32),
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
}
_TYPES |= {f"{2**n}{'nd' if n == 5 else 'th'}": Fraction(4, 2**n) for n in range(4, 11)}
SLIDES = ("glissando", "slide")


@dataclass(slots=True)
class RawNote:
    """A pitched note on its way: what its bar knows of it before accidentals are settled.

    kids: child elements by tag, the last of each. offset, duration: quarters within the bar. unseen: not
    printed.
    """

    node: Node
    kids: dict[str, Node]
    offset: Fraction
    duration: Fraction
    chord: bool
    grace: bool
    voice: str
    staff: int
    instrument: str
    transposition: Transposition | None
    unseen: bool
    ossia: bool


def type_length(name: str, dots: int) -> Fraction | None:
    """Quarters of a printed note value with dots; None for an unknown name."""
    base = _TYPES.get(name)
    return None if base is None or dots > 8 else base * (2 - Fraction(1, 2**dots))


def duration_from_type(note: Node) -> Fraction | None:
    """The length [quarters] that the printed shape tells, tuplets counted; None where it tells none."""
    length = type_length(note.text_of("type"), len(note.all("dot")))
    ratio = note.child("time-modification")
    if length is None or ratio is None:
        return length
    actual = whole(ratio.text_of("actual-notes", "1"), "actual-notes")
    normal = whole(ratio.text_of("normal-notes", "1"), "normal-notes")
    return length * normal / actual if actual > 0 and normal > 0 else length


def note_of(raw: RawNote, bare: Pitch, ignored: list[Message]) -> Note:
    """The note with all that is said of it but accidentals and transposition. bare: its step and octave. Values that cannot be
    read are appended to `ignored`, each as a message."""
    kids = raw.kids
    ties: set[str] = set()
    slides: list[SlideMark] = []
    technical: list[tuple[str, str]] = []
    articulations: list[str] = []
    bends: list[float] = []
    ornaments: list[Ornament] = []
    slurs: dict[str, list[str]] = {"start": [], "stop": []}
    for child in raw.node.children if "notations" in kids or "tie" in kids else ():
        if child.tag == "tie":
            ties.add(child.attributes.get("type", ""))
        elif child.tag == "notations" and child.attributes.get("print-object") != "no":
            for sign in child.children:
                if sign.tag == "tied":
                    kind = sign.attributes.get("type", "")
                    ties.update(("start", "stop") if kind == "continue" else (kind,))
                elif sign.tag in SLIDES:
                    slides.append(_slide(sign, ignored))
                elif sign.tag == "technical":
                    technical.extend((each.tag, _technical_text(each)) for each in sign.children)
                    bends.extend(_bends(sign, ignored))
                elif sign.tag == "slur":
                    slurs.get(sign.attributes.get("type", ""), []).append(sign.attributes.get("number", "1"))
                elif sign.tag == "articulations":
                    articulations.extend(each.tag for each in sign.children)
                elif sign.tag == "ornaments":
                    ornaments.extend(_ornaments(sign))
    head = kids.get("notehead")
    return Note(
        raw.node.start,
        raw.node.end,
        bare,
        bare,
        tie_start="start" in ties,
        tie_stop="stop" in ties,
        slides=tuple(slides),
        notehead=head.text.strip() if head else "",
        notehead_open=head is not None and head.attributes.get("filled") == "no",
        technical=tuple(technical),
        articulations=tuple(articulations),
        bend_alters=tuple(bends),
        accidental=kids["accidental"].text.strip() if "accidental" in kids else "",
        stem=kids["stem"].text.strip() if "stem" in kids else "",
        slur_starts=tuple(slurs["start"]),
        slur_stops=tuple(slurs["stop"]),
        ornaments=tuple(ornaments),
        parenthesised=head is not None and head.attributes.get("parentheses") == "yes",
    )


def _ornaments(sign: Node) -> list[Ornament]:
    """Tremolos, and the trill with the accidental of its upper note."""
    found = []
    for child in sign.children:
        if child.tag == "tremolo":
            found.append(Ornament("tremolo", child.attributes.get("type", "single"), digit(child.text.strip(), 0)))
        elif child.tag == "trill-mark":
            found.append(Ornament("trill", accidental=sign.text_of("accidental-mark").strip()))
    return found


def _slide(sign: Node, ignored: list[Message]) -> SlideMark:
    get = sign.attributes.get
    number = 1
    try:
        number = whole(get("number", "1"), Message("score.glissando_number"))
    except MalformedError as error:
        ignored.append(Message("score.taken_as_one", what=error.message))
    role = get("type", "")
    if role not in ("start", "stop"):
        ignored.append(Message("score.neither_start_nor_stop", sign=sign.tag, type=shown(role)))
    return SlideMark(sign.tag, role, number, " ".join(sign.text.split()))


def _technical_text(sign: Node) -> str:
    """Its text; else the names and texts of its children ('natural base-pitch'), else its SMuFL glyph
    name."""
    text = " ".join(sign.text.split())
    inner = " ".join(" ".join(child.text.split()) or child.tag for child in sign.children)
    return text or inner or sign.attributes.get("smufl", "")


def _bends(technical: Node, ignored: list[Message]) -> list[float]:
    found: list[float] = []
    for bend in technical.all("bend"):
        try:
            found.append(float(decimal(bend.text_of("bend-alter"), "bend-alter")))
        except MalformedError as error:
            ignored.append(error.message)
    return found
