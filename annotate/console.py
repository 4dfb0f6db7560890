"""What the command line says and how it ends: streams that may be full, closed or no terminal; signals; progress.

Whatever happens to the streams, the exit status tells what became of the files."""

from __future__ import annotations

import _thread
import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import TextIO

import click

from fingering_db.message import Message

LOOKED, UNPLAYABLE, COULD_NOT_LOOK, WRITTEN_UNTOLD = 0, 1, 2, 3

_LATE_S, _BAR = 2.0, 16  # [s] from which on a terminal shows how far the work is; characters
_AGAIN_S = 0.01
_EVERY_S = 10.0  # a sign of life where no terminal shows a counter [s]
_SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


class UnprintableError(Exception):
    """The result cannot be put out; the message says why."""


@dataclass(slots=True)
class Run:
    """One run of the command. written: files that are in their place. stopped: whether a signal has asked it to end; came: which.
    quiet: no progress. language: of what is said."""

    written: list[str] = field(default_factory=list)
    stopped: bool = False
    came: int = signal.SIGINT
    over: bool = False
    quiet: bool = False
    language: str = "en"
    stage: str = ""
    begun: float = field(default_factory=time.monotonic)

    def take_signals(self) -> None:
        """Have a signal that ends a run raise KeyboardInterrupt, so that it cleans up behind itself."""
        with contextlib.suppress(ValueError):  # raised where this is not the main thread
            for one in _SIGNALS:
                if signal.getsignal(one) is not signal.SIG_IGN:  # nohup, or a shell's background
                    signal.signal(one, self._stop)
            sys.unraisablehook = self._lost

    def _stop(self, came: int, _: FrameType | None) -> None:
        if self.over:
            return
        self.stopped, self.came = True, came
        raise KeyboardInterrupt

    def _lost(self, lost: sys.UnraisableHookArgs) -> None:
        """The signal came while Python was in a callback out of which nothing can be raised (it would print and forget it): a
        moment later it comes again."""
        if lost.exc_type is not KeyboardInterrupt:
            sys.__unraisablehook__(lost)
        elif not self.over:
            threading.Timer(_AGAIN_S, _interrupt, (self.came,)).start()

    def end(self) -> None:
        """From here on nothing is stopped any more: what the run has done it has done. Python itself keeps ignored signals
        ignored up to its very end, and takes handlers away before."""
        self.over = True
        with contextlib.suppress(ValueError):  # raised where this is not the main thread
            for one in _SIGNALS:
                signal.signal(one, signal.SIG_IGN)

    def show(self, what: str, done: int, total: int) -> None:
        """Progress: how many demands of a part are decided, or how much of what a flute can sound is computed; a bar on a
        terminal from the second on."""
        share = done / max(total, 1)
        from annotate.language import words

        said = words(self.language)
        self.stage = said.text("command.progress", done=done, total=total)
        if what == "sound":
            self.stage = said.text("pack.sound_of", done=done, total=total)
        elif what != "demand":
            self.stage = said.text("command.computing", what=what, percent=100 * share)
        late = time.monotonic() - self.begun > _LATE_S
        if late and not self.quiet and is_terminal(sys.stderr):
            bar = "#" * round(_BAR * share)
            _write(sys.stderr, f"\r[{bar:<{_BAR}}] {self.stage}\x1b[K" + ("\r\x1b[K" if done == total else ""))

    def keep_in_mind(self, path: Path, losses: tuple[Message, ...]) -> None:
        """A file is in its place; what of the old one was lost is told."""
        self.written.append(str(path))
        for loss in losses:
            from annotate.language import words

            tell(f"ventwise: {path}: {words(self.language).say(loss)}")

    @contextmanager
    def signs_of_life(self) -> Iterator[None]:
        """Say on stderr every 10 s that work goes on, where that is no terminal and `quiet` is not set."""
        if is_terminal(sys.stderr):
            yield
            return
        ended = threading.Event()
        thread = threading.Thread(target=self._say_so, args=(ended,), daemon=True)
        thread.start()
        try:
            yield
        finally:
            ended.set()
            thread.join(1.0)

    def _say_so(self, ended: threading.Event) -> None:
        while not ended.wait(_EVERY_S):
            if not self.quiet:
                from annotate.language import words

                told = words(self.language).text("command.at_work", seconds=time.monotonic() - self.begun)
                stage = f", {self.stage}" if self.stage else ""
                _write(sys.stderr, f"ventwise: {told}{stage}\n")


def _interrupt(number: int) -> None:
    """Have the main thread interrupted, also where it sleeps."""
    if hasattr(signal, "pthread_kill"):
        signal.pthread_kill(threading.main_thread().ident or 0, number)
    else:
        _thread.interrupt_main(signal.Signals(number))


def asked_to_be_quiet(words: list[str]) -> bool:
    """Whether the option, or the environment, asks for no progress: known before the options are looked at, for on a busy
    machine the imports alone may take long."""
    return "--quiet" in words or os.environ.get("VENTWISE_QUIET", "").lower() in ("1", "true", "t", "yes", "y", "on")


def running() -> Run:
    """The run that the command belongs to."""
    return click.get_current_context().ensure_object(Run)


def set_quiet(ctx: click.Context, _: click.Parameter, value: bool) -> None:
    ctx.ensure_object(Run).quiet |= value


def set_language(ctx: click.Context, _: click.Parameter, value: str) -> None:
    ctx.ensure_object(Run).language = value


def is_terminal(stream: TextIO | None) -> bool:
    """Whether a stream is there and shown on a terminal."""
    with contextlib.suppress(ValueError, OSError):  # closed
        return stream is not None and stream.isatty()
    return False


def echo(text: str) -> None:
    """Print a result, which may hold other people's text. Raises UnprintableError."""
    from annotate.output import needs_ascii

    stream = sys.stdout
    if stream is None:
        raise UnprintableError("standard output is closed")
    try:
        click.echo(_cleaned(text, needs_ascii(getattr(stream, "encoding", None))))
    except (OSError, ValueError) as error:
        raise UnprintableError(getattr(error, "strerror", None) or str(error)) from error


def tell(text: str) -> None:
    """Print a message on stderr; where that cannot be done the exit status alone must do."""
    from annotate.output import needs_ascii

    _write(sys.stderr, _cleaned(text, needs_ascii(getattr(sys.stderr, "encoding", None))) + "\n")


def _cleaned(text: str, ascii_only: bool) -> str:
    from annotate.output import clean, with_blanks

    return "\n".join(with_blanks(clean(line, ascii_only)) for line in text.rstrip("\n").split("\n"))


def _write(stream: TextIO | None, text: str) -> None:
    with contextlib.suppress(OSError, ValueError, AttributeError):
        click.echo(text, file=stream, nl=False) if stream is not None else None


def open_descriptors() -> None:
    """Have the three standard descriptors lead somewhere: a file of the user's that got the number of a closed one would
    be written into by whatever prints there."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


def leave() -> None:
    """Have what could not be put out thrown away, so that Python does not try once more at its end and fail."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError, ValueError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
