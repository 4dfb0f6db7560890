"""Arrays kept between runs: the same as computed, safe against damage, change and each other."""

import multiprocessing
import os
from pathlib import Path

import numpy as np
import pytest

from fingering_db import store


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setattr(store, "folder", lambda: tmp_path / "cache")
    return tmp_path / "cache"


def counting(value):
    calls = []

    def compute():
        calls.append(1)
        return {"a": np.array([value]), "b": np.arange(4.0) + 1j}

    return compute, calls


def test_a_second_run_reads_what_the_first_computed(own_folder):
    compute, calls = counting(1)
    first, second = store.fetch("key", compute), store.fetch("key", compute)
    assert len(calls) == 1
    assert all((first[name] == second[name]).all() for name in first)


def test_another_instrument_or_other_code_gives_new_arrays(own_folder, monkeypatch):
    compute, calls = counting(1)
    store.fetch("key", compute)
    store.fetch("other key", compute)
    monkeypatch.setattr(store, "_code", lambda: "changed")
    store.fetch("key", compute)
    assert len(calls) == 3


def test_a_damaged_file_is_computed_anew(own_folder):
    compute, calls = counting(1)
    store.fetch("key", compute)
    (path,) = own_folder.glob("*.npz")
    for damage in (b"", b"PK", path.read_bytes()[:-30], b"no archive at all"):
        path.write_bytes(damage)
        assert store.fetch("key", compute)["a"] == [1]
    assert len(calls) == 5


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_cannot_be_written_to_is_done_without(own_folder):
    own_folder.mkdir()
    own_folder.chmod(0o500)
    compute, _calls = counting(1)
    assert store.fetch("key", compute)["a"] == [1]
    own_folder.chmod(0o700)


def test_a_folder_that_is_a_file_is_done_without(own_folder):
    own_folder.write_text("in the way")
    compute, _ = counting(1)
    assert store.fetch("key", compute)["a"] == [1]


def _build(folder, ready):
    store.folder = lambda: Path(folder)
    ready.wait()
    arrays = store.fetch("shared", lambda: {"a": np.arange(200_000.0)})
    os._exit(0 if (arrays["a"] == np.arange(200_000.0)).all() else 1)


def test_several_runs_may_build_at_once(tmp_path):
    context = multiprocessing.get_context("fork")
    ready = context.Event()
    runs = [context.Process(target=_build, args=(str(tmp_path), ready)) for _ in range(4)]
    for run in runs:
        run.start()
    ready.set()
    for run in runs:
        run.join(30)
    assert [run.exitcode for run in runs] == [0] * 4
    assert len(list(tmp_path.iterdir())) == 1


def test_old_files_are_removed(own_folder):
    for number in range(store._MOST_FILES + 5):
        store.fetch(str(number), lambda: {"a": np.zeros(1)})
    assert len(list(own_folder.iterdir())) == store._MOST_FILES
