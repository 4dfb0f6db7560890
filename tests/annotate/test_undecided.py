"""What is undecided writes nothing and changes no exit status; and small things that a run tells or leaves untold."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

from click.testing import CliRunner

from annotate.cli import cli

CASES = Path(__file__).parent.parent / "cases"
UNDECIDED = CASES / "detecting" / "undecided_chords.musicxml"
PICCOLO = CASES / "detecting" / "piccolo_in_a_large_orchestra.musicxml"


def test_an_undecided_chord_writes_nothing_and_is_told_in_text_and_json(tmp_path: Path) -> None:
    out = tmp_path / "out.musicxml"
    run = CliRunner().invoke(cli, ["annotate", str(UNDECIDED), "-o", str(out)])
    assert run.exit_code == 0
    assert out.read_bytes() == UNDECIDED.read_bytes()
    assert "(nothing was marked)" in run.stderr
    assert "R201 warning" in run.stdout
    told = CliRunner().invoke(cli, ["check", str(UNDECIDED), "--format", "json"])
    data = json.loads(told.stdout)
    assert [(one["place"], one["written"]) for one in data["undecided"]] == [("Flute, bar 1, beat 1", ["C5", "D6"])]
    assert "two voices are written" in data["undecided"][0]["evidence"]
    assert data["demands"] == []


def test_nothing_is_said_of_a_scaled_flute_where_nothing_was_judged_on_it() -> None:
    run = CliRunner().invoke(cli, ["check", str(PICCOLO)])
    assert run.exit_code == 0
    assert "scaled" not in run.stdout


def test_a_score_without_flutes_names_its_parts_in_one_line_even_when_there_are_two_hundred(
    tmp_path: Path, ventwise: Callable[..., subprocess.CompletedProcess[str]]
) -> None:
    parts = "".join(f'<score-part id="P{n}"><part-name>Violin {n}</part-name></score-part>' for n in range(1, 201))
    score = tmp_path / "large.musicxml"
    score.write_text(f"<score-partwise><part-list>{parts}</part-list></score-partwise>", encoding="utf-8")
    run = ventwise("check", score)
    assert run.returncode == 2
    assert "1 'Violin 1', 2 'Violin 2'" in run.stderr
    assert "and 188 more" in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1
    assert len(run.stderr) < 400
