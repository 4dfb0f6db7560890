"""`import ventwise`: one face for Python."""

from __future__ import annotations

import doctest
import importlib.util
import io
import sys
import types
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCORE = ROOT / "tests/cases/detecting/microtones.musicxml"


@pytest.fixture(scope="module")
def ventwise() -> types.ModuleType:
    """The package as an installed one has it, from this copy."""
    folder = ROOT / "annotate/ventwise"
    spec = importlib.util.spec_from_file_location(
        "ventwise", folder / "__init__.py", submodule_search_locations=[str(folder)]
    )
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["ventwise"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def score() -> bytes:
    note = "<note>{}<pitch><step>{}</step><octave>{}</octave></pitch><duration>4</duration><voice>1</voice></note>"
    notes = note.format("", "C", 5) + note.format("<chord/>", "D", 6)
    words = "<direction><direction-type><words>mult.</words></direction-type></direction>"
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
        f'<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>{words}{notes}</measure></part>'
        "</score-partwise>"
    ).encode()


def test_every_example_in_the_docstrings_runs(ventwise: types.ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    found = doctest.testmod(ventwise, report=True, optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    assert found.attempted > 15
    assert found.failed == 0


def test_all_that_is_promised_is_there_and_documented(ventwise: types.ModuleType) -> None:
    for name in ventwise.__all__:
        assert getattr(getattr(ventwise, name), "__doc__", "") or name == "Score", name


def test_path_bytes_open_file_and_stream_are_one_score(
    ventwise: types.ModuleType, score: bytes, tmp_path: Path
) -> None:
    music21 = pytest.importorskip("music21")
    path = tmp_path / "score.musicxml"
    path.write_bytes(score)
    stream = music21.converter.parse(score.decode(), format="musicxml")
    results = [
        ventwise.check(path),
        ventwise.check(str(path)),
        ventwise.check(score),
        ventwise.check(io.BytesIO(score)),
    ]
    with path.open("rb") as file:
        results.append(ventwise.check(file))
    results.append(ventwise.check(stream))
    (first,) = results[0].decisions
    assert first.demand.kind == ventwise.Kind.MULTIPHONIC and first.status == "playable"
    assert [str(pitch) for pitch in first.demand.pitches] == ["C5", "D6"]
    for result in results[1:]:
        (one,) = result.decisions
        assert (one.fingering, one.status, one.deviation_cents) == (
            first.fingering,
            first.status,
            first.deviation_cents,
        )


def test_what_is_no_score_is_told_in_one_line(ventwise: types.ModuleType, tmp_path: Path) -> None:
    for odd in (7, [], object()):
        with pytest.raises(ventwise.InputError, match="expected a path, bytes"):
            ventwise.check(odd)
    with pytest.raises(ventwise.InputError, match="'rb'"):
        ventwise.check(io.StringIO("<score-partwise/>"))
    with pytest.raises(ventwise.InputError):
        ventwise.check(tmp_path / "missing.musicxml")


def test_annotate_and_strip_give_the_bytes_back(ventwise: types.ModuleType, score: bytes, tmp_path: Path) -> None:
    marked, clean = tmp_path / "marked.musicxml", tmp_path / "clean.musicxml"
    result = ventwise.annotate(score, marked)
    assert result.decisions and marked.read_bytes() != score
    ventwise.strip(marked, clean)
    assert clean.read_bytes() == score


def test_results_cannot_be_changed_and_every_field_is_typed(ventwise: types.ModuleType) -> None:
    (best,) = ventwise.find(["C5", "D6"], limit=1)
    with pytest.raises(AttributeError):
        best.confidence = 1.0
    for kind in (
        ventwise.FoundFingering,
        ventwise.Way,
        ventwise.Shifted,
        ventwise.Sound,
        ventwise.Decision,
        ventwise.Result,
    ):
        assert is_dataclass(kind) and all(field.type for field in fields(kind))
        assert len(kind.__doc__ or "") > 60


def test_a_flute_can_be_handed_to_every_question(ventwise: types.ModuleType, score: bytes) -> None:
    flute = ventwise.load_flute("closed-hole-c", a4_hz=442.0)
    assert flute.a4_hz == 442.0
    assert ventwise.sounds("T 1 2 3 | 1 2 3", flute)[0].pitch.name == "D4"
    assert {one.flute for one in ventwise.find(["A4"], flute, limit=2)} == {"closed-hole-c"}
    assert ventwise.check(score, flute).flutes == ("closed-hole-c",)


def test_a_result_is_reported_as_the_command_line_does(ventwise: types.ModuleType, score: bytes) -> None:
    result = ventwise.check(score)
    assert "C5 & D6" in ventwise.report(result)
    assert ventwise.report(result, "json").startswith('{\n "version": 1')
    assert ventwise.say(result.decisions[0].why).endswith(".")
