"""One pack for all tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from hostile_score import SCORE

from annotate.pack import sounds
from annotate.pack.prepare import pack
from annotate.pipeline import Looked, Options, look


@pytest.fixture(scope="session")
def looked(tmp_path_factory: pytest.TempPathFactory) -> Looked:
    score = tmp_path_factory.mktemp("score") / "hostile.musicxml"
    score.write_text(SCORE, encoding="utf-8")
    return look(score, Options(flutes=("open-hole-b", "alto")))


@pytest.fixture(scope="session")
def files(looked: Looked) -> dict[str, bytes]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sounds, "SECONDS", 0.1)
        return pack(looked, "a4")


@pytest.fixture(scope="session")
def folder(files: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("pack")
    for name, data in files.items():
        (found / name).parent.mkdir(exist_ok=True)
        (found / name).write_bytes(data)
    return found
