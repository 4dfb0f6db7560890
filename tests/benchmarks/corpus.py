"""How scores by other people are read, all parts as if they were for the flute: music21's corpus and the suite it carries, none
of which holds a multiphonic. `python tests/benchmarks/corpus.py` prints the table (some minutes), `--readme` also puts it into
README.md."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import music21
from readme import put_if_asked

from annotate.decision import Status
from annotate.demand import Kind
from annotate.files import container
from annotate.findings import InputError
from annotate.forms import form_of
from annotate.pipeline import Options, look
from annotate.reading.read import read_headings
from fingering_db.pitch import Pitch

MUSIC21 = Path(music21.__file__).parent
LOWEST, HIGHEST = Pitch.parse("B3").midi, Pitch.parse("D7").midi


def corpus() -> list[Path]:
    """Every MusicXML file of music21's corpus."""
    return sorted(path for end in ("mxl", "xml", "musicxml") for path in (MUSIC21 / "corpus").rglob(f"*.{end}"))


def suite() -> list[Path]:
    """The suite of small files for importers."""
    return sorted((MUSIC21 / "musicxml" / "lilypondTestSuite").glob("*.xml"))


@dataclass
class Tally:
    """What was read. chords: by reading; unplayable: kind, place and pitches of what lies inside B3 to D7 (sounding) and is."""

    counts: Counter[str] = field(default_factory=Counter)
    multiphonics: list[str] = field(default_factory=list)
    unplayable: list[tuple[Kind, str]] = field(default_factory=list)

    def of(self, *kinds: Kind) -> list[str]:
        return [told for kind, told in self.unplayable if kind in kinds]


def judge(path: Path, tally: Tally) -> None:
    """Read a score, all of its parts."""
    try:
        headings = read_headings(form_of(container.load(path), program="").meaning())
        result = look(path, Options(parts=tuple(str(part.number) for part in headings.parts))).result
    except InputError:
        tally.counts["refused"] += 1
        return
    tally.counts["scores"] += 1
    tally.counts["parts"] += len(headings.parts)
    tally.counts["undecided"] += len(result.undecided)
    for decision in result.decisions:
        demand = decision.demand
        told = f"{path.name}, {demand.place}: {' '.join(map(str, demand.pitches))}"
        if demand.kind in (Kind.MULTIPHONIC, Kind.TREMOLO, Kind.TIMBRAL_TRILL):
            tally.multiphonics.append(told)
        inside = all(LOWEST <= pitch.midi <= HIGHEST for pitch in demand.sounding)
        if inside and decision.status == Status.UNPLAYABLE:
            tally.unplayable.append((demand.kind, told))


def judged(paths: Iterable[Path]) -> Tally:
    """All of some scores."""
    tally = Tally()
    for path in paths:
        judge(path, tally)
    return tally


def table(tallies: dict[str, Tally]) -> str:
    """Counts as a table in Markdown."""
    lines = [
        "| scores | read (refused) | parts | multiphonics | undecided chords | unplayable notes | microtones | glissandi |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, one in tallies.items():
        count = one.counts
        cells = [
            f"{count['scores']:,} ({count['refused']})",
            f"{count['parts']:,}",
            str(len(one.multiphonics)),
            f"{count['undecided']:,}",
            *(str(len(one.of(kind))) for kind in (Kind.NOTE, Kind.MICROTONE, Kind.GLISSANDO)),
        ]
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


if __name__ == "__main__":
    results = {"music21's corpus": judged(corpus()), "suite for importers": judged(suite())}
    made = table(results)
    print(made)
    for result in results.values():
        for told in (*result.multiphonics, *(f"{kind}: {text}" for kind, text in result.unplayable)):
            print(told)
    put_if_asked(corpus=made)
