"""The folder of a pack, and a report's one file: all or nothing, and never over anything of somebody else."""

from __future__ import annotations

from pathlib import Path

import pytest

from annotate.findings import InputError
from annotate.pack import folder, report_file, sounds
from annotate.pack.folder import LIST
from annotate.pipeline import Looked

FIRST = {"index.html": b"one", "part.pdf": b"two", "pages/part-1-page-1.svg": b"three", "sounds/01-a.wav": b"four"}
SECOND = {"index.html": b"ONE", "part.pdf": b"TWO", "pages/part-1-page-2.svg": b"THREE"}


def contents(where: Path) -> dict[str, bytes]:
    return {path.relative_to(where).as_posix(): path.read_bytes() for path in where.rglob("*") if path.is_file()}


def test_a_pack_takes_the_place_of_an_earlier_one_and_leaves_other_files_alone(tmp_path: Path) -> None:
    where = tmp_path / "new" / "pack"
    folder.write(where, FIRST)
    (where / "mine.txt").write_bytes(b"mine")
    (where / "sounds" / "mine.wav").write_bytes(b"mine too")
    folder.check(where, ("index.html", "part.pdf", LIST))
    folder.write(where, SECOND)
    found = contents(where)
    assert found.pop(LIST)
    assert found == SECOND | {"mine.txt": b"mine", "sounds/mine.wav": b"mine too"}


@pytest.mark.parametrize("name", ["index.html", "pages/part-1-page-1.svg", "sounds/01-a.wav"])
def test_a_file_that_somebody_changed_stops_all_of_it(tmp_path: Path, name: str) -> None:
    folder.write(tmp_path, FIRST)
    (tmp_path / name).write_bytes(b"changed by hand")
    before = contents(tmp_path)
    with pytest.raises(InputError, match="is not ours or was changed"):
        folder.write(tmp_path, FIRST)
    assert contents(tmp_path) == before


def test_a_page_of_somebody_else_is_refused_before_anything_is_judged(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_bytes(b"my own page")
    with pytest.raises(InputError, match=r"index\.html: is not ours"):
        folder.check(tmp_path, ("index.html",))


@pytest.mark.parametrize("told", [b"{", b"[]", b'{"ventwise-pack": 1, "files": {"../away": "x"}}'])
def test_a_list_that_is_not_ours_is_not_followed(tmp_path: Path, told: bytes) -> None:
    inside = tmp_path / "pack"
    folder.write(inside, FIRST)
    (tmp_path / "away").write_bytes(b"x")
    (inside / LIST).write_bytes(told)
    with pytest.raises(InputError, match="is not ours or was changed"):
        folder.write(inside, FIRST)
    assert (tmp_path / "away").exists()


@pytest.mark.parametrize("ending", report_file.ENDINGS)
def test_a_report_replaces_its_own_kind_alone(
    tmp_path: Path, looked: Looked, ending: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sounds, "SECONDS", 0.1)
    path = tmp_path / f"report{ending}"
    report_file.write(path, looked, report_file.check(path))
    assert ending == ".pdf" or b"data-play" in path.read_bytes()
    assert path.read_bytes().startswith(b"%PDF" if ending == ".pdf" else b"<!DOCTYPE html>")
    assert report_file.check(path)
    path.write_bytes(b"%PDF of somebody else")
    with pytest.raises(InputError, match="did not write"):
        report_file.check(path)
    with pytest.raises(InputError, match=r"expected a name that ends in \.html or \.pdf"):
        report_file.check(tmp_path / "report.txt")
