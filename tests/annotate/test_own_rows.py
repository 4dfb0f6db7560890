"""Every row that we write reads as ours in every language and carrier; whatever somebody changes in it does not."""

import itertools
import re
import textwrap
from pathlib import Path

import pytest
from click.testing import CliRunner

from annotate.cli import cli
from annotate.drawing import diagram
from annotate.files.own_marks import SIGNATURE
from annotate.files.own_rows import are_ours, is_row
from annotate.files.stripping import rows_kept, strip
from annotate.files.writing import CARRIERS
from annotate.language import languages, words
from annotate.marking import Style
from annotate.pipeline import Options, annotate, look, strip_file
from annotate.wording import legend
from fingering_db.fingering import Fingering
from fingering_db.instrument import load, shipped
from fingering_db.mechanism import reach

NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
UPPER = NOTE.replace("<note>", "<note><chord/>").replace(">5<", ">6<").replace(">C<", ">D<")
SMALL = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="3.1"><part-list><score-part id="P1">'
    '<part-name>Flute</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1'
    "</divisions></attributes><direction><direction-type><words>multiphonic</words></direction-type></direction>"
    f"{NOTE}{UPPER}</measure></part></score-partwise>\n"
)


def rows_in(text: str) -> list[str]:
    return re.findall(f">([^<{SIGNATURE}]*){SIGNATURE}<", text)


def saved_elsewhere(text: str) -> str:
    """As a program saves it: without our instructions."""
    return re.sub(r"<\?ventwise \w+\?>", "", text)


@pytest.mark.parametrize(
    "style",
    [Style(carrier=carrier, diagrams=shown, notes="full") for carrier in CARRIERS for shown in ("first", "every")],
)
def test_what_is_written_is_ours_and_goes_after_another_program_saved_it(style: Style, tmp_path: Path) -> None:
    path, out, saved, bare = (tmp_path / f"{name}.musicxml" for name in ("a", "out", "saved", "bare"))
    path.write_text(SMALL, encoding="utf-8")
    annotate(look(path, Options()), out, in_place=False, style=style)
    made = out.read_text(encoding="utf-8")
    rows = rows_in(made)
    assert len(rows) >= 3 and all(map(is_row, rows)), [row for row in rows if not is_row(row)]
    saved.write_text(saved_elsewhere(made), encoding="utf-8")
    assert strip_file(saved, bare, in_place=False)[1] == ()
    assert SIGNATURE not in bare.read_text(encoding="utf-8")


@pytest.mark.parametrize("flute", shipped())
def test_every_diagram_of_every_flute_is_ours(flute: str) -> None:
    found = reach(load(flute))
    every = [found.fingering(number) for number in range(0, len(found.placements), len(found.placements) // 60)]
    assert len(set(every)) > 50
    for one in every:
        plain = (*diagram.plain_rows(one), *diagram.columns(one, plain=True), diagram.line(one, plain=True))
        for row in (*diagram.rows(one, one), *diagram.columns(one), diagram.line(one), *plain):
            assert is_row(row), row


@pytest.mark.parametrize("language", languages())
def test_every_note_and_legend_of_every_language_is_ours(language: str) -> None:
    lexicon = words(language)
    values = {
        "touch": "E♭", "touches": "1 2o | E♭", "start": "0", "end": "45", "n": "12", "pitch": "C♯6(+50)", "cents": "-23",
        "sign": "●", "note": lexicon.text("note.multiphonic"), "list": "C5 +21, D6 -17",
    }  # fmt: skip
    for table in ("note", "legend"):
        for key in lexicon.tables[table]:
            row = lexicon.text(f"{table}.{key}", **values)
            assert is_row(row), row
    held = [Fingering.parse(text) for text in ("T 1 2o 3 | Eb", "T | 1", "Tv 2 | Eb")]
    told = legend(held, language, statuses=["doubtful", "unplayable"], numbered=True, gliding=True, contrary=held)
    for joint in (" ", "  "):
        assert is_row(joint.join(told)), told
    for width in (24, 60):
        for row in itertools.chain(*(textwrap.wrap(entry, width) for entry in told)):
            assert is_row(row), row


@pytest.mark.parametrize(
    "row",
    [
        "○●● T",
        "●●● E♭ ~",
        "@-- E♭",
        "mult.",
        "mult. ?",
        "T ○●● | ○○○ E♭",
        "[12] T ○●● | ○○○ E♭",
        "slide 0 > 23 mm",
        "C5 +21, D6 -17 ct",
        "contrary: 1 | E♭",
        "T○",
        "●C♯",
        "♭@",
        "[12]?",
    ],
)  # fmt: skip
@pytest.mark.parametrize("typed", ["p", "dolce", "1. solo", "poco rit.", "♪"])
def test_a_row_that_somebody_typed_into_is_theirs(row: str, typed: str) -> None:
    assert is_row(row)
    for text in (f"{row} {typed}", f"{typed} {row}", f"{row[:2]}{typed}{row[2:]}"):
        assert not is_row(text), text
    assert not are_ours(f"{SIGNATURE}{row}{SIGNATURE} {typed} {SIGNATURE}{row}{SIGNATURE}")
    assert are_ours(f" {SIGNATURE}{row}{SIGNATURE}\n {SIGNATURE}{row}{SIGNATURE}\n")
    assert are_ours(f" {row}{SIGNATURE}\n {row}{SIGNATURE}\n") and not are_ours(f"{row}{SIGNATURE} {typed}")


@pytest.mark.parametrize(
    "text", ["", " ", SIGNATURE, SIGNATURE * 2, SIGNATURE * 3, f"{SIGNATURE}●●●", f"b{SIGNATURE}●●●{SIGNATURE}"]
)
def test_what_is_not_between_our_signs_is_not_ours(text: str) -> None:
    assert not are_ours(text.replace("+", SIGNATURE))


def test_an_endless_row_is_told_at_once() -> None:
    for piece in ("● down  ", "C5 +21, ", "1 ", "a", "contrary: "):
        assert not is_row(piece * 20_000)
        assert not is_row((piece * 200)[:990] + "§")


def test_a_changed_row_is_kept_and_told(tmp_path: Path) -> None:
    path, out, bare = (tmp_path / f"{name}.musicxml" for name in ("a", "out", "bare"))
    path.write_text(SMALL, encoding="utf-8")
    annotate(look(path, Options()), out, in_place=False)
    made = saved_elsewhere(out.read_text(encoding="utf-8"))
    row = next(row for row in rows_in(made) if " " in row)
    out.write_text(made.replace(f"{row}{SIGNATURE}", f"{row} more air{SIGNATURE}"), encoding="utf-8")
    assert rows_kept(out.read_bytes()) == (" ".join(f"{row} more air".split()),)
    found = [finding for finding in look(out, Options()).result.findings if finding.code == "F203"]
    assert len(found) == 1 and "more air" in str(found[0].message.values)  # type: ignore[union-attr]
    result = CliRunner().invoke(cli, ["strip", str(out), "-o", str(bare)], standalone_mode=False)
    assert "more air': between ventwise's signs" in result.stderr
    assert rows_in(bare.read_text(encoding="utf-8")) == [f"{row} more air"]
    assert strip(bare.read_bytes()) == bare.read_bytes()
