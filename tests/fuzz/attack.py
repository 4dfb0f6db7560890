"""Attacks by class, each with its number of cases: `python tests/fuzz/attack.py` runs the campaign, one class after another.

structure and archive: broken scores and broken archives, with every promise checked. cache: kept tables damaged in every
way. flute: broken flute files. kill and signal: runs ended at a random moment, then one more run. output: streams that are
full or closed. log: writers of the player's log that are killed. With --readme the figures go into README.md. Answers of the
search are invented for structure and archive, for speed; the runs of kill, signal and output are processes of their own, as the
installed command begins them.
"""

import argparse
import contextlib
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from unittest import mock

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

import killed_log
import numpy as np
from campaign import LIMIT_S, Outcome, file_of, outcome_of, pool
from check import ACCEPTED, REFUSED, TooLongError, time_limit
from readme import put_if_asked
from strategies import Made, packed

from annotate import instruments
from annotate.files.stripping import strip
from annotate.findings import InputError
from annotate.pipeline import Options, annotate, look, strip_file
from fingering_db import store
from fingering_db.instrument import DATA

CAMPAIGN = {
    "structure": 20_000,
    "archive": 2_000,
    "cache": 10_000,
    "flute": 3_000,
    "kill": 200,
    "signal": 100,
    "output": 60,
    "log": 1_000,
}
READY_EVERY = 100  # of flute files accepted: it is made ready to be asked then
FAILURES = ("traceback", "hang", "bytes lost", "orphan")
WHOLE, UNDONE = "written whole", "nothing written"

NOTE = "<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>4</duration></note>"
SCORE = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="3.1"><part-list><score-part id="P1">'
    '<part-name>Flute</part-name></score-part></part-list><part id="P1">'
    + "".join(
        f'<measure number="{bar}"><attributes><divisions>1</divisions></attributes><direction><direction-type><words>'
        f"multiphonic</words></direction-type></direction>{NOTE.format('C', 5)}"
        f"{NOTE.format('D', 6).replace('<pitch>', '<chord/><pitch>')}</measure>\n"
        for bar in range(1, 9)
    )
    + "</part></score-partwise>\n"
).encode()


@dataclass
class Tally:
    """What became of the cases of a class. failed: one line for each that broke a promise."""

    name: str
    cases: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    failed: list[str] = field(default_factory=list)
    seconds: float = 0.0

    def add(self, number: int, outcome: str, about: str = "") -> None:
        """One more case."""
        self.cases += 1
        self.outcomes[outcome] += 1
        if outcome in FAILURES:
            self.failed.append(f"{self.name} {number}: {outcome}: {about}")

    def line(self) -> str:
        """The class, its number of cases and what became of them."""
        told = ", ".join(f"{count} {outcome}" for outcome, count in sorted(self.outcomes.items()))
        return f"{self.name:<10}{self.cases:>7} cases in {self.seconds:.0f} s: {told}"


# -- scores and archives


def structure(tally: Tally, numbers: range) -> None:
    """Small scores broken in one to four ways."""
    valid = pool()
    with tempfile.TemporaryDirectory() as name:
        for number in numbers:
            _judged(tally, outcome_of(number, file_of(number, valid), Path(name)))


def archive(tally: Tally, numbers: range) -> None:
    """The bytes of an archive broken, its records more often than its contents."""
    whole = packed(SCORE)
    with tempfile.TemporaryDirectory() as name:
        for number in numbers:
            _judged(tally, outcome_of(number or 1, Made(_broken(whole, Random(number)), ".mxl"), Path(name)))


def _judged(tally: Tally, found: Outcome) -> None:
    if found.about.startswith("InputError: "):  # refused in one line, but only when it was to be written
        tally.add(found.number, REFUSED)
        return
    names = {"different": "bytes lost", "traceback": "traceback", "hang": "hang"}
    tally.add(found.number, names.get(found.outcome, found.outcome), found.about)


def _broken(data: bytes, random: Random) -> bytes:
    new = bytearray(data)
    places = [found.start() for found in re.finditer(rb"PK[\1-\7][\2-\x08]", data)]
    for _ in range(random.choice([1, 1, 2, 4])):
        at = random.choice(places) + random.randrange(60) if random.random() < 0.8 else random.randrange(len(new))
        at = min(at, len(new) - 1)
        new[at] = random.choice([new[at] ^ 1 << random.randrange(8), 0, 255, random.randrange(256)])
    if random.random() < 0.1:
        del new[random.randrange(len(new)) :]
    return bytes(new)


# -- kept tables


def cache(tally: Tally, numbers: range) -> None:
    """A kept table damaged, replaced or made another kind of entry: it is computed anew, whatever it is."""
    with tempfile.TemporaryDirectory() as name, mock.patch.object(store, "folder", lambda: Path(name)):
        right = {"a": np.arange(300.0) + 1j, "b": np.eye(4, dtype=np.uint8)}
        store.fetch("key", lambda: right)
        (path,) = Path(name).glob("*.arrays")
        whole = path.read_bytes()
        store.fetch("other", lambda: {"a": np.zeros(2)})
        (other,) = set(Path(name).glob("*.arrays")) - {path}
        for number in numbers:
            _damage(path, whole, other, Random(number))
            _fetched(tally, number, path, right)
            if path.is_dir():
                path.rmdir()
            path.write_bytes(whole)


def _damage(path: Path, whole: bytes, other: Path, random: Random) -> None:
    kind = random.randrange(12)
    new = bytearray(whole)
    if kind < 6:
        for _ in range(random.choice([1, 1, 3, 50])):
            new[random.randrange(len(new))] ^= 1 << random.randrange(8)
        path.write_bytes(new)
    elif kind == 6:
        path.write_bytes(whole[: random.randrange(len(whole))])
    elif kind == 7:
        path.write_bytes(random.choice([other.read_bytes(), whole + b"x", random.randbytes(500), whole[32:]]))
    elif kind == 8:
        path.write_bytes(whole[:32] + random.randbytes(random.randrange(2000)))
    else:
        path.unlink()
        if kind == 9:
            os.mkfifo(path)
        elif kind == 10:
            path.mkdir()
        else:
            path.symlink_to(random.choice(["/dev/zero", "/dev/full", str(other), "nowhere"]))


def _fetched(tally: Tally, number: int, path: Path, right: dict[str, np.ndarray]) -> None:
    try:
        with time_limit(LIMIT_S), _alarm(LIMIT_S):
            found = store.fetch("key", lambda: right)
    except TooLongError:
        tally.add(number, "hang")
        return
    except Exception as error:
        tally.add(number, "traceback", repr(error))
        return
    same = set(found) == set(right) and all(np.array_equal(found[name], right[name]) for name in right)
    orphan = any(each.name.startswith(".ventwise") for each in path.parent.iterdir())
    tally.add(number, "orphan" if orphan else "right" if same else "bytes lost")


class _alarm:
    def __init__(self, seconds: float) -> None:
        self._seconds = seconds

    def __enter__(self) -> None:
        def stop(*_: object) -> None:
            raise TooLongError

        self._before = signal.signal(signal.SIGALRM, stop)
        signal.setitimer(signal.ITIMER_REAL, self._seconds)

    def __exit__(self, *_: object) -> None:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, self._before)


# -- flute files

_NUMBERS = [
    "nan", "inf", "-inf", "1e-320", "1e308", "-1.0", "0.0", "1e9", "0x10", "true", '"x"', "[]", "{}", "9" * 30, "0.001",
    "4.0", "80.0", "19.0", "1.0", "300.0", "1979-05-27", "1e-5", "''", '"""', "[[[", "a.b",
]  # fmt: skip


def flute(tally: Tally, numbers: range) -> None:
    """Broken flute files; now and then one that is accepted is made ready to be asked."""
    text = (DATA / "instruments/open-hole-b.toml").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as name, mock.patch.object(store, "folder", lambda: Path(name)):
        path = Path(name) / "mine.toml"
        accepted = 0
        for number in numbers:
            path.write_bytes(_broken_flute(text, Random(number)))
            ready = accepted % READY_EVERY == 0
            try:
                with time_limit(LIMIT_S * 6), _alarm(LIMIT_S * 12):
                    _asked(path, ready)
                accepted += 1
            except TooLongError:
                tally.add(number, "hang")
            except InputError as error:
                tally.add(
                    number, REFUSED if all("\n" not in str(line) for line in error.args) else "traceback", str(error)
                )
            except Exception as error:
                tally.add(number, "traceback", repr(error))
            else:
                tally.add(number, "made ready" if ready else ACCEPTED)


def _asked(path: Path, ready: bool) -> None:
    if ready:
        instruments.verdict(str(path))
    else:
        with mock.patch.object(instruments, "model", side_effect=KeyboardInterrupt):
            try:
                instruments.verdict(str(path))
            except KeyboardInterrupt:
                return


def _broken_flute(text: str, random: Random) -> bytes:
    lines = text.splitlines()
    for _ in range(random.choice([1, 1, 1, 2, 3])):
        at = random.randrange(len(lines))
        kind = random.randrange(9)
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(at, lines[random.randrange(len(lines))])
        elif kind == 2:
            lines[at] = lines[at][: random.randrange(len(lines[at]) + 1)]
        elif kind == 3:
            lines[at] += random.choice(["#", '"', "]", "\t= 1", "\0", "é", "\u202e", " = ", ".a.b.c.d.e.f.g.h.i.j"])
        else:
            numbered = [place for place, line in enumerate(lines) if re.search(r"= -?[0-9.]+", line)]
            at = random.choice(numbered or [at])
            value = random.choice([*_NUMBERS, f"{random.uniform(0, 100):.3f}", f"{random.uniform(0, 700):.1f}"])
            found = list(re.finditer(r"(?<== )-?[0-9][0-9.]*", lines[at]))
            if found:
                one = random.choice(found)
                if kind > 5:  # a flute that may well be
                    value = f"{float(one[0]) * random.uniform(0.7, 1.3):.2f}"
                lines[at] = lines[at][: one.start()] + value + lines[at][one.end() :]
    data = "\n".join(lines).encode("utf-8", "surrogatepass")
    if random.random() < 0.05:
        data = data[: random.randrange(len(data))] + random.randbytes(3) + data[random.randrange(len(data)) :]
    return data


# -- runs that are ended


ROOT = Path(__file__).parents[2]
_ENVIRONMENT = {**os.environ, "VENTWISE_QUIET": "1"}
UNREAD = "1>unread"
BEFORE = ""
"""Lines that the process runs before the command: for tests of the attack itself."""


@dataclass(frozen=True)
class Ended:
    """A run of the command in a process of its own. code: its status, negative for the signal that ended it."""

    code: int
    told: str
    seconds: float


def ran(words: list[str], folder: Path, ending: int = 0, after: float = 0.0, streams: str = "") -> Ended:
    """Run the command in a process of its own, and send it a signal so many seconds after Python has begun it.

    streams: what a shell is to do with its streams, as `1>/dev/full 2>&-`; `1>unread` is a pipe that nobody reads."""
    told = folder.parent / "told"
    ready, begin = os.pipe()
    unread = _unread() if streams == UNREAD else os.open(os.devnull, os.O_WRONLY)
    code = f"{BEFORE}\nimport os\nos.write({begin}, b'x')\nfrom annotate.start import main\nmain()"
    command = [
        "sh",
        "-c",
        f'exec "$@" {"" if streams == UNREAD else streams}',
        "sh",
        sys.executable,
        "-c",
        code,
        *words,
    ]
    with told.open("wb") as errors:
        run = subprocess.Popen(command, stdout=unread, stderr=errors, pass_fds=(begin,), env=_ENVIRONMENT, cwd=ROOT)
    os.close(begin)
    os.close(unread)
    os.read(ready, 1)
    os.close(ready)
    begun = time.monotonic()
    if ending:
        with contextlib.suppress(subprocess.TimeoutExpired):
            run.wait(after)
        run.send_signal(ending)
    try:
        run.wait(LIMIT_S * 6)
    except subprocess.TimeoutExpired:
        run.kill()
        run.wait()
        return Ended(-999, "", time.monotonic() - begun)
    return Ended(run.returncode, told.read_text(encoding="utf-8"), time.monotonic() - begun)


def _unread() -> int:
    end, begin = os.pipe()
    os.close(end)
    return begin


def _jobs(folder: Path) -> Iterator[tuple[list[str], Path]]:
    score, out = folder / "a.musicxml", folder / "out.musicxml"
    yield ["annotate", str(score), "-o", str(out)], out
    yield ["annotate", str(score), "--in-place"], score
    yield ["annotate", str(score), "-o", str(out), "--pictures", str(folder / "pictures")], out
    yield ["strip", str(score), "-o", str(out)], out


def _ended(tally: Tally, numbers: range, endings: tuple[int, ...]) -> None:
    # A shell that runs this in its background has interrupts ignored, and those who are started inherit it.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "work"
        marked = _prepare(folder)
        usual: dict[int, float] = {}
        for number in numbers:
            random = Random(number)
            which = number % 4
            words, target = list(_jobs(folder))[which]
            _prepare(folder)
            if which not in usual:
                ran(words, folder)  # what is computed once is there then
                _prepare(folder)
                usual[which] = ran(words, folder).seconds
                _prepare(folder)
            before = target.read_bytes() if target.exists() else None
            new = marked if words[0] == "annotate" else SCORE
            done = ran(words, folder, random.choice(endings), random.uniform(0, 1.2 * usual[which]))
            outcome, about = _look_after(folder, done, target, before, new, killed=signal.SIGKILL in endings)
            tally.add(number, outcome, f"{' '.join(words[:1] + words[2:3])}: {about}")


def kill(tally: Tally, numbers: range) -> None:
    """Runs that are killed at a random moment."""
    _ended(tally, numbers, (signal.SIGKILL,))


def signals(tally: Tally, numbers: range) -> None:
    """Runs that are interrupted or told to end at a random moment, their imports included."""
    _ended(tally, numbers, (signal.SIGINT, signal.SIGTERM))


def _prepare(folder: Path) -> bytes:
    """A folder with the score alone; the score as it is with its marks."""
    folder.mkdir(exist_ok=True)
    for path in sorted(folder.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    score = folder / "a.musicxml"
    score.write_bytes(SCORE)
    if not hasattr(_prepare, "marked"):
        out = folder.parent / "marked.musicxml"
        annotate(look(score, Options()), out, in_place=False)
        _prepare.marked = out.read_bytes()  # type: ignore[attr-defined]
    return _prepare.marked  # type: ignore[attr-defined,no-any-return]


def _look_after(  # noqa: PLR0911 - one for each thing that may be wrong
    folder: Path, done: Ended, target: Path, before: bytes | None, new: bytes, *, killed: bool
) -> tuple[str, str]:
    """What became of the files, and after one more run."""
    if done.code == -999:
        return "hang", ""
    lines = [line for line in done.told.splitlines() if not line.startswith("written: ")]
    if "Traceback" in done.told or (not killed and len(lines) > 1):
        return "traceback", done.told
    now = target.read_bytes() if target.exists() else None
    if now not in (before, new) or strip((folder / "a.musicxml").read_bytes()) != SCORE:
        return "bytes lost", f"status {done.code}"
    if not killed and ((now == before) != (done.code == 2 or before == new)) and done.code >= 0:
        return "bytes lost", f"status {done.code}, written: {now != before}: {done.told}"
    if not killed and _orphans(folder):
        return "orphan", f"status {done.code}"
    again, pictures = folder / "again.musicxml", folder / "pictures"
    try:
        looked = look(folder / "a.musicxml", Options())
        annotate(looked, again, in_place=False, picture_folder=pictures if pictures.exists() else None)
    except InputError as error:
        return "bytes lost", f"the next run: {error}"
    if _orphans(folder):
        return "orphan", "after the next run"
    if not again.exists():
        return "bytes lost", "the next run wrote nothing"
    strip_file(again, folder / "bare.musicxml", in_place=False)
    if (folder / "bare.musicxml").read_bytes() != SCORE:
        return "bytes lost", "after the next run"
    return (UNDONE if now == before else WHOLE), ""


def _orphans(folder: Path) -> bool:
    return any(folder.rglob(".ventwise-*"))


# -- streams that fail


def output(tally: Tally, numbers: range) -> None:
    """Streams that are full, closed or read by nobody, in every combination with every command."""
    full = [" ".join(f"{one}>/dev/full" for one in which) for which in ((1,), (2,), (1, 2))]
    closed = [" ".join(f"{one}>&-" for one in which) for which in ((1,), (2,), (1, 2), (0, 1, 2))]
    faults = [*full, *closed, UNREAD]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "work"
        marked = _prepare(folder)
        for number in numbers:
            _prepare(folder)
            words, target = list(_jobs(folder))[number // len(faults) % 4]
            fault = faults[number % len(faults)]
            done = ran(words, folder, streams=fault)
            new = marked if words[0] == "annotate" else SCORE
            if "Traceback" in done.told or done.code not in (0, 1, 3):
                tally.add(number, "traceback", f"{done.code}: {done.told}")
            elif not target.exists() or target.read_bytes() != new:
                tally.add(number, "bytes lost", f"status {done.code}")
            else:
                tally.add(number, "orphan" if _orphans(folder) else f"status {done.code}")


# -- the player's log


def log(tally: Tally, numbers: range) -> None:
    """Two writers of one log, one of them killed at a random moment of writing."""
    with tempfile.TemporaryDirectory() as name:
        for case in killed_log.cases(numbers, Path(name)):
            tally.add(*case)


def gathered(lines: list[str]) -> list[Tally]:
    """The tallies of campaigns that were run in pieces, from what they printed; a class under one name."""
    found: dict[str, Tally] = {}
    for line in lines:
        piece = re.match(r"(\w+) +(\d+) cases in (\d+) s: (.*)", line)
        if piece:
            one = found.setdefault(piece[1], Tally(piece[1]))
            one.cases += int(piece[2])
            one.seconds += float(piece[3])
            one.outcomes.update({told.split(" ", 1)[1]: int(told.split(" ", 1)[0]) for told in piece[4].split(", ")})
    return list(found.values())


CLASSES: dict[str, Callable[[Tally, range], None]] = {
    "structure": structure, "archive": archive, "cache": cache, "flute": flute, "kill": kill, "signal": signals,
    "output": output, "log": log,
}  # fmt: skip


def run(name: str, count: int, begin: int = 0) -> Tally:
    """Run so many cases of a class."""
    tally = Tally(name)
    begun = time.monotonic()
    CLASSES[name](tally, range(begin, begin + count))
    tally.seconds = time.monotonic() - begun
    return tally


def table(tallies: list[Tally]) -> str:
    """The figures for README.md."""
    rows = [
        "| attack | cases | tracebacks | hangs | bytes lost | left behind after the next run |",
        "|---|---|---|---|---|---|",
    ]
    rows += [
        f"| {one.name} | {one.cases:,} | " + " | ".join(str(one.outcomes[kind]) for kind in FAILURES) + " |"
        for one in tallies
    ]
    return "\n".join(rows)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("classes", nargs="*", help=f"of {', '.join(CLASSES)}; all if none is named")
    parser.add_argument("--share", type=float, default=1.0, help="of the campaign's number of cases")
    parser.add_argument("--begin", type=int, default=0, help="number of the first case")
    parser.add_argument("--printed", type=Path, help="figures that runs in pieces printed, instead of running")
    parser.add_argument("--readme", action="store_true", help="put the figures into README.md")
    asked = parser.parse_args()
    os.environ["VENTWISE_QUIET"] = "1"
    tallies = []
    if asked.printed:
        tallies = gathered(asked.printed.read_text(encoding="utf-8").splitlines())
    for name in [] if asked.printed else asked.classes or CLASSES:
        tallies.append(run(name, max(1, round(CAMPAIGN[name] * asked.share)), asked.begin))
        print(tallies[-1].line(), *tallies[-1].failed[:20], sep="\n", flush=True)
    put_if_asked(attack=table(tallies))
    return 1 if any(one.failed for one in tallies) else 0


if __name__ == "__main__":
    sys.exit(main())
