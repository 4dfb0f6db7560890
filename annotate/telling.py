"""What a command puts out: reports, answers and messages in the language of the run, and what it keeps in mind for its end."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from annotate import console
from annotate.console import LOOKED, UNPLAYABLE

if TYPE_CHECKING:
    from annotate.decision import Result
    from annotate.language import Words
    from annotate.pipeline import OnWritten
    from annotate.since import Since
    from fingering_db.survey import Progress

_LONGEST_MESSAGE, _LONGEST_WORD = 600, 200  # characters; the latter of a word without a blank: most paths are shorter


def exit_code(result: Result) -> int:
    """Whether something is unplayable on the first flute named."""
    from annotate.decision import Status

    unplayable = any(decision.status == Status.UNPLAYABLE for decision in result.first_flute())
    return UNPLAYABLE if unplayable else LOOKED


def progress() -> Progress:
    """What is told how far the work is."""
    return console.running().show


def keep_in_mind() -> OnWritten:
    """What is told of a file that is in its place."""
    run = console.running()
    return lambda ready: run.keep_in_mind(ready.path, ready.losses)


def language() -> str:
    return console.running().language


def words() -> Words:
    """The words of that language."""
    from annotate.language import words

    return words(language())


def said(key: str, **values: object) -> str:
    """The words under a key in that language."""
    return words().text(key, **values)


def tell_written(path: Path, key: str = "written") -> None:
    """Say where the result stands."""
    console.tell(said(f"command.{key}", path=one_line(str(path))))


def ascii_only() -> bool:
    """Whether the terminal cannot print the signs of a diagram."""
    from annotate.output import needs_ascii

    return needs_ascii(getattr(sys.stdout, "encoding", None))


def print_report(
    result: Result, form: str = "text", since: Since | None = None, detail: str = "brief", **style: Any
) -> None:
    """Print what was found in a score. detail, style: as `report.text.render` takes them. Raises UnprintableError."""
    if form == "json":
        from annotate.report import json_report

        console.echo(json_report.render(result, since))
    else:
        from annotate.report import text

        console.echo(text.render(result, ascii=ascii_only(), language=language(), since=since, detail=detail, **style))


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
