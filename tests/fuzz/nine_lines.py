"""The faults that the first attack found, asked of any tree of the program through its command: `python tests/fuzz/nine_lines.py
TREE`, of this one without TREE. On the state before they were mended (12f0263) every line fails; it takes some minutes.

Each has cases of its own among the tests; these were written in words that both states understand."""

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
SIGN = "\u2063"
NOTE = "<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>4</duration></note>"
CHORD = NOTE.format("C", 5) + NOTE.format("D", 6).replace("<note>", "<note><chord/>")
WORDS = "<direction><direction-type><words>{}</words></direction-type></direction>"
WHOLE = WORDS.format("multiphonic") + CHORD
MEMORY = 3 << 30
MAIN = "from annotate.cli import main\nmain()"


@dataclass(frozen=True)
class Run:
    """How a run of the command ended. status: -1 for none within its time."""

    status: int
    told: str
    seconds: float

    @property
    def is_clean(self) -> bool:
        """One line and no fault of the program."""
        return self.status >= 0 and not re.search("Traceback|fault of ventwise|memory does not suffice", self.told)


class Tree:
    """A tree of the program, a folder to work in, and a cache of its own."""

    def __init__(self, root: Path, folder: Path) -> None:
        self.root, self.folder = root, folder
        self.score, self.out = folder / "a.musicxml", folder / "out.musicxml"
        self.cache = folder / "cache"

    def write(self, body: str, head: str = "", bar: str = "1") -> None:
        self.score.write_text(score(body, head, bar), encoding="utf-8")

    def run(self, *words: object, before: str = "", streams: str = "", limit_s: float = 100.0) -> Run:
        code = f"{before}\n{MAIN}"
        command = ["sh", "-c", f'ulimit -v {MEMORY >> 10}; exec "$@" {streams}', "sh", sys.executable, "-c", code]
        environment = {**os.environ, "PYTHONPATH": str(self.root), "XDG_CACHE_HOME": str(self.cache)}
        begun = time.monotonic()
        try:
            done = subprocess.run(
                [*command, *map(str, words)], check=False, capture_output=True, encoding="utf-8", errors="replace",
                timeout=limit_s, env=environment, cwd=self.root,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return Run(-1, "", limit_s)
        return Run(done.returncode, done.stderr, time.monotonic() - begun)


def score(body: str, head: str = "", bar: str = "1") -> str:
    """One bar."""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n{head}<score-partwise version="3.1"><part-list><score-part id="P1">'
        f'<part-name>Flute</part-name></score-part></part-list><part id="P1"><measure number="{bar}"><attributes>'
        f"<divisions>1</divisions></attributes>{body}</measure></part></score-partwise>\n"
    )


def newer_work(tree: Tree) -> bool:
    """1: another program saves the score while it is written in place."""
    newer = score(f"{WHOLE}<!-- newer work -->")
    before = (
        f"import os\nreal, done = os.fsync, []\ndef later(handle):\n    if not done:\n        done.append(1)\n"
        f"        open({str(tree.score)!r}, 'w').write({newer!r})\n    return real(handle)\nos.fsync = later"
    )
    tree.write(WHOLE)
    tree.run("annotate", tree.score, "--in-place", before=before)
    return tree.score.read_text(encoding="utf-8") == newer


def budgets(tree: Tree) -> bool:
    """2: small files that grow: a default of an attribute, dots of a key, words in one direction."""
    default = f'<!DOCTYPE score-partwise [<!ATTLIST note zz CDATA "{"x" * 1_000_000}">]>'
    tree.write(NOTE.format("C", 5) * 3000, default)
    grown = tree.run("check", tree.score)
    file = tree.folder / "dots.toml"
    file.write_text(f"a{'.a' * 32_000} = 1\n", encoding="utf-8")
    dots = tree.run("flute", "check", file)
    tree.write(WORDS.format("a " * 2_000_000) + CHORD)
    words = tree.run("check", tree.score)
    return all(one.status == 2 and one.is_clean for one in (grown, dots, words))


def streams(tree: Tree) -> bool:
    """3: the file is written, and its report cannot be printed."""
    tree.write(WHOLE)
    full = tree.run("annotate", tree.score, "-o", tree.out, streams=">/dev/full")
    return full.status == 3 and tree.run("--help", streams=">/dev/full").is_clean


def faults(tree: Tree) -> bool:
    """4: notes out of an entity, a hole of no size."""
    notes = WHOLE.replace('"', "'")
    tree.write("&n;&n;", f'<!DOCTYPE score-partwise [<!ENTITY n "{notes}">]>')
    entity = tree.run("annotate", tree.score, "-o", tree.out)
    text = (tree.root / "fingering_db/data/instruments/closed-hole-c.toml").read_text(encoding="utf-8")
    file = tree.folder / "hole.toml"
    file.write_text(re.sub(r"diameter_mm = [0-9.]+", "diameter_mm = 1e-320", text, count=1), encoding="utf-8")
    hole = tree.run("flute", "check", file)
    return entity.is_clean and hole.is_clean and hole.status == 2


def cache(tree: Tree) -> bool:
    """5: one bit in what is kept, or a pipe under its name."""
    tree.write(WHOLE)
    small = "check", tree.score, "--flute", "closed-hole-c"
    tree.run(*small, limit_s=400)
    for at in (200, -200, -22, 30, -40):
        for path in (one for one in tree.cache.rglob("*") if one.is_file() and one.stat().st_size > 1000):
            damaged = bytearray(path.read_bytes())
            damaged[at] ^= 4
            path.write_bytes(damaged)
        if not tree.run(*small, limit_s=400).is_clean:
            return False
    for path in [one for one in tree.cache.rglob("*") if one.is_file() and one.stat().st_size > 1000]:
        path.unlink()
        os.mkfifo(path)
    return tree.run(*small, limit_s=60).is_clean


def left_behind(tree: Tree) -> bool:
    """6: what a killed run leaves is cleared by the next."""
    tree.write(WHOLE)
    tree.run(
        "strip", tree.score, "-o", tree.out, before="import os, signal\nos.fsync = lambda _: os.kill(os.getpid(), 9)"
    )
    tree.run("strip", tree.score, "-o", tree.folder / "other.musicxml")
    return not any(path.is_file() for path in tree.folder.glob(".*"))


def words_of_the_user(tree: Tree) -> bool:
    """7: what a user types between our signs stays."""
    tree.write(WORDS.format(f"{SIGN}dolce, with warmth{SIGN}") + CHORD)
    tree.run("strip", tree.score, "-o", tree.out)
    return "dolce" in tree.out.read_text(encoding="utf-8")


def pictures(tree: Tree) -> bool:
    """8: bar numbers in other digits: the second run knows the folder of the first."""
    tree.write(WHOLE, bar="\uff11\uff12")
    runs = [tree.run("annotate", tree.score, "-o", tree.out, "--pictures", tree.folder / "pictures") for _ in range(2)]
    return all(one.status in (0, 1) for one in runs)


def progress(tree: Tree) -> bool:
    """9: long work gives a sign of life where no terminal is."""
    tree.write(WHOLE)
    slow = "import time\nimport annotate.pipeline as p\nreal = p.look\np.look = lambda *a, **k: time.sleep(11) or real(*a, **k)"
    return bool(tree.run("check", tree.score, before=slow).told.strip())


LINES = (newer_work, budgets, streams, faults, cache, left_behind, words_of_the_user, pictures, progress)


def held(root: Path) -> Iterator[tuple[str, bool]]:
    """(line, whether it holds) for a tree of the program."""
    with tempfile.TemporaryDirectory() as name:
        tree = Tree(root, Path(name))
        for line in LINES:
            yield (line.__doc__ or "").strip(), line(tree)


if __name__ == "__main__":
    failed = 0
    for told, holds in held(Path(sys.argv[1]).resolve() if sys.argv[1:] else ROOT):
        print(f"{'holds ' if holds else 'FAILS '} {told}", flush=True)
        failed += not holds
    sys.exit(failed > 0)
