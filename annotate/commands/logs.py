"""The commands about the player's log. Each declares its options; its body stands where it is imported from."""

from pathlib import Path

import click

from annotate import console
from annotate.console import LOOKED
from annotate.options import FILE
from annotate.telling import keep_in_mind, progress, tell_written, words
from annotate.usage import command, group


@group()
def log() -> None:
    """What worked for you and what failed; find and check heed it."""


@command("add")
@click.argument("text", metavar="FINGERING|PLACE")
@click.argument("pitches", nargs=-1, metavar="[PITCH...] --worked|--failed")
@click.option("--worked", is_flag=True)
@click.option("--failed", is_flag=True)
@click.option("--flute", default="open-hole-b", show_default=True, metavar="NAME|FILE")
@click.option("--score", type=FILE, metavar="SCORE")
@click.option("--remark", default="", metavar="TEXT")
def add(
    text: str, pitches: tuple[str, ...], worked: bool, failed: bool, flute: str, score: Path | None, remark: str
) -> int:
    """Log how a fingering went: "T 2 3 | Eb" C5 D6 --worked (sounding pitches; none: whatever it sounds)."""
    from annotate.findings import InputError
    from annotate.player import log_command
    from fingering_db.message import Message

    if worked == failed:
        raise InputError(Message("log.worked_or_failed"))
    told = words()
    if score is not None:
        console.echo(log_command.add_place(text, pitches, score, flute, worked, remark, told, progress()))
    else:
        console.echo(log_command.add_fingering(text, pitches, flute, worked, remark, told))
    return LOOKED


@command("list", quiet=False)
def list_log() -> int:
    """Everything in the log, the last trial first."""
    from annotate.player import log_command

    console.echo(log_command.listing(words()))
    return LOOKED


@command("export", quiet=False)
@click.argument("file", type=FILE, metavar="FILE.csv")
def export_log(file: Path) -> int:
    """Write the log as a table that others can import."""
    from annotate.player import log_command

    console.echo(log_command.export(file, words(), keep_in_mind()))
    tell_written(file)
    return LOOKED


@command("import", quiet=False)
@click.argument("file", type=FILE, metavar="FILE.csv")
def import_log(file: Path) -> int:
    """Add the trials of a table, each with where it comes from."""
    from annotate.player import log_command

    console.echo(log_command.import_(file, words()))
    return LOOKED


for _command in (add, list_log, import_log, export_log):
    log.add_command(_command)
