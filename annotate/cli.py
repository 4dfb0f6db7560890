"""The command `ventwise`. Everything that is not a command or an option lives elsewhere and is imported when needed."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from annotate.decision import Result
    from annotate.pipeline import Options, Progress
    from annotate.since import Since

Command = TypeVar("Command", bound=Callable[..., Any])

LOOKED, UNPLAYABLE, COULD_NOT_LOOK = 0, 1, 2
_LONGEST_MESSAGE = 600  # characters
_CHORDS = click.Choice(["auto", "multiphonic", "players", "voice"])
_FORMAT = click.Choice(["text", "json"])


def _together(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


flute_options = _together(
    click.option("--flute", "flutes", multiple=True, metavar="NAME|FILE",
                 help="Flute to judge on; repeat to compare; PART=NAME for one part."),
    click.option("--a4", type=click.FloatRange(380.0, 500.0), metavar="HZ", help="Pitch of A4."),
)  # fmt: skip
read_options = _together(
    click.option("--part", "parts", multiple=True, metavar="NAME|ID|NUMBER",
                 help="Part to read (number from 1); may repeat."),
    click.option("--chords", type=_CHORDS, default="auto", show_default=True, help="How to read chords."),
    click.option("--tolerance", type=click.FloatRange(1.0, 100.0), metavar="CENTS",
                 help="How far off is near enough  [default: 30; microtones 20]"),
)  # fmt: skip
format_option = click.option("--format", "form", type=_FORMAT, default="text", show_default=True)
target_options = _together(
    click.option("-o", "--output", "output", type=click.Path(path_type=Path), metavar="OUT", help="File to write."),
    click.option("--in-place", is_flag=True, help="Write to SCORE itself."),
)
slide_option = click.option("--slide", type=click.FloatRange(-100.0, 200.0), default=0.0, metavar="MM",
                           help="How far the head joint is drawn out.")  # fmt: skip
score_argument = click.argument("score", type=click.Path(path_type=Path))


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


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
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
@click.option("--since", "earlier", type=click.Path(path_type=Path), metavar="OLD.json",
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
@click.option("--pictures", "picture_folder", type=click.Path(path_type=Path), metavar="DIR",
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
    from annotate import container, pipeline

    target = _target(score, output, in_place)
    container.check_target(score, target, in_place)
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
@click.option("--tolerance", type=click.FloatRange(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
@click.option("--limit", type=click.IntRange(1, 1000), default=10, show_default=True, help="How many to list.")
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
@click.option("--tolerance", type=click.FloatRange(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
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


@cli.group()
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
    from annotate.pipeline import DEFAULT_FLUTE, Options, desk

    return [desk(name, Options(a4_hz=a4)) for name in flutes or (DEFAULT_FLUTE,)]


def _target(score: Path, output: Path | None, in_place: bool) -> Path:
    from annotate.findings import InputError

    if (output is None) != in_place:
        raise InputError("where to write: expected either -o OUT or --in-place")
    return score if output is None else output


def _exit_code(result: Result) -> int:
    unplayable = any(decision.status == "unplayable" for decision in result.first_flute())
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
    click.echo("\n".join(plain(clean(line, ascii_only)) for line in text.rstrip("\n").split("\n")), err=err)


def _one_line(message: str) -> str:
    """A message on one line, what is quoted in it from a hostile file cut where it is endless."""
    line = " ".join(message.split())
    return line if len(line) <= _LONGEST_MESSAGE else f"{line[:300]} … {line[-200:]}"


def _leave_stdout() -> None:
    """Have what is left of the output thrown away, so that Python does not try once more at its end."""
    import os

    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main() -> None:
    """Run the command line: one clear line on stderr and exit 2 whenever it could not look (one for each mistake in a
    flute file that is to be checked)."""
    from annotate.findings import InputError

    with contextlib.suppress(ValueError):  # raised where this is not the main thread
        # A run that is told to end cleans up behind itself as one that is interrupted.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        code = cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        code, messages = COULD_NOT_LOOK, ["interrupted: no file was left half-written"]
    except OSError as error:  # of files an InputError tells: this is the output
        _leave_stdout()
        code, messages = COULD_NOT_LOOK, [f"the result cannot be printed ({error.strerror}): expected room for it"]
    except click.UsageError as error:
        where = f"{error.ctx.command_path}: " if error.ctx else ""
        code, messages = COULD_NOT_LOOK, [f"{where}{error.format_message()}"]
    except InputError as error:
        code, messages = COULD_NOT_LOOK, [str(line) for line in error.args]
    else:
        messages = []
    for message in messages:
        _echo("ventwise: " + _one_line(message).removeprefix("ventwise: "), err=True)
    sys.exit(code if isinstance(code, int) else LOOKED)
