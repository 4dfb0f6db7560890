"""What the verdicts rest on, and what they say of two-note chords: `python tests/benchmarks/worth.py` prints both tables,
`--readme` also puts them into README.md. Half a minute once the default flute's atlas is there."""

from collections.abc import Iterable, Mapping

from readme import put_if_asked

from fingering_db.evidence import OCTAVES, Measured, Share, dyad_shares, measured
from fingering_db.instrument import load
from fingering_db.model import model

NAMES = {
    "seconds": (1, 2), "thirds": (3, 4), "fourths": (5,), "tritones": (6,), "fifths": (7,), "sixths": (8, 9),
    "sevenths": (10, 11), "octaves": (12,), "ninths": (13, 14), "tenths": (15, 16), "elevenths, to a tritone more": (17, 18),
    "twelfths": (19,), "wider, to under two octaves": (20, 21, 22, 23), "two octaves": (24,),
}  # fmt: skip


def evidence_table(found: Mapping[str, tuple[Measured, Measured]]) -> str:
    """The measures with both ways of counting, as Markdown."""
    lines = ["| measure | silent ones only | not reported counted as silent |", "|---|---|---|"]
    lines += [f"| {name} | {first} | {second} |" for name, (first, second) in found.items()]
    return "\n".join(lines) + "\n"


def dyad_table(found: Mapping[int, tuple[Share, ...]]) -> str:
    """Shares of playable chords by name of the interval, as Markdown."""
    lines = [
        "| | " + " | ".join(f"lower note {octave}" for octave, _ in OCTAVES) + " |",
        "|---|" + "---|" * len(OCTAVES),
    ]
    for name, widths in NAMES.items():
        cells = (str(added(found[width][octave] for width in widths)) for octave in range(len(OCTAVES)))
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def added(shares: Iterable[Share]) -> Share:
    """Several shares as one."""
    return sum(shares, Share(0, 0))


def main() -> None:
    """Print the tables, and put them into the README if asked to."""
    of = model(load("open-hole-b"))
    tables = {"evidence": evidence_table(measured(of)[0]), "dyads": dyad_table(dyad_shares(of))}
    for table in tables.values():
        print(table)
    put_if_asked(**tables)


if __name__ == "__main__":
    main()
