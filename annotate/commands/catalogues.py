"""The command that lists all that a flute can do. It declares its options; its body stands where it is imported from."""

from pathlib import Path

import click

from annotate import console
from annotate.console import LOOKED
from annotate.options import FILE, desks_of, flute_options, language_option, quiet_option, searched
from annotate.telling import language, one_line, progress, said
from annotate.usage import command


@command()
@flute_options
@click.option("-o", "--output", "folder", type=FILE, required=True, metavar="DIR")
@click.option("--from", "lowest", metavar="PITCH")
@click.option("--to", "highest", metavar="PITCH")
@quiet_option
@language_option
def catalogue(flutes: tuple[str, ...], a4: float | None, folder: Path, lowest: str | None, highest: str | None) -> int:
    """All multiphonics of a flute as score, tables, map and page; of two flutes also what the second adds."""
    from annotate.catalogue import make
    from annotate.language import words
    from annotate.output import wrap
    from annotate.pack import folder as folders

    desks = desks_of(flutes, a4)
    between = make.bounds(lowest, highest, desks[0].a4_hz)
    folders.check(folder, (*make.names(desks), folders.LIST))
    files, told = make.catalogue(searched(desks), between, words(language()), progress())
    folders.write(folder, files)
    console.echo("\n".join(line for one in told for line in wrap(one, 80, hanging=2)))
    console.tell(said("command.written", path=one_line(str(folder / make.INDEX))))
    return LOOKED
