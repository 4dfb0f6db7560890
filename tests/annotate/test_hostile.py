"""Hostile and broken input on the real command line: one clear line, exit 2, nothing written, no input touched.

Every score here is invented. Most cases run `main` in this process (the same entry as the installed command); limits
of memory, file size and signals need a process of their own.
"""

import io
import json
import os
import resource
import signal
import struct
import subprocess
import sys
import time
import unicodedata
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from in_process import run_here

from annotate.files import container
from annotate.files.stripping import strip
from annotate.files.writing import Mark, splice
from annotate.findings import InputError

MB = 1 << 20
NOTE = (
    "<note><pitch><step>{step}</step><octave>5</octave></pitch><duration>{duration}</duration><voice>1</voice></note>"
)
C5, D6 = NOTE.format(step="C", duration=4), NOTE.format(step="D", duration=4)
CHORD = C5 + D6.replace("<pitch>", "<chord/><pitch>").replace(">5<", ">6<")
WORDS = "<direction><direction-type><words>{}</words></direction-type></direction>"
MULT = WORDS.format("multiphonic") + CHORD

COMMANDS = ("check", "annotate", "annotate --in-place", "strip")
READS_MUSIC = COMMANDS[:3]


def score(music: str = MULT, *, head: str = "", name: str = "Flute", divisions: str = "1") -> bytes:
    """An invented score of one bar."""
    listed = f'<part-list><score-part id="P1"><part-name>{name}</part-name></score-part></part-list>'
    first = f"<attributes><divisions>{divisions}</divisions></attributes>"
    bar = f'<part id="P1"><measure number="1">{first}{music}</measure></part>'
    text = f'<?xml version="1.0" encoding="UTF-8"?>\n{head}<score-partwise version="3.1">{listed}{bar}</score-partwise>'
    return (text + "\n").encode()


MARKED = splice(score(), [Mark(score().index(b"<note"), ("x",))])


def packed(*members: tuple[str, bytes], rootfile: str = "score.xml", method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """An archive of these members after a list of contents that names `rootfile`."""
    listed = f'<container><rootfiles><rootfile full-path="{rootfile}"/></rootfiles></container>'.encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as made, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of names that are there twice, on purpose
        for name, data in (("META-INF/container.xml", listed), *members):
            made.writestr(name, data)
    return out.getvalue()


def words_of(command: str, path: Path) -> list[str]:
    name, *rest = command.split()
    if name != "check" and not rest:
        rest = ["-o", str(path.with_name(f"out{path.suffix}"))]
    return [name, str(path), *rest]


Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    return lambda *words: run_here([str(word) for word in words], monkeypatch, capsys)


def folder_of(path: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in path.iterdir() if each.is_file()}


def is_one_clear_line(code: int, out: str, err: str) -> None:
    assert (code, out) == (2, ""), err
    assert err.startswith("ventwise: ") and err.endswith("\n") and err.count("\n") == 1, err
    assert "Traceback" not in err and "a fault of ventwise" not in err and len(err) < 700, err
    assert all(char == "\n" or unicodedata.category(char)[0] != "C" for char in err), err


def refuse(run: Run, path: Path, content: bytes, *expected: str, commands: tuple[str, ...] = COMMANDS) -> None:
    """Every command refuses the content in one line that holds the expected texts, and leaves the folder as it is."""
    path.write_bytes(content)
    before = folder_of(path.parent)
    for command in commands:
        begun = time.process_time()
        told = run(*words_of(command, path))
        is_one_clear_line(*told)
        for text in (path.name, *expected):
            assert text in told[2], told[2]
        assert folder_of(path.parent) == before
        assert time.process_time() - begun < 20.0


# -- the plain one is accepted, so that a refusal means something


@pytest.mark.parametrize("suffix", [".musicxml", ".mxl"])
def test_the_same_score_without_anything_hostile_is_accepted(suffix: str, run: Run, tmp_path: Path) -> None:
    path = tmp_path / f"a{suffix}"
    path.write_bytes(score() if suffix == ".musicxml" else packed(("score.xml", score())))
    for command in COMMANDS:
        code, _, err = run(*words_of(command, path))
        assert code == 0, err
    assert path.read_bytes() != (tmp_path / f"out{suffix}").read_bytes()  # annotated in place, and stripped


# -- entities and document types


def bomb(levels: int, times: int) -> str:
    declared = "".join(f"<!ENTITY e{level} '{f'&e{level - 1};' * times}'>" for level in range(1, levels + 1))
    return f"<!DOCTYPE score-partwise [<!ENTITY e0 'ha'>{declared}]>"


DOCTYPES = {
    "a billion laughs": (bomb(9, 10), "&e9;"),
    "a billion laughs that nobody uses": (bomb(9, 10), ""),
    "quadratic growth": (f"<!DOCTYPE score-partwise [<!ENTITY a '{'x' * 90_000}'>]>", "&a;" * 2_000),
    "quadratic growth of small pieces": (f"<!DOCTYPE score-partwise [<!ENTITY a '{'x' * 900}'>]>", "&a;" * 60_000),
    "an entity in itself": ("<!DOCTYPE score-partwise [<!ENTITY a '&b;'><!ENTITY b '&a;'>]>", "&a;"),
    "a chain of entities": (
        "<!DOCTYPE score-partwise [<!ENTITY e0 'ha'>"
        + "".join(f"<!ENTITY e{n} '&e{n - 1};'>" for n in range(1, 5000))
        + "]>",
        "&e4999;",
    ),
    "very many entities": (
        "<!DOCTYPE score-partwise [" + "".join(f"<!ENTITY e{n} 'x'>" for n in range(100_000)) + "]>",
        "&e5;",
    ),
    "an external entity": ('<!DOCTYPE score-partwise [<!ENTITY secret SYSTEM "{secret}">]>', "&secret;"),
    "an external entity nobody uses": ('<!DOCTYPE score-partwise [<!ENTITY secret SYSTEM "{secret}">]>', ""),
    "an external entity by public name": (
        '<!DOCTYPE score-partwise [<!ENTITY secret PUBLIC "-//x" "{secret}">]>',
        "&secret;",
    ),
    "an external parameter entity": ('<!DOCTYPE score-partwise [<!ENTITY % all SYSTEM "{secret}"> %all;]>', ""),
}


@pytest.mark.parametrize("kind", DOCTYPES)
def test_a_document_type_that_grows_or_reaches_out_is_refused(kind: str, run: Run, tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("the-secret")
    head, used = DOCTYPES[kind]
    content = score(WORDS.format(used) + MULT, head=head.replace("{secret}", secret.as_uri()))
    # What is declared and not used does not grow, so taking marks out may do without looking.
    commands = COMMANDS if used or "external" in kind else READS_MUSIC
    refuse(run, tmp_path / "a.musicxml", content, commands=commands)
    refuse(run, tmp_path / "a.mxl", packed(("score.xml", content)), commands=commands)


@pytest.mark.parametrize("where", ["{folder}/none.dtd", "file://{folder}/local.dtd", "http://localhost:9/partwise.dtd"])
def test_a_dtd_is_never_loaded_from_disk_or_network(where: str, run: Run, tmp_path: Path) -> None:
    # Were it loaded, the entity would be known or the missing file complained of.
    (tmp_path / "local.dtd").write_text("<!ENTITY known 'secret'>")
    head = f'<!DOCTYPE score-partwise SYSTEM "{where.format(folder=tmp_path)}">\n'
    path = tmp_path / "a.musicxml"
    path.write_bytes(score(head=head))
    code, out, err = run("check", path)
    assert (code, err) == (0, ""), err
    path.write_bytes(score(WORDS.format("&known;") + MULT, head=head))
    _, out, err = run("check", path)
    assert "secret" not in out + err


# -- archives


def broken_crc(raw: bytes, name: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(raw)) as made:
        info = made.getinfo(name)
    crc = struct.pack("<L", info.CRC)
    return raw.replace(crc, struct.pack("<L", info.CRC ^ 1))


def lying_size(raw: bytes, name: str, size: int) -> bytes:
    with zipfile.ZipFile(io.BytesIO(raw)) as made:
        info = made.getinfo(name)
    both = struct.pack("<LL", info.compress_size, info.file_size)
    return raw.replace(both, struct.pack("<LL", info.compress_size, size))


def zipped(*members: tuple[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in members:
            made.writestr(name, data)
    return out.getvalue()


GOOD = packed(("score.xml", score()))
FILLED = score(MULT + "<!--" + " " * 30 * MB + "-->")
ARCHIVES: dict[str, Callable[[], tuple[bytes, str]]] = {
    "a bomb by ratio": lambda: (packed(("score.xml", FILLED)), "200 times"),
    "a bomb beside the score": lambda: (packed(("score.xml", score()), ("b", b"\0" * 80 * MB)), "200 times"),
    "a bomb that lies about its size": lambda: (
        lying_size(packed(("score.xml", FILLED)), "score.xml", 1000),
        "score.xml",
    ),
    "a path out of the archive": lambda: (packed(("../s.xml", score()), rootfile="../s.xml"), "leads out"),
    "a path out from within": lambda: (packed(("a/../../s.xml", score()), rootfile="a/../../s.xml"), "leads out"),
    "a path with backslashes": lambda: (packed(("..\\s.xml", score()), rootfile="..\\s.xml"), "leads out"),
    "an absolute path": lambda: (packed(("/etc/passwd", score()), rootfile="/etc/passwd"), "leads out"),
    "a drive letter": lambda: (packed(("C:\\s.xml", score()), rootfile="C:\\s.xml"), "leads out"),
    "the same name twice": lambda: (packed(("score.xml", score()), ("score.xml", score(C5))), "2 times"),
    "the list of contents twice": lambda: (
        packed(("score.xml", score()), ("META-INF/container.xml", b"<container/>")),
        "2 times",
    ),
    "a score that is not there": lambda: (packed(("other.xml", score())), "not inside"),
    "no list of contents": lambda: (zipped(("score.xml", score())), "META-INF/container.xml"),
    "a list of contents that is no XML": lambda: (zipped(("META-INF/container.xml", b"<a"), ("s", b"")), "well-formed"),
    "a list of contents with a bomb": lambda: (
        zipped(("META-INF/container.xml", (bomb(9, 10) + "<container>&e9;</container>").encode())),
        "META-INF/container.xml",
    ),
    "a wrong checksum": lambda: (broken_crc(GOOD, "score.xml"), "damaged"),
    "a wrong checksum of the list": lambda: (broken_crc(GOOD, "META-INF/container.xml"), "damaged"),
    "an archive in an archive": lambda: (packed(("score.xml", GOOD)), "archive"),
    "an empty score": lambda: (packed(("score.xml", b"")), "empty"),
    "a name with a terminal escape": lambda: (packed(rootfile="\N{CONTROL SEQUENCE INTRODUCER}31mred"), "not inside"),
}


@pytest.mark.parametrize("kind", ARCHIVES)
def test_a_hostile_archive_is_refused(kind: str, run: Run, tmp_path: Path) -> None:
    content, expected = ARCHIVES[kind]()
    refuse(run, tmp_path / "a.mxl", content, expected)


def test_an_archive_of_many_members_that_are_large_together_is_refused(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(container, "MOST_UNPACKED", 8 * MB)  # 512 in truth
    many = packed(("score.xml", score()), *((f"m{n}", bytes(MB - 1)) for n in range(9)))
    refuse(run, tmp_path / "a.mxl", many, "unpacks to more than 8 MB")


def test_an_archive_cut_off_anywhere_is_refused(run: Run, tmp_path: Path) -> None:
    for length in [*range(2, len(GOOD), 37), len(GOOD) - 1]:
        refuse(run, tmp_path / "a.mxl", GOOD[:length], commands=("check", "annotate --in-place"))


def test_nothing_outside_is_written_for_a_member_with_a_path_out(run: Run, tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    path = inner / "a.mxl"
    path.write_bytes(packed(("score.xml", score()), ("../evil.txt", b"evil"), ("/evil2.txt", b"evil")))
    assert run("annotate", path, "-o", inner / "b.mxl")[0] == 0
    assert sorted(each.name for each in tmp_path.rglob("*")) == ["a.mxl", "b.mxl", "inner"]


# -- XML


def test_a_score_cut_off_anywhere_is_refused(run: Run, tmp_path: Path) -> None:
    whole = score().rstrip()
    for length in range(1, len(whole), 41):
        refuse(run, tmp_path / "a.musicxml", whole[:length], commands=("check", "annotate --in-place"))


@pytest.mark.parametrize("depth", [101, 5_000, 1_000_000])
@pytest.mark.parametrize("tag", ["note", "direction", "nobody-knows", "measure", "part"])
def test_very_deep_nesting_is_refused(depth: int, tag: str, run: Run, tmp_path: Path) -> None:
    content = score(f"<{tag}>" * depth + f"</{tag}>" * depth)
    refuse(run, tmp_path / "a.musicxml", content, commands=READS_MUSIC)


@pytest.mark.parametrize("char", ["\0", "\x01", "\x1b", "\x08", "\ufffe", "&#0;", "&#27;", "&#xD800;", "&#x110000;"])
def test_characters_that_xml_does_not_allow_are_refused(char: str, run: Run, tmp_path: Path) -> None:
    refuse(run, tmp_path / "a.musicxml", score(WORDS.format(f"a{char}[31m") + MULT))


@pytest.mark.parametrize(
    "content",
    [b"\0" * 5000, b"<" * 5000, b"\xff\xfe", b"\xff\xfe<\0", b"PK", b"\x7fELF" + bytes(500), b"  \n", b"\xff" * 99],
)
def test_bytes_that_are_no_score_are_refused(content: bytes, run: Run, tmp_path: Path) -> None:
    refuse(run, tmp_path / "a.musicxml", content)


# -- values

HUGE = ("1" * 16, "9" * 5_000, "1" * 200_000)
NO_NUMBER = (
    "",
    "x",
    "NaN",
    "nan",
    "inf",
    "-inf",
    "1e5",
    "1e999",
    "-1e999",
    "0x10",
    "1_0",
    "１",
    "1/2",
    "--1",
    "1,5",
    "١",
)


@pytest.mark.parametrize("value", [*NO_NUMBER, *HUGE, "-1"])
def test_a_duration_that_is_no_length_is_refused(value: str, run: Run, tmp_path: Path) -> None:
    content = score(C5 + NOTE.format(step="C", duration=value))
    refuse(run, tmp_path / "a.musicxml", content, "Flute, bar 1", commands=READS_MUSIC)


@pytest.mark.parametrize("value", [*NO_NUMBER, *HUGE, "0", "-1", "0.0", "-0"])
def test_divisions_that_are_no_number_above_zero_are_refused(value: str, run: Run, tmp_path: Path) -> None:
    content = score(divisions=value)
    refuse(run, tmp_path / "a.musicxml", content, "Flute, bar 1", "divisions", commands=READS_MUSIC)


@pytest.mark.parametrize("value", ["H", "", "c", "CC", "Ç", "1", "C#", "\u202eC"])
def test_a_step_that_is_no_letter_from_a_to_g_is_refused(value: str, run: Run, tmp_path: Path) -> None:
    content = score(NOTE.format(step=value, duration=1))
    refuse(run, tmp_path / "a.musicxml", content, "Flute, bar 1", "step", commands=READS_MUSIC)


@pytest.mark.parametrize("value", ["999", "-99", "", "x", "4.5", "NaN", "1e9", "9" * 5_000])
def test_an_octave_that_is_none_is_refused(value: str, run: Run, tmp_path: Path) -> None:
    content = score(C5.replace("<octave>5", f"<octave>{value}"))
    refuse(run, tmp_path / "a.musicxml", content, "Flute, bar 1", "octave", commands=READS_MUSIC)


@pytest.mark.parametrize("value", ["NaN", "inf", "1e9", "99", "9" * 5_000, "x"])
def test_an_alter_that_is_none_is_refused(value: str, run: Run, tmp_path: Path) -> None:
    content = score(C5.replace("<octave>", f"<alter>{value}</alter><octave>"))
    refuse(run, tmp_path / "a.musicxml", content, "Flute, bar 1", "alter", commands=READS_MUSIC)


def test_a_chord_of_200000_notes_is_refused_in_good_time(run: Run, tmp_path: Path) -> None:
    more = D6.replace("<pitch>", "<chord/><pitch>")
    refuse(run, tmp_path / "a.musicxml", score(C5 + more * 200_000), "Flute, bar 1", "chord", commands=READS_MUSIC)


# -- other people's texts

NAMES = {
    "markup": "&lt;script&gt;alert(1)&lt;/script&gt; &amp;amp; Flute",
    "a control sequence of one character": "Flute &#x9b;31m &#x9d;0;title&#x9c;",
    "text that runs backwards": "Flute \u202egnorw\u202c",
    "line ends": "Flute&#10;&#13;ventwise: forged line&#x2028;x",
    "a name of 100,000 characters": "Flute " + "x" * 100_000,
    "percent and braces": "Flute %s %n {0} {name} \\x1b[31m",
}


@pytest.mark.parametrize("kind", NAMES)
def test_a_name_never_reaches_the_terminal_as_a_command(kind: str, run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    words_too = WORDS.format(NAMES[kind][:9_000])  # words have a limit of their own, names have none
    path.write_bytes(score(words_too + MULT, name=NAMES[kind]))
    marked = tmp_path / "b.musicxml"
    for words in (("check", path), ("check", path, "--format", "json"), ("annotate", path, "-o", marked)):
        code, out, err = run(*words)
        assert code == 0, err
        assert all(char == "\n" or unicodedata.category(char)[0] != "C" for char in out + err)
        if "json" in words:
            json.loads(out)
    assert strip(marked.read_bytes()) == path.read_bytes()
    path.write_bytes(score(MULT.replace("<step>C", "<step>H"), name=NAMES[kind]))
    code, out, err = run("check", path)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1 and len(err) < 700
    assert all(char == "\n" or unicodedata.category(char)[0] != "C" for char in err)


def test_a_file_name_never_reaches_the_terminal_as_a_command(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a\x1b[31m\nred.musicxml"
    path.write_bytes(score())
    out_path = tmp_path / "b\x1b[31m.musicxml"
    for words in (("check", path), ("annotate", path, "-o", out_path), ("strip", path, "-o", out_path)):
        code, out, err = run(*words)
        assert code == 0 and "\x1b" not in out + err
    is_one_clear_line(*run("check", tmp_path / "no\x1b[31m\nfile.musicxml"))


# -- places to write to


def test_an_output_that_cannot_be_written_is_refused(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_bytes(score())
    before = folder_of(tmp_path)
    (tmp_path / "folder.musicxml").mkdir()
    (tmp_path / "loop.musicxml").symlink_to("loop.musicxml")
    for target in (
        tmp_path / "folder.musicxml", tmp_path / "loop.musicxml", tmp_path / "none" / "b.musicxml", path / "b.musicxml",
        Path("/dev/full.musicxml/x.musicxml"), tmp_path / ("x" * 300 + ".musicxml"),
    ):  # fmt: skip
        for command in ("annotate", "strip"):
            is_one_clear_line(*run(command, path, "-o", target))
    for command in ("annotate", "strip"):
        is_one_clear_line(*run(command, path, "-o", path))
        is_one_clear_line(*run(command, path))
    (tmp_path / "link.musicxml").symlink_to(path)
    (tmp_path / "hard.musicxml").hardlink_to(path)
    is_one_clear_line(*run("annotate", path, "-o", tmp_path / "link.musicxml"))
    is_one_clear_line(*run("annotate", path, "-o", tmp_path / "hard.musicxml"))
    (tmp_path / "hard.musicxml").unlink()
    (tmp_path / "link.musicxml").unlink()
    (tmp_path / "loop.musicxml").unlink()
    assert folder_of(tmp_path) == before


@pytest.mark.parametrize("command", ["annotate", "annotate --in-place", "strip", "strip --in-place"])
@pytest.mark.parametrize("failing", ["open", "fsync", "replace", "read_bytes", "verify"])
def test_writing_that_fails_half_way_leaves_everything_as_it_was(
    command: str, failing: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, out = tmp_path / "a.musicxml", tmp_path / "out.musicxml"
    path.write_bytes(score())
    out.write_bytes(b"an older result")
    before = folder_of(tmp_path)

    def fail(*_: object, **__: object) -> None:
        if failing == "verify":
            raise InputError("a.musicxml: not as it should be")
        raise OSError(28, "No space left on device")

    where = {"open": (os, "open"), "fsync": (os, "fsync"), "verify": (container, "check_packed")}
    real_read = Path.read_bytes
    if failing == "read_bytes":
        monkeypatch.setattr(Path, "read_bytes", lambda at: fail() if at.suffix == ".tmp" else real_read(at))
    else:
        monkeypatch.setattr(*where.get(failing, (Path, "replace")), fail)
    told = run(*words_of(command, path))
    monkeypatch.undo()
    is_one_clear_line(*told)
    assert folder_of(tmp_path) == before


# -- a process of its own: limits and signals

ENTRY = "from annotate.start import main; main()"


def start(words: list[str], before: Callable[[], None] | None = None, code: str = ENTRY) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        preexec_fn=before,  # noqa: PLW1509 - this process has no other threads that hold locks
        env=os.environ | {"PYTHONWARNINGS": "error"},
    )


def finish(process: subprocess.Popen[str]) -> tuple[int, str, str]:
    out, err = process.communicate(timeout=120)
    return process.returncode, out, err


def at_most(what: int, amount: int) -> Callable[[], None]:
    return lambda: resource.setrlimit(what, (amount, amount))


@pytest.mark.parametrize("kind", ["a billion laughs", "quadratic growth", "very many entities"])
def test_entity_bombs_stay_within_memory_and_time(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    head, used = DOCTYPES[kind]
    path.write_bytes(score(WORDS.format(used) + MULT, head=head))
    begun = time.monotonic()
    is_one_clear_line(*finish(start(words_of("annotate --in-place", path), at_most(resource.RLIMIT_AS, 1500 * MB))))
    assert time.monotonic() - begun < 20.0


@pytest.mark.parametrize("kind", ["a bomb by ratio", "a bomb that lies about its size"])
def test_archive_bombs_stay_within_memory_and_time(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "a.mxl"
    path.write_bytes(ARCHIVES[kind]()[0])
    begun = time.monotonic()
    is_one_clear_line(*finish(start(words_of("annotate --in-place", path), at_most(resource.RLIMIT_AS, 1500 * MB))))
    assert time.monotonic() - begun < 20.0


def test_a_score_that_needs_more_memory_than_there_is_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_bytes(score(MULT + f"<!--{'ä' * 60 * MB}𝄞-->"))
    size = path.stat().st_size
    is_one_clear_line(*finish(start(words_of("annotate --in-place", path), at_most(resource.RLIMIT_AS, 420 * MB))))
    assert [each.name for each in tmp_path.iterdir()] == ["a.musicxml"] and path.stat().st_size == size


def test_a_file_that_grows_too_large_leaves_everything_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_bytes(score(MULT + f"<!--{'x' * 200_000}-->"))
    before = folder_of(tmp_path)

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    for command in ("annotate", "annotate --in-place"):
        told = finish(start(words_of(command, path), limit))
        is_one_clear_line(*told)
        assert folder_of(tmp_path) == before


# Stops at a moment of writing, tells that it is there, and waits for a signal.
STOPPING = """
import os, sys, time
from pathlib import Path
moment, real = sys.argv.pop(1), Path.replace
def stop(*_):
    print("here", flush=True)
    time.sleep(60)
def renamed(*paths):
    real(*paths)
    print("here", flush=True)
    time.sleep(1)
if moment == "write":
    os.fsync = stop
elif moment == "read":
    read_bytes = Path.read_bytes  # tables of the program are read so too; only the neighbour is meant
    Path.read_bytes = lambda path: (stop if path.name.startswith(".ventwise") else read_bytes)(path)
elif moment == "pictures":
    Path.write_bytes = stop
else:
    Path.replace = renamed
from annotate.start import main
main()
"""


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize(
    ("command", "moment"),
    [
        ("annotate", "write"),
        ("strip --in-place", "read"),
        ("annotate --in-place --pictures", "write"),
        ("annotate --in-place --pictures", "pictures"),
    ],
)
def test_an_interrupted_run_leaves_nothing_half_written(
    command: str, moment: str, sent: signal.Signals, tmp_path: Path
) -> None:
    path, pictures = tmp_path / "a.musicxml", tmp_path / "pictures/new"
    path.write_bytes(score())
    before = folder_of(tmp_path)
    words = [*words_of(command, path), *([str(pictures)] if "--pictures" in command else [])]
    process = start([moment, *words], code=STOPPING)
    assert process.stdout is not None and process.stdout.readline() == "here\n"
    assert len(folder_of(tmp_path)) == 2  # the neighbour is there, so that its going means something
    assert pictures.exists() == (moment == "pictures")
    process.send_signal(sent)
    code, out, err = finish(process)
    assert folder_of(tmp_path) == before and not pictures.parent.exists()
    is_one_clear_line(code, out, err)
    assert "interrupted" in err


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("command", ["strip --in-place", "annotate --in-place --pictures"])
def test_a_run_that_is_stopped_once_the_file_is_in_place_says_that_it_is_written(
    command: str, sent: signal.Signals, tmp_path: Path
) -> None:
    path, pictures = tmp_path / "a.musicxml", tmp_path / "pictures"
    path.write_bytes(MARKED if command.startswith("strip") else score())
    words = [*words_of(command, path), *([str(pictures)] if "--pictures" in command else [])]
    process = start(["rename", *words], code=STOPPING)
    assert process.stdout is not None and process.stdout.readline() == "here\n"
    process.send_signal(sent)
    code, out, err = finish(process)
    assert (code, out, err) == (3, "", f"ventwise: written: {path}; but the run was stopped before its end\n")
    assert (strip(path.read_bytes()) == path.read_bytes()) is command.startswith("strip")
    assert not list(tmp_path.rglob(".ventwise*"))
    assert (pictures / "places.csv").exists() == ("--pictures" in command)


def test_a_report_that_cannot_be_printed_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_bytes(score())
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", ENTRY, "check", str(path)],
            stdout=full,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            check=False,
        )
    is_one_clear_line(done.returncode, "", done.stderr)
