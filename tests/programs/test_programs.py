"""Notation programs load what we marked, show every row, and find the music as it was; needs the programs themselves."""

from __future__ import annotations

from pathlib import Path

import pytest
from programs import PROGRAMS, Program, complaints, ours, see
from table import EXAMPLES, Tried, scores, tried, unmarked

from annotate.files.own_marks import SIGNATURE
from annotate.files.stripping import strip
from annotate.files.writing import ASCII, COLUMN, ROWS
from annotate.marking import Style
from annotate.pipeline import Options, annotate, look, strip_file

PRESENT = [
    pytest.param(program, id=program.name, marks=pytest.mark.skipif(bool(program.absent()), reason=program.absent()))
    for program in PROGRAMS
]
# LilyPond takes several seconds for a page, and CI has it only where it is installed already.
QUICK = [param for param in PRESENT if param.id != "LilyPond"]
SLOW = [param for param in PRESENT if param.id == "LilyPond"]


def check(program: Program, example: Path, carrier: str) -> None:
    seen = tried(program, example, carrier)
    assert len(set(seen.asked) - set(seen.before.texts)) > 5
    assert seen.missing() == []
    assert seen.new_complaints() == set()
    assert seen.same_music()
    if seen.after.saved:
        assert seen.found_again()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
@pytest.mark.parametrize("program", QUICK)
def test_a_program_shows_every_row_and_leaves_the_music_alone(program: Program, example: Path) -> None:
    check(program, example, COLUMN)


@pytest.mark.parametrize("carrier", [ROWS, ASCII])
@pytest.mark.parametrize("program", QUICK)
def test_a_program_shows_the_other_carriers_too(program: Program, carrier: str) -> None:
    check(program, EXAMPLES[0], carrier)


@pytest.mark.slow
@pytest.mark.parametrize("carrier", [COLUMN, ROWS, ASCII])
@pytest.mark.parametrize("program", SLOW)
def test_a_program_that_sets_pages_shows_every_row(program: Program, carrier: str) -> None:
    check(program, EXAMPLES[0], carrier)


@pytest.mark.parametrize("program", [param for param in QUICK if "MuseScore" in str(param.id)])
def test_rows_are_updated_and_taken_out_after_a_program_saved_them(program: Program, tmp_path: Path) -> None:
    """Marked again, the saved file has the same rows once; stripped, it has the words and music of the saved original."""
    seen = tried(program, EXAMPLES[0], COLUMN)
    saved, updated = tmp_path / "saved.musicxml", tmp_path / "updated.musicxml"
    saved.write_bytes(seen.after.saved)
    annotate(look(saved, Options()), updated, in_place=False, style=Style("every"))
    assert ours(updated.read_bytes()) == ours(scores(EXAMPLES[0], COLUMN)[1])
    for stripped in (strip(saved.read_bytes()), strip(updated.read_bytes())):
        (tmp_path / "bare.musicxml").write_bytes(stripped)
        demands = [look(tmp_path / name, Options()).result.decisions for name in ("bare.musicxml", "saved.musicxml")]
        assert [one.demand.pitches for one in demands[0]] == [one.demand.pitches for one in demands[1]]
        assert words(stripped) == words(seen.before.saved)


@pytest.mark.parametrize("program", [param for param in QUICK if "MuseScore" in str(param.id)])
@pytest.mark.parametrize(("carrier", "diagrams"), [(ROWS, "first"), (ASCII, "every")])
def test_with_other_options_the_rows_that_a_program_saved_are_replaced(
    program: Program, carrier: str, diagrams: str, tmp_path: Path
) -> None:
    """The same comes out as for the saved file without our rows, and taking them out leaves just that."""
    saved, bare = tmp_path / "saved.musicxml", tmp_path / "bare.musicxml"
    saved.write_bytes(tried(program, EXAMPLES[0], COLUMN).after.saved)
    strip_file(saved, bare, in_place=False)
    made = []
    for source in (saved, bare):
        target = tmp_path / f"marked-{source.name}"
        annotate(look(source, Options()), target, in_place=False, style=Style(diagrams, carrier))
        made.append(target.read_bytes())
    assert made[0] == made[1]
    assert len(ours(made[0])) > 5 and ours(made[0]) != ours(saved.read_bytes())
    assert strip(made[0]) == bare.read_bytes() and not ours(bare.read_bytes())


def words(data: bytes) -> list[str]:
    from lxml import etree

    return [str(each.text) for each in etree.fromstring(data).iter("words")]


@pytest.mark.parametrize("program", QUICK)
def test_a_lost_row_and_another_note_would_be_seen(program: Program) -> None:
    """The witness itself is put on trial, with a marked score that is not as it should be."""
    before, marked = scores(EXAMPLES[0], COLUMN)
    asked = ours(marked)
    spoiled = marked.replace(b"<octave>5</octave>", b"<octave>4</octave>", 1)
    spoiled = spoiled.replace(f">{asked[-1]}{SIGNATURE}".encode(), f">else{SIGNATURE}".encode())
    seen = Tried(unmarked(program, EXAMPLES[0]), see(program, spoiled), asked)
    assert before != marked
    assert asked[-1] in seen.missing()
    assert not seen.same_music()


def test_a_warning_is_told_from_ordinary_talk() -> None:
    lines = ["convert <a>...", "[Warning] slur 'x12' could not be matched", "[Warning] slur 'x13' could not be matched"]
    assert complaints(lines) == ("[Warning] slur 'x_' could not be matched",)
