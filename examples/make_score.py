"""Makes the scores of the examples that have a `score.toml`: `python make_score.py FOLDER`."""

import sys
import tomllib
from pathlib import Path
from typing import Any

from fingering_db.pitch import Pitch

TYPES = {1: ("eighth", 0), 2: ("quarter", 0), 3: ("quarter", 1), 4: ("half", 0), 6: ("half", 1), 8: ("whole", 0)}
ACCIDENTALS = {"1": "sharp", "-1": "flat", "0.5": "quarter-sharp", "-0.5": "quarter-flat"}


def score(told: dict[str, Any]) -> str:
    heads, parts = [], []
    for number, part in enumerate(told["parts"], start=1):
        heads.append(
            f'    <score-part id="P{number}">\n      <part-name>{part["name"]}</part-name>\n'
            f"      <part-abbreviation>{part['short']}</part-abbreviation>\n"
            f'      <score-instrument id="P{number}-I1">\n        <instrument-name>{part["name"]}</instrument-name>\n'
            f"        <instrument-sound>{part['sound']}</instrument-sound>\n      </score-instrument>\n    </score-part>\n"
        )
        bars = "".join(measure(at, bar, part, told) for at, bar in enumerate(part["bars"], start=1))
        parts.append(f'  <part id="P{number}">\n{bars}  </part>\n')
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 '
        'Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n<score-partwise version="4.0">\n'
        f"  <work>\n    <work-title>{told['title']}</work-title>\n  </work>\n"
        '  <identification>\n    <creator type="composer">invented example</creator>\n  </identification>\n'
        f"  <part-list>\n{''.join(heads)}  </part-list>\n{''.join(parts)}</score-partwise>\n"
    )


def measure(number: int, bar: list[list[Any]], part: dict[str, Any], told: dict[str, Any]) -> str:
    lines = []
    if number == 1:
        moved = f"<transpose>{part['transpose']}</transpose>" if "transpose" in part else ""
        lines.append(
            f"<attributes><divisions>{told['divisions']}</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
            f"<beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef>{moved}</attributes>"
        )
    if str(number) in told.get("rehearsal", {}):
        lines.append(direction(f"<rehearsal>{told['rehearsal'][str(number)]}</rehearsal>"))
    if str(number) in told["tempi"]:
        words, tempo = told["tempi"][str(number)]
        said = f'<direction-type><words font-weight="bold">{words}</words></direction-type>' if words else ""
        beat = f"<beat-unit>quarter</beat-unit><per-minute>{tempo}</per-minute>"
        lines.append(
            f'<direction placement="above">{said}<direction-type><metronome>{beat}</metronome></direction-type>'
            f'<sound tempo="{tempo}"/></direction>'
        )
    eighths = [2 * length // told["divisions"] for _, length, *_ in bar]
    for place, (names, length, *more) in enumerate(bar):
        words, marks = [*more, "", ""][:2]
        joined = beam(eighths, place)
        lines += notes(names, length, eighths[place], words, marks, joined, whole_bar=len(bar) == 1)
    if number == len(part["bars"]):
        lines.append('<barline location="right"><bar-style>light-heavy</bar-style></barline>')
    return f'    <measure number="{number}">\n' + "".join(f"      {line}\n" for line in lines) + "    </measure>\n"


def direction(kind: str, placement: str = "above") -> str:
    return f'<direction placement="{placement}"><direction-type>{kind}</direction-type></direction>'


def beam(eighths: list[int], place: int) -> str:
    """Eighths are joined two by two, on each beat."""
    late = sum(eighths[:place]) % 2
    beside = eighths[place - 1 : place] if late else eighths[place + 1 : place + 2]
    return f'<beam number="1">{"end" if late else "begin"}</beam>' if eighths[place] == 1 and beside == [1] else ""


def notes(names: str, length: int, eighths: int, words: str, marks: str, joined: str, *, whole_bar: bool) -> list[str]:
    """A note, chord or rest with what stands at it."""
    dynamic = "".join(mark for mark in marks if mark.isalpha())
    lines = [direction(f"<words>{words}</words>")] if words else []
    lines += [direction(f"<dynamics><{dynamic}/></dynamics>", "below")] if dynamic else []
    for sign, kind in (("|", "stop"), ("<", "crescendo"), (">", "diminuendo")):
        lines += [direction(f'<wedge type="{kind}" number="1"/>', "below")] if sign in marks else []
    kind, dots = TYPES[eighths]
    if names == ".":
        rest, shown = ('<rest measure="yes"/>', "") if whole_bar else ("<rest/>", f"<type>{kind}</type>")
        return [*lines, f"<note>{rest}<duration>{length}</duration><voice>1</voice>{shown}</note>"]
    for place, name in enumerate(names.split()):
        pitch = Pitch.parse(name)
        alter = f"{pitch.alter + pitch.cents / 100.0:g}"
        shown = f"<accidental>{ACCIDENTALS[alter]}</accidental>" if alter != "0" else ""
        lines.append(
            f"<note>{'<chord/>' if place else ''}<pitch><step>{pitch.step}</step>"
            f"{f'<alter>{alter}</alter>' if alter != '0' else ''}<octave>{pitch.octave}</octave></pitch>"
            f"<duration>{length}</duration><voice>1</voice><type>{kind}</type>{'<dot/>' * dots}{shown}"
            f"{joined * (not place)}{notations(marks, place)}</note>"
        )
    return lines


def notations(marks: str, place: int) -> str:
    """Slurs on the first note of a chord, slides on every one."""
    told = ""
    for sign, kind in (("(", "start"), (")", "stop")):
        told += f'<slur number="1" type="{kind}"/>' if sign in marks and not place else ""
    for sign, kind in (("/", "start"), ("\\", "stop")):
        told += f'<slide line-type="solid" number="1" type="{kind}"/>' if sign in marks else ""
    return f"<notations>{told}</notations>" if told else ""


if __name__ == "__main__":
    _folder = Path(sys.argv[1])
    _told = tomllib.loads((_folder / "score.toml").read_text(encoding="utf-8"))
    (_folder / _told["file"]).write_text(score(_told), encoding="utf-8")
