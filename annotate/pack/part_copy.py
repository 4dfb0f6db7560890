"""A copy of one part of a score for the engraver: nothing else in it, every note under a name of ours.

The copy is for drawing alone and goes nowhere else, so it may be parsed and written anew."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from xml.parsers import expat

from lxml import etree

from annotate.files.encoding import inspect
from annotate.findings import InputError
from annotate.pack.completing import complete
from fingering_db.message import Message

NAMED = "vw-n"
"""What the name of a note begins with; its number follows."""
# What a part of its own does not need, or what would draw a head line that the sheet sets itself.
_LEFT_OUT = ("credit", "work", "movement-title", "movement-number", "defaults")
_KEEP_ID = ("note", "score-part", "score-instrument", "midi-instrument", "midi-device", "player", "part", "instrument")


@dataclass(frozen=True, slots=True)
class PartCopy:
    """data: MusicXML text of the part; names: name of the note at a byte offset of the score; composer: '' for none."""

    data: str
    names: Mapping[int, str]
    composer: str


def part_copies(data: bytes, part_ids: tuple[str, ...]) -> dict[str, PartCopy]:
    """A copy for each part. data: MusicXML that has been read. Raises InputError where the parser of this copy cannot
    follow (a file that contradicts itself)."""
    form = inspect(data)
    offsets = _note_offsets(data, form.start, form.override)
    text = data[form.start :].decode(form.encoding, "replace").lstrip("\ufeff")
    if text.startswith("<?xml"):
        text = text[text.index("?>") + 2 :]
    parser = etree.XMLParser(
        load_dtd=False, no_network=True, huge_tree=True, remove_comments=True, remove_pis=True, recover=True
    )
    try:
        root = etree.fromstring(text, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise InputError(Message("pack.not_drawn", reason=" ".join(str(error).split()))) from error
    if root is None:
        raise InputError(Message("pack.not_drawn", reason="XML"))
    _named_parts(root)
    names = {}
    for number, note in enumerate(root.iter("note")):
        note.set("id", f"{NAMED}{number}")
        if number < len(offsets):
            names[offsets[number]] = f"{NAMED}{number}"
    creators = (one for one in root.iter("creator") if one.get("type", "") in ("", "composer"))
    composer = next((one.text.strip() for one in creators if one.text), "")
    named: Any = root.xpath("descendant-or-self::*[@id]")
    for one in named:
        if one.tag not in _KEEP_ID:
            del one.attrib["id"]
    for tag in _LEFT_OUT:
        for one in root.findall(tag):
            root.remove(one)
    for part in root.findall("part"):
        if part.get("id", "") in part_ids:
            complete(part)
    return {part_id: PartCopy(_only(_with_tempo(root, part_id), part_id), names, composer) for part_id in part_ids}


def _named_parts(root: etree._Element) -> None:
    """A part without a name of its own has that of the head that stands in its place."""
    heads = root.findall("part-list/score-part")
    for head, part in zip(heads, root.findall("part"), strict=False):
        if part.get("id") is None:
            part.set("id", str(head.get("id", "")))


def _with_tempo(root: etree._Element, part_id: str) -> etree._Element:
    """Tempo and rehearsal marks that stand in another part alone, put into this one. root: changed."""
    parts = root.findall("part")
    own = next((part for part in parts if part.get("id", "") == part_id), None)
    if own is None:
        return root
    bars = own.findall("measure")
    told = {number for number, bar in enumerate(bars) if any(map(_for_all, bar.iter("direction")))}
    for other in parts:
        if other is own:
            continue
        for number, bar in enumerate(other.findall("measure")):
            found = [one for one in bar.findall("direction") if _for_all(one)]
            if not found or number in told or number >= len(bars):
                continue
            told.add(number)
            for one in reversed(_at_the_beginning(bar, found)):
                _put_first(bars[number], one)
    return root


def _for_all(direction: etree._Element) -> bool:
    """Whether a direction tells everybody the tempo or where the music is."""
    tempo = any(sound.get("tempo") for sound in direction.iter("sound"))
    return tempo or any(True for _ in direction.iter("metronome", "rehearsal"))


def _at_the_beginning(bar: etree._Element, found: list[etree._Element]) -> list[etree._Element]:
    """Those of a bar's directions that come before any note, as copies."""
    before: list[etree._Element] = []
    for child in bar:
        if child.tag in ("note", "backup", "forward"):
            break
        if any(child is one for one in found):
            before.append(_plain_copy(child))
    return before


def _plain_copy(direction: etree._Element) -> etree._Element:
    """A copy that belongs to no staff or voice."""
    copy = etree.fromstring(etree.tostring(direction))
    for tag in ("staff", "voice", "offset"):
        for one in copy.findall(tag):
            copy.remove(one)
    return copy


def _put_first(bar: etree._Element, direction: etree._Element) -> None:
    """Before the first note of a bar, behind its attributes."""
    at = 0
    for number, child in enumerate(bar):
        if child.tag in ("attributes", "print", "barline"):
            at = number + 1
        elif child.tag == "note":
            break
    bar.insert(at, direction)


def _only(root: etree._Element, part_id: str) -> str:
    """The file with this part alone; the name is set by the sheet, so the part is nameless here."""
    told = []
    for child in root:
        if child.tag == "part-list":
            told += [
                "<part-list>",
                *(_nameless(one) for one in child.findall("score-part") if one.get("id") == part_id),
                "</part-list>",
            ]
        elif child.tag != "part" or child.get("id", "") == part_id:
            told.append(etree.tostring(child, encoding="unicode"))
    return f'<{root.tag} version="{root.get("version", "4.0")}">{"".join(told)}</{root.tag}>'


def _nameless(head: etree._Element) -> str:
    copy = etree.fromstring(etree.tostring(head))
    for tag in ("part-name", "part-abbreviation", "part-name-display", "part-abbreviation-display"):
        for name in copy.findall(tag):
            copy.remove(name)
    copy.insert(0, etree.Element("part-name"))
    return etree.tostring(copy, encoding="unicode")


def _note_offsets(data: bytes, start: int, override: str | None) -> list[int]:
    """Byte offset of every `<note>`, in the order of the file."""
    parser = expat.ParserCreate(override)
    found: list[int] = []

    def begun(tag: str, _: dict[str, str]) -> None:
        if tag == "note":
            found.append(parser.CurrentByteIndex + start)

    parser.StartElementHandler = begun
    parser.Parse(data[start:], True)
    return found
