"""Scores of a change checked at once, and what a project has accepted."""

import os
import re
import subprocess
import sys
import time

import pytest

# Two notes that no flute has, one bar apart; invented.
NOTE = "<note><pitch><step>C</step><octave>{}</octave></pitch><duration>4</duration><voice>1</voice></note>"
BAR = '<measure number="{}">{}' + NOTE + "</measure>"
START = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
QUIET = os.environ | {"VENTWISE_QUIET": "1"}
ENTRY = [sys.executable, "-c", "from annotate.start import main; main()"]


@pytest.fixture
def project(tmp_path):
    bars = "".join(BAR.format(n, "" if n > 1 else START, octave) for n, octave in enumerate((3, 5, 3, 5), start=1))
    whole = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
        f'<part id="P1">{bars}</part></score-partwise>'
    )
    (tmp_path / "a.musicxml").write_text(whole, encoding="utf-8")
    return tmp_path


def test_a_change_is_refused_until_its_unplayable_places_are_accepted(project, ventwise):
    refused = ventwise("hook", "a.musicxml", cwd=project)
    assert refused.returncode == 1 and not refused.stderr
    assert all(
        line.startswith("a.musicxml: Flute, bar ") and "unplayable" in line for line in refused.stdout.splitlines()
    )
    refused = ventwise("hook", "a.musicxml", "--language", "de", cwd=project)
    assert all("Takt" in line and "unspielbar" in line for line in refused.stdout.splitlines())
    assert ventwise("hook", "--accept", "a.musicxml", cwd=project).returncode == 0
    passed = ventwise("hook", "a.musicxml", cwd=project)
    assert (passed.returncode, passed.stdout, passed.stderr) == (0, "", "")


def test_an_inserted_bar_does_not_undo_what_was_accepted_and_a_new_place_is_refused(project, ventwise):
    ventwise("hook", "--accept", "a.musicxml", cwd=project)
    text = (project / "a.musicxml").read_text(encoding="utf-8")
    # Every bar one further, which is what an inserted bar does to those behind it.
    moved = re.sub(r'<measure number="(\d+)"', lambda found: f'<measure number="{int(found[1]) + 1}"', text)
    (project / "a.musicxml").write_text(moved, encoding="utf-8")
    assert ventwise("hook", "a.musicxml", cwd=project).returncode == 0
    lower = moved.replace("<octave>5</octave>", "<octave>2</octave>", 1)
    (project / "a.musicxml").write_text(lower, encoding="utf-8")
    refused = ventwise("hook", "a.musicxml", cwd=project)
    assert refused.returncode == 1 and len(refused.stdout.splitlines()) == 1


def test_a_file_of_accepted_places_that_is_none_is_one_line(project, ventwise):
    (project / ".ventwise-accepted.json").write_text("[]", encoding="utf-8")
    told = ventwise("hook", "a.musicxml", cwd=project)
    assert told.returncode == 2 and told.stderr.count("\n") == 1 and "ventwise hook --accept" in told.stderr


def test_a_watched_score_is_told_again_after_a_save_and_never_written(project):
    path = project / "a.musicxml"
    with subprocess.Popen([*ENTRY, "watch", "a.musicxml"], cwd=project, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout
        try:
            first = ""
            while "Before you practise" not in first and "explain care" not in first:
                line = process.stdout.readline()
                assert line, first
                first += line
            changed = path.read_text(encoding="utf-8").replace("<octave>5</octave>", "<octave>2</octave>", 1)
            path.write_text(changed, encoding="utf-8")
            while not (line := process.stdout.readline()).startswith("Since"):
                assert line
            assert "1 new" in line + process.stdout.readline()
            assert path.read_text(encoding="utf-8") == changed
        finally:
            process.terminate()
            time.sleep(0.1)
