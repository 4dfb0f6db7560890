"""The command `ventwise`: its commands put together, and how a run of it ends."""

import atexit
import gc
import itertools
import os
import sys
import warnings
from pathlib import Path

import click

from annotate import console
from annotate.commands import asking, flutes, logs, other, scores
from annotate.console import COULD_NOT_LOOK, LOOKED, WRITTEN_UNTOLD, Run, UnprintableError
from annotate.telling import one_line
from annotate.usage import group, misuse


@group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="ventwise")
def cli() -> None:
    """Find multiphonics, glissandi and microtones in a flute score, judge them, and write fingerings in.

    Exit: 0 nothing unplayable, 1 something is, 2 could not look, 3 written but not told (ventwise explain status).
    """


for _command in (
    *(scores.check, scores.annotate, scores.prepare, scores.strip, scores.watch, scores.hook),
    *(asking.find, asking.sounds, asking.listen, asking.shifts, asking.glide, flutes.catalogue),
    *(flutes.flute, logs.log, other.plugin, other.explain),
):
    cli.add_command(_command)


def _language(typed: list[str], otherwise: str) -> str:
    """The language asked for, as far as it can be told before the words are read: what is wrong with them is said in it."""
    known = Path(__file__).with_name("languages")
    told = [after for word, after in itertools.pairwise(typed) if word == "--language"]
    told += [word.partition("=")[2] for word in typed if word.startswith("--language=")]
    asked = (told or [os.environ.get("VENTWISE_LANGUAGE", "")])[-1]
    return asked if asked.isalpha() and (known / f"{asked}.toml").is_file() else otherwise


def main() -> None:
    """Run the command line: one clear line on stderr and exit 2 whenever it could not look (one for each mistake in a
    flute file that is to be checked), exit 3 when only the telling failed."""
    gc.set_threshold(100_000)  # most of what a run makes lives to its end
    atexit.register(gc.freeze)  # and need not be looked through once more there
    # Read as numpy starts: over small matrices threads mostly wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    console.open_descriptors()
    run = Run(quiet=console.asked_to_be_quiet(sys.argv[1:]))
    run.take_signals()
    if not sys.warnoptions:  # warnings are for those who work on the program, and say so to Python
        warnings.simplefilter("ignore")
    try:
        run.language = _language(sys.argv[1:], run.language)
        with run.signs_of_life():
            code = cli.main(standalone_mode=False, obj=run, prog_name="ventwise")
        run.end()
        messages: list[str] = []
    except (Exception, KeyboardInterrupt) as error:
        run.end()
        code, messages = _end(run, error)
    for message in messages:
        console.tell(f"ventwise: {one_line(message)}")
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
        return code, [misuse(error, say)]
    if isinstance(error, InputError):
        return code, [f"{written}{say.say(line)}" for line in error.messages]
    import traceback

    # A fault of this program must not pass for exit 1, "something is unplayable".
    last = traceback.extract_tb(error.__traceback__)[-1]
    where = f"{Path(last.filename).name}:{last.lineno}"
    return code, [written + say.text("command.fault", kind=type(error).__name__, reason=str(error), where=where)]
