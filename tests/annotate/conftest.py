"""For the tests of this folder: the command as a fixture."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from in_process import run_here


@pytest.fixture
def ventwise(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Runs the command in this process, in a folder if one is named, and tells of it as `subprocess.run` does."""

    def run(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
        if cwd:
            monkeypatch.chdir(cwd)
        return subprocess.CompletedProcess(words, *run_here([*map(str, words)], monkeypatch, capsys))

    return run
