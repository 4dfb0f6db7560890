"""How the words of a command line are read, what is said of wrong ones, and what `--help` says, in the language asked for."""

from __future__ import annotations

import difflib
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from annotate import console
from annotate.console import Run, UnprintableError
from fingering_db.message import Message

if TYPE_CHECKING:
    from annotate.language import Words


class Command(click.Command):
    """A command that tells what it is for in the language of the run, as far as that can be printed."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> click.Context:
        """Read the words of the command line, and print help where it is asked for."""
        try:
            return super().make_context(info_name, args, parent, **extra)
        except KeyboardInterrupt:
            raise click.exceptions.Abort from None
        except OSError as error:
            raise UnprintableError(error.strerror) from error

    def format_usage(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        pieces = " ".join(self.collect_usage_pieces(ctx))
        formatter.write_usage(ctx.command_path, pieces, prefix=f"{_words(ctx).text('usage.usage')} ")

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        formatter.write_paragraph()
        with formatter.indentation():
            formatter.write_text(_words(ctx).text(f"help.{_key(ctx)}"))

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [row for param in self.get_params(ctx) if (row := _option(param, ctx))]
        with formatter.section(_words(ctx).text("usage.options")):
            formatter.write_dl(rows)


class Group(Command, click.Group):
    """What ends any command early, told as one of the errors that `main` words."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """What may be typed behind it, and its commands."""
        super().format_options(ctx, formatter)
        names = self.list_commands(ctx)
        path = "" if _key(ctx) == "ventwise" else f"{_key(ctx)}_"
        room = formatter.width - 6 - max(map(len, names))
        told = (_words(ctx).text(f"help.{path}{name}").partition(". ")[0] for name in names)
        briefs = [textwrap.shorten(each, max(room, 10), placeholder=" ..") for each in told]
        with formatter.section(_words(ctx).text("usage.commands")):
            formatter.write_dl(list(zip(names, briefs, strict=True)))

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            raise click.exceptions.Abort from None
        except MemoryError:
            from annotate.findings import InputError

            raise InputError(Message("command.memory")) from None


_LANGUAGES = sorted(file.stem for file in Path(__file__).with_name("languages").glob("*.toml"))
_QUIET = click.Option(
    ["--quiet"], is_flag=True, expose_value=False, callback=console.set_quiet, envvar="VENTWISE_QUIET"
)
_LANGUAGE = click.Option(
    ["--language"], type=click.Choice(_LANGUAGES), default="en", show_default=True, is_eager=True, expose_value=False,
    callback=console.set_language, envvar="VENTWISE_LANGUAGE",
)  # fmt: skip


def command(name: str | None = None, *, quiet: bool = True) -> Callable[[Callable[..., Any]], Command]:
    """Decorator that makes a command of a function, with the options --language and, if work takes long, --quiet."""

    def made(function: Callable[..., Any]) -> Command:
        found = click.command(name, cls=Command)(function)
        found.params += [_QUIET, _LANGUAGE] if quiet else [_LANGUAGE]
        return found

    return made


def group(**settings: Any) -> Callable[[Callable[..., Any]], Group]:
    """Decorator that makes a group of commands of a function."""
    return click.group(cls=Group, no_args_is_help=False, **settings)


class MisusedError(click.BadParameter):
    """A value that an option or argument cannot have; told: what was expected of it."""

    def __init__(self, told: Message, param: click.Parameter | None, ctx: click.Context | None) -> None:
        super().__init__(str(told), ctx, param)
        self.told = told


def misuse(error: click.UsageError, say: Words) -> str:
    """What is wrong with the words of the command line: where, what, and what was expected."""
    command = error.ctx.command_path if error.ctx else "ventwise"
    where = command.removeprefix("ventwise").strip()
    what = _wrong(error, say)
    told = say.text("usage.at", where=where, what=what) if where else what
    return say.text("usage.see_help", what=told, command=command)


def _wrong(error: click.UsageError, say: Words) -> str:
    """What is wrong, without where."""
    own = error.format_message().rstrip(".")
    if isinstance(error, click.NoSuchOption):
        known = {name.lstrip("-"): name for name in error.possibilities or ()}  # the dashes are alike in all
        near = tuple(known[one] for one in difflib.get_close_matches(error.option_name.lstrip("-"), known))
        key = "usage.no_option_near" if near else "usage.no_option"
        return say.text(key, name=error.option_name, **({"near": near} if near else {}))
    if isinstance(error, click.BadOptionUsage):
        key = "usage.takes_no_value" if own.endswith("does not take a value") else "usage.needs_value"
        return say.text(key, name=error.option_name)
    if isinstance(error, click.MissingParameter) and error.param:
        kind = "option" if isinstance(error.param, click.Option) else "argument"
        form = _form(error.ctx) if error.ctx else error.param.human_readable_name
        return say.text(f"usage.missing_{kind}", name=_hint(error.param, error.ctx), form=form)
    if isinstance(error, click.BadParameter) and error.param:
        return say.text("usage.invalid", name=_hint(error.param, error.ctx), what=_unfit(error, error.param, say))
    return _worded(own, error.ctx, say)


def _unfit(error: click.BadParameter, param: click.Parameter, say: Words) -> str:
    if isinstance(error, MisusedError):
        return say.say(error.told)
    if isinstance(param.type, click.Choice):
        return say.text("usage.one_of", names=tuple(f"'{name}'" for name in param.type.choices))
    return error.message.rstrip(".")


def _worded(own: str, ctx: click.Context | None, say: Words) -> str:
    """What click words itself and gives no type of its own is known by how it begins."""
    names = tuple(ctx.command.list_commands(ctx)) if ctx and isinstance(ctx.command, click.Group) else ()
    if own.startswith("Got unexpected"):
        return say.text("usage.too_much", names=own.partition("(")[2].removesuffix(")"))
    if own.startswith("No such command"):
        return say.text("usage.no_command", name=own.split("'")[1], names=names)
    return say.text("usage.missing_command", names=names) if own == "Missing command" else own


def _form(ctx: click.Context) -> str:
    """`ventwise prepare SCORE -o DIR`: a command with its arguments and the options that it cannot do without."""
    needed = [one for one in ctx.command.get_params(ctx) if one.required or isinstance(one, click.Argument)]
    told = [f"{one.opts[0]} " * isinstance(one, click.Option) + one.make_metavar(ctx) for one in needed]
    return " ".join([ctx.command_path, *told])


def _hint(param: click.Parameter, ctx: click.Context | None) -> str:
    return param.get_error_hint(ctx) if ctx else f"'{param.name}'"


def _words(ctx: click.Context) -> Words:
    from annotate.language import words

    return words(ctx.ensure_object(Run).language)


def _key(ctx: click.Context) -> str:
    """How a command is called in the files of the languages."""
    return "_".join(ctx.command_path.split()[1:]) or "ventwise"


def _option(param: click.Parameter, ctx: click.Context) -> tuple[str, str] | None:
    """An option and what it is for, as a row of the help; None for what is no option or is hidden."""
    row = param.get_help_record(ctx) if isinstance(param, click.Option) else None
    if row is None:
        return None
    say = _words(ctx)
    own = f"option.{_key(ctx)}_{param.name}"
    common = "option.help" if "--help" in param.opts else f"option.{param.name}"
    key = next((key for key in (own, common) if say.has(key)), "")
    told = [say.text(key) if key else getattr(param, "help", None) or ""]
    if isinstance(param.type, click.IntRange | click.FloatRange):
        told.append(f"[{param.type.min:g} .. {param.type.max:g}]")
    if getattr(param, "show_default", None) and isinstance(param.default, str | int | float):
        told.append(say.text("usage.default", value=param.default))
    return row[0], "  ".join(told)
