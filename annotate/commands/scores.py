"""The commands that read a score. Each declares its options; its body stands where it is imported from."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from annotate import console
from annotate.console import LOOKED, UNPLAYABLE
from annotate.options import (
    FILE,
    flute_options,
    format_option,
    options_of,
    read_options,
    score_argument,
    target_of,
    target_options,
)
from annotate.telling import (
    ascii_only,
    exit_code,
    keep_in_mind,
    language,
    one_line,
    print_report,
    progress,
    said,
    tell_written,
    words,
)
from annotate.usage import command

if TYPE_CHECKING:
    from annotate.decision import Result
    from annotate.pipeline import Looked
    from annotate.since import Since

report_option = click.option("--report", type=FILE, metavar="FILE.html|.pdf")


def _report_to(path: Path | None) -> Callable[[Looked], None]:
    """What writes the report, or does nothing without a name. Raises InputError where it could not be written."""
    if path is None:
        return lambda looked: None
    from annotate.pack import report_file

    before = report_file.check(path)

    def write(looked: Looked) -> None:
        report_file.write(path, looked, before, progress())
        tell_written(path)

    return write


def _compared_with(path: Path | None) -> Callable[[Result], Since | None]:
    """What compares a result with an earlier report, read now; nothing without a name. Raises InputError for one that cannot be
    read."""
    if path is None:
        return lambda result: None
    from annotate import since

    return partial(since.compare, since.load(path))


@command()
@score_argument
@flute_options
@read_options
@format_option
@click.option("--detail", type=click.Choice(["brief", "full"]), default="brief", show_default=True)
@click.option("--sort", type=click.Choice(["place", "severity"]), default="place", show_default=True)
@click.option("--since", "earlier", type=FILE, metavar="OLD.json")
@report_option
def check(
    score: Path, form: str, detail: str, sort: str, earlier: Path | None, report: Path | None, **chosen: Any
) -> int:
    """Say what in SCORE can be played, what not, and what instead."""
    from annotate.pipeline import look

    compared = _compared_with(earlier)
    write_report = _report_to(report)
    looked = look(score, options_of(**chosen, language="en" if form == "json" else language()), progress())
    write_report(looked)
    result = looked.result
    print_report(result, form, since=compared(result), detail=detail, sort=sort)
    return exit_code(result)


@command()
@score_argument
@target_options
@flute_options
@read_options
@click.option("--mark", type=click.Choice(["demands", "all"]), default="demands", show_default=True)
@click.option("--diagrams", type=click.Choice(["changes", "every", "first"]), default="changes", show_default=True)
@click.option("--carrier", type=click.Choice(["column", "rows", "ascii"]), default="column", show_default=True)
@click.option("--notes", type=click.Choice(["none", "brief", "full"]), default="brief", show_default=True)
@click.option("--legend", type=click.Choice(["start", "end", "none"]), default=None)
@click.option("--pictures", "picture_folder", type=FILE, metavar="DIR")
def annotate(
    score: Path,
    output: Path | None,
    in_place: bool,
    mark: str,
    diagrams: str,
    carrier: str,
    notes: str,
    legend: str | None,
    picture_folder: Path | None,
    **chosen: Any,
) -> int:
    """Write fingering diagrams and technique notes into SCORE."""
    from annotate import pipeline
    from annotate.drawing import picture_folder as picture_folders
    from annotate.marking import Style

    target = target_of(score, output, in_place)
    before = pipeline.standing_before(score, target, in_place)
    if picture_folder is not None:
        picture_folders.check_folder(picture_folder)
    looked = pipeline.look(score, options_of(**chosen, language=language()), progress())
    result = pipeline.annotate(
        looked,
        target,
        in_place=in_place,
        style=Style(diagrams, carrier, notes, legend or "", mark=mark),
        picture_folder=picture_folder,
        before=before,
        on_written=keep_in_mind(),
    )
    print_report(result, numbered=diagrams == "first")
    tell_written(target, "written" if result.marked else "nothing_marked")
    return exit_code(result)


@command()
@score_argument
@click.option("-o", "--output", "folder", type=FILE, required=True, metavar="DIR")
@flute_options
@read_options
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
def prepare(score: Path, folder: Path, paper: str, **chosen: Any) -> int:
    """Write a practice pack for SCORE: a page to click and listen through, and the part to print."""
    from annotate.pack import folder as folders
    from annotate.pack.prepare import INDEX, PART, SHEET, pack
    from annotate.pipeline import look

    folders.check(folder, (INDEX, PART, SHEET, folders.LIST))
    looked = look(score, options_of(**chosen, language=language()), progress())
    folders.write(folder, pack(looked, paper, progress()))
    print_report(looked.result)
    tell_written(folder / INDEX)
    return exit_code(looked.result)


@command(quiet=False)
@score_argument
@target_options
def strip(score: Path, output: Path | None, in_place: bool) -> int:
    """Take everything that annotate wrote out of SCORE again."""
    from annotate.pipeline import strip_file

    target = target_of(score, output, in_place)
    marked, kept = strip_file(score, target, in_place=in_place, on_written=keep_in_mind())
    for text in kept:
        console.tell(said("command.kept", text=one_line(text)))
    tell_written(target, "written" if marked else "nothing_stripped")
    return LOOKED


@command()
@click.argument("scores", nargs=-1, required=True, type=FILE, metavar="SCORE...")
@flute_options
@read_options
@report_option
def watch(scores: tuple[Path, ...], report: Path | None, **chosen: Any) -> int:
    """Check each SCORE again after every save, and say what has changed; SCORE is only read."""
    from annotate import since
    from annotate.findings import InputError
    from annotate.pipeline import look
    from annotate.report import text
    from annotate.watching import saves
    from fingering_db.message import Message

    if report and len(scores) > 1:
        raise InputError(Message("pack.one_score", n=len(scores)))
    console.running().quiet = True  # one that waits is not at work
    options, before = options_of(**chosen, language=language()), dict[Path, since.Earlier]()
    for score in saves(scores):
        try:
            write_report = _report_to(report)
            looked = look(score, options)
            write_report(looked)
            result = looked.result
        except InputError as error:
            console.tell(one_line(words().say(error.messages[0])))
            continue
        if score in before:
            changes = since.compare(before[score], result)
            console.echo(text.render_changes(result, changes, ascii=ascii_only(), language=language()))
        else:
            print_report(result)
        sys.stdout.flush()
        before[score] = since.earlier(result)
    return LOOKED


@command()
@click.argument("scores", nargs=-1, required=True, type=FILE, metavar="SCORE...")
@flute_options
@read_options
@click.option("--accepted", "file", type=FILE, default=".ventwise-accepted.json", show_default=True, metavar="FILE")
@click.option("--accept", is_flag=True)
def hook(scores: tuple[Path, ...], file: Path, accept: bool, **chosen: Any) -> int:
    """Check every SCORE of a change: a line for each unplayable place that is not accepted, else nothing."""
    from annotate import accepted
    from annotate.files.placing import prepared
    from annotate.pipeline import look

    say, known = words(), accepted.load(file)
    results = {score.as_posix(): look(score, options_of(**chosen)).result for score in scores}
    if accept:
        with prepared(file, accepted.text_of(results).encode(), lambda _: None, None) as ready:
            ready.place()
        tell_written(file)
        return LOOKED
    found = [(name, one) for name, result in results.items() for one in accepted.refused(result, known.get(name))]
    for name, one in found:
        place, asked = say.place(one.demand.place), say.chord(one.demand.pitches)
        console.echo(f"{name}: {place}: {asked} {say.text(f'status.{one.status}')}: {say.say(one.why)}")
    return UNPLAYABLE if found else LOOKED
