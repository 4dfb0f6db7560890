"""One `<note>` element as the rest of the program wants it: ties, technique signs, slides, head and stem."""

from dataclasses import dataclass
from fractions import Fraction

from annotate.reading.pitch_reading import Transposition
from annotate.reading.tree import Node
from annotate.reading.values import MalformedError, decimal, shown, whole
from annotate.score import Ornament, SlideMark
from fingering_db.message import Message

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


@dataclass(frozen=True, slots=True)
class Details:
    """What stands in `<notations>` and the ties."""

    tie_start: bool = False
    tie_stop: bool = False
    slides: tuple[SlideMark, ...] = ()
    technical: tuple[tuple[str, str], ...] = ()
    articulations: tuple[str, ...] = ()
    bend_alters: tuple[float, ...] = ()
    slur_starts: tuple[str, ...] = ()
    slur_stops: tuple[str, ...] = ()
    """Numbers of the slurs that begin and end at the note."""
    ornaments: tuple[Ornament, ...] = ()


_NONE = Details()


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


def details_of(note: RawNote, ignored: list[Message]) -> Details:
    """Ties, slides and signs of a note. Values that cannot be read are appended to `ignored`, each as a
    message."""
    kids = note.kids
    if "notations" not in kids and "tie" not in kids:
        return _NONE
    ties: set[str] = set()
    slides: list[SlideMark] = []
    technical: list[tuple[str, str]] = []
    articulations: list[str] = []
    bends: list[float] = []
    ornaments: list[Ornament] = []
    slurs: dict[str, list[str]] = {"start": [], "stop": []}
    for child in note.node.children:
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
    return Details(
        "start" in ties,
        "stop" in ties,
        tuple(slides),
        tuple(technical),
        tuple(articulations),
        tuple(bends),
        tuple(slurs["start"]),
        tuple(slurs["stop"]),
        tuple(ornaments),
    )


def _ornaments(sign: Node) -> list[Ornament]:
    """Tremolos, and the trill with the accidental of its upper note."""
    found = []
    for child in sign.children:
        if child.tag == "tremolo":
            strokes = child.text.strip()
            count = int(strokes) if strokes.isascii() and strokes.isdigit() and len(strokes) == 1 else 0
            found.append(Ornament("tremolo", child.attributes.get("type", "single"), count))
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
