"""Standard fingerings of a kind of flute, from data/charts."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache

from fingering_db.fingering import Fingering
from fingering_db.instrument import DATA
from fingering_db.pitch import Pitch


@dataclass(frozen=True, slots=True)
class ChartNote:
    """A written note and its standard fingering. judged: takes part in accuracy figures and fits."""

    pitch: Pitch
    fingering: Fingering
    judged: bool


@cache
def chart(name: str) -> tuple[ChartNote, ...]:
    """The chart of that name, low to high."""
    rows = tomllib.loads((DATA / "charts" / f"{name}.toml").read_text(encoding="utf-8"))["notes"]
    return tuple(
        ChartNote(Pitch.parse(row["note"]), Fingering.parse(row["fingering"]), row.get("judged", True)) for row in rows
    )
