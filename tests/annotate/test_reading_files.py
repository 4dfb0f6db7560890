"""What real files are like before the music begins: bytes, archives and the names of parts, each fact a pair of files.

`tests/cases/files/NAME.musicxml|.mxl` beside `NAME.json`: the part's name, its words and notes, findings about the file,
for an archive the member that is the score and all members in order; or part of the one-line refusal.
`tests/cases/parts/NAME.musicxml` beside `NAME.json`: for each part its id, its name and the kind of flute, '' for none;
`played`: which flute plays each note of the first part. All of it is invented, and the readings were written by hand.
"""

import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest

from annotate.files.container import check_packed, load, pack
from annotate.files.stripping import strip
from annotate.files.writing import Mark, splice
from annotate.findings import InputError
from annotate.reading.changes import turns
from annotate.reading.flute_parts import find_flute_parts
from annotate.reading.read import read_headings, read_score

CASES = Path(__file__).parent.parent / "cases"
FILES = sorted(path for path in (CASES / "files").iterdir() if path.suffix != ".json")
PARTS = sorted((CASES / "parts").glob("*.musicxml"))


def beside(path: Path) -> dict[str, Any]:
    expected: dict[str, Any] = json.loads(path.with_suffix(".json").read_text("utf-8"))
    return expected


def members(raw: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_file_is_read_as_written_beside_it(path: Path) -> None:
    expected = beside(path)
    if "error" in expected:
        with pytest.raises(InputError, match=re.escape(expected["error"])):
            read_score(load(path).data)
        return
    file = load(path)
    score = read_score(file.data)
    (part,) = score.parts
    assert part.name == expected["part"]
    assert [direction.text for direction in part.directions] == [expected["words"]]
    assert [str(note.written) for event in part.events for note in event.notes] == expected["notes"]
    assert [finding.code for finding in score.findings if finding.code != "R101"] == expected["findings"]
    assert score.version == expected.get("version", "3.1")
    assert file.packed == ("members" in expected)
    if file.packed:
        assert file.member == expected["member"]
        assert list(members(file.raw)) == expected["members"]


@pytest.mark.parametrize("path", [path for path in FILES if "error" not in beside(path)], ids=lambda path: path.stem)
def test_marks_change_nothing_else_in_such_a_file(path: Path) -> None:
    file = load(path)
    (event,) = read_score(file.data).parts[0].events
    marked = splice(file.data, [Mark(event.start, ("\u25cf\u25cb\u25cf T", "\u25cb\u25cb\u25cb"))])
    made = pack(file, marked)
    assert strip(marked) == file.data != marked
    if file.packed:
        assert members(made) == members(file.raw) | {file.member: marked}
        again = check_packed(file, made)
        assert members(pack(again, strip(again.data))) == members(file.raw)


@pytest.mark.parametrize("path", PARTS, ids=lambda path: path.stem)
def test_the_flutes_of_a_score_are_those_written_beside_it(path: Path) -> None:
    expected, data = beside(path), path.read_bytes()
    headings = read_headings(data)
    families = {part.id: family for part, family in find_flute_parts(headings.parts)}
    told = [[part.id, part.name or part.abbreviation, families.get(part.id, "")] for part in headings.parts]
    assert told == expected["families"]
    if "played" in expected:
        part = read_score(data).parts[0]
        played = turns(part, families[part.id])
        assert [played.family_of(event) for event in part.events] == expected["played"]


def test_each_case_has_its_input_and_its_reading() -> None:
    for folder in ("files", "parts"):
        stems = [path.stem for path in (CASES / folder).iterdir()]
        assert all(stems.count(stem) == 2 for stem in stems)
    assert len(FILES) > 30 and len(PARTS) >= 12


def test_the_index_names_every_case_and_no_other() -> None:
    text = (CASES / "README.md").read_text("utf-8")
    named = {name for row in re.findall(r"^\|.*\|$", text, re.M) for name in re.findall(r"`([\w/*]+)`", row)}
    for folder in ("reading", "files", "parts", "detecting"):
        stems = {path.stem for path in (CASES / folder).glob("*.json")}
        told = {name.removeprefix(f"{folder}/") for name in named if name.startswith(f"{folder}/")}
        patterns = {name for name in told if "*" in name}
        covered = {stem for stem in stems for name in patterns if Path(stem).match(name)}
        assert told - patterns <= stems
        assert all(any(Path(stem).match(name) for stem in stems) for name in patterns)
        assert stems - told - covered == set(), folder
