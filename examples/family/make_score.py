"""Makes spring-and-neap.musicxml, a duet for piccolo and alto flute in G, and hired-alto.toml. Invented: the quintet Breakwater
borrows both flutes for a piece that does not exist; the alto it gets has no trill keys.

`python make_score.py` in this folder. Notes stand as written: the piccolo sounds an octave higher, the alto a fourth lower."""

from dataclasses import dataclass
from pathlib import Path

import msgspec

from fingering_db.instrument import Instrument, load
from fingering_db.instrument_text import as_toml
from fingering_db.pitch import Pitch

HERE = Path(__file__).parent
Bar = list[tuple[str, int, str]]  # pitches, quarters, words above; a pair with the words `port.` slides
SLIDE = "port."
TYPES = {1: "quarter", 2: "half", 4: "whole"}
ACCIDENTALS = {"1": "sharp", "0.5": "quarter-sharp", "-0.5": "quarter-flat"}


@dataclass(frozen=True)
class Player:
    """A part. transpose: children of <transpose>, sounding minus written."""

    name: str
    short: str
    sound: str
    transpose: str
    bars: list[Bar]


PLAYERS = [
    Player(
        "Piccolo",
        "Picc.",
        "wind.flutes.flute.piccolo",
        "<diatonic>0</diatonic><chromatic>0</chromatic><octave-change>1</octave-change>",
        [
            [("E5", 1, ""), ("D5", 1, ""), ("D5 C#6", 2, "mult.")],
            [("D#5 D6", 2, ""), ("A5", 2, "ord.")],
            [("F5+50", 2, ""), ("E5", 2, "")],
            [("E5", 2, SLIDE), ("E5-50", 2, SLIDE)],
            [("D5 D#6", 4, "mult.")],
            [("C#4", 4, "ord.")],
        ],
    ),
    Player(
        "Alto Flute",
        "A. Fl.",
        "wind.flutes.flute.alto",
        "<diatonic>-3</diatonic><chromatic>-5</chromatic>",
        [
            [("C5 D6", 4, "mult.")],
            [("B4 C#6", 2, ""), ("D5 C#6", 2, "")],
            [("A4", 2, "ord."), ("F4+50", 2, "")],
            [("A4", 2, SLIDE), ("A4+50", 2, SLIDE)],
            [("C5 C#5", 4, "mult.")],
            [("C#4", 4, "ord.")],
        ],
    ),
]


def score() -> str:
    """The file."""
    heads, parts = [], []
    for number, player in enumerate(PLAYERS, start=1):
        own = f"P{number}-I1"
        heads.append(
            f'    <score-part id="P{number}">\n      <part-name>{player.name}</part-name>\n'
            f"      <part-abbreviation>{player.short}</part-abbreviation>\n"
            f'      <score-instrument id="{own}">\n        <instrument-name>{player.name}</instrument-name>\n'
            f"        <instrument-sound>{player.sound}</instrument-sound>\n      </score-instrument>\n"
            "    </score-part>\n"
        )
        bars = "".join(measure(at, bar, player) for at, bar in enumerate(player.bars, start=1))
        parts.append(f'  <part id="P{number}">\n{bars}  </part>\n')
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 '
        'Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n<score-partwise version="4.0">\n'
        "  <work>\n    <work-title>Spring and Neap</work-title>\n  </work>\n"
        '  <identification>\n    <creator type="composer">invented example</creator>\n  </identification>\n'
        f"  <part-list>\n{''.join(heads)}  </part-list>\n{''.join(parts)}</score-partwise>\n"
    )


def measure(number: int, bar: Bar, player: Player) -> str:
    """One bar; the first has clef, time, transposition and tempo."""
    lines = []
    if number == 1:
        lines += [
            "<attributes><divisions>1</divisions><key><fifths>0</fifths></key>"
            "<time><beats>4</beats><beat-type>4</beat-type></time>"
            f"<clef><sign>G</sign><line>2</line></clef><transpose>{player.transpose}</transpose></attributes>",
            '<direction placement="above"><direction-type><metronome><beat-unit>quarter</beat-unit>'
            '<per-minute>56</per-minute></metronome></direction-type><sound tempo="56"/></direction>',
        ]
    slides = [words for _, _, words in bar].count(SLIDE) == 2
    for at, (names, quarters, words) in enumerate(bar):
        if words and not (slides and at):
            lines.append(
                f'<direction placement="above"><direction-type><words>{words}</words></direction-type></direction>'
            )
        end = "stop" if at else "start"
        slide = f'<notations><slide line-type="solid" number="1" type="{end}"/></notations>' if slides else ""
        for place, name in enumerate(names.split()):
            lines.append(note(Pitch.parse(name), quarters, bool(place), slide))
    if number == len(player.bars):
        lines.append('<barline location="right"><bar-style>light-heavy</bar-style></barline>')
    return f'    <measure number="{number}">\n' + "".join(f"      {line}\n" for line in lines) + "    </measure>\n"


def note(pitch: Pitch, quarters: int, in_chord: bool, slide: str) -> str:
    """One note."""
    alter = f"{pitch.alter + pitch.cents / 100.0:g}"
    shown = f"<accidental>{ACCIDENTALS[alter]}</accidental>" if alter != "0" else ""
    return (
        f"<note>{'<chord/>' if in_chord else ''}<pitch><step>{pitch.step}</step>"
        f"{f'<alter>{alter}</alter>' if alter != '0' else ''}<octave>{pitch.octave}</octave></pitch>"
        f"<duration>{quarters}</duration><voice>1</voice><type>{TYPES[quarters]}</type>{shown}{slide}</note>"
    )


def hired_alto() -> Instrument:
    """The shipped alto without the levers of its trill keys."""
    alto = load("alto")
    fingers = tuple(
        msgspec.structs.replace(one, placements=tuple(own for own in one.placements if not own.touch.startswith("tr")))
        for one in alto.fingers
    )
    return msgspec.structs.replace(alto, name="hired-alto", title="alto flute in G without trill keys", fingers=fingers)


if __name__ == "__main__":
    (HERE / "spring-and-neap.musicxml").write_text(score(), encoding="utf-8")
    about = "Invented: an alto flute that Breakwater hired. Made by make_score.py from the shipped alto, less certain as that is."
    (HERE / "hired-alto.toml").write_text(as_toml(hired_alto(), about), encoding="utf-8")
