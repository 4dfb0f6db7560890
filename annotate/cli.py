"""The command `ventwise`. Everything that is not a command or an option lives elsewhere and is imported when needed."""

from __future__ import annotations

import contextlib
import math
import sys
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from annotate import console
from annotate.console import COULD_NOT_LOOK, LOOKED, UNPLAYABLE, WRITTEN_UNTOLD, Run, UnprintableError

if TYPE_CHECKING:
    from annotate.decision import Result
    from annotate.language import Words
    from annotate.pipeline import OnWritten, Options
    from annotate.since import Since
    from fingering_db.survey import Progress

Command = TypeVar("Command", bound=Callable[..., Any])

FAULT = "a fault of ventwise itself"
_LONGEST_MESSAGE, _LONGEST_WORD = 600, 200  # characters; the latter of a word without a blank: most paths are shorter
_NOTES = {"trust": "confidence_note", "care": "cautions"}
_CHORDS = click.Choice(["auto", "multiphonic", "players", "voice"])
_FORMAT = click.Choice(["text", "json"])
_LANGUAGES = sorted(file.stem for file in Path(__file__).with_name("languages").glob("*.toml"))


class _Number(click.FloatRange):
    """A number between two others; 'nan', which compares with nothing, is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number that a text tells."""
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        least, most = float(self.min or 0.0), float(self.max or 0.0)
        if not least <= number <= most:
            self.fail(f"{value!r}: expected a number from {least:g} to {most:g}", param, ctx)
        return number


class _Whole(click.IntRange):
    """A whole number between two others."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """The whole number that a text tells."""
        least, most = int(self.min or 0), int(self.max or 0)
        with contextlib.suppress(ValueError):
            if least <= int(value) <= most:
                return int(value)
        self.fail(f"{value!r}: expected a whole number from {least} to {most}", param, ctx)


class _File(click.Path):
    """The name of a file or a folder. An empty one, left by an unset variable of a shell, would be the current folder."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The path that a text names."""
        if not str(value).strip():
            self.fail(f"{str(value)!r}: expected a name", param, ctx)
        return super().convert(value, param, ctx)


_FILE = _File(path_type=Path)


def _together(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


flute_options = _together(
    click.option("--flute", "flutes", multiple=True, metavar="NAME|FILE",
                 help="Flute to judge on; repeat to compare; PART=NAME for one part."),
    click.option("--a4", type=_Number(380.0, 500.0), metavar="HZ", help="Pitch of A4."),
)  # fmt: skip
read_options = _together(
    click.option("--part", "parts", multiple=True, metavar="NAME|ID|NUMBER",
                 help="Part to read (number from 1); may repeat."),
    click.option("--chords", type=_CHORDS, default="auto", show_default=True, help="How to read chords."),
    click.option("--tolerance", type=_Number(1.0, 100.0), metavar="CENTS",
                 help="How far off is near enough  [default: 30; microtones 20]"),
    click.option("--musescore", default="", metavar="PROGRAM", help="MuseScore, asked what its own files mean."),
)  # fmt: skip
format_option = click.option("--format", "form", type=_FORMAT, default="text", show_default=True)
target_options = _together(
    click.option("-o", "--output", "output", type=_FILE, metavar="OUT", help="File to write."),
    click.option("--in-place", is_flag=True, help="Write to SCORE itself."),
)
slide_option = click.option("--slide", type=_Number(-100.0, 200.0), default=0.0, metavar="MM",
                           help="How far the head joint is drawn out.")  # fmt: skip
quiet_option = click.option("--quiet", is_flag=True, expose_value=False, callback=console.quiet,
                           envvar="VENTWISE_QUIET", help="No progress on stderr.")  # fmt: skip
_LANGUAGES = sorted(file.stem for file in (Path(__file__).parent / "languages").glob("*.toml"))
language_option = click.option("--language", type=click.Choice(_LANGUAGES), default="en",
                               show_default=True, is_eager=True, expose_value=False, callback=console.language,
                               envvar="VENTWISE_LANGUAGE",
                               help="Language of what is said and written; JSON is the same in all.")  # fmt: skip
score_argument = click.argument("score", type=_FILE)


class _Command(click.Command):
    """A command whose help may not fit where it is printed."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> click.Context:
        """Read the words of the command line, and print help where it is asked for."""
        with _printed():
            return super().make_context(info_name, args, parent, **extra)


class _Group(click.Group):
    """What ends any command early, told as one of the errors that `main` words."""

    command_class = _Command
    group_class = type

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> click.Context:
        """As that of a command."""
        with _printed():
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command named on the line."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            raise click.exceptions.Abort from None
        except MemoryError:
            from annotate.findings import InputError
            from fingering_db.message import Message

            raise InputError(Message("command.memory")) from None


@contextlib.contextmanager
def _printed() -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        raise click.exceptions.Abort from None
    except OSError as error:
        raise UnprintableError(error.strerror) from error


@click.group(cls=_Group, no_args_is_help=False, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="ventwise")
def cli() -> None:
    """Find multiphonics, glissandi and microtones in a flute score, judge them, and write fingerings in.

    Exit: 0 nothing unplayable, 1 something is, 2 could not look, 3 written but not told (ventwise explain status).
    """


@cli.command()
@score_argument
@flute_options
@read_options
@format_option
@quiet_option
@language_option
@click.option("--detail", type=click.Choice(["brief", "full"]), default="brief", show_default=True,
              help="'full' also tells all about what is simply playable.")  # fmt: skip
@click.option("--sort", type=click.Choice(["place", "severity"]), default="place", show_default=True,
              help="In the order of the score, or the worst first.")  # fmt: skip
@click.option("--since", "earlier", type=_FILE, metavar="OLD.json",
              help="Also say what has changed since this earlier JSON report.")  # fmt: skip
def check(score: Path, form: str, detail: str, sort: str, earlier: Path | None, **chosen: Any) -> int:
    """Say what in SCORE can be played, what not, and what instead."""
    from annotate import since
    from annotate.pipeline import look

    old = since.load(earlier) if earlier else None
    result = look(score, _options(**chosen, language="en" if form == "json" else _language()), _progress()).result
    _print_report(result, form, since=since.compare(old, result) if old else None, detail=detail, sort=sort)
    return _exit_code(result)


@cli.command()
@score_argument
@target_options
@flute_options
@read_options
@quiet_option
@language_option
@click.option("--diagrams", type=click.Choice(["changes", "every", "first"]), default="changes", show_default=True,
              help="When to draw a fingering again; 'first' writes numbers and one list.")  # fmt: skip
@click.option("--carrier", type=click.Choice(["column", "rows", "ascii"]), default="column", show_default=True,
              help="How a diagram stands: one sign a row, or a row for each hand.")  # fmt: skip
@click.option("--notes", type=click.Choice(["none", "brief", "full"]), default="brief", show_default=True,
              help="What is written beside diagrams; 'full' adds cents and motions.")  # fmt: skip
@click.option("--legend", type=click.Choice(["start", "end", "none"]), default=None,
              help="Where the signs are explained  [default: start; end with a list]")  # fmt: skip
@click.option("--pictures", "picture_folder", type=_FILE, metavar="DIR",
              help="Also write each diagram as SVG and PNG into DIR, and places.csv.")  # fmt: skip
def annotate(
    score: Path,
    output: Path | None,
    in_place: bool,
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

    target = _target(score, output, in_place)
    before = pipeline.standing_before(score, target, in_place)
    if picture_folder is not None:
        picture_folders.check_folder(picture_folder)
    looked = pipeline.look(score, _options(**chosen, language=_language()), _progress())
    result = pipeline.annotate(
        looked,
        target,
        in_place=in_place,
        style=Style(diagrams, carrier, notes, legend or ""),
        picture_folder=picture_folder,
        before=before,
        on_written=_keep_in_mind(),
    )
    _print_report(result, "text", numbered=diagrams == "first")
    key = "command.written" if result.marked else "command.nothing_marked"
    console.tell(_said(key, path=_one_line(str(target))))
    return _exit_code(result)


@cli.command()
@score_argument
@target_options
@language_option
def strip(score: Path, output: Path | None, in_place: bool) -> int:
    """Take everything that annotate wrote out of SCORE again."""
    from annotate.pipeline import strip_file

    target = _target(score, output, in_place)
    kept = strip_file(score, target, in_place=in_place, on_written=_keep_in_mind())
    for text in kept:
        console.tell(_said("command.kept", text=_one_line(text)))
    console.tell(_said("command.written", path=_one_line(str(target))))
    return LOOKED


@cli.command()
@click.argument("pitches", nargs=-1, required=True, metavar="PITCH...")
@flute_options
@slide_option
@click.option("--tolerance", type=_Number(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
@click.option("--limit", type=_Whole(1, 1000), default=10, show_default=True, help="How many to list.")
@format_option
@quiet_option
@language_option
def find(
    pitches: tuple[str, ...],
    flutes: tuple[str, ...],
    a4: float | None,
    slide: float,
    tolerance: float,
    limit: int,
    form: str,
) -> int:
    """Fingerings that sound PITCH... together: C5 D6; C5+50 is a quarter-tone up."""
    from annotate import questions

    pitches = tuple(pitch for text in pitches for pitch in text.split())
    answers = [questions.find(one, pitches, tolerance, limit) for one in _searched(_desks(flutes, a4, slide))]
    _print_answers(answers, form)
    return LOOKED if answers[0].found else UNPLAYABLE


@cli.command()
@click.argument("fingering")
@flute_options
@slide_option
@format_option
@quiet_option
@language_option
def sounds(fingering: str, flutes: tuple[str, ...], a4: float | None, slide: float, form: str) -> int:
    """What FINGERING sounds, from the lowest resonance up: "T 2 3 | Eb"."""
    from annotate import questions

    _print_answers([questions.sounds(one, fingering, slide) for one in _desks(flutes, a4)], form)
    return LOOKED


@cli.command()
@click.argument("pattern", metavar="FINGERING|PATTERN")
@flute_options
@slide_option
@format_option
@quiet_option
@language_option
def shifts(pattern: str, flutes: tuple[str, ...], a4: float | None, slide: float, form: str) -> int:
    """Every place a multiphonic can be moved to: "T 2 3 | Eb", or "small 4" (one small opening, four places shut)."""
    from annotate import questions

    _print_answers(questions.shifts(_desks(flutes, a4, slide), pattern), form)
    return LOOKED


@cli.command()
@click.argument("start", metavar="FROM")
@click.argument("end", metavar="TO")
@flute_options
@click.option("--tolerance", type=_Number(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
@format_option
@quiet_option
@language_option
def glide(start: str, end: str, flutes: tuple[str, ...], a4: float | None, tolerance: float, form: str) -> int:
    """Ways to slide without a jump: C5 B4, or "C5 D6" "B4 C#6" for a multiphonic."""
    from annotate import questions

    answers = [questions.glide(one, start, end, tolerance) for one in _searched(_desks(flutes, a4))]
    _print_answers(answers, form)
    return LOOKED if answers[0].ways else UNPLAYABLE


@cli.command()
@click.argument("scores", nargs=-1, required=True, type=_FILE, metavar="SCORE...")
@flute_options
@read_options
@quiet_option
@language_option
def watch(scores: tuple[Path, ...], **chosen: Any) -> int:
    """Check each SCORE again after every save, and say what has changed; SCORE is only read."""
    from annotate import since
    from annotate.findings import InputError
    from annotate.language import words
    from annotate.pipeline import look
    from annotate.report import text
    from annotate.watching import saves

    console.wait_quietly()
    options, before = _options(**chosen), dict[Path, since.Earlier]()
    for score in saves(scores):
        try:
            result = look(score, options).result
        except InputError as error:
            console.tell(_one_line(words(_language()).say(error.messages[0])))
            continue
        if score in before:
            console.echo(
                text.render_changes(result, since.compare(before[score], result), ascii=_ascii(), language=_language())
            )
        else:
            _print_report(result, "text")
        sys.stdout.flush()
        before[score] = since.earlier(result)
    return LOOKED


@cli.command()
@click.argument("scores", nargs=-1, required=True, type=_FILE, metavar="SCORE...")
@flute_options
@read_options
@click.option("--accepted", "file", type=_FILE, default=".ventwise-accepted.json", show_default=True, metavar="FILE",
              help="Unplayable places the project has accepted.")  # fmt: skip
@click.option("--accept", is_flag=True, help="Write what is unplayable now into that file.")
@quiet_option
@language_option
def hook(scores: tuple[Path, ...], file: Path, accept: bool, **chosen: Any) -> int:
    """Check every SCORE of a change: a line for each unplayable place that is not accepted, else nothing."""
    from annotate import accepted
    from annotate.files.placing import prepared
    from annotate.language import words
    from annotate.pipeline import look

    known = accepted.load(file)
    results = {score.as_posix(): look(score, _options(**chosen)).result for score in scores}
    if accept:
        with prepared(file, accepted.text_of(results).encode(), lambda _: None, None) as ready:
            ready.place()
        console.tell(_said("command.written", path=_one_line(str(file))))
        return LOOKED
    found = [(name, one) for name, result in results.items() for one in accepted.refused(result, known.get(name))]
    for name, one in found:
        asked = words().chord(one.demand.pitches)
        console.echo(f"{name}: {one.demand.place}: {asked} {one.status}: {words(_language()).say(one.why)}")
    return UNPLAYABLE if found else LOOKED


@cli.command()
@click.option("--to", "folder", type=_FILE, metavar="FOLDER", help="MuseScore's folder for plug-ins.")
@click.option("--places", "score", type=_FILE, metavar="SCORE", hidden=True)
def plugin(folder: Path | None, score: Path | None) -> int:
    """Put the plug-in for MuseScore 3 into its folder for plug-ins."""
    from annotate.language import words
    from annotate.musescore import plugin as plug_in

    if score is not None:
        console.echo(plug_in.places(score))
        return LOOKED
    console.tell(words(_language()).say(plug_in.install(folder)))
    return LOOKED


@cli.command()
@click.argument("code", required=False, metavar="[CODE|trust|care|status]")
@language_option
def explain(code: str | None) -> int:
    """What the code of a finding means; without one, all codes in short. How far to trust the figures; care for the player."""
    from annotate.codes import CODES
    from annotate.findings import InputError
    from annotate.language import words
    from annotate.output import wrap
    from fingering_db.message import Message

    told = words(_language())
    if code is None:
        console.echo(
            "\n".join(line for one in sorted(CODES) for line in wrap(f"{one:5}{_first(told, one)}", 80, hanging=5))
        )
        return LOOKED
    if code.lower() == "status":
        console.echo("\n".join(words(_language()).lines("command.statuses")))
        return LOOKED
    if code.lower() in _NOTES:
        lines = told.lines(f"{_NOTES[code.lower()]}.lines")
        console.echo("\n".join(line for text in lines for line in wrap(text, 80, hanging=2)))
        return LOOKED
    if code.upper() not in CODES:
        raise InputError(Message("command.no_code", code=code, codes=CODES))
    console.echo("\n".join(wrap(f"{code.upper()}: {told.text(f'explain.{code.upper()}')}", 80)))
    return LOOKED


def _first(told: Words, code: str) -> str:
    """The first sentence of what a code means."""
    return told.text(f"explain.{code}").partition(". ")[0].rstrip(".") + "."


@cli.group(no_args_is_help=False)
def flute() -> None:
    """The flutes that are shipped, and your own."""


@flute.command("list")
def list_flutes() -> int:
    """Names of the flutes that are shipped."""
    from annotate import instruments

    console.echo(instruments.listing())
    return LOOKED


@flute.command("show")
@click.argument("name", metavar="NAME|FILE")
@slide_option
@quiet_option
@language_option
def show_flute(name: str, slide: float) -> int:
    """Holes, keys, fingerings and accuracy of a flute; with --slide how each note of the scale moves."""
    from annotate import instruments

    console.echo(instruments.moved_scale(name, slide) if slide else instruments.description(name))
    return LOOKED


@flute.command("check")
@click.argument("file", metavar="FILE")
@quiet_option
@language_option
def check_flute(file: str) -> int:
    """Whether a flute file can be used; each mistake on a line."""
    from annotate import instruments

    console.echo(instruments.verdict(file))
    return LOOKED


def _options(
    flutes: tuple[str, ...],
    a4: float | None,
    parts: tuple[str, ...],
    chords: str,
    tolerance: float | None,
    language: str = "en",
    musescore: str = "",
) -> Options:
    from annotate.pipeline import Options

    named = [flute for flute in flutes if "=" not in flute]
    by_part = [tuple(flute.rsplit("=", 1)) for flute in flutes if "=" in flute]
    pairs = tuple((pair[0], pair[1]) for pair in by_part)
    return Options(tuple(named), pairs, a4, parts, chords, tolerance, language, musescore)


def _desks(flutes: tuple[str, ...], a4: float | None, slide: float = 0.0) -> list[Any]:
    from annotate.pipeline import DEFAULT_FLUTE, Options, desks_for

    return desks_for(flutes or (DEFAULT_FLUTE,), Options(a4_hz=a4), slide)


def _searched(desks: list[Any]) -> list[Any]:
    """The same, all that these flutes can sound at hand: where it must be computed first, somebody is told how it goes."""
    from fingering_db.survey import atlas

    for one in desks:
        atlas(one.model, _progress())
    return desks


def _target(score: Path, output: Path | None, in_place: bool) -> Path:
    from annotate.findings import InputError
    from annotate.forms import is_native
    from fingering_db.message import Message

    if output is None and not in_place and is_native(score):
        return score.with_name(f"{score.stem}.annotated{score.suffix}")
    if (output is None) != in_place:
        raise InputError(Message("command.where_to_write"))
    return score if output is None else output


def _exit_code(result: Result) -> int:
    from annotate.decision import Status

    unplayable = any(decision.status == Status.UNPLAYABLE for decision in result.first_flute())
    return UNPLAYABLE if unplayable else LOOKED


def _progress() -> Progress | None:
    run = click.get_current_context().find_object(Run)
    return run.show if run else None


def _keep_in_mind() -> OnWritten:
    run = click.get_current_context().find_object(Run)
    return lambda ready: console.written(run, ready.path, ready.losses)


def _language() -> str:
    run = click.get_current_context().find_object(Run)
    return run.language if run else "en"


def _said(key: str, **values: object) -> str:
    from annotate.language import words

    return words(_language()).text(key, **values)


def _ascii() -> bool:
    from annotate.output import needs_ascii

    return needs_ascii(getattr(sys.stdout, "encoding", None))


def _print_report(
    result: Result,
    form: str,
    *,
    numbered: bool = False,
    since: Since | None = None,
    detail: str = "brief",
    sort: str = "place",
) -> None:
    from annotate.report import json_report, text

    if form == "json":
        console.echo(json_report.render(result, since))
    else:
        told = text.render(
            result, ascii=_ascii(), language=_language(), numbered=numbered, since=since, detail=detail, sort=sort
        )
        console.echo(told)


def _print_answers(answers: Sequence[Any], form: str) -> None:
    from annotate.report import answers_json, answers_text

    console.echo(
        answers_json.render(answers) if form == "json" else answers_text.render(answers, _ascii(), _language())
    )


def _one_line(message: str) -> str:
    """A message on one line, what is quoted in it from a hostile file cut where it is endless."""
    words = (word if len(word) <= _LONGEST_WORD else f"{word[:80]}…{word[-40:]}" for word in message.split())
    line = " ".join(words)
    return line if len(line) <= _LONGEST_MESSAGE else f"{line[:300]} … {line[-200:]}"


def _usage(error: click.UsageError) -> str:
    """What is wrong with the words of the command line: where, what, and what was expected."""
    ctx = error.ctx
    if ctx is None:
        return f"{error.format_message().rstrip('.')}; see ventwise --help"
    where = ctx.command_path.removeprefix("ventwise").strip()
    told = f"{where}: {error.format_message()}" if where else error.format_message()
    if isinstance(ctx.command, click.Group) and not isinstance(error, click.NoSuchOption):
        told = f"{told.rstrip('.')}: expected one of {', '.join(ctx.command.list_commands(ctx))}"
    return f"{told.rstrip('.')}; see {ctx.command_path} --help"


def _fault(error: BaseException) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    where = f"{Path(last.filename).name}, line {last.lineno}"
    return f"{FAULT} ({type(error).__name__}: {error}; {where}): please report this"


def main() -> None:
    """Run the command line: one clear line on stderr and exit 2 whenever it could not look (one for each mistake in a
    flute file that is to be checked), exit 3 when only the telling failed."""
    console.open_descriptors()
    run = Run()
    run.take_signals()
    if not sys.warnoptions:  # warnings are for those who work on the program, and say so to Python
        warnings.simplefilter("ignore")
    try:
        with run.signs_of_life():
            code = cli.main(standalone_mode=False, obj=run, prog_name="ventwise")
        run.over = True
        messages: list[str] = []
    except (Exception, KeyboardInterrupt) as error:
        run.over = True
        code, messages = _end(run, error)
    for message in messages:
        console.tell(f"ventwise: {_one_line(message)}")
    console.leave()
    sys.exit(code if isinstance(code, int) else LOOKED)


def _end(run: Run, error: BaseException) -> tuple[int, list[str]]:
    """Exit status and messages of a run that did not come to its end."""
    from annotate.findings import InputError
    from annotate.language import words

    say = words(run.language)
    written = say.text("command.written_but", paths=tuple(run.written)) + " " if run.written else ""
    code = WRITTEN_UNTOLD if written else COULD_NOT_LOOK
    # An import that is stopped in its midst may call that another error.
    if run.stopped or isinstance(error, (click.exceptions.Abort, KeyboardInterrupt)):
        return code, [f"{written}{say.text('command.stopped' if written else 'command.interrupted')}"]
    if isinstance(error, UnprintableError):
        key = "command.report_unprintable" if written else "command.unprintable"
        return code, [f"{written}{say.text(key, reason=str(error))}"]
    if isinstance(error, click.UsageError):
        return code, [_usage(error)]
    if isinstance(error, InputError):
        return code, [f"{written}{say.say(line)}" for line in error.messages]
    # A fault of this program must not pass for exit 1, "something is unplayable".
    return code, [f"{written}{_fault(error)}"]
