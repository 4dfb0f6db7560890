"""The command `ventwise`. Everything that is not a command or an option lives elsewhere and is imported when needed."""

from __future__ import annotations

import contextlib
import math
import signal
import sys
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from annotate.choosing.decide import Progress
    from annotate.decision import Result
    from annotate.pipeline import Options
    from annotate.since import Since

Command = TypeVar("Command", bound=Callable[..., Any])

LOOKED, UNPLAYABLE, COULD_NOT_LOOK = 0, 1, 2
FAULT = "a fault of ventwise itself"
_LONGEST_MESSAGE, _LONGEST_WORD = 600, 200  # characters; the latter of a word without a blank: most paths are shorter
_CHORDS = click.Choice(["auto", "multiphonic", "players", "voice"])
_FORMAT = click.Choice(["text", "json"])


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
)  # fmt: skip
format_option = click.option("--format", "form", type=_FORMAT, default="text", show_default=True)
target_options = _together(
    click.option("-o", "--output", "output", type=_FILE, metavar="OUT", help="File to write."),
    click.option("--in-place", is_flag=True, help="Write to SCORE itself."),
)
slide_option = click.option("--slide", type=_Number(-100.0, 200.0), default=0.0, metavar="MM",
                           help="How far the head joint is drawn out.")  # fmt: skip
score_argument = click.argument("score", type=_FILE)


class _UnprintableError(Exception):
    """The result cannot be put out; the message says why."""


class _Group(click.Group):
    """What ends any command early, told as one of the errors that `main` words."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command named on the line."""
        from annotate.findings import InputError

        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            raise click.exceptions.Abort from None
        except MemoryError:
            raise InputError("the memory does not suffice: expected a smaller score, or more memory") from None


@click.group(cls=_Group, no_args_is_help=False, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="ventwise")
def cli() -> None:
    """Find multiphonics, glissandi and microtones in a flute score, judge them, and write fingerings in.

    Exit: 0 nothing unplayable, 1 something is, 2 could not look.
    """


@cli.command()
@score_argument
@flute_options
@read_options
@format_option
@click.option("--since", "earlier", type=_FILE, metavar="OLD.json",
              help="Also say what has changed since this earlier JSON report.")  # fmt: skip
def check(score: Path, form: str, earlier: Path | None, **chosen: Any) -> int:
    """Say what in SCORE can be played, what not, and what instead."""
    from annotate import since
    from annotate.pipeline import look

    old = since.load(earlier) if earlier else None
    result = look(score, _options(**chosen), _progress()).result
    _print_report(result, form, since=since.compare(old, result) if old else None)
    return _exit_code(result)


@cli.command()
@score_argument
@target_options
@flute_options
@read_options
@click.option("--diagrams", type=click.Choice(["changes", "every", "first"]), default="changes", show_default=True,
              help="When to draw a fingering again; with 'first' they are numbered.")  # fmt: skip
@click.option("--carrier", type=click.Choice(["rows", "stack", "ascii"]), default="rows", show_default=True,
              help="How a diagram is carried in the file.")  # fmt: skip
@click.option("--pictures", "picture_folder", type=_FILE, metavar="DIR",
              help="Also write each diagram as SVG and PNG into DIR, and places.csv.")  # fmt: skip
def annotate(
    score: Path,
    output: Path | None,
    in_place: bool,
    diagrams: str,
    carrier: str,
    picture_folder: Path | None,
    **chosen: Any,
) -> int:
    """Write fingering diagrams and technique notes into SCORE."""
    from annotate import pipeline
    from annotate.drawing import picture_files
    from annotate.files import container

    target = _target(score, output, in_place)
    container.check_target(score, target, in_place)
    if picture_folder is not None:
        picture_files.check_folder(picture_folder)
    looked = pipeline.look(score, _options(**chosen), _progress())
    result = pipeline.annotate(
        looked, target, in_place=in_place, diagrams=diagrams, carrier=carrier, picture_folder=picture_folder
    )
    _print_report(result, "text", numbered=diagrams == "first")
    _echo(f"written: {_one_line(str(target))}", err=True)
    return _exit_code(result)


@cli.command()
@score_argument
@target_options
def strip(score: Path, output: Path | None, in_place: bool) -> int:
    """Take everything that annotate wrote out of SCORE again."""
    from annotate.pipeline import strip_file

    target = _target(score, output, in_place)
    strip_file(score, target, in_place=in_place)
    _echo(f"written: {_one_line(str(target))}", err=True)
    return LOOKED


@cli.command()
@click.argument("pitches", nargs=-1, required=True, metavar="PITCH...")
@flute_options
@click.option("--tolerance", type=_Number(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
@click.option("--limit", type=_Whole(1, 1000), default=10, show_default=True, help="How many to list.")
@format_option
def find(
    pitches: tuple[str, ...], flutes: tuple[str, ...], a4: float | None, tolerance: float, limit: int, form: str
) -> int:
    """Fingerings that sound PITCH... together: C5 D6; C5+50 is a quarter-tone up."""
    from annotate import questions

    answers = [questions.find(one, pitches, tolerance, limit) for one in _desks(flutes, a4)]
    _print_answers(answers, form)
    return LOOKED if answers[0].results else UNPLAYABLE


@cli.command()
@click.argument("fingering")
@flute_options
@slide_option
@format_option
def sounds(fingering: str, flutes: tuple[str, ...], a4: float | None, slide: float, form: str) -> int:
    """What FINGERING sounds, from the lowest resonance up: "T 2 3 | Eb"."""
    from annotate import questions

    _print_answers([questions.sounds(one, fingering, slide) for one in _desks(flutes, a4)], form)
    return LOOKED


@cli.command()
@click.argument("pattern", metavar="FINGERING|PATTERN")
@flute_options
@format_option
def shifts(pattern: str, flutes: tuple[str, ...], a4: float | None, form: str) -> int:
    """Every place a multiphonic can be moved to: "T 2 3 | Eb", or "small 4" (one small opening, four places shut)."""
    from annotate import questions

    _print_answers(questions.shifts(_desks(flutes, a4), pattern), form)
    return LOOKED


@cli.command()
@click.argument("start", metavar="FROM")
@click.argument("end", metavar="TO")
@flute_options
@click.option("--tolerance", type=_Number(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
@format_option
def glide(start: str, end: str, flutes: tuple[str, ...], a4: float | None, tolerance: float, form: str) -> int:
    """Ways to slide without a jump: C5 B4, or "C5 D6" "B4 C#6" for a multiphonic."""
    from annotate import questions

    answers = [questions.glide(one, start, end, tolerance) for one in _desks(flutes, a4)]
    _print_answers(answers, form)
    return LOOKED if answers[0].results else UNPLAYABLE


@cli.command()
@click.argument("code")
def explain(code: str) -> int:
    """What the code of a finding means."""
    from annotate.codes import CODES
    from annotate.findings import InputError
    from annotate.output import wrap

    known = CODES.get(code.upper())
    if known is None:
        raise InputError(f"no finding has the code '{code}': expected one of {', '.join(sorted(CODES))}")
    _echo("\n".join(wrap(f"{code.upper()}: {known}", 80)))
    return LOOKED


@cli.group(no_args_is_help=False)
def flute() -> None:
    """The flutes that are shipped, and your own."""


@flute.command("list")
def list_flutes() -> int:
    """Names of the flutes that are shipped."""
    from annotate import instruments

    _echo(instruments.listing())
    return LOOKED


@flute.command("show")
@click.argument("name", metavar="NAME|FILE")
@slide_option
def show_flute(name: str, slide: float) -> int:
    """Holes, keys, fingerings and accuracy of a flute; with --slide how each note of the scale moves."""
    from annotate import instruments

    _echo(instruments.moved_scale(name, slide) if slide else instruments.description(name))
    return LOOKED


@flute.command("check")
@click.argument("file", metavar="FILE")
def check_flute(file: str) -> int:
    """Whether a flute file can be used; each mistake on a line."""
    from annotate import instruments

    _echo(instruments.verdict(file))
    return LOOKED


def _options(
    flutes: tuple[str, ...], a4: float | None, parts: tuple[str, ...], chords: str, tolerance: float | None
) -> Options:
    from annotate.pipeline import Options

    named = [flute for flute in flutes if "=" not in flute]
    by_part = [tuple(flute.rsplit("=", 1)) for flute in flutes if "=" in flute]
    return Options(tuple(named), tuple((pair[0], pair[1]) for pair in by_part), a4, parts, chords, tolerance)


def _desks(flutes: tuple[str, ...], a4: float | None) -> list[Any]:
    from annotate.pipeline import DEFAULT_FLUTE, Options, desks_for

    return desks_for(flutes or (DEFAULT_FLUTE,), Options(a4_hz=a4))


def _target(score: Path, output: Path | None, in_place: bool) -> Path:
    from annotate.findings import InputError

    if (output is None) != in_place:
        raise InputError("where to write: expected either -o OUT or --in-place")
    return score if output is None else output


def _exit_code(result: Result) -> int:
    from annotate.decision import Status

    unplayable = any(decision.status == Status.UNPLAYABLE for decision in result.first_flute())
    return UNPLAYABLE if unplayable else LOOKED


def _progress() -> Progress | None:
    """A counter on stderr, on a terminal only."""
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int) -> None:
        click.echo(f"\rdemand {done} of {total}" + ("\r\x1b[K" if done == total else ""), nl=False, err=True)

    return show


def _ascii() -> bool:
    from annotate.output import needs_ascii

    return needs_ascii(getattr(sys.stdout, "encoding", None))


def _print_report(result: Result, form: str, *, numbered: bool = False, since: Since | None = None) -> None:
    from annotate.report import json_report, text

    if form == "json":
        _echo(json_report.render(result, since))
    else:
        _echo(text.render(result, ascii=_ascii(), numbered=numbered, since=since))


def _print_answers(answers: list[Any], form: str) -> None:
    from annotate import questions

    _echo(questions.as_json(answers) if form == "json" else questions.as_text(answers, ascii_only=_ascii()))


def _echo(text: str, *, err: bool = False) -> None:
    """Print what may hold other people's text: cleaned line by line, in ASCII where the terminal has no more."""
    from annotate.output import clean, needs_ascii, plain

    stream = sys.stderr if err else sys.stdout
    ascii_only = needs_ascii(getattr(stream, "encoding", None))
    told = "\n".join(plain(clean(line, ascii_only)) for line in text.rstrip("\n").split("\n"))
    try:
        click.echo(told, err=err)
    except OSError as error:
        raise _UnprintableError(error.strerror) from error


def _one_line(message: str) -> str:
    """A message on one line, what is quoted in it from a hostile file cut where it is endless."""
    words = (word if len(word) <= _LONGEST_WORD else f"{word[:80]}…{word[-40:]}" for word in message.split())
    line = " ".join(words)
    return line if len(line) <= _LONGEST_MESSAGE else f"{line[:300]} … {line[-200:]}"


def _leave_stdout() -> None:
    """Have what is left of the output thrown away, so that Python does not try once more at its end."""
    import os

    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


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


def _fault(error: Exception) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    where = f"{Path(last.filename).name}, line {last.lineno}"
    return f"{FAULT} ({type(error).__name__}: {error}; {where}): please report this"


def main() -> None:
    """Run the command line: one clear line on stderr and exit 2 whenever it could not look (one for each mistake in a
    flute file that is to be checked)."""
    from annotate.findings import InputError

    with contextlib.suppress(ValueError):  # raised where this is not the main thread
        # A run that is told to end cleans up behind itself as one that is interrupted.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    if not sys.warnoptions:  # warnings are for those who work on the program, and say so to Python
        warnings.simplefilter("ignore")
    try:
        code = cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        code, messages = COULD_NOT_LOOK, ["interrupted: no file was left half-written"]
    except _UnprintableError as error:
        _leave_stdout()
        code, messages = COULD_NOT_LOOK, [f"the result cannot be printed ({error}): expected room for it"]
    except click.UsageError as error:
        code, messages = COULD_NOT_LOOK, [_usage(error)]
    except InputError as error:
        code, messages = COULD_NOT_LOOK, [str(line) for line in error.args]
    except Exception as error:  # a fault of this program must not pass for exit 1, "something is unplayable"
        code, messages = COULD_NOT_LOOK, [_fault(error)]
    else:
        messages = []
    for message in messages:
        _echo(f"ventwise: {_one_line(message)}", err=True)
    sys.exit(code if isinstance(code, int) else LOOKED)
