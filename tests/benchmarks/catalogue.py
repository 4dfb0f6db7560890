"""The catalogues of two flutes: `python tests/benchmarks/catalogue.py` makes them and prints the figures, `--readme` also puts
these into README.md and the map of the difference into examples/researcher. Atlases that are not there are made before."""

import csv
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from readme import put_if_asked

ROOT = Path(__file__).parents[2]
FLUTES = ("open-hole-b", "vented-b")
PICTURE = ROOT / "examples/researcher/what-five-vents-add.svg"


def made(flutes: tuple[str, ...], folder: Path) -> tuple[float, float]:
    """Seconds of processor time and of the clock that the command takes for these flutes."""
    words = [word for name in flutes for word in ("--flute", name)]
    command = [sys.executable, "-c", "from annotate.cli import main; main()", "catalogue", *words, "-o", str(folder)]
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    subprocess.run(command, check=True, cwd=ROOT, env=os.environ | {"VENTWISE_DATA": ""}, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used, time.monotonic() - begun


def rows_of(path: Path) -> int:
    """Rows of a table below its header."""
    with path.open(encoding="utf-8") as file:
        return sum(1 for _ in file) - 1


def figures(folder: Path) -> list[str]:
    """The table for README.md."""
    lines = [
        "| flute | sets of notes on all fingerings | different dyads | processor time, atlas there |",
        "|---|---|---|---|",
    ]
    for name in FLUTES:
        used, clock = made((name,), folder / name)
        sets, dyads = (rows_of(folder / name / f"{name}-{what}.csv") for what in ("all", "dyads"))
        lines.append(f"| {name} | {sets:,} | {dyads:,} | {used:.0f} s ({clock:.0f} s by the clock) |")
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
    used, _ = made(FLUTES, folder / "both")
    with (folder / "both/difference.csv").open(encoding="utf-8") as file:
        counts = Counter(row["what"] for row in csv.DictReader(file))
    told = ", ".join(f"{counts[kind]:,} {text}" for kind, text in KINDS.items())
    peak = max(peak, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0)
    return [
        *lines,
        "",
        f"vented-b beside open-hole-b: {told}; both with their difference {used:.0f} s, at most {peak:.0f} MB.",
    ]


KINDS = {
    "only_second": "dyads that only the vents give",
    "easier": "easier",
    "alike": "alike",
    "harder": "harder",
    "only_first": "lost",
}


def main() -> int:
    # In processes of their own: what this one holds would count for those that it starts.
    for name in FLUTES:
        make = (
            f"from fingering_db import instrument, model, survey; survey.atlas(model.model(instrument.load({name!r})))"
        )
        subprocess.run([sys.executable, "-c", make], check=True, cwd=ROOT)
    with tempfile.TemporaryDirectory() as name:
        table = figures(Path(name))
        print("\n".join(table))
        put_if_asked(catalogue="\n".join(table))
        if "--readme" in sys.argv[1:]:
            shutil.copy(Path(name) / "both/difference.svg", PICTURE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
