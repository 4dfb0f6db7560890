"""Options that several commands share, the types of what is typed after them, and what the typed ones mean."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from annotate.telling import progress
from annotate.usage import MisusedError
from fingering_db.message import Message

if TYPE_CHECKING:
    from annotate.pipeline import Options

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

_CHORDS = click.Choice(["auto", "multiphonic", "players", "voice"])
_FORMAT = click.Choice(["text", "json"])


class Number(click.FloatRange):
    """A number between two others; 'nan', which compares with nothing, is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        least, most = float(self.min or 0.0), float(self.max or 0.0)
        if not least <= number <= most:
            told = Message("usage.number_between", text=str(value), least=f"{least:g}", most=f"{most:g}")
            raise MisusedError(told, param, ctx)
        return number


class Whole(click.IntRange):
    """A whole number between two others."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        least, most = int(self.min or 0), int(self.max or 0)
        with contextlib.suppress(ValueError):
            if least <= int(value) <= most:
                return int(value)
        raise MisusedError(Message("usage.whole_between", text=str(value), least=least, most=most), param, ctx)


class _File(click.Path):
    """The name of a file or a folder. An empty one, left by an unset variable of a shell, would be the current folder."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not str(value).strip():
            raise MisusedError(Message("usage.a_name", text=str(value)), param, ctx)
        return super().convert(value, param, ctx)


FILE = _File(path_type=Path)


def _together(*options: Callable[[Decorated], Decorated]) -> Callable[[Decorated], Decorated]:
    def add(command: Decorated) -> Decorated:
        for option in reversed(options):
            command = option(command)
        return command

    return add


flute_options = _together(
    click.option("--flute", "flutes", multiple=True, metavar="NAME|FILE"),
    click.option("--a4", type=Number(380.0, 500.0), metavar="HZ"),
)  # fmt: skip
read_options = _together(
    click.option("--part", "parts", multiple=True, metavar="NAME|ID|NUMBER"),
    click.option("--chords", type=_CHORDS, default="auto", show_default=True),
    click.option("--tolerance", type=Number(1.0, 100.0), metavar="CENTS"),
    click.option("--decisions", type=FILE, metavar="FILE"),
    click.option("--musescore", default="", metavar="PROGRAM"),
)  # fmt: skip
format_option = click.option("--format", "form", type=_FORMAT, default="text", show_default=True)
target_options = _together(
    click.option("-o", "--output", "output", type=FILE, metavar="OUT"),
    click.option("--in-place", is_flag=True),
)
slide_option = click.option("--slide", type=Number(-100.0, 200.0), default=0.0, metavar="MM")
score_argument = click.argument("score", type=FILE)


def options_of(
    flutes: tuple[str, ...],
    a4: float | None,
    parts: tuple[str, ...],
    chords: str,
    tolerance: float | None,
    language: str = "en",
    musescore: str = "",
    decisions: Path | None = None,
) -> Options:
    """What is typed after the options of a command that reads a score."""
    from annotate.pipeline import Options

    named = tuple(flute for flute in flutes if "=" not in flute)
    pairs = tuple((part, flute) for part, given, flute in (one.rpartition("=") for one in flutes) if given)
    return Options(named, pairs, a4, parts, chords, tolerance, language, musescore, decisions)


def desks_of(flutes: tuple[str, ...], a4: float | None, slide: float = 0.0) -> list[Any]:
    """What answers for each flute named, or for the usual one."""
    from annotate.choosing.desks import DEFAULT_FLUTE, desks_for

    return desks_for(flutes or (DEFAULT_FLUTE,), a4, slide_mm=slide)


def searched(desks: list[Any]) -> list[Any]:
    """The same, all that these flutes can sound at hand: where it must be computed first, somebody is told how it goes."""
    from fingering_db.model import model
    from fingering_db.survey import atlas

    for one in desks:
        atlas(model(one.model.instrument), progress())
    return desks


def target_of(score: Path, output: Path | None, in_place: bool) -> Path:
    """Where to write. Raises InputError where that is not said, or said twice."""
    from annotate.findings import InputError
    from annotate.forms import is_native

    if output is None and not in_place and is_native(score):
        return score.with_name(f"{score.stem}.annotated{score.suffix}")
    if (output is None) != in_place:
        raise InputError(Message("command.where_to_write"))
    return score if output is None else output
