"""Whether a spliced file still means the same: the same program exports it, and nothing but our texts may differ."""

from collections.abc import Iterable, Sequence

from annotate.files.stripping import strip
from annotate.files.writing import Mark, SelfCheckError
from annotate.musescore.native import ROUNDING
from annotate.reading.read import read_score
from annotate.score import Part
from fingering_db.message import Message

# Stems of notes that cross to another staff turn with the distance of the staves.
_LAYOUT = frozenset(("print", "defaults", "stem"))
_LAYOUT_ATTRIBUTES = ("default-x", "default-y", "relative-x", "relative-y", "width")


def verify_same_music(before: bytes, after: bytes) -> None:
    """Compare two MusicXML exports of one program, without our directions and without where things lie on the page.

    Raises SelfCheckError where they differ.
    """
    if _canonical(strip(before)) != _canonical(strip(after)):
        raise SelfCheckError(Message("musescore.other_music"))


def verify_places(after: bytes, parts: Sequence[Part], marks: Iterable[Mark]) -> None:
    """See that our texts in an export stand at the moments at which the marks were meant to. parts: as read before.

    Raises SelfCheckError where one is missing, or stands elsewhere by more than the program rounds.
    """
    events = {event.start: (part.id, event) for part in parts for event in part.events}
    wanted = sorted((id, event.bar_index, event.in_bar) for id, event in (events[mark.offset] for mark in marks))
    found = set()
    for part in read_score(after, {part.id for part in parts}).parts:
        starts = {event.bar_index: event.onset - event.in_bar for event in part.events}
        found |= {(part.id, one.bar_index, one.onset - starts[one.bar_index]) for one in part.directions if one.ours}
    for id, bar, moment in wanted:
        if not any((id, bar) == (other, there) and abs(at - moment) <= ROUNDING for other, there, at in found):
            raise SelfCheckError(Message("musescore.elsewhere", bar=bar + 1, part=id))


def _canonical(data: bytes) -> bytes:
    from lxml import etree  # noqa: PLC0415 - needed for MuseScore's own files alone

    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, remove_blank_text=True)
    root = etree.fromstring(data, parser)
    for element in root.iter(etree.Element):
        for name in _LAYOUT_ATTRIBUTES:
            if name in element.attrib:
                del element.attrib[name]
    for element in [one for one in root.iter(etree.Element) if one.tag in _LAYOUT]:
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)
    for note in root.iter("encoding-date"):
        note.text = ""
    canonical: bytes = etree.tostring(root, method="c14n")
    return canonical
