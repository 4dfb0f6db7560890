"""What a command puts out: reports, answers and messages in the language of the run, and what it keeps in mind for its end."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from annotate import console
from annotate.console import LOOKED, UNPLAYABLE, Run

if TYPE_CHECKING:
    from annotate.decision import Result
    from annotate.pipeline import OnWritten
    from annotate.since import Since
    from fingering_db.survey import Progress

_LONGEST_MESSAGE, _LONGEST_WORD = 600, 200  # characters; the latter of a word without a blank: most paths are shorter


def exit_code(result: Result) -> int:
    """Whether something is unplayable on the first flute named."""
    from annotate.decision import Status

    unplayable = any(decision.status == Status.UNPLAYABLE for decision in result.first_flute())
    return UNPLAYABLE if unplayable else LOOKED


def progress() -> Progress | None:
    """What is told how far the work is; None where nobody is."""
    run = click.get_current_context().find_object(Run)
    return run.show if run else None


def keep_in_mind() -> OnWritten:
    """What is told of a file that is in its place."""
    run = click.get_current_context().find_object(Run)
    return lambda ready: console.written(run, ready.path, ready.losses)


def language() -> str:
    run = click.get_current_context().find_object(Run)
    return run.language if run else "en"


def said(key: str, **values: object) -> str:
    """The words under a key in that language."""
    from annotate.language import words

    return words(language()).text(key, **values)


def ascii_only() -> bool:
    """Whether the terminal cannot print the signs of a diagram."""
    from annotate.output import needs_ascii

    return needs_ascii(getattr(sys.stdout, "encoding", None))


def print_report(
    result: Result,
    form: str,
    *,
    numbered: bool = False,
    since: Since | None = None,
    detail: str = "brief",
    sort: str = "place",
) -> None:
    """Print what was found in a score. Raises UnprintableError."""
    if form == "json":
        from annotate.report import json_report

        console.echo(json_report.render(result, since))
    else:
        from annotate.report import text

        told = text.render(
            result, ascii=ascii_only(), language=language(), numbered=numbered, since=since, detail=detail, sort=sort
        )
        console.echo(told)


def print_answers(answers: Sequence[Any], form: str) -> None:
    """Print answers to a question. Raises UnprintableError."""
    if form == "json":
        from annotate.report import answers_json

        console.echo(answers_json.render(answers))
    else:
        from annotate.report import answers_text

        console.echo(answers_text.render(answers, ascii_only(), language()))


def one_line(message: str) -> str:
    """A message on one line, what is quoted in it from a hostile file cut where it is endless."""
    words = (word if len(word) <= _LONGEST_WORD else f"{word[:80]}…{word[-40:]}" for word in message.split())
    line = " ".join(words)
    return line if len(line) <= _LONGEST_MESSAGE else f"{line[:300]} … {line[-200:]}"
