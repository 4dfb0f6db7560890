"""Planning every note of a long part beside music21 parsing its file: `python tests/benchmarks/planning.py [NOTES]`.

Processor time of one process, the best of three; the part is random steps over three octaves with repeats, made up here."""

import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import music21

from annotate.choosing.desk import Desk
from annotate.choosing.passage import planned
from annotate.reading.read import read_score
from fingering_db.instrument import load
from fingering_db.model import model

_TIMES = 3
_BAR = 8


def score(notes: int, seed: int = 1) -> bytes:
    """Eighths in random steps from C4 to C7; every tenth bar a repeat of the four before it."""
    rng = random.Random(seed)
    midi, bars = 72, []
    for bar in range(notes // _BAR):
        told = []
        for _ in range(_BAR):
            midi = min(max(midi + rng.choice((-4, -3, -2, -1, 1, 2, 3, 4)), 60), 96)
            pitch = music21.pitch.Pitch(midi)
            alter = f"<alter>{int(pitch.alter)}</alter>" if pitch.alter else ""
            told.append(
                f"<note><pitch><step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave></pitch>"
                "<duration>1</duration><voice>1</voice><type>eighth</type></note>"
            )
        first = "<attributes><divisions>2</divisions></attributes>" if not bar else ""
        if bar % 10 == 5:
            first += '<barline location="left"><repeat direction="forward"/></barline>'
        last = '<barline location="right"><repeat direction="backward"/></barline>' if bar % 10 == 9 else ""
        bars.append(f'<measure number="{bar + 1}">{first}{"".join(told)}{last}</measure>')
    head = '<score-part id="P1"><part-name>Flute</part-name></score-part>'
    text = f'<score-partwise version="4.0"><part-list>{head}</part-list><part id="P1">{"".join(bars)}</part></score-partwise>'
    return text.encode()


def best(work: Callable[[], object]) -> float:
    """Least processor time of a few runs [s]."""
    times = []
    for _ in range(_TIMES):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def main(notes: int) -> None:
    """Print both times and their ratio."""
    data = score(notes)
    (part,) = read_score(data).parts
    desk = Desk("open-hole-b", model(load("open-hole-b")), 440.0)
    planning = best(lambda: planned(part, (), lambda _: desk))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.musicxml"
        path.write_bytes(data)
        parsing = best(lambda: music21.converter.parse(path, forceSource=True))
    told = f"planning {len(part.events)} notes {planning:.2f} s, music21's parse of them {parsing:.2f} s"
    print(f"{told}: ratio {planning / parsing:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
