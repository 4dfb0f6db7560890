"""Break thousands of small scores and look what happens: `python tests/fuzz/campaign.py --files 20000`.

Files are drawn and broken by number, so that `--only N` makes one of them again. The search among fingerings is replaced by
invented answers, for speed; every 200th file runs with the real one. Failures are kept in the folder given with --keep.
"""

import argparse
import multiprocessing
import re
import sys
import tempfile
import time
import traceback
from collections import Counter
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from random import Random

from check import ACCEPTED, DIFFERENT, REFUSED, Broken, TooLongError, invented_search, judge, time_limit
from hypothesis import HealthCheck, Phase, given, seed, settings
from mutate import mutated
from strategies import Made, scores

from annotate.files.writing import CARRIERS

POOL = 400  # valid scores that are broken in turn
LIMIT_S = 10.0  # processor time for one file; most take a few hundredths of a second
REAL_EVERY = 200
TRACEBACK, HANG = "traceback", "hang"
OUTCOMES = (ACCEPTED, REFUSED, TRACEBACK, HANG, DIFFERENT)


@dataclass(frozen=True)
class Outcome:
    """What became of one file. about: where a traceback arose, or which promise was broken, or why it was refused."""

    number: int
    outcome: str
    about: str = ""
    marks: bool = False
    seconds: float = 0.0


def pool(count: int = POOL) -> list[Made]:
    """The same valid scores at every call."""
    drawn: list[Made] = []

    @seed(1)
    @settings(
        max_examples=count,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(scores())
    def draw(made: Made) -> None:
        drawn.append(made)

    draw()
    return list(dict.fromkeys(drawn))


def file_of(number: int, valid: list[Made]) -> Made:
    """The file with this number; the first ones are the valid scores as they are."""
    if number < len(valid):
        return valid[number]
    random = Random(number)
    return mutated(random.choice(valid), random)


def outcome_of(number: int, made: Made, folder: Path) -> Outcome:
    """Judge one file within the time limit."""
    path = folder / f"fuzzed{made.suffix}"
    for old in folder.iterdir():
        old.unlink()
    path.write_bytes(made.data)
    real = number % REAL_EVERY == 0
    begun = time.process_time()
    try:
        with time_limit(LIMIT_S * (6 if real else 1)), nullcontext() if real else invented_search():
            verdict = judge(path, carrier=CARRIERS[number % 3], diagrams=("changes", "every", "first")[number // 3 % 3])
    except TooLongError:
        return Outcome(number, HANG, f"more than {LIMIT_S:g} s")
    except Broken as error:
        return Outcome(number, DIFFERENT, str(error))
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        return Outcome(number, TRACEBACK, f"{type(error).__name__}: {error} ({Path(last.filename).name}:{last.lineno})")
    reason = re.sub(r"'[^']*'|\d+|/\S+", "_", verdict.told)[:80]
    return Outcome(number, verdict.outcome, reason, verdict.marks, time.process_time() - begun)


_valid: list[Made] = []


def _some(numbers: range) -> list[Outcome]:
    with tempfile.TemporaryDirectory() as name:
        return [outcome_of(number, file_of(number, _valid), Path(name)) for number in numbers]


def run(files: int, processes: int, start: int = 0) -> list[Outcome]:
    """Outcomes of the files `start` to `start + files`, in parallel."""
    _valid[:] = pool()
    chunks = [range(at, min(at + 100, start + files)) for at in range(start, start + files, 100)]
    if processes == 1:
        return [one for chunk in chunks for one in _some(chunk)]
    with multiprocessing.get_context("fork").Pool(processes) as workers:
        return [one for some in workers.imap_unordered(_some, chunks) for one in some]


def table(outcomes: list[Outcome], seconds: float) -> str:
    """Counts, the ways in which it failed, and the commonest reasons for a refusal."""
    counts = Counter(one.outcome for one in outcomes)
    marked = sum(one.marks for one in outcomes)
    slowest = max(outcomes, key=lambda one: one.seconds)
    lines = [f"{len(outcomes)} files in {seconds:.0f} s; slowest {slowest.seconds:.2f} s (number {slowest.number})"]
    lines += [f"  {name:<12}{counts[name]:>8}" for name in OUTCOMES]
    lines.append(f"  {'with marks':<12}{marked:>8}   of those accepted")
    failures = [one for one in outcomes if one.outcome not in (ACCEPTED, REFUSED)]
    for (kind, about), count in Counter((one.outcome, one.about) for one in failures).most_common(40):
        first = min(one.number for one in failures if one.about == about)
        lines.append(f"  {count:>5} x {kind}: {about}; first number {first}")
    lines.append("commonest refusals:")
    refused = Counter(one.about for one in outcomes if one.outcome == REFUSED)
    lines += [f"  {count:>5} x {about}" for about, count in refused.most_common(12)]
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=20_000)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--start", type=int, default=0, help="number of the first file")
    parser.add_argument("--keep", type=Path, help="folder to keep files that fail in")
    parser.add_argument("--only", type=int, help="write the file with this number to standard output")
    asked = parser.parse_args()
    if asked.only is not None:
        sys.stdout.buffer.write(file_of(asked.only, pool()).data)
        return 0
    begun = time.monotonic()
    outcomes = run(asked.files, asked.processes, asked.start)
    print(table(outcomes, time.monotonic() - begun))
    failures = [one for one in outcomes if one.outcome not in (ACCEPTED, REFUSED)]
    if asked.keep:
        asked.keep.mkdir(exist_ok=True)
        for one in failures[:200]:
            made = file_of(one.number, _valid)
            (asked.keep / f"{one.number}{made.suffix}").write_bytes(made.data)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
