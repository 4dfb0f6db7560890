"""Every fact of reading, each with the smallest score that shows it beside what must be read from it.

`tests/cases/reading/NAME.musicxml` is the input (invented), `NAME.json` the reading, written by hand: `about`
says the fact; `events`, `directions` and `part` name only what matters to it; `findings` are codes in order;
`error` is part of the one-line refusal. Pitches are as `str(Pitch)` gives them: `C5+50` is a quarter-tone up.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from in_words import in_words

from annotate.findings import InputError
from annotate.language import words
from annotate.reading.read import read_headings, read_score
from annotate.score import Event, Note, Part

CASES = Path(__file__).parent.parent / "cases" / "reading"
NAMES = sorted(path.stem for path in CASES.glob("*.json"))


def _of_notes(value: Callable[[Note], Any]) -> Callable[[Event], Any]:
    """What the one note of an event says."""
    return lambda event: value(event.notes[0])


FIELDS: dict[str, Callable[[Event], Any]] = {
    "written": lambda event: [str(note.written) if not small(note) else note.written.name for note in event.notes],
    "sounding": lambda event: [str(note.sounding) for note in event.notes],
    "cents": lambda event: [note.written.cents for note in event.notes],
    "onset": lambda event: str(event.onset),
    "duration": lambda event: str(event.duration),
    "beat": lambda event: str(event.beat),
    "ties": _of_notes(
        lambda note: {(1, 0): "start", (0, 1): "stop", (1, 1): "both"}.get((note.tie_start, note.tie_stop), "")
    ),
    "notehead": _of_notes(lambda note: [note.notehead, note.notehead_open]),
    "stem": _of_notes(lambda note: note.stem),
    "technical": _of_notes(lambda note: [list(pair) for pair in note.technical]),
    "articulations": _of_notes(lambda note: list(note.articulations)),
    "bend_alters": _of_notes(lambda note: list(note.bend_alters)),
    "slides": _of_notes(lambda note: [[each.kind, each.role, each.number, each.text] for each in note.slides]),
    "microtonal": _of_notes(lambda note: note.microtonal_as_printed),
    "starts_before_first_note": lambda event: event.start < event.notes[0].start,
}


def small(note: Note) -> bool:
    """Deviations that a case states as `cents` rather than in the name."""
    return 0 < abs(note.written.cents) < 40


def _part_field(part: Part, name: str) -> Any:
    if name == "sounds":
        return [each.sound for each in part.instruments]
    value = getattr(part, name)
    if name == "double_bars":
        return [str(onset) for onset in value]
    return list(value) if isinstance(value, tuple) else value


@pytest.mark.parametrize("name", NAMES)
def test_the_case_is_read_as_written_beside_it(name: str) -> None:
    data = (CASES / f"{name}.musicxml").read_bytes()
    expected = json.loads((CASES / f"{name}.json").read_text(encoding="utf-8"))
    if "error" in expected:
        with pytest.raises(InputError) as caught:
            read_score(data, expected.get("wanted"))
        assert expected["error"] in str(caught.value)
        assert "\n" not in str(caught.value)
        return
    score = read_score(data, expected.get("wanted"))
    part = score.parts[expected.get("part_index", 0)]
    assert len(part.events) == len(expected["events"])
    for event, wanted in zip(part.events, expected["events"], strict=True):
        for field, value in wanted.items():
            told = FIELDS[field](event) if field in FIELDS else getattr(event, field)
            if isinstance(value, float):
                assert told == pytest.approx(value, abs=1e-6), field
            else:
                assert told == value, field
    for field, value in expected.get("part", {}).items():
        assert _part_field(part, field) == value, field
    if "directions" in expected:
        assert len(part.directions) == len(expected["directions"])
        for direction, wanted in zip(part.directions, expected["directions"], strict=True):
            for field, value in wanted.items():
                told = getattr(direction, field)
                assert (str(told) if field in ("onset", "beat") else told) == value, field
    if "findings" in expected:
        assert [finding.code for finding in score.findings] == expected["findings"]
    for field in ("title", "version"):
        assert getattr(score, field) == expected.get(field, getattr(score, field))
    for part_id in expected.get("empty_parts", []):
        assert next(each for each in score.parts if each.id == part_id).events == ()


def test_each_case_has_its_input_and_its_reading() -> None:
    assert len(NAMES) > 100
    assert sorted(path.stem for path in CASES.glob("*.musicxml")) == NAMES


def test_findings_are_whole_sentences_of_documented_codes() -> None:
    seen = set()
    for name in NAMES:
        try:
            score = read_score((CASES / f"{name}.musicxml").read_bytes())
        except InputError:
            continue
        for finding in score.findings:
            seen.add(finding.code)
            assert finding.severity in ("error", "warning", "info")
            assert in_words(finding.message) and "\n" not in in_words(finding.message)
    later = {"R112", "R113"}  # in test_changes.py
    assert seen == {code for code in words().tables["explain"] if code.startswith("R1")} - later


def test_headings_tell_the_parts_without_looking_at_the_music() -> None:
    data = (CASES / "instrument_change.musicxml").read_bytes()
    whole = read_score(data)
    for cut in (data, data[: data.index(b"</measure>")]):
        headings = read_headings(cut)
        assert [(part.id, part.name, part.instruments) for part in headings.parts] == [
            (part.id, part.name, part.instruments) for part in whole.parts
        ]
        assert headings.parts[0].events == ()
        assert headings.version == "4.0"


def test_the_same_remark_at_many_places_is_made_once() -> None:
    pitch = "<pitch><step>B</step><octave>4</octave></pitch>"
    note = f"<note>{pitch}<duration>1</duration><accidental>koron</accidental></note>"
    attributes = "<attributes><divisions>1</divisions></attributes>"
    data = (
        '<score-partwise><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
        f'<part id="P1"><measure number="1">{attributes}{note * 3}</measure></part>'
        "</score-partwise>"
    )
    remarks = [finding for finding in read_score(data.encode()).findings if finding.code == "R104"]
    assert [str(finding.place) for finding in remarks] == ["Flute, bar 1, beat 1"]
    assert in_words(remarks[0].message).endswith("(and at 2 more places)")
