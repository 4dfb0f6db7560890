"""The head of a score: its title, and the list of its parts with names and instruments."""

from annotate.findings import InputError
from annotate.reading.tree import Node
from annotate.reading.values import flat
from annotate.score import Part, ScoreInstrument
from fingering_db.message import Message

MAX_PARTS = 2_000


def read_title(node: Node) -> str:
    """The title in `<work>` or `<movement-title>`, '' for none."""
    return flat(node.text_of("work-title") if node.tag == "work" else node.text)


def read_part_list(node: Node) -> tuple[Part, ...]:
    """The parts in the order of `<part-list>`. Raises InputError for an id that is missing or used twice."""
    parts: list[Part] = []
    groups: dict[str, str] = {}
    seen: set[str] = set()
    for child in node.children:
        if child.tag == "part-group":
            number = child.attributes.get("number", "1")
            groups.pop(number, None)
            if child.attributes.get("type") == "start":
                groups[number] = _name(child, "group-name")
        elif child.tag == "score-part":
            part_id = child.attributes.get("id", "")
            if not part_id or part_id in seen:
                problem = Message("score.same_id", id=part_id) if part_id else Message("score.no_id")
                raise InputError(Message("score.part_list", problem=problem))
            seen.add(part_id)
            if len(seen) > MAX_PARTS:
                raise InputError(Message("score.many_parts", most=MAX_PARTS))
            group = next((name for name in reversed(groups.values()) if name), "")
            parts.append(_part(child, part_id, len(parts) + 1, group))
    return tuple(parts)


def _part(node: Node, part_id: str, number: int, group: str) -> Part:
    sounds = [
        ScoreInstrument(
            each.attributes.get("id", ""), each.text_of("instrument-name"), each.text_of("instrument-sound")
        )
        for each in node.all("score-instrument")
    ]
    return Part(
        id=part_id,
        number=number,
        name=_name(node, "part-name"),
        abbreviation=_name(node, "part-abbreviation"),
        instruments=tuple(sounds),
        group=group,
    )


def _name(node: Node, tag: str) -> str:
    """The plain name, or, where it is empty, the name as displayed."""
    name = flat(node.text_of(tag))
    display = node.child(f"{tag}-display")
    if name or display is None:
        return name
    return flat(" ".join(each.text for each in display.all("display-text")))
