"""`ventwise listen`: the file it writes, and what it refuses."""

import wave
from array import array

import pytest
from click.testing import CliRunner

from annotate.cli import cli


def run(*words):
    return CliRunner().invoke(cli, ["listen", *map(str, words)])


def test_a_wave_file_is_written_and_said_to_be_made_by_a_model(tmp_path):
    done = run("T 2 3 | Eb", "-o", tmp_path / "out.wav", "--seconds", "0.5")
    assert done.exit_code == 0, done.output
    with wave.open(str(tmp_path / "out.wav")) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 48_000)
        samples = array("h", file.readframes(file.getnframes()))
    assert len(samples) == 24_000 and 16_000 < max(map(abs, samples)) < 17_000
    assert "made by a model" in done.stdout and "mm thick" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert list(tmp_path.iterdir()) == [tmp_path / "out.wav"]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("T 2 3 | Eb", "-o", "out.mp3"), ".wav"),
        (("T 2 3 | Eb", "-o", "mine.wav"), "WAV file to replace"),
        (("T 2 3 Q | Eb", "-o", "out.wav"), "touch"),
        (("T 2 3 | Eb", "-o", "out.wav", "--flute", "alto", "--flute", "bass"), "expected one"),
        (("T 2 3 | Eb", "-o", "no/folder/out.wav"), "expected a folder"),
    ],
)
def test_what_cannot_be_written_is_refused_and_nothing_changes(tmp_path, monkeypatch, words, expected):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.wav").write_text("my notes")
    done = run(*words, "--seconds", "0.5")
    assert done.exit_code != 0
    assert expected in str(done.exception)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.wav"]
    assert (tmp_path / "mine.wav").read_text() == "my notes"
