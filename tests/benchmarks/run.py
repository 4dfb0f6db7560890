"""Benchmarks: `python tests/benchmarks/run.py` prints the table, `--readme` also puts it into README.md; some five minutes.

Every figure stands beside a baseline measured in the same run on the same machine; quote the ratio, not the seconds. Baselines:
the honest one, a vectorised projection of every sound (projection.py), alternating with what it is compared with; a general
two-port library (scikit-rf) cascading one fingering at a time; `--version` and music21 parsing the same file; the bare
interpreter. The run has a cache folder of its own, empty at first, in which each flute is computed once, and that is timed."""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from importlib.metadata import version as installed_version
from pathlib import Path
from statistics import median

import numpy as np
import skrf
from readme import put_if_asked

from fingering_db.acoustics.tube import TwoPort
from fingering_db.instrument import load as shipped
from fingering_db.mechanism import OPEN
from fingering_db.model import Model, model
from fingering_db.pitch import Pitch
from fingering_db.ranking import find
from fingering_db.survey import atlas

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))
FLUTES = ("open-hole-b", "vented-b")
CHORDS = ["C5 D6", "B4 C#6", "C#5 F#5", "A4 A5", "D5 C#6", "E5 F6", "G4 D6", "F4 C6", "B4 G5", "C5 G6"]


def once(action: Callable[[], object]) -> float:
    """Seconds."""
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def timed(action: Callable[[], object], runs: int) -> float:
    """Median seconds of some runs after one that does not count."""
    action()
    return median(once(action) for _ in range(runs))


def timed_beside(action: Callable[[], object], baseline: Callable[[], object], runs: int) -> tuple[float, float]:
    """Median seconds of an action and of its baseline, in turn, so that both see the same load of the machine."""
    action()
    pairs = [(median(once(action) for _ in range(5)), once(baseline)) for _ in range(runs)]
    return median(pair[0] for pair in pairs), median(pair[1] for pair in pairs)


def pitches(text: str) -> tuple[Pitch, ...]:
    return tuple(Pitch.parse(name) for name in text.split())


def search_rows(flute: Model) -> list[tuple[str, str, str]]:
    from projection import project

    atlas(flute)
    asked = [pitches(text) for text in CHORDS]
    hz = [np.array([pitch.hz() for pitch in chord]) for chord in asked]
    spare = flute.instrument.lip.spare_mm * 1e-3
    laws = [flute.flute.lip_law_m(one) for one in hz]
    bounds = [(float(law.min()) - spare, float(law.max()) + spare) for law in laws]
    networks = skrf_networks(flute, hz[0])
    ranked, honest = timed_beside(
        lambda: [find(flute, chord, 30.0, limit=10) for chord in asked],
        lambda: [project(flute, one, 30.0, bound) for one, bound in zip(hz, bounds, strict=True)],
        3,
    )
    cascade = timed(lambda: skrf.network.cascade_list(networks), 5) * len(flute.reach.placements) * len(CHORDS)
    per_chord, name = 1e3 / len(CHORDS), flute.instrument.name
    return [
        (
            f"{name}: a chord against {len(flute.reach.placements):,} fingerings, ranked (mean of ten)",
            f"1/{honest / ranked:.0f} of the projection ({ranked * per_chord:.1f} ms against {honest * per_chord:.0f})",
            f"vectorised numpy projection, not ranked (a scikit-rf cascade for each fingering: 1/{cascade / ranked:,.0f})",
        )
    ]


def skrf_networks(flute: Model, hz: np.ndarray) -> list[skrf.Network]:
    """The pieces of ONE fingering at the three frequencies each target needs, as scikit-rf networks; not timed."""
    freq = np.sort(np.concatenate([hz * 1.017, hz, hz / 1.017]))
    physics = flute.flute
    elements, wave = physics.elements(freq), physics.body_wave(freq)
    pieces = [physics.head_two_port(freq)]
    for index, element in enumerate(elements):
        if index and physics.spacing_m()[index] > 0:
            pieces.append(wave.along(physics.spacing_m()[index]))
        state = np.array([OPEN], dtype=np.uint8)
        pieces.append(TwoPort(*(entry[0] for entry in element.two_port(state))))
    band = skrf.Frequency.from_f(freq, unit="Hz")
    chains = [np.moveaxis(np.array([[p.a, p.b], [p.c, p.d]]), 2, 0) for p in pieces]
    return [skrf.Network(frequency=band, s=skrf.network.a2s(chain, 1e6), z0=1e6) for chain in chains]


def command(*words: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, *words], check=False, capture_output=True)


def ventwise(*words: str) -> Callable[[], object]:
    return command("-c", "from annotate.cli import main; main()", *words)


def parsed(path: Path) -> float:
    """Seconds of music21's parse of a file, its start included, the best of three."""
    parse = command("-c", f"import music21; music21.converter.parse({str(path)!r}, forceSource=True)")
    return min(once(parse) for _ in range(3))


def solo_rows(folder: str) -> list[tuple[str, str, str]]:
    """Whole processes on invented solos, everything computed once before."""
    from solo import solo

    tasks = [
        ("check of a 48-bar solo with 80 varied demands", solo(48, 80, 80), "open-hole-b"),
        ("check of 64 demands, chords and slides, on vented-b-slide", solo(40, 64, 64), "vented-b-slide"),
        ("check of 1,500 demands, 300 different", solo(500, 1500, 300), "open-hole-b"),
    ]
    version, rows = min(once(ventwise("--version")) for _ in range(3)), []
    for what, text, name in tasks:
        path = Path(folder) / f"{len(rows)}.musicxml"
        path.write_text(text, encoding="utf-8")
        seconds, megabytes = min(measured("check", str(path), "--flute", name) for _ in range(3))
        parse = parsed(path)
        beside = f"`--version` ({version:.2f} s) and music21's parse of the file ({parse:.2f} s)"
        told = f"{seconds / (version + parse):.1f} times ({seconds:.1f} s, peak {megabytes:.0f} MB)"
        rows.append((f"{what}, whole process", told, beside))
    return rows


def score_rows(folder: str) -> list[tuple[str, str, str]]:
    from big_score import BARS, NOTES_A_BAR, PARTS, big_score

    path = Path(folder) / "big.musicxml"
    path.write_text(big_score(), encoding="utf-8")
    ours, theirs = timed(ventwise("check", str(path)), 3), parsed(path)
    what = f"check of {PARTS} parts, {PARTS * BARS * NOTES_A_BAR:,} notes, whole process"
    return [(what, f"{ours / theirs:.2f} of it ({ours:.1f} s)", f"music21's parse of the file ({theirs:.1f} s)")]


def start_rows() -> list[tuple[str, str, str]]:
    bare, helped = timed(command("-c", "pass"), 11), timed(ventwise("--help"), 11)
    return [("ventwise --help", f"{helped:.2f} s", f"the bare interpreter ({bare:.2f} s)")]


def first_rows(name: str) -> list[tuple[str, str, str]]:
    """A chord in a process of its own, by the operating system's account: once with nothing computed before, then again."""
    alone = measured("--version")
    first = measured("find", "C5", "D6", "--flute", name)
    again = min(measured("find", "C5", "D6", "--flute", name) for _ in range(3))
    beside = f"`--version` ({alone[0]:.2f} s, {alone[1]:.0f} MB)"
    return [
        (f"{name}: first use, find, whole process", f"{first[0]:.0f} s, peak {first[1]:.0f} MB", beside),
        (f"{name}: find again, whole process", f"{again[0]:.2f} s, peak {again[1]:.0f} MB", beside),
    ]


def measured(*words: str) -> tuple[float, float]:
    """Seconds, and peak memory [MB], of a command in a process of its own."""
    script = (
        f"import sys; sys.argv = {['ventwise', *words]!r}\nfrom annotate.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        # Not getrusage, whose peak begins with that of the process that started this one.
        "print(open('/proc/self/status').read().split('VmHWM:')[1].split()[0])"
    )
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    return time.perf_counter() - start, int(done.stdout.split()[-1]) / 1024.0


def table() -> str:
    """Raises PackageNotFoundError where ventwise is not installed: `--version` would be timed as it fails."""
    installed_version("ventwise")
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        # As for somebody who uses it: modules are compiled once.
        os.environ |= {"XDG_CACHE_HOME": folder, "PYTHONUTF8": "1", "PYTHONPYCACHEPREFIX": folder}
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        first = [row for name in FLUTES for row in first_rows(name)]
        rows = [row for name in FLUTES for row in search_rows(model(shipped(name)))]
        rows += [*solo_rows(folder), *first, *score_rows(folder), *start_rows()]
    lines = ["| what | measured | beside the baseline of the same run |", "|---|---|---|"]
    when = f"One run on {os.cpu_count()} cores, load {load:.1f} before it, {time.strftime('%Y-%m-%d')}."
    return "\n".join([when, "", *lines, *(f"| {one} | {two} | {three} |" for one, two, three in rows)])


def main() -> None:
    made = table()
    print(made)
    put_if_asked(benchmarks=made)


if __name__ == "__main__":
    main()
