"""`flute fit` as a player meets it: tables by hand, mistakes by line and column, a file that every command takes."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from annotate.findings import InputError
from annotate.language import languages, words
from annotate.model_sound import wave_file
from annotate.player.fit_flute import fit_flute, notes_of
from fingering_db.instrument import load
from fingering_db.played import MOST_BYTES, PlayedError, read

FLAT = """fingering,note,cents,comment
T 1 2 3 | 1 2 3,D4,-22,
T 1 2 | Eb,A4,-20,
T 1 2 3 | 1 2 Eb,E5,-24,
1 | Eb,C6,-25,
T 1 3 | 1 Eb,F6,80,typed wrong
T 2 3 | Eb,D6,-18,
"""


def fitted(table: str, folder: Path, language: str = "en", flute: str = "open-hole-b") -> str:
    played = folder / "played.csv"
    played.write_text(table, encoding="utf-8")
    return fit_flute(flute, played, folder / "mine.toml", None, words(language), lambda ready: None)


@pytest.mark.parametrize("language", languages())
def test_the_report_tells_before_after_left_out_what_does_not_fit_and_what_to_play(
    language: str, tmp_path: Path
) -> None:
    told = fitted(FLAT, tmp_path, language)
    assert max(map(len, told.splitlines())) <= 80
    flat = " ".join(told.replace("\N{NO-BREAK SPACE}", " ").split())
    say = words(language)
    outlier = say.text("fit.outlier", line=6, note="F6", fingering="T 1 3 | 1 Eb", cents=90)
    assert outlier.split(",")[0] in flat
    assert say.text("fit.other_note", note="?", fingering="T 1 3 | 3 Eb").partition("?")[2].split(")")[0] in flat
    assert say.text("fit.next", notes=()).split(":")[0].strip() in flat


def test_the_new_file_is_taken_by_other_commands_and_tells_where_it_comes_from(tmp_path: Path) -> None:
    fitted(FLAT, tmp_path)
    new = tmp_path / "mine.toml"
    flute, before = load(str(new)), load("open-hole-b")
    assert flute.name == "mine" and flute.lip.at_c4_mm > before.lip.at_c4_mm + 1.0
    assert flute.fingers == before.fingers
    assert "fitted by `ventwise flute fit` to 5 notes of played.csv" in new.read_text(encoding="utf-8")
    command = [sys.executable, "-c", "from annotate.cli import main; main()"]
    done = subprocess.run(
        [*command, "sounds", "T 1 2 | Eb", "--flute", str(new)],
        capture_output=True, encoding="utf-8", check=False, env=os.environ | {"PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert done.returncode == 0 and "A4" in done.stdout, done.stderr
    again = fit_flute(str(new), tmp_path / "played.csv", tmp_path / "again.toml", None, words(), lambda ready: None)
    assert "mine, fitted to 5 notes" in again


def test_every_mistake_of_a_table_is_told_by_line_and_column_and_nothing_is_written(tmp_path: Path) -> None:
    table = (
        "fingering,note,hz,temperature_c\nT 9 |,H4,abc,\nT 1 2 | Eb,A4,,\nT 1 2 | Eb,A4,440,99\nT v | gz,A4,440,20\n"
    )
    with pytest.raises(InputError) as raised:
        fitted(table, tmp_path)
    lines = str(raised.value).splitlines()
    assert [line.partition("played.csv: ")[2].partition(":")[0] for line in lines] == [
        "line 2, column 'fingering'", "line 2, column 'note'", "line 2, column 'hz'",
        "line 3", "line 4, column 'temperature_c'", "line 5, column 'fingering'",
    ]  # fmt: skip
    assert all("expected" in line for line in lines)
    assert not (tmp_path / "mine.toml").exists()


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ("", "no column 'fingering'"),
        ("fingering,note\nT |,C5\n", "neither a column 'hz' nor 'cents'"),
        ("fingering,note,hz\n", "no row"),
        ("fingering,note,hz,tempo\n1 |,C5,523,3\n", "'tempo' is not known"),
        ("fingering,note,hz,hz\n1 |,C5,523,523\n", "twice"),
        ("fingering,note,hz\n1 |,C5,523,7\n", "more cells"),
        ("fingering,note,hz\n1 |,C5,nan\n", "expected a number from 50 to 8000"),
        ('fingering,note,hz\n"1 |,C5,523\n', "line"),
        ("fingering,note,hz\nT 1 2 | Eb,C#7,440\n", "no row is near enough"),
        ("x" * (MOST_BYTES + 1), "larger than"),
    ],
)
def test_what_is_no_table_of_played_notes_is_told_in_one_line(table: str, expected: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=expected):
        fitted(table, tmp_path)
    assert not (tmp_path / "mine.toml").exists()


def test_the_flute_and_the_table_are_not_written_over(tmp_path: Path) -> None:
    fitted(FLAT, tmp_path)
    new, played = tmp_path / "mine.toml", tmp_path / "played.csv"
    for out in (new, played):
        with pytest.raises(InputError, match="is read here too"):
            fit_flute(str(new), played, out, None, words(), lambda ready: None)
    with pytest.raises(InputError, match="there is no such file"):
        fit_flute(str(new), tmp_path / "none.csv", tmp_path / "x.toml", None, words(), lambda ready: None)


def test_semicolons_decimal_commas_marks_of_order_and_written_pitches_are_read() -> None:
    alto = load("alto")
    raw = "\ufeffFingering;Note;Hz;Take\r\nT12|Eb;A4;329,6;1\r\n;;;\r\n T 1 2 | Eb ;A4;329,6;2\r\n".encode()
    first, second = read(raw, alto, 440.0)
    assert first.hz == pytest.approx(329.6) and (first.line, second.line, second.take) == (2, 4, "2")
    (cents,) = read(b"fingering\tnote\tcents\nT 1 2 | Eb\tA4\t-12,5\n", alto, 442.0)
    # An alto sounds a fourth below what is written: five semitones.
    assert cents.hz == pytest.approx(442.0 * 2.0 ** (-5.0 / 12.0 - 12.5 / 1200.0))
    with pytest.raises(PlayedError):
        read("fingering,note,hz\nT 1 2 | Eb,A4,329,6\n".encode("utf-16"), alto, 440.0)


def recorded(folder: Path, cents: float, rows: str = "T 1 2 | Eb,A4\nT 1 2 3 | 1 2 Eb,E5\n1 | Eb,C6\n") -> Path:
    """Three tones by formula, so many cents off the written notes, and the table of their order."""
    rate = 22050
    t = np.arange(int(0.8 * rate)) / rate
    fade = np.clip(np.minimum(t, 0.8 - t) / 0.03, 0.0, 1.0)
    pieces = [np.zeros(rate // 2)]
    for hz in (440.0, 659.26, 1046.5):
        tone = sum(
            level * np.sin(2.0 * np.pi * hz * 2.0 ** (cents / 1200.0) * n * t) for n, level in ((1, 0.5), (2, 0.2))
        )
        pieces += [fade * tone, np.zeros(rate // 2)]
    (folder / "take.wav").write_bytes(wave_file(np.concatenate(pieces), rate))
    (folder / "take.csv").write_text(f"fingering,note\n{rows}", encoding="utf-8")
    return folder / "take.wav"


def test_a_recording_with_its_notes_in_order_fits_like_a_table(tmp_path: Path) -> None:
    take = recorded(tmp_path, -22.0)
    notes, remarks = notes_of(take, load("open-hole-b"), 440.0)
    assert [1200.0 * np.log2(note.hz / note.note.hz()) for note in notes] == pytest.approx([-22.0] * 3, abs=1.5)
    assert not remarks
    told = fit_flute("open-hole-b", take, tmp_path / "mine.toml", None, words(), lambda ready: None)
    assert "fitted to 3 notes of take.wav" in told and "on no real recording" in " ".join(told.split())


def test_a_row_without_a_note_is_a_multiphonic_whose_loudest_tones_are_told(tmp_path: Path) -> None:
    take = recorded(tmp_path, 0.0, "T 1 2 | Eb,A4\nT 1 3 | tr2,\n1 | Eb,C6\n")
    notes, (remark,) = notes_of(take, load("open-hole-b"), 440.0)
    assert [str(note.note) for note in notes] == ["A4", "C6"]
    assert "T 1 3 | tr2" in words().say(remark).replace("\N{NO-BREAK SPACE}", " ") and "E5" in words().say(remark)


def test_a_recording_that_does_not_match_its_table_is_told_and_nothing_written(tmp_path: Path) -> None:
    take = recorded(tmp_path, 0.0, "T 1 2 | Eb,A4\n1 | Eb,C6\n")
    with pytest.raises(InputError, match=r"3 tones are heard .* has 2 rows"):
        notes_of(take, load("open-hole-b"), 440.0)
    (tmp_path / "take.csv").unlink()
    with pytest.raises(InputError, match="beside the recording a table"):
        notes_of(take, load("open-hole-b"), 440.0)
    recorded(tmp_path, 0.0)
    take.write_bytes(b"RIFF....WAVEnothing")
    with pytest.raises(InputError, match="no recording that can be read"):
        notes_of(take, load("open-hole-b"), 440.0)
