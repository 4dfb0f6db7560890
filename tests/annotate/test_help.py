"""What `--help` and misuse say: in the language asked for, of every command and option there is."""

import json
import re
from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from annotate import start
from annotate.cli import cli
from annotate.console import Run
from annotate.language import languages, words
from annotate.musescore.plugin import plug_in
from annotate.usage import misuse

ENGLISH = re.compile(r"\b(the|of|and|is|are|with|expected|such|what)\b")
"""Words that no sentence in another language has."""


def every(command: click.Command, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    yield path
    if isinstance(command, click.Group):
        for name, each in command.commands.items():
            yield from every(each, (*path, name))


@pytest.mark.parametrize("language", languages())
def test_help_of_every_command_is_in_the_language_asked_for(language: str) -> None:
    seen = {}
    for path in every(cli):
        result = CliRunner().invoke(cli, [*path, "--help"], obj=Run(language=language))
        assert result.exit_code == 0, (path, result.exception)
        assert max(map(len, result.output.splitlines())) <= 80
        seen[path] = result.output
    assert len(seen) > 20
    told = re.sub(r"ventwise [\w ]+", "", " ".join(seen.values()))
    assert bool(ENGLISH.search(told)) == (language == "en"), ENGLISH.findall(told)


MISUSED = [
    [],
    ["nonsense"],
    ["--nonsense"],
    ["flute"],
    ["check"],
    ["check", "s", "t"],
    ["check", "s", "--formatt", "x"],
    ["check", "s", "--format", "x"],
    ["check", "s", "--a4"],
    ["check", "s", "--a4", "x"],
    ["check", "s", "--quiet=1"],
    ["check", ""],
    ["find", "C5", "--limit", "0.5"],
    ["listen", "T 1 | Eb"],
]


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("typed", MISUSED, ids=" ".join)
def test_misuse_is_told_in_the_language_asked_for(typed: list[str], language: str) -> None:
    with pytest.raises(click.UsageError) as caught:
        cli.main(typed, standalone_mode=False, obj=Run(language=language), prog_name="ventwise")
    told = misuse(caught.value, words(language))
    assert "--help" in told and "\n" not in told
    assert not ENGLISH.search(told) or language == "en", told


@pytest.mark.parametrize("language", languages())
def test_a_run_stopped_before_its_words_are_read_ends_in_a_line_of_its_language(
    language: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = f"ventwise: {words(language).text('command.not_begun')}\n".encode()
    for typed in (["--language", language], [f"--language={language}"]):
        monkeypatch.setattr("sys.argv", ["ventwise", "check", "s.musicxml", *typed])
        assert start._stopped() == expected and expected.isascii()
    monkeypatch.setattr("sys.argv", ["ventwise", "--language", "../en"])
    monkeypatch.setenv("VENTWISE_LANGUAGE", language)
    assert start._stopped() == expected


@pytest.mark.parametrize("language", languages())
def test_the_plug_in_speaks_the_language_asked_for(language: str) -> None:
    files = plug_in("ventwise", words(language))
    shown = re.findall(r'(?:menuPath|description): "(.*)"', "".join(files.values()))
    told, _ = json.JSONDecoder().raw_decode(files["ours.js"].partition("WORDS = ")[2])
    assert told.pop("language") == language and len(shown) == 4 and all(text.count("%1") == 1 for text in told.values())
    said = " ".join((*shown, *told.values())).replace("ventwise plugin --to FOLDER", "")
    assert bool(ENGLISH.search(said)) == (language == "en"), said
    assert not re.search(r"\{\w+\}", said)
    assert 'tell("' not in files["ventwise.qml"]


@pytest.mark.parametrize("language", languages())
def test_flutes_are_told_in_the_language_asked_for(language: str) -> None:
    told = "".join(
        CliRunner().invoke(cli, ["flute", *typed, "--language", language], obj=Run()).output
        for typed in (["list"], ["show", "open-hole-b-slide"], ["show", "open-hole-b", "--slide", "10"])
    )
    assert len(told.splitlines()) > 40
    assert bool(ENGLISH.search(told.replace("--slide", ""))) == (language == "en"), ENGLISH.findall(told)
