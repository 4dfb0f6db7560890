"""Arrays kept between runs: the same as computed, safe against damage, change and each other."""

import mmap
import multiprocessing
import os
import time
from concurrent.futures import ThreadPoolExecutor
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


def test_of_runs_that_want_the_same_one_computes_and_the_others_wait_for_it(own_folder):
    calls = []

    def slowly():
        calls.append(1)
        time.sleep(0.3)
        return {"a": np.arange(3)}

    with ThreadPoolExecutor(3) as pool:
        found = list(pool.map(lambda _: store.fetch("key", slowly)["a"].tolist(), range(3)))
    assert found == [[0, 1, 2]] * 3 and len(calls) == 1
    assert [path.suffix for path in own_folder.iterdir()] == [".arrays"]


def test_a_lock_that_a_killed_run_left_keeps_nobody_waiting(own_folder):
    compute, calls = counting(1)
    own_folder.mkdir()
    (own_folder / f"{store._name('key')}.lock").write_bytes(b"")
    store.fetch("key", compute)
    assert len(calls) == 1 and [path.suffix for path in own_folder.iterdir()] == [".arrays"]


def test_what_was_let_go_is_there_again_when_it_is_looked_at(own_folder, monkeypatch):
    monkeypatch.setattr(store, "_MOST_LOOKED_AT", 0)
    monkeypatch.setattr(store, "_LARGE", 400_000)
    store.fetch("key", lambda: {"small": np.arange(1000), "a": np.arange(100_000), "b": np.arange(10)})
    kept = store.fetch("key", lambda: {})
    ((_, length),) = store._MAPPED[-1][1]
    assert 800_000 - 2 * mmap.PAGESIZE < length <= 800_000
    assert kept["a"].sum() == 4_999_950_000
    store.let_go()
    assert kept["a"].sum() == 4_999_950_000 and kept["b"].sum() == 45


def test_a_damaged_file_is_computed_anew(own_folder):
    compute, calls = counting(1)
    store.fetch("key", compute)
    (path,) = own_folder.glob("*.arrays")
    whole = path.read_bytes()
    changed = bytearray(whole)
    changed[4096] ^= 2  # of the first array
    later = whole.replace(b"arrays 1", b"arrays 2")
    for damage in (b"", b"PK", whole[:-30], whole[:40], b"no arrays at all", bytes(changed), whole + b"more", later):
        path.unlink()
        path.write_bytes(damage)
        os.utime(path, ns=(0, 0))
        stored = store.fetch("key", compute)
        assert stored["a"] == [1] and (stored["b"] == np.arange(4.0) + 1j).all()
    assert len(calls) == 9


def test_a_copied_file_is_as_good_as_the_first(own_folder):
    compute, calls = counting(1)
    store.fetch("key", compute)
    (path,) = own_folder.glob("*.arrays")
    content = path.read_bytes()
    path.unlink()
    path.write_bytes(content)
    assert store.fetch("key", compute)["a"] == [1]
    assert len(calls) == 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_in_place_of_the_file_is_not_waited_for(own_folder):
    compute, calls = counting(1)
    store.fetch("key", compute)
    (path,) = own_folder.glob("*.arrays")
    path.unlink()
    os.mkfifo(path)
    assert store.fetch("key", compute)["a"] == [1]
    assert path.is_file() and len(calls) == 2


def test_arrays_are_mapped_and_read_only(own_folder):
    arrays = {"a": np.arange(6.0).reshape(2, 3), "none": np.empty((0, 4), dtype=np.float16)}
    store.fetch("key", lambda: arrays)
    stored = store.fetch("key", lambda: pytest.fail("computed again"))
    assert not stored["a"].flags.writeable and not stored["a"].flags.owndata
    assert (stored["a"] == arrays["a"]).all() and stored["none"].shape == (0, 4)


def test_the_folder_keeps_within_its_bytes_and_loses_what_was_not_used_for_longest(own_folder, monkeypatch):
    monkeypatch.setattr(store, "_MOST_BYTES", 3 * 4096 + 2000)
    for number in range(3):
        store.fetch(str(number), lambda: {"a": np.zeros(8)})
    store.fetch("0", lambda: pytest.fail("computed again"))
    store.fetch("3", lambda: {"a": np.zeros(8)})
    store.fetch("0", lambda: pytest.fail("computed again"))
    _, calls = counting(1)
    store.fetch("1", lambda: calls.append(1) or {"a": np.zeros(8)})
    assert calls == [1]


def test_a_file_with_any_bit_flipped_is_computed_anew(own_folder):
    compute, calls = counting(1)
    store.fetch("key", compute)
    (path,) = own_folder.glob("*.arrays")
    whole = path.read_bytes()
    for at in range(0, len(whole), 7):
        damaged = bytearray(whole)
        damaged[at] ^= 1 << at % 8
        path.write_bytes(damaged)
        assert store.fetch("key", compute)["a"] == [1]
        assert path.read_bytes() == whole
    assert len(calls) == 1 + len(range(0, len(whole), 7))


def test_a_bit_that_a_disk_forgot_is_found_though_the_time_of_change_is_the_old_one(own_folder):
    compute, calls = counting(1)
    store.fetch("key", compute)
    (path,) = own_folder.glob("*.arrays")
    about, damaged = path.stat(), bytearray(path.read_bytes())
    damaged[-64] ^= 4  # in the array itself
    path.write_bytes(damaged)
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))
    assert store.fetch("key", compute)["a"] == [1]
    assert len(calls) == 2


def test_a_file_under_the_name_of_another_is_computed_anew(own_folder):
    store.fetch("key", counting(1)[0])
    (one,) = own_folder.glob("*.arrays")
    whole = one.read_bytes()
    store.fetch("other key", counting(2)[0])
    (two,) = set(own_folder.glob("*.arrays")) - {one}
    two.write_bytes(whole)
    assert store.fetch("other key", counting(2)[0])["a"] == [2]


@pytest.mark.parametrize("kind", ["pipe", "folder", "link to a pipe", "device"])
def test_what_is_no_file_does_not_hold_up(own_folder, kind):
    compute, calls = counting(1)
    store.fetch("key", compute)
    (path,) = own_folder.glob("*.arrays")
    path.unlink()
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "device":
        path.symlink_to("/dev/zero")
    else:
        os.mkfifo(own_folder / "pipe")
        path.symlink_to(own_folder / "pipe")
    assert store.fetch("key", compute)["a"] == [1] and len(calls) == 2
    store.fetch("key", compute)
    assert len(calls) == (3 if kind == "folder" else 2)


def test_what_killed_runs_left_is_cleared(own_folder):
    own_folder.mkdir()
    (own_folder / ".ventwise-0123456789abcdef.tmp").write_bytes(b"x")
    store.fetch("key", counting(1)[0])
    assert [path.suffix for path in own_folder.iterdir()] == [".arrays"]


def test_without_a_home_there_is_no_folder_and_none_is_made(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("HOME", raising=False)
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr(os.path, "expanduser", lambda path: path)  # as where there is no passwd entry either
    assert store.fetch("key", counting(1)[0])["a"] == [1]
    assert list(tmp_path.iterdir()) == []


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
