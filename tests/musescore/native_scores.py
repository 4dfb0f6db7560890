"""Scores for the tests of MuseScore's own files: one of every kind of rhythm, invented, and real-sized ones of a corpus."""

import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

from annotate.files.writing import Mark
from annotate.musescore.native import native_marks
from annotate.musescore.program import export
from annotate.reading.read import read_headings, read_score

PROGRAM = next((Path(found) for name in ("mscore3", "musescore3") if (found := shutil.which(name))), None)
ABSENT = "MuseScore 3 is not installed"

# From music21's corpus: piano across two staves, songs, quartets, ragtime, medieval rhythm, grace notes, tuplets.
CORPUS = (
    "schumann_clara/opus17/movement3", "schubert/Lindenbaum", "beach/prayer_of_a_tired_child",
    "beethoven/opus18no1/movement1", "joplin/maple_leaf_rag", "haydn/opus74no1/movement1", "mozart/k458/movement1",
    "trecento/PMFC_13_19", "trecento/PMFC_12_9", "schumann_robert/opus48no2",
)  # fmt: skip


def note(step, octave, duration, kind, *, voice=1, inside="", grace=False, chord=False, notations="", dot=False):
    """One `<note>` of a small score; durations in 12ths of a quarter."""
    return (
        f"<note>{'<grace/>' if grace else ''}{'<chord/>' if chord else ''}<pitch><step>{step}</step>"
        f"<octave>{octave}</octave></pitch>{'' if grace else f'<duration>{duration}</duration>'}<voice>{voice}</voice>"
        f"<type>{kind}</type>{'<dot/>' if dot else ''}{inside}"
        f"{f'<notations>{notations}</notations>' if notations else ''}</note>"
    )


TRIPLET = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"


def triplet():
    """Three eighths in the time of two."""
    edges = ('<tuplet type="start"/>', "", '<tuplet type="stop"/>')
    return "".join(
        note(step, 5, 4, "eighth", inside=TRIPLET, notations=edge) for step, edge in zip("CDE", edges, strict=True)
    )


def tremolo():
    """Two half notes' worth of a tremolo between two notes, each written as a half."""
    marks = [f'<ornaments><tremolo type="{end}">3</tremolo></ornaments>' for end in ("start", "stop")]
    ratio = "<time-modification><actual-notes>2</actual-notes><normal-notes>1</normal-notes></time-modification>"
    return note("C", 5, 12, "half", inside=ratio, notations=marks[0]) + note(
        "E", 5, 12, "half", inside=ratio, notations=marks[1]
    )


def two_voices():
    """Quarters above, syncopation below."""
    upper = "".join(note(step, 5, 12, "quarter") for step in "GAGE")
    lower = note("C", 4, 6, "eighth", voice=2) + note("D", 4, 36, "half", voice=2, dot=True)
    return upper + "<backup><duration>48</duration></backup>" + lower + note("E", 4, 6, "eighth", voice=2)


def bars(transposing):
    """A pick-up; triplets; a two-note tremolo; grace notes; two voices; three bars of rest; an irregular bar."""
    rest = '<note><rest measure="yes"/><duration>48</duration><voice>1</voice></note>'
    quarters = "".join(note(step, 5, 12, "quarter") for step in "CDEF")
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>" if transposing else ""
    start = (
        "<attributes><divisions>12</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        f"<clef><sign>G</sign><line>2</line></clef>{transpose}</attributes>"
    )
    grace = note("F", 5, 0, "eighth", grace=True) + note("G", 5, 0, "eighth", grace=True)
    contents = [
        start + note("G", 4, 12, "quarter"),
        triplet() + quarters[: len(quarters) // 4] + triplet() + note("C", 5, 12, "quarter"),
        tremolo() + note("D", 5, 24, "half"),
        note("E", 5, 24, "half") + grace + note("F", 5, 12, "quarter") + note("G", 5, 12, "quarter"),
        two_voices(),
        *(rest, rest, rest),
        note("C", 5, 18, "quarter", dot=True) + note("D", 5, 6, "eighth") + note("E", 5, 6, "eighth"),
        quarters,
    ]
    numbered = "".join(
        f'<measure number="{n}"{IMPLICIT if n in (0, 8) else ""}>{content}</measure>'
        for n, content in enumerate(contents)
    )
    return numbered


IMPLICIT = ' implicit="yes"'


def every_kind():
    """A score for flute and a transposing clarinet with every kind of rhythm that moves a place."""
    parts = (("P1", "Flute", False), ("P2", "Clarinet in B flat", True))
    headings = "".join(f'<score-part id="{id}"><part-name>{name}</part-name></score-part>' for id, name, _ in parts)
    music = "".join(f'<part id="{id}">{bars(transposing)}</part>' for id, _, transposing in parts)
    return f'<score-partwise version="3.1"><part-list>{headings}</part-list>{music}</score-partwise>'.encode()


def ask(*words, seconds=120):
    """Run MuseScore 3; its answer."""
    environment = {"QT_QPA_PLATFORM": "offscreen", "PATH": "/usr/bin:/bin", "HOME": str(Path.home())}
    command = [str(PROGRAM), *map(str, words)]
    return subprocess.run(command, capture_output=True, timeout=seconds, env=environment, check=False)


def saved(source, target):
    """`source` saved by MuseScore 3 as `target`, twice: imported files change once."""
    first = target.with_name("once" + target.suffix)
    ask("-o", first, source)
    ask("-o", target, first)
    return target.read_bytes()


def with_rests_joined(data):
    """The file with the style that joins bars of rest, as MuseScore writes it."""
    return re.sub(rb"<Style>", b"<Style>\n      <createMultiMeasureRests>1</createMultiMeasureRests>", data, count=1)


def with_linked_part(data):
    """A file of one part with that part made from the score beside it, as MuseScore 3 keeps it: a score in the score."""
    inner = data[data.index(b"<Score>") + 7 : data.rindex(b"</Score>")]
    copy = inner.replace(b'<Staff id="1">', b'<Staff id="1"><linkedTo>1</linkedTo>', 1)
    copy = copy.replace(b"<Note>", b"<Note><linked></linked>")
    whole = inner.replace(b"<Note>", b"<Note><linkedMain/>")
    tail = b'<Tracklist sTrack="0" dstTrack="0"/><name>Flute</name></Score></Score>'
    return data[: data.index(b"<Score>")] + b"<Score>" + whole + b"<Score>" + copy + tail + b"</museScore>\n"


@cache
def corpus_file(name):
    """Path of a corpus file in MusicXML."""
    from music21 import corpus

    paths = map(str, corpus.getCorePaths())
    return next(path for path in paths if f"corpus/{name}" in path and path.endswith(("xml", "mxl")))


def marks_on(exported, every=3):
    """A mark with `<` and `&` in it on every third event of all parts of an exported score, with the parts."""
    score = read_score(exported, {part.id for part in read_headings(exported).parts})
    marks = {}
    for part in score.parts:
        for number, event in enumerate(part.events):
            if number % every == 0 and not (event.grace or event.cue or event.hidden):
                rows = (f"slide 0 > {number} mm", "●○●")
                marks.setdefault(event.start, Mark(event.start, rows, voice=event.voice, staff=event.staff))
    return score.parts, list(marks.values())


def places_in(data, path, every=3):
    """Native marks for a file, and its export."""
    exported = export(path, data, PROGRAM)
    parts, marks = marks_on(exported, every)
    return native_marks(parts, marks), exported
