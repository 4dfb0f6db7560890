"""What a reader sees of our marks on the pages of notation programs: `python tests/programs/table.py` prints the table,
`--readme` puts it into the README. Programs that are not installed keep the row that stands there."""

from __future__ import annotations

import re
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from measure import Reading, read
from pages import DRAW, Pages
from programs import PROGRAMS, Program, Seen, ours, see
from readme import README, put_if_asked

from annotate.files.container import load
from annotate.files.stripping import strip
from annotate.files.writing import COLUMN, splice
from annotate.marking import FIRST, Style
from annotate.pipeline import Looked, Options, annotate, look, marks_of

ROOT = Path(__file__).parents[2]
EXAMPLES = (ROOT / "examples/composer/low-water.musicxml", ROOT / "examples/copyist/ferry-bells.mxl")
DENSE = tuple(sorted((Path(__file__).parent / "dense").glob("*.musicxml")))
LEFT = tuple(sorted((ROOT / "examples").glob("*/*-marked.m*l")))
"""Scores as the commands of the examples leave them, each with options of its own."""
MEASURED = (*(path.with_stem(path.stem.removesuffix("-marked")) for path in LEFT), *DENSE)


@dataclass(frozen=True)
class Tried:
    """One program with one carrier and one score: as it came, and marked. asked: our rows."""

    before: Seen
    after: Seen
    asked: tuple[str, ...]

    def missing(self) -> list[str]:
        """Rows that the program does not show beside what the score has of itself, each as often as it was written."""
        shown = list((Counter(self.after.texts) - Counter(self.before.texts)).elements())
        lost = []
        for row in self.asked:
            if row in shown:
                shown.remove(row)
            else:
                lost.append(row)
        return lost

    def new_complaints(self) -> set[str]:
        return set(self.after.complaints) - set(self.before.complaints)

    def same_music(self) -> bool:
        return self.after.notes == self.before.notes > 0 and self.after.music == self.before.music

    def found_again(self) -> bool:
        """After the program saved it: our rows are known, and taken out they leave the music and the words as saved."""
        saved = self.after.saved
        return sorted(ours(saved)) == sorted(self.asked) and strip(saved) != saved and not ours(strip(saved))


@cache
def scores(example: Path, carrier: str) -> tuple[bytes, bytes]:
    """The XML of an example, and the same with marks."""
    with tempfile.TemporaryDirectory() as name:
        target = Path(name) / f"marked{example.suffix}"
        looked = look(example, Options())
        annotate(looked, target, in_place=False, style=Style("every", carrier))
        return looked.data, load(target).data


@cache
def unmarked(program: Program, example: Path) -> Seen:
    return see(program, scores(example, COLUMN)[0])


@cache
def tried(program: Program, example: Path, carrier: str) -> Tried:
    """Ask a program about an example."""
    marked = scores(example, carrier)[1]
    return Tried(unmarked(program, example), see(program, marked), ours(marked))


STYLES = {"column (default)": Style(), "column, `--diagrams first`": Style(FIRST)}
"""What is measured on the pages."""


@cache
def looked_at(path: Path) -> Looked:
    return look(path, Options())


@cache
def drawn(program: str, path: Path, style: Style | None) -> tuple[bytes, Pages]:
    """The XML of a score, marked or as it is, and its pages."""
    looked = looked_at(path)
    data = looked.data
    if style:
        data = splice(data, [one for part in marks_of(looked, style) for one in part.marks], style.carrier)
    with tempfile.TemporaryDirectory() as name:
        return data, DRAW[program](data, Path(name))


def reading(program: str, path: Path, style: Style) -> Reading:
    data, after = drawn(program, path, style)
    return read(data, drawn(program, path, None)[1], after)


def reading_of(program: str, path: Path) -> Reading:
    """A marked score as it stands, beside what is left of it without our marks."""
    marked = load(path).data
    with tempfile.TemporaryDirectory() as before, tempfile.TemporaryDirectory() as after:
        return read(marked, DRAW[program](strip(marked), Path(before)), DRAW[program](marked, Path(after)))


def cell(program: Program, style: Style) -> str:
    """One field of the table, all scores together."""
    found = [reading(program.name, path, style) for path in MEASURED]

    def total(name: str) -> int:
        return sum(getattr(one, name) for one in found)

    told = [f"{total('whole')} of {total('marks')} marks whole and in place"]
    hits = [total(name) for name in ("with_ours", "with_notes", "with_others")]
    told.append(
        "no overlaps"
        if not any(hits)
        else "overlaps: {} with each other, {} with notes, {} with other signs".format(*hits)
    )
    told.append(f"up to {max(one.highest for one in found):.0f} staff spaces high")
    told += [f"{total('cut')} rows off the page"] if total("cut") else []
    told.append(f"{total('pages')} pages of {total('pages_before')}")
    return ", ".join(told)


def table(old: str = "") -> str:
    """The whole table. old: a table from which rows are kept of programs that are not here."""
    lines = [f"| program | {' | '.join(STYLES)} |", "|---" * (len(STYLES) + 1) + "|"]
    for program in PROGRAMS:
        kept = re.search(rf"^\| {re.escape(program.name)} \|.*$", old, re.M)
        if program.absent():
            lines.append(kept.group() if kept else f"| {program.name} |{' not tried |' * len(STYLES)}")
        else:
            lines.append(f"| {program.name} | {' | '.join(cell(program, style) for style in STYLES.values())} |")
    return "\n".join(lines)


if __name__ == "__main__":
    kept = README.read_text(encoding="utf-8") if "--readme" in sys.argv[1:] else ""
    made = table(kept.partition("<!-- programs -->")[2].partition("<!-- end programs -->")[0])
    print(made)
    put_if_asked(programs=made)
