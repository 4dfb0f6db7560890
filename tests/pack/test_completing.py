"""Accidentals and beams that the copy for the engraver gets where the file leaves them out; music21 is the reference."""

from __future__ import annotations

import re

import music21
import pytest
from lxml import etree

from annotate.pack.part_copy import part_copies

HEAD = '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>F</part-name></score-part></part-list>'
SIGNS = {
    "quarter-sharp": "half-sharp", "three-quarters-sharp": "one-and-a-half-sharp", "quarter-flat": "half-flat",
    "three-quarters-flat": "one-and-a-half-flat", "flat-flat": "double-flat", "double-sharp": "double-sharp",
}  # fmt: skip
"""Names of MusicXML as music21 calls them."""


def note(pitch: str, length: int = 2, more: str = "", tie: str = "") -> str:
    step, alter, octave = re.fullmatch(r"([A-G])(-?[\d.]*),(\d)", pitch).groups()
    alter = f"<alter>{alter}</alter>" if alter else ""
    kind = {1: "eighth", 2: "quarter", 4: "half", 8: "whole"}[length]
    ties = "".join(f'<tie type="{one}"/>' for one in tie.split())
    tied = "".join(f'<tied type="{one}"/>' for one in tie.split())
    return (
        f"<note><pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch><duration>{length}</duration>{ties}"
        f"<voice>1</voice><type>{kind}</type>{more}{f'<notations>{tied}</notations>' if tied else ''}</note>"
    )


def score(*bars: str, fifths: int = 0, time: str = "4/4", divisions: int = 2) -> bytes:
    beats, unit = time.split("/")
    first = (
        f"<attributes><divisions>{divisions}</divisions><key><fifths>{fifths}</fifths></key>"
        f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time></attributes>"
    )
    told = "".join(f'<measure number="{n}">{first if n == 1 else ""}{bar}</measure>' for n, bar in enumerate(bars, 1))
    return f'{HEAD}<part id="P1">{told}</part></score-partwise>'.encode()


def copied(data: bytes) -> etree._Element:
    return etree.fromstring(part_copies(data, ("P1",))["P1"].data.encode())


def signs(root: etree._Element) -> list[str]:
    return [one.findtext("accidental") or "" for one in root.iter("note")]


SEVERAL = score(
    note("F1,5") + note("F,5") + note("F,5") + note("A,4"),  # the key has the first; cancelled; that holds
    note("C1,5") + note("C1,5") + note("C,5") + note("C1,5", tie="start"),
    note("C1,5", tie="stop") + note("C1,5") + note("B-1,4") + note("B,4"),
    note("D0.5,5") + note("D0.5,5") + note("D,5") + note("E-0.5,5"),
    note("G1.5,4") + note("A-1.5,4") + note("B-2,4") + note("F2,4"),
    note("C,5") + note("G1,5") + note("G1,4") + note("G,5"),
    fifths=1,
)


def as_music21_shows(data: bytes) -> list[str]:
    part = music21.converter.parseData(data, format="musicxml").parts[0]
    part.makeAccidentals(inPlace=True, overrideStatus=True, cautionaryPitchClass=False)
    signs = [own.pitch.accidental for own in part.recurse().notes]
    return [sign.name if sign is not None and sign.displayStatus else "" for sign in signs]


def test_a_part_without_accidentals_gets_those_that_music21_shows() -> None:
    found = [SIGNS.get(one, one) for one in signs(copied(SEVERAL))]
    assert found == as_music21_shows(SEVERAL)
    assert sum(map(bool, found)) == 17


def test_after_a_tied_sharp_the_next_note_tells_its_own_sign() -> None:
    data = score(note("C1,5", 8, tie="start"), note("C1,5", 2, tie="stop") + note("C,5"), note("C,5"))
    assert signs(copied(data)) == ["sharp", "", "natural", ""]


def test_a_sign_of_the_key_holds_in_every_octave_and_a_sign_of_the_bar_in_its_own() -> None:
    data = score(note("F1,5") + note("F,5") + note("F1,4") + note("F,4"), fifths=1)
    assert signs(copied(data)) == ["", "natural", "", "natural"]


def test_each_staff_remembers_for_itself_and_voices_are_read_as_they_sound() -> None:
    first, second = "<staff>1</staff>", "<staff>2</staff>"
    back = "<backup><duration>8</duration></backup>"
    voices = note("C,5", 4, first) + note("C1,5", 4, first) + back + note("C1,5", 4, first) + note("C1,5", 4, second)
    assert signs(copied(score(voices))) == ["", "", "sharp", "sharp"]


def test_written_signs_stay_and_what_has_all_it_needs_is_left_as_it_is() -> None:
    whole = copied(SEVERAL)
    before = etree.tostring(whole)
    assert etree.tostring(copied(before)) == before
    sign = "<accidental>quarter-sharp</accidental>"
    natural = '<accidental cautionary="yes">natural</accidental>'
    rounded = score(note("C,5", more=sign) + note("C,5") + note("C0.5,5") + note("D,5", more=natural))
    assert signs(copied(rounded)) == ["quarter-sharp", "", "", "natural"]


def beams(root: etree._Element) -> list[str]:
    return [" ".join(one.text or "" for one in each.findall("beam")) for each in root.iter("note")]


@pytest.mark.parametrize(("time", "count"), [("4/4", 8), ("3/4", 6), ("6/8", 6), ("9/8", 9), ("2/4", 4), ("3/8", 3)])
def test_beams_go_in_groups_of_the_metre_as_music21_makes_them(time: str, count: int) -> None:
    data = score(note("A,4", 1) * count, time=time)
    read = music21.converter.parseData(data, format="musicxml").parts[0]
    groups = music21.meter.TimeSignature(time).getBeams(list(read.recurse().notes))
    names = {"start": "begin", "continue": "continue", "stop": "end"}
    assert beams(copied(data)) == [names[one.beamsList[0].type] for one in groups]


def test_beams_end_at_rests_and_quarter_notes_and_written_ones_are_left() -> None:
    rest = "<note><rest/><duration>1</duration><voice>1</voice><type>eighth</type></note>"
    data = score(note("A,4", 1) + rest + note("A,4", 1) * 2 + note("A,4") + note("A,4", 1) * 2)
    assert beams(copied(data)) == ["", "", "begin", "end", "", "begin", "end"]
    begun, ended = (f'<beam number="1">{one}</beam>' for one in ("begin", "end"))
    own = score(note("A,4", 1, begun) + note("A,4", 1, ended) + note("A,4", 1) * 2)
    assert beams(copied(own)) == ["begin", "end", "", ""]


def test_the_word_along_a_line_is_written_once_above_its_first_note() -> None:
    line = '<notations><glissando type="{}" number="1">{}</glissando></notations>'
    notes = note("A,4", more=line.format("start", "gliss.")) + note("G,4", more=line.format("stop", ""))
    words = "<direction><direction-type><words>slow gliss.</words></direction-type></direction>"
    assert [one.text for one in copied(score(notes)).iter("words")] == ["gliss."]
    assert [one.text for one in copied(score(words + notes)).iter("words")] == ["slow gliss."]


@pytest.mark.parametrize(
    ("words", "placed"),
    [
        ("<words>mult.</words>", "above"),
        ('<words default-y="45">Lento</words>', "above"),
        ('<words default-y="-60">Lento</words>', None),
        ("<words>molto cresc.</words>", None),
        ("<words>più f</words>", None),
        ("<words>forward</words>", "above"),
    ],
)
def test_words_that_stand_nowhere_in_particular_go_above_and_a_part_without_a_clef_has_a_treble_clef(
    words: str, placed: str | None
) -> None:
    told = f"<direction><direction-type>{words}</direction-type></direction>"
    root = copied(score(told + note("C,5", 8)))
    assert [one.get("placement") for one in root.iter("direction")] == [placed]
    attributes = next(root.iter("attributes"))
    assert [one.tag for one in attributes] == ["divisions", "key", "time", "clef"]
    assert [one.text for one in attributes.find("clef")] == ["G", "2"]


def test_a_clef_of_the_file_is_the_only_one() -> None:
    own = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>"
    assert [one.findtext("sign") for one in copied(score(own + note("C,3", 8))).iter("clef")] == ["F"]
