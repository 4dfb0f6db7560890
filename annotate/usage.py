"""How the words of a command line are read, and what is said of wrong ones."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Any

import click

from annotate.console import UnprintableError


class Command(click.Command):
    """A command whose help may not fit where it is printed."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> click.Context:
        """Read the words of the command line, and print help where it is asked for."""
        with _printed():
            return super().make_context(info_name, args, parent, **extra)


class Group(click.Group):
    """What ends any command early, told as one of the errors that `main` words."""

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


def command(name: str | None = None) -> Callable[[Callable[..., Any]], Command]:
    """Decorator that makes a command of a function."""
    return click.command(name, cls=Command)


def group(**settings: Any) -> Callable[[Callable[..., Any]], Group]:
    """Decorator that makes a group of commands of a function."""
    return click.group(cls=Group, no_args_is_help=False, **settings)


def misuse(error: click.UsageError) -> str:
    """What is wrong with the words of the command line: where, what, and what was expected."""
    ctx = error.ctx
    if ctx is None:
        return f"{error.format_message().rstrip('.')}; see ventwise --help"
    where = ctx.command_path.removeprefix("ventwise").strip()
    told = f"{where}: {error.format_message()}" if where else error.format_message()
    if isinstance(ctx.command, click.Group) and not isinstance(error, click.NoSuchOption):
        told = f"{told.rstrip('.')}: expected one of {', '.join(ctx.command.list_commands(ctx))}"
    return f"{told.rstrip('.')}; see {ctx.command_path} --help"
