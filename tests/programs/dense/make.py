"""Writes the dense scores beside this file: `python tests/programs/dense/make.py`. Invented, to be as unkind to marks as a
real page can be; no piece, player or publisher stands behind them."""

from __future__ import annotations

from pathlib import Path

HERE = Path(__file__).parent
DIVISIONS = 4
_TYPES = {4: "quarter", 2: "eighth", 8: "half", 16: "whole", 1: "16th"}
_ACCIDENTALS = {0.5: "quarter-sharp", -0.5: "quarter-flat", 1.5: "three-quarters-sharp", 1.0: "sharp", -1.0: "flat"}


def pitch(name: str) -> tuple[str, float, int]:
    """`C+5` a quarter-tone up, `C#5`, `Cb5`, `C-5`."""
    signs = {"": 0.0, "+": 0.5, "-": -0.5, "#": 1.0, "b": -1.0, "#+": 1.5}
    return name[0], signs[name[1:-1]], int(name[-1])


def note(names: str, duration: int, voice: int = 1, more: str = "") -> str:
    """A chord, its pitches divided by dots; `-` for a rest."""
    told = []
    for n, name in enumerate(names.split(".")):
        step, alter, octave = ("", 0.0, 0) if name == "-" else pitch(name)
        lines = ["<chord/>"] if n else []
        if name == "-":
            lines.append("<rest/>")
        else:
            tell = f"<alter>{alter:g}</alter>" if alter else ""
            lines.append(f"<pitch><step>{step}</step>{tell}<octave>{octave}</octave></pitch>")
        lines += [f"<duration>{duration}</duration>", f"<voice>{voice}</voice>", f"<type>{_TYPES[duration]}</type>"]
        if alter:
            lines.append(f"<accidental>{_ACCIDENTALS[alter]}</accidental>")
        if voice > 1 and name != "-":
            lines.append("<stem>down</stem>")
        lines.append(more if not n else "")
        told.append(f"      <note>{''.join(lines)}</note>")
    return "\n".join(told)


def words(text: str, placement: str = "above") -> str:
    return direction(f"<words>{text}</words>", placement)


def direction(inside: str, placement: str = "above") -> str:
    kind = f"<direction-type>{inside}</direction-type>"
    return f'      <direction placement="{placement}">{kind}<voice>1</voice></direction>'


def bar(number: int, lines: list[str], *, first: str = "") -> str:
    return "\n".join([f'    <measure number="{number}">', *([first] if first else []), *lines, "    </measure>"])


def attributes(clef: str = "G2") -> str:
    key = "<key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time>"
    sign = f"<clef><sign>{clef[0]}</sign><line>{clef[1]}</line></clef>"
    return f"      <attributes><divisions>{DIVISIONS}</divisions>{key}{sign}</attributes>"


def score(title: str, parts: list[tuple[str, str, list[str]]]) -> str:
    """parts: name, sound, bars."""
    listed = "".join(
        f'    <score-part id="P{n}"><part-name>{name}</part-name><score-instrument id="P{n}-I1"><instrument-name>{name}'
        f"</instrument-name><instrument-sound>{sound}</instrument-sound></score-instrument></score-part>\n"
        for n, (name, sound, _) in enumerate(parts, start=1)
    )
    music = "".join(
        f'  <part id="P{n}">\n' + "\n".join(bars) + "\n  </part>\n" for n, (_, _, bars) in enumerate(parts, start=1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!-- Invented, made by make.py. -->\n<score-partwise version="3.1">\n'
        f"  <work><work-title>{title}</work-title></work>\n  <part-list>\n{listed}  </part-list>\n{music}</score-partwise>\n"
    )


CHORDS = [
    "C5.D6",
    "B4.C6",
    "A4.B5",
    "C5.C#6",
    "G4.A5",
    "D5.E6",
    "F#4.G5",
    "B4.A5",
    "C5.B5",
    "G4.F#5",
    "E4.F5",
    "D5.C6",
    "A4.G#5",
    "C5.D#6",
    "F4.F#5",
    "B4.C#6",
]
STEPS = [
    "C+5",
    "D-5",
    "D+5",
    "E-5",
    "F+5",
    "G-5",
    "G+5",
    "A-5",
    "A+5",
    "B-5",
    "C+6",
    "B-5",
    "A+5",
    "G+5",
    "F#+5",
    "F+5",
    "E-5",
    "D+5",
    "D-5",
    "C+5",
    "B-4",
    "A+4",
    "G+4",
    "A-4",
]


def on_every_beat() -> str:
    """A multiphonic on every beat, twelve bars."""
    bars = []
    for number in range(1, 13):
        lines = [words("mult. sempre")] if number == 1 else []
        lines += [note(CHORDS[(number * 5 + beat * 3) % len(CHORDS)], 4) for beat in range(4)]
        bars.append(bar(number, lines, first=attributes() if number == 1 else ""))
    return score("Every Beat (dense)", [("Flute", "wind.flutes.flute", bars)])


def quarter_tones() -> str:
    """A microtone on every quarter, every fourth bar in eighths, sixteen bars."""
    bars = []
    for number in range(1, 17):
        count, duration = (8, 2) if number % 4 == 0 else (4, 4)
        lines = [note(STEPS[(number * 4 + n) % len(STEPS)], duration) for n in range(count)]
        bars.append(bar(number, lines, first=attributes() if number == 1 else ""))
    return score("Narrow Steps (dense)", [("Flute", "wind.flutes.flute", bars)])


def in_company() -> str:
    """Words, dynamics above, a hairpin, slurs, two voices; an oboe above with words of its own and a cello below."""
    slur = '<notations><slur type="{}" number="1"/></notations>'
    dynamic = "<dynamics><{}/></dynamics>"
    flute, oboe, cello = [], [], []
    for number in range(1, 13):
        opening = attributes() if number == 1 else ""
        lines = [words("sotto voce, molto legato"), direction(dynamic.format("pp"))] if number % 4 == 1 else []
        lines += [direction(dynamic.format("mf")), direction('<wedge type="crescendo"/>')] if number % 4 == 3 else []
        own = [CHORDS[(number * 3 + beat) % len(CHORDS)] for beat in range(4)]
        if number % 3 == 0:  # two voices: the upper one alone is asked for anything
            lines += [note(f"{'ABCD'[beat]}+{5 if beat < 2 else 6}", 4) for beat in range(4)]
            lines += [f"      <backup><duration>{16}</duration></backup>", note("E4", 8, 2), note("D4", 8, 2)]
        else:
            lines += [note(own[0], 4, more=slur.format("start")), note(own[1], 4, more=slur.format("stop"))]
            lines += [words("flatter"), note("G5", 4), note(own[2], 4)]
        lines += [direction('<wedge type="stop"/>')] if number % 4 == 3 else []
        flute.append(bar(number, lines, first=opening))
        above = [words("espressivo", "below")] if number % 4 == 1 else []
        oboe.append(bar(number, [*above, *(note(name, 4) for name in ("C4", "E4", "G4", "B3"))], first=opening))
        first = attributes("F4") if number == 1 else ""
        cello.append(bar(number, [note("C3", 8), note("G2", 8)], first=first))
    parts = [("Oboe", "wind.reed.oboe", oboe), ("Flute", "wind.flutes.flute", flute)]
    return score("In Company (dense)", [*parts, ("Cello", "strings.cello", cello)])


def main() -> None:
    made = {"every-beat": on_every_beat(), "narrow-steps": quarter_tones(), "in-company": in_company()}
    for name, text in made.items():
        (HERE / f"{name}.musicxml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
