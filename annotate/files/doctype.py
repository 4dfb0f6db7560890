"""What a DOCTYPE gives to every element by default: counted, so that a small file cannot become a large one."""

from annotate.findings import InputError
from fingering_db.message import Message

MOST_DEFAULTS = 1000
"""Characters that the attributes of one element may have by default; those of MusicXML have a dozen."""


class Defaults:
    """Characters that elements are given by default, by element; `declared` is a handler for expat."""

    def __init__(self) -> None:
        self.characters: dict[str, int] = {}

    def declared(self, element: str, _name: str, _type: str, default: str | None, _required: bool) -> None:
        """An attribute is declared. Raises InputError past the limit."""
        if default:
            self.characters[element] = self.characters.get(element, 0) + len(default)
            if self.characters[element] > MOST_DEFAULTS:
                raise InputError(Message("file.defaults_long", element=element[:40], most=MOST_DEFAULTS))
