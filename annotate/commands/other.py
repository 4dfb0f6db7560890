"""Explanations and the plug-in. Each declares its options; its body stands where it is imported from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from annotate import console
from annotate.console import LOOKED
from annotate.options import FILE
from annotate.telling import language
from annotate.usage import command

if TYPE_CHECKING:
    pass

_NOTES = {"trust": "confidence_note", "care": "cautions"}


@command(quiet=False)
@click.option("--to", "folder", type=FILE, metavar="FOLDER")
@click.option("--places", "score", type=FILE, metavar="SCORE", hidden=True)
def plugin(folder: Path | None, score: Path | None) -> int:
    """Put the plug-in for MuseScore 3 into its folder for plug-ins."""
    from annotate.language import words
    from annotate.musescore import plugin as plug_in

    said = words(language())
    if score is not None:
        console.echo(plug_in.places(score, said))
        return LOOKED
    console.tell(said.say(plug_in.install(folder, said)))
    return LOOKED


@command(quiet=False)
@click.argument("code", required=False, metavar="[CODE|trust|care|status]")
def explain(code: str | None) -> int:
    """What the code of a finding means; without one, all codes in short. How far to trust the figures; care for the player."""
    from annotate.findings import InputError
    from annotate.language import words
    from annotate.output import wrap
    from fingering_db.message import Message

    told = words(language())
    codes = sorted(told.tables["explain"])
    if code is None:
        firsts = [f"{one:5}{told.text(f'explain.{one}').partition('. ')[0].rstrip('.')}." for one in codes]
        console.echo("\n".join(line for first in firsts for line in wrap(first, 80, hanging=5)))
        return LOOKED
    if code.lower() == "status":
        console.echo("\n".join(words(language()).lines("command.statuses")))
        return LOOKED
    if code.lower() in _NOTES:
        lines = told.lines(f"{_NOTES[code.lower()]}.lines")
        console.echo("\n".join(line for text in lines for line in wrap(text, 80, hanging=2)))
        return LOOKED
    if code.upper() not in codes:
        raise InputError(Message("command.no_code", code=code, codes=tuple(codes)))
    console.echo("\n".join(wrap(f"{code.upper()}: {told.text(f'explain.{code.upper()}')}", 80)))
    return LOOKED
