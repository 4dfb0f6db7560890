"""What the signs of diagrams mean, each with its picture, as far as a part uses them."""

from collections.abc import Iterable, Sequence

from annotate.decision import Decision, Status
from annotate.drawing import diagram, picture
from annotate.drawing.picture import Circle
from annotate.language import DEFAULT, Words
from annotate.marking import Stand
from annotate.wording import is_trilled, key_names, unseen_moves

_SIGNS = {
    diagram.DOWN: ("down", Circle(True)),
    diagram.UP: ("up", Circle()),
    diagram.HOLE_OPEN: ("hole_open", Circle(True, hole=True)),
    diagram.VENT_OPEN: ("vent_open", Circle(True, vent=True)),
    diagram.BOTH_OPEN: ("both_open", Circle(True, hole=True, vent=True)),
}


def notes_of(decisions: Sequence[Decision]) -> tuple[str, ...]:
    """Names of what stands over the notes beside diagrams and is no word of music."""
    there = {str(one.status) for one in decisions} | {"to_and_fro" for one in decisions if is_trilled(one)}
    there |= {"gliding" for one in decisions if unseen_moves(one, DEFAULT)}
    return tuple(name for name in ("to_and_fro", "gliding", Status.DOUBTFUL, Status.UNPLAYABLE) if name in there)


def entries(stands: Sequence[Stand], notes: Iterable[str], words: Words) -> list[tuple[str, str]]:
    """(SVG text, '' for none; words) for each sign that the stands use, and for the notes."""
    fingerings = tuple(dict.fromkeys(stand.fingering for stand in stands if stand.fingering))
    if not fingerings:
        return []
    found = []
    for sign in diagram.signs_used(fingerings):
        key, circle = _SIGNS[sign]
        found.append((picture.sign_svg(circle), words.text(f"legend.{key}", sign="").strip()))
    found.append(("", words.text("legend.hands")))
    keys = key_names(diagram.letter_keys(fingerings), words.language)
    found += [("", entry) for entry in keys.split("; ") if entry]
    if any(stand.contrary for stand in stands):
        found.append(("", f"{diagram.CONTRARY} {words.text('legend.contrary')}"))
    return found + [("", words.text(f"legend.{name}")) for name in notes]
