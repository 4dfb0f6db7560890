"""The fonts that Verovio measures its pages with, taken out of its own package: pages look alike on every machine."""

import base64
import hashlib
import io
import re
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from fingering_db.store import fetch

MUSIC, WORDS = "Leipzig", "Liberation Serif"
_FACE = re.compile(r"@font-face\s*{(.*?)}", re.DOTALL)
_DATA = re.compile(r"base64,\s*([A-Za-z0-9+/=]+)")
_FILES = {MUSIC: "Leipzig.css", WORDS: "Liberation.css"}


@cache
def _sources() -> tuple[tuple[str, Path], ...]:
    """(family, style sheet that its faces stand in)."""
    import verovio  # noqa: PLC0415 - a large library, for those alone who want pages

    folder = Path(verovio.__file__).parent / "data"
    return tuple((family, folder / name) for family, name in _FILES.items())


def _faces() -> list[tuple[str, str, str, bytes]]:
    """(family, weight, style, woff2) of every face."""
    found = []
    for family, path in _sources():
        for face in _FACE.findall(path.read_text(encoding="ascii")):
            data = _DATA.search(face)
            assert data is not None
            found.append((family, _said(face, "font-weight"), _said(face, "font-style"), base64.b64decode(data[1])))
    return found


def _said(face: str, name: str) -> str:
    found = re.search(rf"{name}:\s*(\w+)", face)
    return found[1] if found else "normal"


def write_ttf(folder: Path) -> None:
    """Every face as a TTF file in a folder, for a typesetter."""
    for number, data in enumerate(_ttf()):
        (folder / f"face-{number}.ttf").write_bytes(data)


@cache
def _ttf() -> tuple[bytes, ...]:
    """The faces as TTF: unpacked once, which takes a second or two, then kept in the user's cache folder."""
    kept = fetch(f"fonts {_stamp()}", lambda: {str(n): _unpacked(face[3]) for n, face in enumerate(_faces())})
    return tuple(kept[str(number)].tobytes() for number in range(len(kept)))


def _stamp() -> str:
    """Tells one state of the style sheets from another without reading them, and of what makes fonts of them."""
    found = ((path.name, path.stat()) for _, path in _sources())
    told = [f"{name} {about.st_size} {about.st_mtime_ns}" for name, about in found]
    return ", ".join((*told, version("fonttools"), hashlib.sha256(Path(__file__).read_bytes()).hexdigest()))


def _unpacked(data: bytes) -> npt.NDArray[np.uint8]:
    font, out = _font(data), io.BytesIO()
    font.flavor = None
    font.save(out)
    return np.frombuffer(out.getvalue(), dtype=np.uint8)


_LETTERS = "".join(
    map(chr, [*range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x2010, 0x2027), 0x2032, 0x20AC, 0x2190, 0x2192])
)
_SIGNS = "".join(map(chr, [*range(0xECA0, 0xECC0), *range(0xE1D0, 0xE1F0), *range(0xE520, 0xE550), 0xE0A4, 0xE1E7]))
"""Of the music font: notes among words, dynamics."""


@cache
def css(families: tuple[str, ...] = (MUSIC, WORDS)) -> str:
    """`@font-face` rules with the letters of Latin alphabets and the notes that stand among words, as data in the text; made
    once, then kept in the user's cache folder."""
    key = f"page fonts {_stamp()} {_LETTERS}{_SIGNS}"
    made = fetch(key, lambda: {"css": np.frombuffer(_css().encode(), dtype=np.uint8)})
    rules = made["css"].tobytes().decode().split("@font-face")[1:]
    return "".join(f"@font-face{rule}" for rule in rules if any(f"'{family}'" in rule for family in families))


def _css() -> str:
    from fontTools.subset import Options, Subsetter  # noqa: PLC0415

    rules = []
    for (family, weight, style, _), data in zip(_faces(), _ttf(), strict=True):
        if (weight, style) == ("bold", "italic"):
            continue
        font = _font(data)
        options = Options()
        options.flavor = "woff2"
        options.hinting = False
        options.layout_features = []
        options.drop_tables += ["FFTM"]
        own = Subsetter(options)
        own.populate(text=_SIGNS if family == MUSIC else _LETTERS)
        own.subset(font)
        font.flavor = "woff2"
        out = io.BytesIO()
        font.save(out)
        source = f"url(data:font/woff2;base64,{base64.b64encode(out.getvalue()).decode()})"
        told = {"font-family": f"'{family}'", "font-weight": weight, "font-style": style, "src": source}
        rules.append("@font-face{" + ";".join(f"{name}:{value}" for name, value in told.items()) + "}")
    return "".join(rules)


def _font(data: bytes) -> Any:
    from fontTools.ttLib import TTFont  # noqa: PLC0415

    return TTFont(io.BytesIO(data), recalcTimestamp=False)  # the same faces are the same bytes
