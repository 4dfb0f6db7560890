"""An accepted file takes memory in proportion to its size, measured at three sizes on the real command."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

MB = 1 << 20
TIMES, BESIDE = 12, 150 * MB  # bytes of memory for a byte of the file, and what the program itself may take
NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
MUSIC: dict[str, Callable[[int], str]] = {
    "notes in one bar": lambda size: NOTE * (size // len(NOTE)),
    "bars of notes": lambda size: (NOTE * 4 + "</measure><measure>") * (size // (4 * len(NOTE) + 19)),
    "elements": lambda size: "<a/>" * (size // 4),
    "attributes": lambda size: "<a " + " ".join(f"a{n:x}=''" for n in range(size // 10)) + "/>",
    "one comment": lambda size: f"<!--{'x' * size}-->",
    "directions": lambda size: "<direction/>" * (size // 12),
}


def score(music: str) -> str:
    """A score of one bar: a note, then this."""
    return (
        '<?xml version="1.0"?>\n<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
        f"{NOTE}{music}</measure></part></score-partwise>\n"
    )


# Linux counts for a program what the process held that started it. One that holds little stands between, so that what the
# tests have taken so far is not counted for ours.
BETWEEN = """
import os, sys
child = os.fork()
if not child:
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    entry = "from annotate.start import main; main()"
    os.execv(sys.executable, [sys.executable, "-c", entry, "check", sys.argv[1]])
_, status, used = os.wait4(child, 0)
print(os.waitstatus_to_exitcode(status), used.ru_maxrss)
"""


def peak(path: Path) -> int:
    """Bytes of memory that `check` takes at most."""
    done = subprocess.run([sys.executable, "-c", BETWEEN, str(path)], stdout=subprocess.PIPE, check=True)
    code, most = map(int, done.stdout.split())
    assert code in (0, 1)
    return most * (1 if sys.platform == "darwin" else 1024)


@pytest.mark.skipif(not hasattr(os, "wait4"), reason="memory is told by wait4")
def test_what_the_tests_hold_is_not_counted_and_what_the_file_takes_is(tmp_path: Path) -> None:
    held = b"x" * (400 * MB)
    small, large = tmp_path / "small.musicxml", tmp_path / "large.musicxml"
    for path, size in (small, 0), (large, MB // 4):
        path.write_text(score("<a/>" * size))
    assert peak(small) < BESIDE < len(held)
    assert peak(large) > peak(small) + MB


@pytest.mark.skipif(not hasattr(os, "wait4"), reason="memory is told by wait4")
@pytest.mark.parametrize(
    "kind", [kind if kind == "elements" else pytest.param(kind, marks=pytest.mark.slow) for kind in MUSIC]
)
def test_memory_stays_in_proportion_to_the_file(kind: str, tmp_path: Path) -> None:
    for size in (MB // 4, MB // 2, MB):
        path = tmp_path / "a.musicxml"
        path.write_text(score(MUSIC[kind](size)))
        assert peak(path) <= TIMES * path.stat().st_size + BESIDE
