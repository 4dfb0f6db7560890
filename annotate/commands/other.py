"""Explanations and the plug-in. Each declares its options; its body stands where it is imported from."""

from pathlib import Path

import click

from annotate import console
from annotate.console import LOOKED
from annotate.options import FILE
from annotate.telling import words
from annotate.usage import command

_NOTES = {"trust": "confidence_note.lines", "care": "cautions.lines", "status": "command.statuses"}


@command(quiet=False)
@click.option("--to", "folder", type=FILE, metavar="FOLDER")
@click.option("--places", "score", type=FILE, metavar="SCORE", hidden=True)
def plugin(folder: Path | None, score: Path | None) -> int:
    """Put the plug-in for MuseScore 3 into its folder for plug-ins."""
    from annotate.musescore import plugin as plug_in

    say = words()
    if score is not None:
        console.echo(plug_in.places(score, say))
    else:
        console.tell(say.say(plug_in.install(folder, say)))
    return LOOKED


@command(quiet=False)
@click.argument("code", required=False, metavar="[CODE|trust|care|status]")
def explain(code: str | None) -> int:
    """What the code of a finding means; without one, all codes in short. How far to trust the figures; care for the player."""
    from annotate.findings import InputError
    from annotate.output import wrap
    from fingering_db.message import Message

    told = words()
    codes = sorted(told.tables["explain"], key=lambda one: (one[0], int(one[1:])))
    if code is None:
        firsts = [f"{one:5}{told.text(f'explain.{one}').partition('. ')[0].rstrip('.')}." for one in codes]
        console.echo("\n".join(line for first in firsts for line in wrap(first, 80, hanging=5)))
        return LOOKED
    if code.lower() in _NOTES:
        lines = told.lines(_NOTES[code.lower()])
        console.echo("\n".join(line for text in lines for line in wrap(text, 80, hanging=2)))
    elif code.upper() in codes:
        console.echo("\n".join(wrap(f"{code.upper()}: {told.text(f'explain.{code.upper()}')}", 80)))
    else:
        raise InputError(Message("command.no_code", code=code))
    return LOOKED
