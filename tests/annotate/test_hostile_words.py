"""The words of the command line themselves, wrong in every way: one short clean line, exit 2, nothing written.

The lines were read one by one; what is held here is that each says what was wrong and what was expected.
"""

import json
import os
import stat
from pathlib import Path

import pytest
from in_process import run_here
from test_hostile import Run, folder_of, is_one_clear_line, packed, score, zipped

from annotate import pipeline
from annotate.findings import InputError

LONG = "x" * 100_000
ESCAPE = "a\x1b[31m\nred\x07\u202e"


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """Run in a folder with one good score and files of other kinds."""
    monkeypatch.chdir(tmp_path)
    files = {
        "s.musicxml": score(), "empty.musicxml": b"", "a.pdf": b"%PDF-1.7", "t.txt": b"hello", "not.mxl": b"hello",
        "z.mxl": zipped(("a.txt", b"x")), "html.xml": b"<html/>", "bare.xml": b"<score-partwise/>",
        "a.toml": b"x = [", "e.toml": b"", "b.toml": b"\xff",
        "one.json": b'{"a": 1}', "two.json": b'{"version": 2}', "list.json": b"[1]", "bare.json": b'{"version": 1}',
        "part.json": b'{"version": 1, "flutes": [], "demands": [{"id": "d1"}]}', "file": b"x",
    }  # fmt: skip
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "dir").mkdir()
    (tmp_path / "d.musicxml").mkdir()
    return lambda *words: run_here([str(word) for word in words], monkeypatch, capsys)


WRONG: list[tuple[tuple[str, ...], str]] = [
    ((), "expected one of annotate, "),
    (("nonsense",), "expected one of annotate, "),
    (("chek",), "No such command 'chek': expected one of annotate, "),
    (("--nonsense",), "--help"),
    (("check",), "SCORE"),
    (("check", ""), "expected a name"),
    (("check", " "), "expected a name"),
    (("check", "nope.musicxml"), "expected a MusicXML file"),
    (("check", "dir"), "expected a MusicXML file"),
    (("check", "d.musicxml"), "expected a MusicXML file"),
    (("check", "empty.musicxml"), "is empty: expected"),
    (("check", "a.pdf"), "a PDF, not XML: expected"),
    (("check", "t.txt"), "begins with 'hello', not with XML: expected"),
    (("check", "not.mxl"), "begins with 'hello', not with XML: expected"),
    (("check", "z.mxl"), "META-INF/container.xml inside: expected"),
    (("check", "html.xml"), "expected <score-partwise>"),
    (("check", "bare.xml"), "lists no parts: expected"),
    (("check", "bare.xml", "--part", "1"), "lists no parts: expected"),
    (("check", "s.musicxml", "more"), "(more)"),
    (("check", "s.musicxml", "--nonsense"), "see ventwise check --help"),
    (("check", "s.musicxml", "--format", "xml"), "'text', 'json'"),
    (("check", "s.musicxml", "--format"), "--format"),
    (("check", "s.musicxml", "--chords", "x"), "'players'"),
    (("check", "s.musicxml", "--part", ""), "expected a number or a name"),
    (("check", "s.musicxml", "--part", " "), "expected a number or a name"),
    (("check", "s.musicxml", "--part", "9"), "expected a number or a name"),
    (("check", "s.musicxml", "--flute", "golden"), "expected alto, bass"),
    (("check", "s.musicxml", "--flute", ""), "expected alto, bass"),
    (("check", "s.musicxml", "--flute", "dir"), "expected a TOML instrument file"),
    (("check", "s.musicxml", "--flute", "/dev/zero"), "expected a TOML instrument file"),
    (("check", "s.musicxml", "--flute", "Flute="), "expected alto, bass"),
    (("check", "s.musicxml", "--flute", "=piccolo"), "expected a number or a name"),
    (("check", "s.musicxml", "--flute", "Tuba=piccolo"), "no part 'Tuba'"),
    (("check", "s.musicxml", "--flute", "Flute=golden"), "'golden'"),
    (("check", "s.musicxml", "--decisions", "nope.toml"), "no such file: expected lines"),
    (("check", "s.musicxml", "--decisions", "/dev/zero"), "is not a file: expected lines"),
    (("check", "s.musicxml", "--since", "nope.json"), "no such file: expected what"),
    (("check", "s.musicxml", "--since", "dir"), "expected what"),
    (("check", "s.musicxml", "--since", "s.musicxml"), "is no JSON"),
    (("check", "s.musicxml", "--since", "one.json"), "names no version: expected what"),
    (("check", "s.musicxml", "--since", "two.json"), "version 2, not 1: expected what"),
    (("check", "s.musicxml", "--since", "list.json"), "is no report"),
    (("check", "s.musicxml", "--since", "bare.json"), "`flutes`"),
    (("check", "s.musicxml", "--since", "part.json"), "demands[0]"),
    (("annotate", "s.musicxml"), "expected either -o OUT or --in-place"),
    (("annotate", "s.musicxml", "-o"), "-o"),
    (("annotate", "s.musicxml", "-o", ""), "expected a name"),
    (("annotate", "s.musicxml", "-o", "x.musicxml", "--in-place"), "expected either"),
    (("annotate", "s.musicxml", "-o", "x.mxl"), "expected .musicxml or .xml"),
    (("annotate", "s.musicxml", "-o", "dir/../s.musicxml"), "is the score itself"),
    (("annotate", "s.musicxml", "-o", "x.musicxml", "--carrier", "x"), "'column', 'rows', 'ascii'"),
    (("annotate", "s.musicxml", "-o", "x.musicxml", "--diagrams", "x"), "'changes', 'every', 'first'"),
    (("annotate", "s.musicxml", "-o", "x.musicxml", "--pictures", ""), "expected a name"),
    (("strip",), "SCORE"),
    (("strip", "a.pdf", "-o", "x.pdf"), "a PDF"),
    (("strip", "s.musicxml", "-o", "no/x.musicxml"), "expected a folder that exists"),
    (("find",), "PITCH"),
    (("find", "H5"), "expected a note with octave such as B4, Bb4 or C5+50"),
    (("find", ""), "no pitch: expected pitches such as C5"),
    (("find", "C5 D"), "expected a note with octave in English letters such as C5"),
    (("find", "C99"), "expected a pitch from C0 to B9"),
    (("find", "C5+5000"), "expected at most 1200 cents"),
    (("find", "C5+" + "9" * 400), "expected at most 1200 cents"),
    (("find", "C5", "B#4"), "the same pitch twice"),
    (("find", *["C4", "D4", "E4", "F4", "G4", "A4", "B4"]), "expected at most 6"),
    (("find", "C5", "--limit", "0"), "expected a whole number from 1 to 1000"),
    (("find", "C5", "--limit", "1.5"), "expected a whole number from 1 to 1000"),
    (("sounds", ""), "expected left hand | right hand"),
    (("sounds", " "), "expected left hand | right hand"),
    (("sounds", "T 2 | 3 | Eb"), "expected left hand | right hand"),
    (("sounds", "T 9 | Eb"), "'9' is no left-hand touch; expected"),
    (("sounds", "T", "|", "Eb"), "extra argument"),
    (("shifts", ""), "expected small N"),
    (("shifts", "small -1"), "expected small N"),
    (("shifts", "small " + "9" * 5000), "expected small N"),
    (("shifts", "T 1 2 3 | 1 2 3 C"), "expected an open C sharp hole"),
    (("glide", "C5"), "TO"),
    (("glide", "", "C5"), "expected pitches such as C5"),
    (("glide", "C5 D6", "C5"), "expected as many"),
    (("glide", "C5", "C5"), "expected another pitch"),
    (("glide", "C5 C5", "B4 B4"), "the same pitch twice"),
    (("flute",), "expected one of check, "),
    (("flute", "list", "x"), "(x)"),
    (("flute", "show", ""), "expected alto, bass"),
    (("flute", "show", "a.toml"), "no valid TOML"),
    (("flute", "show", "e.toml"), "expected a text in quotes"),
    (("flute", "check", "nope.toml"), "expected a TOML instrument file"),
    (("flute", "check", "b.toml"), "no UTF-8 text; expected a TOML instrument file"),
    (("find", "T 2 3 | Eb"), "'T 2 3 | Eb' is a fingering: expected pitches"),
    (("explain", ""), "expected one that `ventwise explain` lists"),
    (("explain", "Q9"), "expected one that `ventwise explain` lists"),
]


@pytest.mark.parametrize(
    ("words", "expected"), WRONG, ids=lambda one: " ".join(one)[:50] if isinstance(one, tuple) else ""
)
def test_wrong_words_are_told_in_one_line_with_what_was_expected(
    words: tuple[str, ...], expected: str, run: Run, tmp_path: Path
) -> None:
    before = sorted(tmp_path.rglob("*")), folder_of(tmp_path)
    told = run(*words)
    is_one_clear_line(*told)
    assert expected in told[2], told[2]
    assert (sorted(tmp_path.rglob("*")), folder_of(tmp_path)) == before


NUMBERS = [
    ("check", "s.musicxml", "--a4"), ("check", "s.musicxml", "--tolerance"), ("find", "C5", "--a4"),
    ("find", "C5", "--tolerance"), ("glide", "C5", "B4", "--tolerance"), ("sounds", "T | Eb", "--a4"),
    ("sounds", "T | Eb", "--slide"), ("shifts", "small 4", "--a4"), ("flute", "show", "open-hole-b", "--slide"),
    ("annotate", "s.musicxml", "-o", "x.musicxml", "--a4"),
]  # fmt: skip


@pytest.mark.parametrize("value", ["nan", "NaN", "-nan", "inf", "-inf", "1e400", "", "x", "1,5", "0x10", "9" * 5000])
@pytest.mark.parametrize("words", NUMBERS, ids=lambda words: f"{words[0]} {words[-1]}")
def test_an_option_in_numbers_takes_no_other_thing(words: tuple[str, ...], value: str, run: Run) -> None:
    told = run(*words, value)
    is_one_clear_line(*told)
    assert words[-1] in told[2] and "expected a number from " in told[2]


@pytest.mark.parametrize("value", [LONG, ESCAPE, f"{ESCAPE} " * 10_000], ids=["long", "escape", "both"])
@pytest.mark.parametrize(
    "words",
    [
        "{}", "--{}", "check {}", "check s.musicxml --part {}", "check s.musicxml --flute {}", "check s.musicxml --{}",
        "check s.musicxml --flute {}=piccolo", "check s.musicxml --flute Flute={}", "check s.musicxml --since {}",
        "check s.musicxml --a4 {}", "check s.musicxml --chords {}", "annotate s.musicxml -o {}",
        "annotate s.musicxml -o x.musicxml --pictures file/{}", "strip {} -o x.musicxml", "find {}", "find C5 --limit {}",
        "sounds {}", "sounds {}|", "shifts {}", "shifts {}|", "glide {} C5", "glide C5 {}", "flute {}", "flute show {}",
        "flute check {}", "explain {}",
    ],
)  # fmt: skip
def test_long_words_and_escapes_come_out_short_and_clean(words: str, value: str, run: Run, tmp_path: Path) -> None:
    before = folder_of(tmp_path)
    is_one_clear_line(*run(*(word.replace("{}", value) for word in words.split())))
    assert folder_of(tmp_path) == before


@pytest.mark.parametrize("name", [LONG, "Flute &#x9b;31m\u202e", "Flute " * 30_000], ids=["long", "escape", "blanks"])
def test_names_from_a_score_come_out_short_and_clean_in_messages(name: str, run: Run, tmp_path: Path) -> None:
    (tmp_path / "n.musicxml").write_bytes(score(name=name))
    for words in (("--part", "Nope"), ("--flute", "Nope=piccolo")):
        is_one_clear_line(*run("check", "n.musicxml", *words))


def test_a_file_that_may_not_be_read_is_told(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    for words in (
        ("check", "s.musicxml"), ("strip", "s.musicxml", "-o", "x.musicxml"), ("check", "s.musicxml", "--since", "one.json"),
        ("flute", "check", "a.toml"),
    ):  # fmt: skip
        told = run(*words)
        is_one_clear_line(*told)
        assert "Permission denied" in told[2] and "expected" in told[2]


def test_what_goes_wrong_in_the_program_itself_is_no_verdict(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit 1 would say that something is unplayable."""
    monkeypatch.setattr(pipeline, "detect", lambda *_: 1 / 0)
    faults = {"en": "a fault of ventwise itself", "de": "ein Fehler von", "fr": "une erreur de", "it": "un errore di"}
    for language, fault in faults.items():
        code, out, err = run("check", "s.musicxml", "--language", language)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert fault in err and "(ZeroDivisionError" in err
        assert ("report this" in err) == (language == "en")


# -- the folder for pictures


def forbid(*_: object, **__: object) -> None:
    raise AssertionError("was judged although the pictures can go nowhere")


@pytest.mark.parametrize(
    "where", ["file", "file/sub", "s.musicxml/pictures", "link", "dangling", "loop/sub", "dir/" + "x" * 300]
)
def test_a_folder_that_cannot_hold_pictures_is_refused_before_anything_is_judged(
    where: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "link").symlink_to("file")
    (tmp_path / "dangling").symlink_to("nowhere")
    (tmp_path / "loop").symlink_to("loop")
    monkeypatch.setattr(pipeline, "look", forbid)
    before = sorted(tmp_path.rglob("*")), folder_of(tmp_path)
    told = run("annotate", "s.musicxml", "-o", "x.musicxml", "--pictures", where)
    is_one_clear_line(*told)
    assert "expected a folder" in told[2]
    assert (sorted(tmp_path.rglob("*")), folder_of(tmp_path)) == before


def test_a_read_only_folder_for_pictures_is_refused_before_anything_is_judged(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "dir").chmod(stat.S_IRUSR | stat.S_IXUSR)
    monkeypatch.setattr(pipeline, "look", forbid)
    if os.access(tmp_path / "dir", os.W_OK):  # root may write anywhere: have it asked as somebody else
        monkeypatch.setattr(os, "access", lambda path, mode: not mode & os.W_OK)
    for where in ("dir", "dir/sub/sub"):
        told = run("annotate", "s.musicxml", "-o", "x.musicxml", "--pictures", where)
        is_one_clear_line(*told)
        assert "write-protected" in told[2]
    assert list((tmp_path / "dir").iterdir()) == [] and not (tmp_path / "x.musicxml").exists()


# -- places to write to


@pytest.mark.parametrize("command", ["annotate", "strip"])
@pytest.mark.parametrize(
    "spelling", ["./s.musicxml", "dir/../s.musicxml", "{folder}/s.musicxml", "link", "hard", "up/s.musicxml"]
)
def test_the_score_itself_is_known_under_every_name(command: str, spelling: str, run: Run, tmp_path: Path) -> None:
    if spelling in ("link", "hard"):
        spelling += ".musicxml"
    (tmp_path / "link.musicxml").symlink_to("s.musicxml")
    (tmp_path / "hard.musicxml").hardlink_to("s.musicxml")
    (tmp_path / "up").symlink_to(".", target_is_directory=True)
    before = folder_of(tmp_path)
    told = run(command, "s.musicxml", "-o", spelling.replace("{folder}", str(tmp_path)))
    is_one_clear_line(*told)
    assert "is the score itself" in told[2]
    assert folder_of(tmp_path) == before


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="needs permissions of files as on Unix")
@pytest.mark.parametrize("command", ["annotate", "annotate --in-place", "strip", "strip --in-place"])
def test_a_read_only_folder_is_told_and_left_as_it_was(
    command: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    locked = tmp_path / "locked"
    locked.mkdir()
    for name, content in (("s.musicxml", score()), ("s.mxl", packed(("score.xml", score())))):
        (locked / name).write_bytes(content)
    before = folder_of(locked)
    if os.geteuid() == 0:  # root may write anywhere: have it refused as anybody else
        real = os.open

        def refuse(path: object, flags: int, *rest: int, **more: int) -> int:
            if Path(str(path)).parent == locked and flags & os.O_CREAT:
                raise PermissionError(13, "Permission denied")
            return real(str(path), flags, *rest, **more)

        monkeypatch.setattr(os, "open", refuse)
    locked.chmod(0o500)
    name, *place = command.split()
    for source in ("s.musicxml", "s.mxl"):
        told = run(name, locked / source, *(place or ["-o", locked / f"x{Path(source).suffix}"]))
        is_one_clear_line(*told)
        assert "Permission denied" in told[2]
        assert folder_of(locked) == before
    locked.chmod(0o700)


def test_a_disk_that_is_full_while_pictures_are_written_leaves_everything_as_it_was(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("annotate", "s.musicxml", "-o", "x.musicxml", "--pictures", "dir")[0] == 0
    before = sorted(tmp_path.rglob("*")), folder_of(tmp_path), folder_of(tmp_path / "dir")
    real = Path.write_bytes

    def full(path: Path, data: bytes) -> int:
        if path.suffix == ".png":
            raise OSError(28, "No space left on device")
        return real(path, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    told = run("annotate", "s.musicxml", "-o", "x.musicxml", "--pictures", "dir", "--carrier", "ascii")
    is_one_clear_line(*told)
    assert "No space left" in told[2]
    assert (sorted(tmp_path.rglob("*")), folder_of(tmp_path), folder_of(tmp_path / "dir")) == before


def test_an_error_of_the_self_check_while_pictures_are_there_takes_them_back(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def differ(*_: object) -> None:
        raise InputError("does not give the original back")

    monkeypatch.setattr("annotate.forms.verify_roundtrip", differ)
    before = sorted(tmp_path.rglob("*")), folder_of(tmp_path)
    is_one_clear_line(*run("annotate", "s.musicxml", "-o", "x.musicxml", "--pictures", "new/deep"))
    assert (sorted(tmp_path.rglob("*")), folder_of(tmp_path)) == before


def test_a_flute_file_with_the_mark_of_utf_8_can_be_used(run: Run, tmp_path: Path) -> None:
    from fingering_db.instrument import DATA

    text = (DATA / "instruments" / "open-hole-c.toml").read_bytes()
    (tmp_path / "own.toml").write_bytes(b"\xef\xbb\xbf" + text)
    assert run("flute", "check", "own.toml")[0] == 0
    (tmp_path / "large.toml").write_bytes(text + b"#" * (2 << 20))
    told = run("flute", "check", "large.toml")
    is_one_clear_line(*told)
    assert "larger than" in told[2]


def test_a_report_with_endless_cents_is_refused(run: Run, tmp_path: Path) -> None:
    report = json.loads(run("check", "s.musicxml", "--format", "json")[1])
    report["demands"][0]["written"] = ["C5+" + "9" * 400, "D6"]
    (tmp_path / "old.json").write_text(json.dumps(report))
    is_one_clear_line(*run("check", "s.musicxml", "--since", "old.json"))
