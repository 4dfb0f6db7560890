"""What the engraver is given of a part."""

from __future__ import annotations

import pytest
from lxml import etree

from annotate.pack.engraving import mei_of
from annotate.pack.part_copy import part_copies

NOTE = "<note><pitch><step>A</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note>"
REST = '<note><rest measure="yes"/><duration>4</duration></note>'
WEDGE = '<direction><direction-type><wedge type="{}" number="1"/></direction-type></direction>'
TEMPO = (
    "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>72</per-minute></metronome>"
    '</direction-type><staff>1</staff><sound tempo="72"/></direction>'
)


def score(*parts: list[str]) -> bytes:
    heads = "".join(f'<score-part id="P{n}"><part-name>Part</part-name></score-part>' for n, _ in enumerate(parts, 1))
    told = ""
    for number, bars in enumerate(parts, 1):
        first = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
        told += f'<part id="P{number}">' + "".join(
            f'<measure number="{n}">{first if n == 1 else ""}{bar}</measure>' for n, bar in enumerate(bars, 1)
        )
        told += "</part>"
    return f'<score-partwise version="4.0"><part-list>{heads}</part-list>{told}</score-partwise>'.encode()


def bars_of(data: bytes) -> list[str]:
    """For each bar as it is drawn: how many bars of rest it stands for, 'note' for one with notes."""
    root = etree.fromstring(mei_of(part_copies(data, ("P1",))["P1"].data).encode())
    found = []
    for bar in root.iter("{*}measure"):
        several = next(bar.iter("{*}multiRest"), None)
        one = "note" if next(bar.iter("{*}note"), None) is not None else "1"
        found.append(one if several is None else several.get("num", ""))
    return found


def test_bars_of_rest_are_joined_up_to_what_stands_in_them() -> None:
    assert bars_of(score([NOTE, REST, REST, REST, NOTE])) == ["note", "3", "note"]
    assert bars_of(score([NOTE, REST, TEMPO + REST, REST, REST])) == ["note", "1", "1", "2"]
    double = REST + '<barline location="right"><bar-style>light-light</bar-style></barline>'
    assert bars_of(score([REST, double, REST, REST])) == ["2", "2"]


def test_bars_that_a_line_goes_over_are_not_joined() -> None:
    data = score([NOTE, WEDGE.format("crescendo") + NOTE, REST, REST, WEDGE.format("stop") + NOTE])
    assert bars_of(data) == ["note", "note", "1", "1", "note"]


@pytest.mark.parametrize("own", [True, False])
def test_a_tempo_that_stands_in_another_part_alone_is_drawn_once(own: bool) -> None:
    data = score([NOTE, (TEMPO if own else "") + NOTE], [NOTE, TEMPO + NOTE])
    for part, copy in part_copies(data, ("P1", "P2")).items():
        root = etree.fromstring(copy.data.encode())
        assert [one.get("id") for one in root.iter("part")] == [part]
        assert [bar.get("number") for bar in root.iter("measure") if next(bar.iter("metronome"), None) is not None] == [
            "2"
        ]
        assert len(list(root.iter("metronome"))) == 1


def test_every_note_keeps_its_name_in_the_engraver() -> None:
    data = score([NOTE, NOTE])
    copy = part_copies(data, ("P1",))["P1"]
    assert sorted(copy.names) == [at for at in range(len(data)) if data[at : at + 6] == b"<note>"]
    assert all(f'xml:id="{name}"' in mei_of(copy.data) for name in copy.names.values())
