"""The commands about flutes. Each declares its options; its body stands where it is imported from."""

from pathlib import Path

import click

from annotate import console
from annotate.console import LOOKED
from annotate.options import FILE, Number, desks_of, flute_options, searched, slide_option
from annotate.telling import keep_in_mind, progress, tell_written, words
from annotate.usage import command, group


@group()
def flute() -> None:
    """The flutes that are shipped, and your own."""


@command("list", quiet=False)
def list_flutes() -> int:
    """Names of the flutes that are shipped."""
    from annotate import instruments

    console.echo(instruments.listing(words()))
    return LOOKED


@command("show")
@click.argument("name", metavar="NAME|FILE")
@slide_option
def show_flute(name: str, slide: float) -> int:
    """Holes, keys, fingerings and accuracy of a flute; with --slide how each note of the scale moves."""
    from annotate import instruments

    say = words()
    console.echo(instruments.moved_scale(name, slide, say) if slide else instruments.description(name, say))
    return LOOKED


@command("check")
@click.argument("file", metavar="FILE")
def check_flute(file: str) -> int:
    """Whether a flute file can be used; each mistake on a line."""
    from annotate import instruments

    console.echo(instruments.verdict(file, words()))
    return LOOKED


@command("fit")
@click.argument("name", metavar="NAME|FILE")
@click.option("--played", type=FILE, required=True, metavar="CSV|WAV")
@click.option("-o", "--output", "output", type=FILE, required=True, metavar="NEW.toml")
@click.option("--a4", type=Number(380.0, 500.0), metavar="HZ")
def fit_flute(name: str, played: Path, output: Path, a4: float | None) -> int:
    """Make a flute yours: lip, temperature and small corrections from notes that you played on it."""
    from annotate.player import fit_flute

    console.echo(fit_flute.fit_flute(name, played, output, a4, words(), keep_in_mind()))
    tell_written(output)
    return LOOKED


for _command in (list_flutes, show_flute, check_flute, fit_flute):
    flute.add_command(_command)


@command()
@flute_options
@click.option("-o", "--output", "folder", type=FILE, required=True, metavar="DIR")
@click.option("--from", "lowest", metavar="PITCH")
@click.option("--to", "highest", metavar="PITCH")
def catalogue(flutes: tuple[str, ...], a4: float | None, folder: Path, lowest: str | None, highest: str | None) -> int:
    """All multiphonics of a flute as score, tables, map and page; of two flutes also what the second adds."""
    from annotate.catalogue import make
    from annotate.output import wrap
    from annotate.pack import folder as folders

    desks = desks_of(flutes, a4)
    between = make.bounds(lowest, highest, desks[0].a4_hz)
    folders.check(folder, (*make.names(desks), folders.LIST))
    files, told = make.catalogue(searched(desks), between, words(), progress())
    folders.write(folder, files)
    console.echo("\n".join(line for one in told for line in wrap(one, 80, hanging=2)))
    tell_written(folder / make.INDEX)
    return LOOKED
