"""Standard fingerings of a kind of flute, from data/charts."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from fingering_db.fingering import Fingering
from fingering_db.pitch import Pitch

FIRST_REGISTER_TOP = Pitch.parse("C#5").midi  # up to here each note has a first open hole of its own
_FOLDER = resources.files("fingering_db") / "data" / "charts"


@dataclass(frozen=True, slots=True)
class ChartNote:
    """A written note and its standard fingering. judged: takes part in accuracy figures and fits."""

    pitch: Pitch
    fingering: Fingering
    judged: bool


def charts() -> tuple[str, ...]:
    """Names of the charts."""
    return tuple(sorted(item.name.removesuffix(".toml") for item in _FOLDER.iterdir() if item.name.endswith(".toml")))


@cache
def chart(name: str) -> tuple[ChartNote, ...]:
    """The chart of that name, low to high. A file holds notes, or names another chart (`based_on`) and the lowest note
    that is taken from it."""
    data = tomllib.loads((_FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    if "based_on" in data:
        lowest = Pitch.parse(data["lowest"]).midi
        return tuple(note for note in chart(data["based_on"]) if note.pitch.midi >= lowest)
    return tuple(
        ChartNote(Pitch.parse(row["note"]), Fingering.parse(row["fingering"]), row.get("judged", True))
        for row in data["notes"]
    )
