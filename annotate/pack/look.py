"""Named colours and sizes of everything that is shown (`look.toml`), and how pages and sheets are told them."""

from functools import cache
from importlib.resources import files

import msgspec


class Printed(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Printed music and sheets [mm], text [pt]. note_text: height of the words above a diagram."""

    margin: float
    head: float
    foot: float
    staff: float
    diagram: float
    note_text: float
    gap: float
    text_pt: float
    small_pt: float
    title_pt: float


class Phone(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Music for a narrow screen [mm]: how wide a system is, how high a piece of music at the most."""

    width: float
    height: float


class Look(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """colour: light and dark by name; size: CSS lengths by name; paper: width and height [mm] by name."""

    colour: dict[str, tuple[str, str]]
    size: dict[str, str]
    paper: dict[str, tuple[float, float]]
    printed: Printed
    phone: Phone

    def light(self, name: str) -> str:
        """A colour on paper."""
        return self.colour[name][0]

    def css(self) -> str:
        """The names as CSS variables: light, dark where the reader's system or the page's switch says so, light on paper."""
        light = "".join(f"--{_css(name)}:{pair[0]};" for name, pair in self.colour.items())
        dark = "".join(f"--{_css(name)}:{pair[1]};" for name, pair in self.colour.items())
        sizes = "".join(f"--{_css(name)}:{value};" for name, value in self.size.items())
        return (
            f":root{{color-scheme:light;{sizes}{light}}}"
            f"@media screen and (prefers-color-scheme:dark){{:root:not([data-theme=light]){{color-scheme:dark;{dark}}}}}"
            f"@media screen{{:root[data-theme=dark]{{color-scheme:dark;{dark}}}}}"
        )


def _css(name: str) -> str:
    return name.replace("_", "-")


@cache
def look() -> Look:
    """The one look there is."""
    return msgspec.toml.decode(files("annotate.pack").joinpath("look.toml").read_bytes(), type=Look)
