"""Multiphonics that are one shape moved along the tube, together."""

from collections.abc import Sequence
from dataclasses import dataclass

from annotate.language import Words
from fingering_db.catalogue import Multiphonic


@dataclass(frozen=True, slots=True)
class Group:
    """A pattern that stands at several places and what it sounds, place by place from the top of the tube; '' for what is not
    moved."""

    pattern: str
    multiphonics: tuple[Multiphonic, ...]

    @property
    def dyads(self) -> tuple[Multiphonic, ...]:
        """Those of two notes."""
        return tuple(one for one in self.multiphonics if len(one.cell) == 2)

    @property
    def places(self) -> tuple[str, ...]:
        """The places where it stands here, from the top."""
        return tuple(dict.fromkeys(one.place for one in self.multiphonics if one.place))

    def title(self, words: Words) -> str:
        """What it is called."""
        return self.pattern or words.text("catalogue.no_pattern")


def groups(found: Sequence[Multiphonic], place_names: Sequence[str]) -> tuple[Group, ...]:
    """Those that stand at most places first, what is not moved last; inside from the top of the tube, then by pitch."""
    order = {name: at for at, name in enumerate(place_names)}
    stands: dict[str, set[str]] = {}
    for one in found:
        stands.setdefault(one.pattern, set()).add(one.place)
    by_pattern: dict[str, list[Multiphonic]] = {}
    for one in found:
        moved = one.pattern if len(stands[one.pattern]) > 1 else ""
        by_pattern.setdefault(moved, []).append(one)
    made = [
        Group(pattern, tuple(sorted(own, key=lambda one: (order.get(one.place, 0), one.hz))))
        for pattern, own in by_pattern.items()
    ]
    return tuple(sorted(made, key=lambda one: (not one.pattern, -len(one.places), one.pattern)))
