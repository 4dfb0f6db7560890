"""Nothing of anybody's is lost by writing, and the exit status tells what became of the files, on the real command."""

import os
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from annotate import console
from annotate.cli import cli
from annotate.drawing import picture_folder
from annotate.files.placing import prepared, standing, uninterrupted
from annotate.findings import InputError
from annotate.language import words as lexicon
from annotate.pipeline import Options, annotate, look, strip_file
from fingering_db import neighbours

COMPOSER = Path(__file__).parents[2] / "examples/composer/score.musicxml"
NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
SCORE = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="3.1"><part-list><score-part id="P1">'
    '<part-name>Flute</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1'
    "</divisions></attributes><direction><direction-type><words>multiphonic</words></direction-type></direction>"
    f"{NOTE}{NOTE.replace('<note>', '<note><chord/>').replace('>5<', '>6<').replace('>C<', '>D<')}"
    "</measure></part></score-partwise>\n"
).encode()
LEFT_BEHIND = ".ventwise-0123456789abcdef.tmp"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "a.musicxml"
    made.write_bytes(SCORE)
    return made


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


def put(path: Path, content: bytes = b"new") -> tuple[str, ...]:
    with prepared(path, content, lambda _: None) as ready:
        ready.place()
    return tuple(map(lexicon().say, ready.losses))


# -- other programs that save meanwhile


def test_a_score_saved_by_another_program_meanwhile_is_not_overwritten(path: Path) -> None:
    looked = look(path, Options())
    path.write_bytes(SCORE.replace(b"Flute", b"Flute 1"))
    with pytest.raises(InputError, match="saved by another program"):
        annotate(looked, path, in_place=True)
    assert path.read_bytes() == SCORE.replace(b"Flute", b"Flute 1") and names(path.parent) == ["a.musicxml"]


def test_a_score_that_another_program_took_away_meanwhile_stays_away(path: Path) -> None:
    looked = look(path, Options())
    path.unlink()
    with pytest.raises(InputError, match="saved by another program"):
        annotate(looked, path, in_place=True)
    assert names(path.parent) == []


@pytest.mark.parametrize("before", [None, b"an older result"])
def test_an_output_saved_by_another_program_meanwhile_is_not_overwritten(
    before: bytes | None, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = path.with_name("out.musicxml")
    if before:
        out.write_bytes(before)
    runner = CliRunner()

    def look_while_another_saves(*words: object) -> object:
        out.write_bytes(b"theirs")
        return look(*words)  # type: ignore[arg-type]

    monkeypatch.setattr("annotate.pipeline.look", look_while_another_saves)
    result = runner.invoke(cli, ["annotate", str(path), "-o", str(out)], standalone_mode=False)
    assert isinstance(result.exception, InputError) and "saved by another program" in str(result.exception)
    assert out.read_bytes() == b"theirs" and names(path.parent) == ["a.musicxml", "out.musicxml"]


def test_strip_in_place_does_not_overwrite_newer_work_either(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.fsync

    def saved_meanwhile(handle: int) -> None:
        path.write_bytes(b"theirs")
        real(handle)

    monkeypatch.setattr(os, "fsync", saved_meanwhile)
    with pytest.raises(InputError, match="saved by another program"):
        strip_file(path, path, in_place=True)
    assert path.read_bytes() == b"theirs" and names(path.parent) == ["a.musicxml"]


# -- temporary files


def test_a_file_that_fills_is_its_owner_s_alone(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    modes = []
    real = os.write

    def looked_at(handle: int, data: memoryview) -> int:
        modes.append(stat.S_IMODE(os.fstat(handle).st_mode))
        return real(handle, data)

    monkeypatch.setattr(os, "write", looked_at)
    put(path.with_name("new"))
    path.chmod(0o664)
    put(path)
    assert modes == [0o600, 0o600] and stat.S_IMODE(path.stat().st_mode) == 0o664


def test_what_killed_runs_left_is_cleared_by_the_next_one(path: Path) -> None:
    mine, pictures = path.with_name(LEFT_BEHIND), path.with_name("pictures")
    mine.write_bytes(b"x" * 1000)
    path.with_name("ventwise-0123456789abcdef.tmp").write_bytes(b"another's")
    path.with_name(".ventwise-notes.tmp").write_bytes(b"another's")
    path.with_name(LEFT_BEHIND.replace("0", "1")).symlink_to(path)
    put(path.with_name("new"))
    assert not mine.exists() and len(names(path.parent)) == 5
    work = pictures / LEFT_BEHIND
    (work / "old").mkdir(parents=True)
    (work / "new").mkdir()
    (work / "old" / "bar-001-beat-1.svg").write_bytes(b"moved away")
    with picture_folder.placed(pictures, {}):
        pass
    assert names(pictures) == ["bar-001-beat-1.svg"]


def test_the_temporary_file_of_a_run_that_lives_is_left_alone(tmp_path: Path) -> None:
    with neighbours.held_file(tmp_path) as (one, _), neighbours.held_folder(tmp_path) as two:
        neighbours.clear(tmp_path, lambda folder: folder.rmdir())
        assert one.exists() and two.exists()
    two_again = tmp_path / two.name
    neighbours.clear(tmp_path, lambda folder: folder.rmdir())
    assert not two_again.exists()


def test_a_pipe_under_such_a_name_does_not_hold_up(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / LEFT_BEHIND)
    put(tmp_path / "a.xml")
    assert names(tmp_path) == [LEFT_BEHIND, "a.xml"]


def test_a_killed_run_leaves_what_the_next_run_clears(path: Path) -> None:
    code = (
        "import os, sys, time\nos.fsync = lambda _: (print('here', flush=True), time.sleep(60))\n"
        "from annotate.start import main\nmain()"
    )
    killed = subprocess.Popen(
        [sys.executable, "-c", code, "strip", str(path), "--in-place"], stdout=subprocess.PIPE, text=True
    )
    assert killed.stdout is not None and killed.stdout.readline() == "here\n"
    killed.kill()
    killed.communicate()
    assert len(names(path.parent)) == 2
    strip_file(path, path.with_name("b.musicxml"), in_place=False)
    assert names(path.parent) == ["a.musicxml", "b.musicxml"]


# -- what else belongs to a file


def test_extended_attributes_are_kept_or_their_loss_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    try:
        os.setxattr(path, "user.colour", b"red")
    except OSError:
        pytest.skip("this file system has no extended attributes")
    assert put(path) == () and os.getxattr(path, "user.colour") == b"red"

    def refuse(*_: object) -> None:
        raise OSError(95, "not supported")

    monkeypatch.setattr(os, "setxattr", refuse)
    assert put(path) == ("extended attributes could not be kept: user.colour",)


def test_the_loss_of_a_hard_link_is_told(path: Path) -> None:
    other = path.with_name("other.musicxml")
    other.hardlink_to(path)
    done = run("strip", path, "--in-place")
    assert "1 other name(s) of the same file (hard links) keep the earlier contents" in done.stderr
    assert done.returncode == 0 and other.read_bytes() == SCORE


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give files away")
def test_the_owner_stays_or_the_loss_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.chown(path, 1234, 1234)
    assert put(path) == () and (path.stat().st_uid, path.stat().st_gid) == (1234, 1234)

    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "chown", refuse)
    assert put(path) == ("its owner or group could not be kept: it is yours now",)


# -- streams that fail


def run(*words: object, **how: object) -> subprocess.CompletedProcess[str]:
    code = "from annotate.start import main; main()"
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | how
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", code, *map(str, words)],
        encoding="utf-8",
        check=False,
        timeout=120,
        **streams,  # type: ignore[call-overload]
    )


def closed(number: int) -> Callable[[], None]:
    return lambda: os.close(number)


@pytest.mark.parametrize("how", ["full", "closed"])
def test_a_report_that_cannot_be_printed_once_the_file_is_written_has_its_own_status(how: str, path: Path) -> None:
    out = path.with_name("out.musicxml")
    with Path("/dev/full").open("w") as full:
        streams = {"stdout": full} if how == "full" else {"preexec_fn": closed(1)}
        done = run("annotate", path, "-o", out, **streams)
    assert done.returncode == console.WRITTEN_UNTOLD == 3 and out.exists()
    assert done.stderr.startswith(f"ventwise: written: {out}; but the report of it cannot be printed")
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("how", ["full", "closed"])
@pytest.mark.parametrize(("command", "expected"), [("check", 0), ("annotate", 0), ("strip", 0), ("none", 2)])
def test_a_standard_error_that_fails_changes_nothing(command: str, expected: int, how: str, path: Path) -> None:
    out = path.with_name("out.musicxml")
    words = [command, path, *([] if command in ("check", "none") else ["-o", out])]
    with Path("/dev/full").open("w") as full:
        streams = {"stderr": full} if how == "full" else {"preexec_fn": closed(2)}
        done = run(*words, **streams)
    assert done.returncode == expected
    assert out.exists() == (command in ("annotate", "strip"))


def test_all_streams_closed_is_survived_and_nothing_of_ours_gets_their_numbers(path: Path) -> None:
    out = path.with_name("out.musicxml")

    def close_all() -> None:
        for number in range(3):
            os.close(number)

    done = run("strip", path, "-o", out, preexec_fn=close_all)
    assert done.returncode == 0 and out.read_bytes() == SCORE


@pytest.mark.parametrize("words", [["--help"], ["check", "--help"], ["flute", "list", "--help"]])
def test_help_that_cannot_be_printed_is_no_fault_of_ours(words: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = run(*words, stdout=full)
    assert done.returncode == 2
    assert done.stderr == "ventwise: the result cannot be printed (No space left on device): expected room for it\n"


# Stops once at the import of a module.
IMPORTING = """
import sys, time
from annotate.start import main
class Slow:
    def find_spec(self, name, path=None, target=None):
        if name == self.wanted:
            self.wanted = ""
            print("here", flush=True)
            time.sleep(60)
slow = Slow()
slow.wanted = sys.argv.pop(1)
sys.meta_path.insert(0, slow)
main()
"""


@pytest.mark.parametrize("module", ["click", "annotate.findings", "numpy", "numpy.linalg"])
def test_a_run_that_is_stopped_while_it_imports_shows_no_traceback(module: str, path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", IMPORTING, module, "check", str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )
    assert process.stdout is not None and process.stdout.readline() == "here\n"
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 2 and err.startswith("ventwise: interrupted") and err.count("\n") == 1


# The signal comes while Python runs a callback out of which nothing can be raised.
CALLED_BACK = """
import os, signal, sys, time, weakref
import annotate.pipeline as pipeline
from annotate.start import main
class Thing:
    pass
def wait(*_, **__):
    thing = Thing()
    kept = weakref.ref(thing, lambda _: os.kill(os.getpid(), signal.SIGINT))
    del thing
    time.sleep(30)
pipeline.look = wait
main()
"""


def test_a_signal_that_comes_in_a_callback_is_not_lost_and_shows_no_traceback(path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", CALLED_BACK, "check", str(path)],
        check=False,
        capture_output=True,
        encoding="utf-8",
        timeout=25,
    )
    assert done.returncode == 2 and done.stderr.startswith("ventwise: interrupted") and done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "told", "quiet"), [([], "1", True), (["--quiet"], "", True), ([], "", False), ([], "0", False)]
)
def test_quiet_is_known_before_anything_is_imported(
    words: list[str], told: str, quiet: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("VENTWISE_QUIET", told)
    assert console.asked_to_be_quiet(["check", "a.mxl", *words]) == quiet


# The signal comes when the command has done its work, at the very end of Python.
AT_THE_END = """
import atexit, os, signal
from annotate.start import main
for one in (signal.SIGINT, signal.SIGTERM):
    atexit.register(os.kill, os.getpid(), one)
main()
"""


def test_a_signal_that_comes_when_the_work_is_done_changes_nothing(path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", AT_THE_END, "strip", str(path), "--in-place"],
        check=False,
        capture_output=True,
        encoding="utf-8",
    )
    assert (done.returncode, done.stderr.count("\n")) == (0, 1) and done.stderr.startswith("written: ")


def test_a_signal_waits_until_what_must_be_whole_is_done() -> None:
    done = []
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # another test may have left its own
    try:
        with pytest.raises(KeyboardInterrupt), uninterrupted():
            signal.raise_signal(signal.SIGINT)
            done.append(1)
    finally:
        signal.signal(signal.SIGINT, before)
    assert done == [1]


def test_the_statuses_are_explained() -> None:
    told = CliRunner().invoke(cli, ["explain", "status"], standalone_mode=False).stdout
    assert [line[:2] for line in told.splitlines() if not line.startswith(" ")] == ["0:", "1:", "2:", "3:"]


# -- progress


def test_long_work_gives_signs_of_life_where_no_terminal_shows_them(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(console, "_EVERY_S", 0.02)
    for quiet in (False, True):
        work = console.Run(quiet=quiet)
        work.show("demand", 3, 80)
        with work.signs_of_life():
            time.sleep(0.3)
        told = capsys.readouterr().err
        assert ("ventwise: at work for 0 s, demand 3 of 80\n" in told) is not quiet and (told == "") is quiet


def test_quiet_is_heard_by_the_run(path: Path) -> None:
    for words in ([], ["--quiet"]):
        work = console.Run()
        CliRunner(env={"VENTWISE_QUIET": ""}).invoke(cli, ["check", str(path), *words], standalone_mode=False, obj=work)
        assert work.quiet is bool(words) and work.stage == "demand 1 of 1"


def test_a_command_that_waits_gives_no_signs_of_life(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("annotate.watching.saves", lambda _: iter(()))
    work = console.Run()
    CliRunner(env={"VENTWISE_QUIET": ""}).invoke(cli, ["watch", str(path)], standalone_mode=False, obj=work)
    assert work.quiet


def test_a_terminal_shows_a_counter_unless_it_is_to_be_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    for quiet in (False, True):
        told: list[str] = []
        stream = SimpleNamespace(isatty=lambda: True, write=told.append, flush=lambda: None)
        monkeypatch.setattr(sys, "stderr", stream)
        work = console.Run(quiet=quiet, begun=time.monotonic() - 3.0)
        work.show("demand", 1, 2)
        work.show("open-hole-b", 1, 4)
        monkeypatch.undo()
        assert (
            told == []
            if quiet
            else told
            == [
                "\r[########        ] demand 1 of 2\x1b[K",
                "\r[####            ] computing all that open-hole-b can sound, once: 25 %\x1b[K",
            ]
        )


def test_what_stands_at_a_place_is_told_by_its_contents(tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    assert standing(one) == ""
    one.write_bytes(b"x")
    two.write_bytes(b"y")
    assert standing(one) != standing(two)
