"""Small flute scores that are valid MusicXML, drawn at random: chords, voices, backups, ties, slides, microtones, words,
grace and cue notes, in any encoding and with any line ends. All invented."""

import io
import zipfile
from dataclasses import dataclass
from xml.sax.saxutils import escape

from hypothesis import strategies as st

STEPS = "CDEFGAB"
# Few different pitches, so that the search (asked once for each chord) is not what takes the time.
PITCHES = [("C", "5"), ("D", "6"), ("C", "4"), ("B", "4"), ("E", "5"), ("G", "5"), ("A", "6"), ("F", "7"), ("A", "3")]
ALTERS = ["", "", "", "1", "-1", "0.5", "-0.5", "1.5", "0.25"]
ACCIDENTALS = [
    "",
    "",
    "",
    "sharp",
    "flat",
    "natural",
    "quarter-sharp",
    "quarter-flat",
    "three-quarters-sharp",
    "slash-flat",
]
WORDS = [
    "multiphonic", "M.", "ord.", "norm.", "sing", "voce", "gliss.", "lip gliss.", "a 2", "1.", "solo", "dolce & più",
    "T 2 3 | Eb", "bisb.", "flz.", "W.T.", "Größe", "100 % \\ { $ # \"", "♯●○", "\u2063", "x" * 90,
]  # fmt: skip
NAMES = ["Flute", "Flöte 1", "Flutes", "Piccolo", "Alto Flute", "Flauto & Co", "Flute 1, 2"]
ENCODINGS = {
    "UTF-8": "utf-8",
    "utf-8": "utf-8-sig",
    "ISO-8859-1": "latin-1",
    "UTF-16": "utf-16",
    "US-ASCII": "ascii",
    "": "utf-8",
}
NEWLINES = ["\n", "\r\n", "\r", ""]


@dataclass(frozen=True)
class Made:
    """A score as it stands in a file. suffix: of the file's name."""

    data: bytes
    suffix: str


def tag(name: str, text: str) -> str:
    return f"<{name}>{escape(text)}</{name}>" if text else ""


@st.composite
def notes(draw: st.DrawFn, voice: str) -> str:
    """One note, rest or chord."""
    kind = draw(st.sampled_from(["note"] * 4 + ["chord"] * 3 + ["rest", "grace", "cue", "unpitched"]))
    if kind == "rest":
        return f"<note><rest/><duration>2</duration><voice>{voice}</voice></note>"
    if kind == "unpitched":
        return f"<note><unpitched/><duration>2</duration><voice>{voice}</voice></note>"
    count = draw(st.integers(2, 3)) if kind == "chord" else 1
    made = []
    for number in range(count):
        step, octave = draw(st.sampled_from(PITCHES))
        alter, accidental = draw(st.sampled_from(ALTERS)), draw(st.sampled_from(ACCIDENTALS))
        pitch = f"<pitch><step>{step}</step>{tag('alter', alter)}<octave>{octave}</octave></pitch>"
        first = "<grace/>" if kind == "grace" else "<cue/>" if kind == "cue" else ""
        duration = "" if kind == "grace" else f"<duration>{draw(st.sampled_from('2246'))}</duration>"
        tie = draw(st.sampled_from(["", "", "", "start", "stop"]))
        marks = [f'<tied type="{tie}"/>'] if tie else []
        slide = draw(st.sampled_from(["", "", "", "slide", "glissando"]))
        if slide:
            number_of = draw(st.sampled_from(["", ' number="1"', ' number="2"']))
            marks.append(f'<{slide} type="{draw(st.sampled_from(["start", "stop"]))}"{number_of} line-type="solid"/>')
        fingering = draw(st.sampled_from(["", "", "", "T 2 3 | Eb", "1", "T 1 2 3 | 1 2 3 C"]))
        if fingering:
            marks.append(f"<technical>{tag('fingering', fingering)}</technical>")
        head = draw(
            st.sampled_from(["", "", "", "<notehead>diamond</notehead>", '<notehead filled="no">normal</notehead>'])
        )
        made.append(
            f"<note>{first}{'<chord/>' if number else ''}{pitch}{duration}"
            f"{f'<tie type={chr(34)}{tie}{chr(34)}/>' if tie else ''}<voice>{voice}</voice><type>quarter</type>"
            f"{tag('accidental', accidental)}{head}"
            f"{'<notations>' + ''.join(marks) + '</notations>' if marks else ''}</note>"
        )
    return "\n".join(made)


@st.composite
def directions(draw: st.DrawFn) -> str:
    """Words, a rehearsal mark, a metronome mark or an empty comment."""
    kind = draw(st.sampled_from(["words"] * 4 + ["rehearsal", "metronome", "comment", "instruction"]))
    if kind == "comment":
        return "<!-- a remark -->"
    if kind == "instruction":
        return "<?other begin?>"
    inner = {
        "words": f"<words>{escape(draw(st.sampled_from(WORDS)))}</words>",
        "rehearsal": "<rehearsal>A</rehearsal>",
        "metronome": "<metronome><beat-unit>quarter</beat-unit><per-minute>66</per-minute></metronome>",
    }[kind]
    offset = draw(st.sampled_from(["", "", "<offset>1</offset>", "<offset>-1</offset>"]))
    return f'<direction placement="above"><direction-type>{inner}</direction-type>{offset}</direction>'


@st.composite
def bars(draw: st.DrawFn, number: int) -> str:
    lines = [f'<measure number="{number}">']
    if number == 1:
        time = "<time><beats>4</beats><beat-type>4</beat-type></time>"
        move = draw(st.sampled_from(["", "", "<transpose><chromatic>-5</chromatic></transpose>"]))
        lines.append(f"<attributes><divisions>{draw(st.sampled_from('24'))}</divisions>{time}{move}</attributes>")
    for _ in range(draw(st.integers(0, 2))):
        lines.append(draw(directions()))
        lines.append(draw(notes("1")))
    if draw(st.booleans()):
        lines += [
            "<backup><duration>2</duration></backup>",
            draw(notes("2")),
            "<forward><duration>1</duration></forward>",
        ]
    if draw(st.sampled_from([False, False, True])):
        lines.append('<barline location="right"><bar-style>light-light</bar-style></barline>')
    return "\n".join([*lines, "</measure>"])


@st.composite
def texts(draw: st.DrawFn) -> str:
    """A whole score as text with line feeds, without its declaration."""
    doctype = draw(st.sampled_from(["", "", '<!DOCTYPE score-partwise PUBLIC "-//X//Y" "partwise.dtd">\n']))
    names = [draw(st.sampled_from(NAMES))] + (["Oboe"] if draw(st.booleans()) else [])
    listed = "\n".join(
        f'<score-part id="P{n}"><part-name>{escape(name)}</part-name></score-part>' for n, name in enumerate(names)
    )
    count = draw(st.integers(1, 3))
    parts = []
    for index in range(len(names)):
        inner = "\n".join(draw(bars(number)) for number in range(1, count + 1))
        parts.append(f'<part id="P{index}">\n{inner}\n</part>')
    body = "\n".join(parts)
    return f'{doctype}<score-partwise version="3.1">\n<part-list>\n{listed}\n</part-list>\n{body}\n</score-partwise>\n'


@st.composite
def scores(draw: st.DrawFn) -> Made:
    """A score file: encoded, with line ends of one kind, plain or in an archive."""
    text = draw(texts())
    name = draw(st.sampled_from(sorted(ENCODINGS)))
    told = f' encoding="{name}"' if name else ""
    text = f'<?xml version="1.0"{told}?>\n{text}'.replace("\n", draw(st.sampled_from(NEWLINES)))
    data = text.encode(ENCODINGS[name], "xmlcharrefreplace")
    if draw(st.sampled_from([False, False, False, True])):
        return Made(packed(data), ".mxl")
    return Made(data, ".musicxml")


def packed(data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        listed = b'<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'
        for name, content in (("META-INF/container.xml", listed), ("score.xml", data), ("image.png", b"\x89PNG")):
            made.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()
