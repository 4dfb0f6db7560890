"""The command line as a user meets it: exit codes, one clear line for bad input, nothing half-written."""

import io
import json
import sys
import zipfile
from pathlib import Path

import music21
import pytest

ROOT = Path(__file__).parent.parent.parent
COMPOSER = ROOT / "examples/composer/low-water.musicxml"
CORPUS = Path(music21.__file__).parent / "corpus/bach/bwv248.23-2.mxl"


def fails_with_one_line(done, *expected):
    assert done.returncode == 2
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert len(lines) == 1, done.stderr
    assert "Traceback" not in done.stderr
    for text in expected:
        assert text in lines[0]


def test_find_ranks_the_plain_fingering_for_c5_d6_among_the_first_five(ventwise):
    results = json.loads(ventwise("find", "C5", "D6", "--format", "json").stdout)["results"]
    first = [row["fingering"] for row in results[:5]]
    assert {"T 2 3 | Eb", "T 2 3 |"} & set(first)


def test_find_says_that_nothing_sounds_a_low_semitone_and_offers_no_octave_for_it(ventwise):
    done = ventwise("find", "C4", "C#4")
    assert done.returncode == 1
    assert "nothing sounds C4 & C♯4" in done.stdout.replace("#", "♯")
    # Below C5 there are only octaves of plain notes, which are no multiphonics.
    assert "C4 & C5" not in done.stdout


def test_what_is_offered_as_near_is_really_found(ventwise):
    near = json.loads(ventwise("find", "E5", "F5", "--format", "json").stdout)["instead"]
    assert near
    for row in near:
        assert ventwise("find", *row["pitches"]).returncode == 0


def test_sounds_lists_the_harmonics_of_the_long_tube(ventwise):
    # Wolfe, Smith, Tann & Fletcher 2001, JSV 243:127, supplement: the first minima of C4, all played; within 50 cents.
    (result,) = json.loads(ventwise("sounds", "T 1 2 3 | 1 2 3 C", "--format", "json").stdout)["results"]
    found = [(sound["name"], sound["cents"]) for sound in result["sounds"]]
    for name, cents in zip(("C4", "C5", "G5", "C6", "E6"), found, strict=False):
        assert cents[0] == name and abs(cents[1]) <= 50


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        (("prepare", "x.musicxml"), "expected ventwise prepare SCORE -o DIR;"),
        (("glide", "C5"), "expected ventwise glide FROM TO;"),
        (("check", "--tempo"), "No such option '--tempo'; see"),
        (("check", "--detials", "full"), "did you mean --detail?"),
        (("find", "H5"), "English letters, B for H"),
        (("find", "H5", "--language", "de"), "mit englischen Buchstaben eingegeben, B für H"),
    ],
)
def test_one_line_says_what_was_expected(typed, expected, ventwise):
    fails_with_one_line(ventwise(*typed), expected)


def test_a_program_text_with_tags_in_it_is_no_musicxml(tmp_path, ventwise):
    file = tmp_path / "gen.py"
    file.write_text('print("<alter>1</alter>")\n', encoding="utf-8")
    fails_with_one_line(ventwise("check", file), "begins with 'print(", "expected MusicXML")


def test_an_unplayable_place_gives_exit_1_and_the_marked_score_is_written(tmp_path, ventwise):
    out = tmp_path / "out.musicxml"
    done = ventwise("annotate", COMPOSER, "-o", out)
    assert done.returncode == 1
    assert b"<?ventwise begin?>" in out.read_bytes()
    clean = tmp_path / "clean.musicxml"
    assert ventwise("strip", out, "-o", clean).returncode == 0
    assert clean.read_bytes() == COMPOSER.read_bytes()


def test_annotating_twice_gives_the_same_as_once(tmp_path, ventwise):
    once, twice = tmp_path / "1.musicxml", tmp_path / "2.musicxml"
    ventwise("annotate", COMPOSER, "-o", once)
    ventwise("annotate", once, "-o", twice)
    assert once.read_bytes() == twice.read_bytes()
    ventwise("annotate", twice, "--in-place", "--carrier", "ascii")
    assert twice.read_bytes() != once.read_bytes()
    ventwise("annotate", twice, "--in-place")
    assert once.read_bytes() == twice.read_bytes()


def test_a_real_score_with_flutes_is_read_and_comes_back_member_by_member(tmp_path, ventwise):
    done = ventwise("check", CORPUS)
    assert done.returncode == 0
    assert "Part read: Flutes" in done.stdout
    out, clean = tmp_path / "o.mxl", tmp_path / "c.mxl"
    ventwise("annotate", CORPUS, "-o", out, "--part", "Oboe d'amore", "--chords", "multiphonic")
    assert out.read_bytes() != CORPUS.read_bytes()
    ventwise("strip", out, "-o", clean)
    with zipfile.ZipFile(CORPUS) as before, zipfile.ZipFile(clean) as after:
        assert before.namelist() == after.namelist()
        assert all(before.read(name) == after.read(name) for name in before.namelist())


def test_json_has_version_1_and_a_summary_that_counts_the_demands(ventwise):
    data = json.loads(ventwise("check", COMPOSER, "--format", "json").stdout)
    assert data["version"] == 1
    assert data["summary"]["demands"] == len(data["demands"]) == sum(list(data["summary"].values())[1:])
    assert {one["code"] for one in data["findings"] if one["severity"] == "error"} == {"P1", "P5", "G1"}


def test_two_flutes_give_each_demand_once_for_each(tmp_path, ventwise):
    own = tmp_path / "plugged.toml"
    text = (ROOT / "fingering_db/data/instruments/open-hole-b.toml").read_text(encoding="utf-8")
    text = text.replace('"open-hole-b"', '"plugged"').replace("perforation_mm = 6.75", "")
    own.write_text("\n".join(line for line in text.splitlines() if "uncovers" not in line), encoding="utf-8")
    data = json.loads(ventwise("check", COMPOSER, "--flute", "open-hole-b", "--flute", own, "--format", "json").stdout)
    assert data["flutes"] == ["open-hole-b", "plugged"]
    assert len({one["id"] for one in data["demands"]}) * 2 == len(data["demands"])
    assert set(data["summaries"]) == {"open-hole-b", "plugged"}


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("check", "nowhere.musicxml"), ("nowhere.musicxml", "no such file")),
        (("find", "H5"), ("'H5'", "expected")),
        (("find", "C5", "C5"), ("twice",)),
        (("sounds", "T 9 | Eb"), ("'9'", "expected")),
        (("sounds", "T 2 3"), ("left hand | right hand",)),
        (("sounds", "T | gz"), ("gz", "expected")),
        (("check", str(COMPOSER), "--flute", "golden"), ("golden", "open-hole-b")),
        (("check", str(COMPOSER), "--part", "Tuba"), ("Tuba", "Flute")),
        (("check", str(COMPOSER), "--tolerance", "0"), ("tolerance",)),
        (("annotate", str(COMPOSER)), ("-o OUT", "--in-place")),
        (("annotate", str(COMPOSER), "-o", "x.mxl"), (".mxl",)),
        (("annotate", str(COMPOSER), "-o", "no/such/folder/x.musicxml"), ("folder",)),
        (("explain", "Q9"), ("Q9", "ventwise explain")),
        (("flute", "show", "nope"), ("nope", "open-hole-b")),
        (("flute", "check", "nope.toml"), ("nope.toml",)),
        (("nonsense",), ("nonsense",)),
        (("check",), ("SCORE",)),
    ],
)
def test_bad_input_gives_one_clear_line(words, expected, tmp_path, ventwise):
    fails_with_one_line(ventwise(*words, cwd=tmp_path), *expected)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "content", "expected"),
    [
        ("a.musicxml", b"no score at all", "a.musicxml"),
        ("a.musicxml", b"<score-partwise><part-list>", "a.musicxml"),
        ("a.mxl", b"PK\x03\x04 broken", "a.mxl"),
        ("a.musicxml", b"", "a.musicxml"),
    ],
)
def test_what_is_no_score_gives_one_clear_line(name, content, expected, tmp_path, ventwise):
    (tmp_path / name).write_bytes(content)
    fails_with_one_line(ventwise("check", name, cwd=tmp_path), expected)
    fails_with_one_line(ventwise("annotate", name, "--in-place", cwd=tmp_path), expected)
    assert (tmp_path / name).read_bytes() == content


def test_a_score_without_flute_lists_its_parts(tmp_path, ventwise):
    text = COMPOSER.read_text(encoding="utf-8").replace("Flute", "Tuba").replace("wind.flutes.flute", "brass.tuba")
    (tmp_path / "tuba.musicxml").write_text(text.replace("Fl.", "Tb."), encoding="utf-8")
    fails_with_one_line(ventwise("check", tmp_path / "tuba.musicxml"), "no flute part", "1 'Tuba'")


def test_the_output_is_never_the_input_unless_in_place(tmp_path, ventwise):
    copy = tmp_path / "a.musicxml"
    copy.write_bytes(COMPOSER.read_bytes())
    fails_with_one_line(ventwise("annotate", copy, "-o", copy))
    assert copy.read_bytes() == COMPOSER.read_bytes()


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_a_poor_terminal_gets_letters_instead_of_signs(encoding, monkeypatch, ventwise):
    for words in (("check", COMPOSER), ("find", "C5", "D6"), ("sounds", "T 2 3 | Eb"), ("explain", "P1")):
        terminal = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
        monkeypatch.setattr(sys, "stdout", terminal)
        assert ventwise(*words).stderr == ""
        assert terminal.buffer.getvalue().isascii() and terminal.buffer.getvalue()


def test_the_report_is_never_wider_than_eighty_columns(ventwise):
    for words in (("check", COMPOSER), ("find", "C5", "D6"), ("flute", "show", "open-hole-b"), ("explain", "P1")):
        assert max(map(len, ventwise(*words).stdout.splitlines())) <= 80


def test_a_broken_flute_file_says_which_key(tmp_path, ventwise):
    text = (ROOT / "fingering_db/data/instruments/open-hole-b.toml").read_text(encoding="utf-8")
    (tmp_path / "a.toml").write_text(text.replace("bore_mm = 19.0", 'bore_mm = "wide"'), encoding="utf-8")
    fails_with_one_line(ventwise("flute", "check", tmp_path / "a.toml"), "a.toml", "body.bore_mm")
    (tmp_path / "b.toml").write_text(text.replace('shuts = ["C#5"]', 'shuts = ["H5"]'), encoding="utf-8")
    fails_with_one_line(ventwise("flute", "check", tmp_path / "b.toml"), "b.toml", "H5", "touch '1'")
    (tmp_path / "c.toml").write_text(text.replace("perforation_mm = 6.75", ""), encoding="utf-8")
    done = ventwise("flute", "check", tmp_path / "c.toml")
    assert (done.returncode, done.stdout) == (2, "")
    # `flute check` explains every mistake, one line each: five touches leave open a hole that is not there.
    assert len(done.stderr.splitlines()) == 5
    assert all("c.toml" in line and "perforation_mm" in line for line in done.stderr.splitlines())
