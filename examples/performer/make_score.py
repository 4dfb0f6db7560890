"""Makes lantern-buoy.musicxml, a solo for flute. Invented: the flutist of the quintet Breakwater gets it a week before the
concert.

`python make_score.py` in this folder. A bar is a list of notes: pitches (a dot for a rest), eighths, words above, marks: `(`
and `)` begin and end a slur, `/` and `\\` a glissando, `<` `>` `|` a crescendo, a decrescendo and their end, letters a
dynamic."""

from pathlib import Path

from fingering_db.pitch import Pitch

HERE = Path(__file__).parent
TITLE, COMPOSER = "Lantern Buoy", "invented example"
Note = tuple[str, int, str, str]
TYPES = {1: ("eighth", 0), 2: ("quarter", 0), 3: ("quarter", 1), 4: ("half", 0), 6: ("half", 1), 8: ("whole", 0)}
ACCIDENTALS = {"1": "sharp", "-1": "flat", "0.5": "quarter-sharp", "-0.5": "quarter-flat"}
TEMPI = {1: ("Slow, as if from far off", 48), 13: ("A little faster", 60), 23: ("Tempo I", 48)}
REHEARSAL = {7: "A", 13: "B", 23: "C"}
BARS: list[list[Note]] = [
    [("A4", 4, "", "p("), ("B4", 2, "", ""), ("C5", 2, "", ")")],
    [("D5", 3, "", "("), ("E5", 1, "", ")"), ("C5", 4, "", "")],
    [("C5 D6", 6, "mult.", "pp"), (".", 2, "", "")],
    [("B4 C#6", 4, "", "<"), ("C5 D6", 4, "", "|")],
    [("A4", 2, "ord.", "mf("), ("C5", 2, "", ""), ("C5+50", 2, "", ""), ("D5", 2, "", ")")],
    [("E5", 4, "", ">"), ("E5-50", 2, "", ""), ("D5", 2, "", "|")],
    [("A4", 4, "gliss.", "p/"), ("A#4", 4, "", "\\")],
    [("B4", 4, "", "("), ("F4+50", 2, "", ""), ("F4", 2, "", ")")],
    [("D5 E6", 4, "mult.", "mp"), ("C5 B5", 4, "", "")],
    [("A#4 C6", 8, "", "<")],
    [("C5 D6", 6, "", "f|"), (".", 2, "", "")],
    [(".", 8, "", "")],
    [
        ("G4", 1, "ord.", "mf("),
        ("A4", 1, "", ""),
        ("B4", 1, "", ""),
        ("C5", 1, "", ""),
        ("D5", 2, "", ""),
        ("C5", 2, "", ")"),
    ],
    [
        ("B4", 1, "", "("),
        ("C5", 1, "", ""),
        ("C5+50", 1, "", ""),
        ("D5", 1, "", ""),
        ("D5-50", 2, "", ""),
        ("C5", 2, "", ")"),
    ],
    [("G#4 A#5", 4, "mult.", ""), ("A4 B5", 4, "", "")],
    [("C5 D6", 2, "", "sf"), ("B4 C#6", 2, "", ""), ("A#4 C6", 2, "", ""), ("C5 B5", 2, "", "")],
    [("D5 E6", 8, "", ">")],
    [("A4", 2, "ord.", "p|"), ("G4", 2, "", "("), ("F4", 2, "", ""), ("E4", 2, "", ")")],
    [("F4", 4, "gliss.", "/"), ("F#4", 4, "", "\\")],
    [("G4", 2, "", "("), ("G4+50", 2, "", ""), ("A4", 4, "", ")")],
    [("C4 C#4", 4, "mult.", "mf"), ("C5 D6", 4, "", "")],
    [(".", 8, "", "")],
    [("A4", 4, "ord.", "pp("), ("B4", 2, "", ""), ("C5", 2, "", ")")],
    [("C5", 4, "port.", "/"), ("B4", 4, "", "\\")],
    [("C5 D6", 4, "mult.", "("), ("B4 C#6", 4, "", ")")],
    [("C5 D6", 8, "", ">")],
    [("D5", 8, "ord.", "ppp|")],
]


def score() -> str:
    """The file."""
    bars = "".join(measure(at, bar) for at, bar in enumerate(BARS, start=1))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 '
        'Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n<score-partwise version="4.0">\n'
        f"  <work>\n    <work-title>{TITLE}</work-title>\n  </work>\n"
        f'  <identification>\n    <creator type="composer">{COMPOSER}</creator>\n  </identification>\n'
        '  <part-list>\n    <score-part id="P1">\n      <part-name>Flute</part-name>\n'
        "      <part-abbreviation>Fl.</part-abbreviation>\n"
        '      <score-instrument id="P1-I1">\n        <instrument-name>Flute</instrument-name>\n'
        "        <instrument-sound>wind.flutes.flute</instrument-sound>\n      </score-instrument>\n"
        f'    </score-part>\n  </part-list>\n  <part id="P1">\n{bars}  </part>\n</score-partwise>\n'
    )


def measure(number: int, bar: list[Note]) -> str:
    """One bar; the first has clef and time."""
    lines = []
    if number == 1:
        lines.append(
            "<attributes><divisions>2</divisions><key><fifths>0</fifths></key>"
            "<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>"
        )
    if number in REHEARSAL:
        lines.append(above(f"<rehearsal>{REHEARSAL[number]}</rehearsal>"))
    if number in TEMPI:
        words, tempo = TEMPI[number]
        beat = f"<beat-unit>quarter</beat-unit><per-minute>{tempo}</per-minute>"
        lines.append(
            f'<direction placement="above"><direction-type><words font-weight="bold">{words}</words></direction-type>'
            f'<direction-type><metronome>{beat}</metronome></direction-type><sound tempo="{tempo}"/></direction>'
        )
    for place, (names, eighths, words, marks) in enumerate(bar):
        lines += notes(names, eighths, words, marks, beam(bar, place), whole_bar=len(bar) == 1)
    if number == len(BARS):
        lines.append('<barline location="right"><bar-style>light-heavy</bar-style></barline>')
    return f'    <measure number="{number}">\n' + "".join(f"      {line}\n" for line in lines) + "    </measure>\n"


def above(kind: str) -> str:
    """A direction over the staff."""
    return f'<direction placement="above"><direction-type>{kind}</direction-type></direction>'


def below(kind: str) -> str:
    """A direction under the staff."""
    return f'<direction placement="below"><direction-type>{kind}</direction-type></direction>'


def beam(bar: list[Note], place: int) -> str:
    """Eighths are joined two by two, on each beat."""
    at = sum(eighths for _, eighths, _, _ in bar[:place])
    beside = bar[place + 1 : place + 2] if at % 2 == 0 else bar[place - 1 : place]
    if bar[place][1] != 1 or not beside or beside[0][1] != 1:
        return ""
    return f'<beam number="1">{"end" if at % 2 else "begin"}</beam>'


def notes(names: str, eighths: int, words: str, marks: str, joined: str, *, whole_bar: bool) -> list[str]:
    """A note, chord or rest with what stands at it."""
    dynamic = "".join(mark for mark in marks if mark.isalpha())
    lines = [above(f"<words>{words}</words>")] if words else []
    lines += [below(f"<dynamics><{dynamic}/></dynamics>")] if dynamic else []
    lines += [below('<wedge type="stop" number="1"/>')] if "|" in marks else []
    for sign, kind in (("<", "crescendo"), (">", "diminuendo")):
        lines += [below(f'<wedge type="{kind}" number="1"/>')] if sign in marks else []
    if names == ".":
        shown = "" if whole_bar else f"<type>{TYPES[eighths][0]}</type>"
        rest = '<rest measure="yes"/>' if whole_bar else "<rest/>"
        return [*lines, f"<note>{rest}<duration>{eighths}</duration><voice>1</voice>{shown}</note>"]
    kind, dots = TYPES[eighths]
    for place, name in enumerate(names.split()):
        pitch = Pitch.parse(name)
        alter = f"{pitch.alter + pitch.cents / 100.0:g}"
        shown = f"<accidental>{ACCIDENTALS[alter]}</accidental>" if alter != "0" else ""
        lines.append(
            f"<note>{'<chord/>' if place else ''}<pitch><step>{pitch.step}</step>"
            f"{f'<alter>{alter}</alter>' if alter != '0' else ''}<octave>{pitch.octave}</octave></pitch>"
            f"<duration>{eighths}</duration><voice>1</voice><type>{kind}</type>{'<dot/>' * dots}{shown}"
            f"{joined * (not place)}{notations(marks, place)}</note>"
        )
    return lines


def notations(marks: str, place: int) -> str:
    """Slurs on the first note of a chord, slides on every one."""
    slurs = [("(", "start"), (")", "stop")] if not place else []
    told = "".join(f'<slur number="1" type="{kind}"/>' for sign, kind in slurs if sign in marks)
    for sign, kind in (("/", "start"), ("\\", "stop")):
        told += f'<slide line-type="solid" number="1" type="{kind}"/>' if sign in marks else ""
    return f"<notations>{told}</notations>" if told else ""


if __name__ == "__main__":
    (HERE / "lantern-buoy.musicxml").write_text(score(), encoding="utf-8")
