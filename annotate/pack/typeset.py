"""Sheets of paper as PDF, by Typst: its templates lie beside this file, what stands on a sheet comes as data."""

import json
import tempfile
from collections.abc import Mapping
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from annotate.pack.fonts import write_ttf
from annotate.pack.look import look

_ALWAYS = datetime(2000, 1, 1, tzinfo=UTC)
"""The date in every file, so that the same sheets are the same bytes."""


def sheets(paper: str, language: str) -> dict[str, Any]:
    """What every template is told of its sheets: sizes and colours. paper: a name in the look."""
    printed, (width, height) = look().printed, look().paper[paper]
    return {
        "language": language,
        "width": width,
        "height": height,
        "margin": printed.margin,
        "foot": printed.foot,
        "text_pt": printed.text_pt,
        "small_pt": printed.small_pt,
        "title_pt": printed.title_pt,
        "ink": look().light("ink"),
        "quiet": look().light("quiet"),
    }


def pdf(template: str, data: Mapping[str, Any], pictures: Mapping[str, str]) -> bytes:
    """A PDF of a template (`part.typ`) with its data and its pictures, SVG texts by file name."""
    import typst  # noqa: PLC0415 - a large library, for those alone who want paper

    given = {name: svg.encode() for name, svg in pictures.items()}
    given["data.json"] = json.dumps(data, ensure_ascii=False).encode()
    given["main.typ"] = files("annotate.pack").joinpath(template).read_bytes()
    typeset: Any = typst.compile  # its types know of one file alone
    with tempfile.TemporaryDirectory() as name:
        write_ttf(Path(name))
        made: bytes = typeset(given, font_paths=[name], ignore_system_fonts=True, format="pdf", timestamp=_ALWAYS)
    return made
