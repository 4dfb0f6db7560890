"""A large file of MuseScore's own: splicing marks in beside the program's own export, in one run; processor time."""

import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "musescore"))
import native_scores as scores

from annotate.musescore.native import splice_native
from annotate.musescore.program import export


def children_s() -> float:
    """Processor time of programs that were started and have ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Print the two times and their ratio."""
    if scores.PROGRAM is None:
        sys.exit(scores.ABSENT)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "score.mscx")
        data = scores.saved(scores.corpus_file("beethoven/opus133"), path)
        marks, _ = scores.places_in(data, path)
        begun = children_s()
        export(path, data, scores.PROGRAM)
        theirs = children_s() - begun
        begun = time.process_time()
        splice_native(data, marks)
        own = time.process_time() - begun
    print(
        f"{len(data):,} bytes, {len(marks):,} marks: splice {own:.2f} s, export {theirs:.2f} s, ratio {own / theirs:.2f}"
    )


if __name__ == "__main__":
    main()
