"""Writers of the player's log, killed at random moments of writing: two at a time, one of them killed in each case.

Writes are made slow and come in random pieces, so that most kills fall into one. A writer says each trial through a pipe when
`add` has returned: what was said must be in the log, whole and once, whatever was killed before or after."""

import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random

from fingering_db import player_log
from fingering_db.fingering import Fingering
from fingering_db.pitch import Pitch
from fingering_db.trials import Trial

ADDS, AT_ONCE = 6, 5  # of the writer that goes on; trials of one `add`, as when a table is imported
CASES_OF_A_FILE = 40
_LONGEST_S = 20.0


def cases(numbers: range, folder: Path) -> Iterator[tuple[int, str, str]]:
    """(number, outcome, about it) of each case; several in a row share a log."""
    said: dict[str, Trial] = {}
    where = folder / player_log.NAME
    for number in numbers:
        if number % CASES_OF_A_FILE == 0 or number == numbers.start:
            where.unlink(missing_ok=True)
            said = {}
        random = Random(number)
        writers = [_writer(where, random.randrange(2**30), count) for count in (1000, ADDS)]
        time.sleep(random.uniform(0.0, 0.02))
        os.kill(writers[0][0], signal.SIGKILL)
        hung = [not _ended(child) for child, _ in writers]
        for _, end in writers:
            with os.fdopen(end, "rb") as pipe:
                said |= {one.id: one for one in player_log._decoded(pipe.read()).trials}
        if any(hung):
            yield number, "hang", ""
            continue
        yield number, *_judged(where, said)


def _judged(where: Path, said: dict[str, Trial]) -> tuple[str, str]:
    log = player_log.read(where)
    found = {one.id: one for one in log.trials}
    if len(found) != len(log.trials):
        return "bytes lost", "a trial twice"
    lost = [one for name, one in said.items() if found.get(name) != one]
    if lost:
        return "bytes lost", f"{len(lost)} of {len(said)} are not there as they were said"
    # At most the beginning of one line for each kill so far; none is ever taken for a trial.
    return (
        "killed in a line" if log.left_aside or not where.read_bytes().endswith(b"\n") else "killed between lines"
    ), ""


def _writer(where: Path, seed: int, count: int) -> tuple[int, int]:
    begin, end = os.pipe()
    child = os.fork()
    if child:
        os.close(end)
        return child, begin
    try:
        os.close(begin)
        _write_on(where, Random(seed), count, end)
    finally:
        os._exit(0)


def _write_on(where: Path, random: Random, count: int, say: int) -> None:
    write = os.write

    def slow(handle: int, data: bytes) -> int:
        if handle == say:
            return write(handle, data)
        done = write(handle, bytes(data)[: random.randrange(1, 200)])
        time.sleep(random.uniform(0.0, 3e-4))
        return done

    os.write = slow  # type: ignore[assignment]
    for number in range(count):
        trials = [_trial(random, number) for _ in range(random.choice([1, 1, AT_ONCE]))]
        for one in player_log.add(where, trials):
            write(say, player_log._line(one))


def _trial(random: Random, number: int) -> Trial:
    remark = "".join(random.choices('ab é"\\\n♯,', k=random.randrange(60)))
    name = f"{random.getrandbits(64):016x}"
    time_ = f"2026-05-02T19:30:{number % 60:02d}+00:00"
    fingering, pitches = Fingering.parse("T 2 3 | Eb"), (Pitch.parse("C5"), Pitch.parse("D6+12.5"))
    return Trial(name, time_, "ada", "open-hole-b", "", fingering, pitches, random.random() < 0.5, remark)


def _ended(child: int) -> bool:
    begun = time.monotonic()
    while time.monotonic() - begun < _LONGEST_S:
        if os.waitpid(child, os.WNOHANG)[0]:
            return True
        time.sleep(5e-4)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    print("a writer hung", file=sys.stderr)
    return False
