"""How the chords of the generated scores are read: `python tests/benchmarks/readings.py` prints the table, `--readme` also puts
it into README.md. The scores were made by the hands that wrote the reader: the figures are in-sample."""

import sys
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from annotate.demand import Kind
from annotate.detecting.company import Companies
from annotate.detecting.detect import detect
from annotate.reading.flute_parts import find_flute_parts
from annotate.reading.read import read_score

sys.path.insert(0, str(Path(__file__).parent))

from generated_scores import BARE, HELD, PLAYERS, SCORES, TIMBRAL, TREMOLO, WORDED, Generated, generated
from readme import put_if_asked

_PAIRS = {Kind.TREMOLO: TREMOLO, Kind.TIMBRAL_TRILL: TIMBRAL}
MULTIPHONIC, UNDECIDED, OTHER = "multiphonic", "undecided", "other"


@dataclass
class Tally:
    """How often each truth was read how; false: ordinary single notes read as multiphonics; wrong: score, place, truth, reading
    of each false or missed one."""

    counts: Counter[tuple[bool, str, str]] = field(default_factory=Counter)
    notes: int = 0
    wrong: list[tuple[str, str, str, str]] = field(default_factory=list)

    def of(self, truth: str, reading: str, today: bool | None = None) -> int:
        sides = (True, False) if today is None else (today,)
        return sum(self.counts[side, truth, reading] for side in sides)

    def all_of(self, truth: str, today: bool | None = None) -> int:
        return sum(self.of(truth, reading, today) for reading in (MULTIPHONIC, UNDECIDED, OTHER))


def judge(score: Generated, tally: Tally) -> None:
    """Read a score and count its chords."""
    read = read_score(score.data)
    for part, _ in find_flute_parts(read.parts):
        found = detect(part, company=Companies(read).of(part))
        multiphonics = {
            (part.id, demand.place.bar, float(demand.place.beat))
            for demand in found.demands
            if demand.kind == Kind.MULTIPHONIC
        }
        pairs = {
            ((part.id, demand.place.bar, float(demand.place.beat)), _PAIRS[demand.kind])
            for demand in found.demands
            if demand.kind in _PAIRS
        }
        undecided = {(part.id, one.place.bar, float(one.place.beat)) for one in found.undecided}
        truth = {place: is_ for place, is_ in score.truth.items() if place[0] == part.id}
        for place, is_ in truth.items():
            right = (place, is_) in pairs if is_ in _PAIRS.values() else place in multiphonics
            reading = MULTIPHONIC if right else UNDECIDED if place in undecided else OTHER
            tally.counts[score.today, is_, reading] += 1
            if (is_ == PLAYERS and reading == MULTIPHONIC) or (is_ != PLAYERS and reading == OTHER):
                tally.wrong.append((score.name, f"{part.name} {place}", is_, reading))
        strange = (multiphonics - {place for place, is_ in truth.items() if is_ not in _PAIRS.values()}) | {
            place for place, is_ in pairs if truth.get(place) != is_
        }
        tally.notes += len(strange)
        tally.wrong += [(score.name, f"{part.name} {place}", "a note", MULTIPHONIC) for place in sorted(strange)]


@cache
def judged() -> Tally:
    """All generated scores."""
    tally = Tally()
    for score in generated():
        judge(score, tally)
    return tally


def table(tally: Tally) -> str:
    """The rates as a table in Markdown."""
    lines = [
        "| written | of | read as what one flute is asked | several players, or not at all | undecided |",
        "|---|---|---|---|---|",
    ]
    for truth in (WORDED, HELD, BARE):
        figures = [tally.all_of(truth), *(tally.of(truth, reading) for reading in (MULTIPHONIC, OTHER, UNDECIDED))]
        lines.append(f"| multiphonic, {truth} | " + " | ".join(map(str, figures)) + " |")
    for truth, name in ((TREMOLO, "tremolo of two multiphonics, as one"), (TIMBRAL, "one note with two fingerings")):
        figures = [tally.all_of(truth), *(tally.of(truth, reading) for reading in (MULTIPHONIC, OTHER, UNDECIDED))]
        lines.append(f"| {name} | " + " | ".join(map(str, figures)) + " |")
    for today, name in ((False, "nineteenth century"), (True, "today")):
        readings = (MULTIPHONIC, OTHER, UNDECIDED)
        figures = [tally.all_of(PLAYERS, today), *(tally.of(PLAYERS, reading, today) for reading in readings)]
        lines.append(f"| several players, or a leftover, {name} | " + " | ".join(map(str, figures)) + " |")
    return "\n".join(lines)


if __name__ == "__main__":
    result = judged()
    print(f"{SCORES} scores")
    print(table(result))
    put_if_asked(readings=table(result))
    print(f"single notes read as multiphonics: {result.notes}")
    for row in result.wrong:
        print("wrong:", *row)
