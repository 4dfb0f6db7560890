"""What the plan of a passage weighs: `weights.toml`, and what a player changes in it."""

from collections.abc import Mapping
from importlib import resources

import msgspec


class Weights(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One value for each table of `weights.toml`, which says what it is."""

    sounding: float
    holding: float
    moving: float
    leisure_s: float
    most_hurry: float
    least_hurry: float
    of_a_note: float
    rest_resets_s: float
    grace_s: float
    trill: float
    alternative: float
    unusual: float
    drawing_per_mm: float
    out_per_cent: float
    preferred: float
    no_time: float

    def hurry(self, seconds: float) -> float:
        """How many times its effort a motion costs that has so many seconds."""
        return min(max(self.leisure_s / max(seconds, 1e-3), self.least_hurry), self.most_hurry)


class _Weight(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    value: float
    mark: str
    why: str


MOST = 10_000.0
NAMES = Weights.__struct_fields__
_TOLD = msgspec.toml.decode((resources.files("annotate") / "weights.toml").read_bytes(), type=dict[str, _Weight])
WEIGHTS = msgspec.convert({name: one.value for name, one in _TOLD.items()}, Weights)


def changed(own: Mapping[str, float]) -> Weights:
    """The weights with those of a player in their place; names that are none are passed over, and so are values
    that are none of a weight (`is_weight`)."""
    return msgspec.structs.replace(WEIGHTS, **{name: one for name, one in own.items() if is_weight(name, one)})


def is_weight(name: str, value: float) -> bool:
    """Whether there is a weight of that name and the value may be one: from 0 to MOST."""
    return name in NAMES and 0.0 <= value <= MOST
