"""Every example gives what is stored beside it, but for the last digit of a number."""

import importlib.util
import sys
import zipfile
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "annotate"))

from in_process import run_here

EXAMPLES = Path(__file__).parent.parent / "examples"
_spec = importlib.util.spec_from_file_location("examples_run", EXAMPLES / "run.py")
run = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(run)


def texts(path):
    """The texts in a file: itself, or each member of an archive."""
    if path.suffix != ".mxl":
        return {"": path.read_text(encoding="utf-8")}
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name).decode("utf-8") for name in archive.namelist()}


# The sounds of a pack take a while.
FOLDERS = [
    pytest.param(
        folder, id=folder.name, marks=[pytest.mark.slow] if "prepare" in (folder / "command.txt").read_text() else []
    )
    for folder in run.folders()
]


@pytest.mark.parametrize("folder", FOLDERS)
def test_an_example_gives_what_is_stored(folder, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(run, "ran", lambda words, _: run_here(words, monkeypatch, capsys))
    run.run(folder, tmp_path)
    made = sorted({path.name for path in tmp_path.iterdir() if path.is_file()} - run.inputs(folder))
    assert "report.txt" in made
    for name in made:
        stored, now = texts(folder / name), texts(tmp_path / name)
        assert list(stored) == list(now)
        for member in stored:
            assert run.differences(stored[member], now[member]) == [], name


def test_the_comparison_sees_what_differs_by_more_than_a_digit():
    assert run.differences("C5 -27 cents", "C5 -26 cents") == []
    assert run.differences("C5 -27 cents", "C5 -24 cents")
    assert run.differences("playable", "doubtful")
    assert run.differences("one", "one\ntwo")


def test_the_copyists_score_comes_back_clean():
    with (
        zipfile.ZipFile(EXAMPLES / "copyist/ferry-bells.mxl") as before,
        zipfile.ZipFile(EXAMPLES / "copyist/ferry-bells-clean.mxl") as after,
    ):
        assert before.namelist() == after.namelist()
        assert all(before.read(name) == after.read(name) for name in before.namelist())
