"""Files in and out: what is accepted, what is refused in one line, what stays as it came."""

import io
import os
import stat
import struct
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.files import container
from annotate.files.container import ScoreFile, check_packed, check_target, load, pack, unpack
from annotate.files.placing import prepared
from annotate.findings import InputError

XML = b'<?xml version="1.0"?>\n<score-partwise version="3.1"/>\n' + bytes(range(32, 127)) * 40
NEW = XML.replace(b"score", b"longer-score") + b"<!-- more -->" * 500
MUSICXML = "application/vnd.recordare.musicxml+xml"
Member = tuple[str | zipfile.ZipInfo, bytes]


def contents(*rootfiles: tuple[str, str]) -> Member:
    """A META-INF/container.xml naming (path, media type) pairs; '' leaves the media type out."""
    lines = [f'<rootfile full-path="{path}"' + f' media-type="{kind}"' * bool(kind) + "/>" for path, kind in rootfiles]
    return "META-INF/container.xml", f"<container><rootfiles>{''.join(lines)}</rootfiles></container>".encode()


def archive(*members: Member, method: int = zipfile.ZIP_DEFLATED, comment: bytes = b"") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as made, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of names that are there twice, on purpose
        for name, data in members:
            made.writestr(name, data)
        made.comment = comment
    return out.getvalue()


def odd_archive() -> bytes:
    """Everything at once that real archives were seen to carry. Invented contents."""
    picture = zipfile.ZipInfo("images/Größe.png", (1999, 12, 31, 23, 59, 58))
    picture.external_attr, picture.comment = 0o100600 << 16, b"a comment"
    picture.extra = b"UT\x05\x00\x03abcd"
    picture.create_system = 3
    score = zipfile.ZipInfo("score.xml", (2001, 2, 3, 4, 5, 6))
    score.compress_type, score.comment, score.internal_attr = zipfile.ZIP_DEFLATED, b"the score", 1
    folder = zipfile.ZipInfo("images/")
    return archive(
        ("__MACOSX/._score.xml", b"\0\5\x16\7"),
        (folder, b""),
        (score, XML),
        contents(("score.pdf", "application/pdf"), ("score.xml", MUSICXML), ("other.xml", "")),
        (picture, b"\x89PNG" * 9),
        ("score.pdf", b"%PDF-1.4"),
        ("other.xml", b"<other/>"),
        comment=b"made by nobody",
    )


class _Pipe(io.RawIOBase):
    """An output that cannot go back, so that sizes follow the data instead of standing before it."""

    def __init__(self) -> None:
        super().__init__()
        self.bytes = b""

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        self.bytes += bytes(memoryview(data))  # type: ignore[arg-type]
        return len(memoryview(data))  # type: ignore[arg-type]


def streamed_archive(long: bool) -> bytes:
    """An archive written to a pipe; long: with 64-bit sizes in front of and behind the score."""
    pipe = _Pipe()
    with zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in (contents(("score.xml", "")), ("score.xml", XML), ("last.txt", b"last" * 100)):
            with made.open(name, "w", force_zip64=long) as member:
                member.write(data)
    return pipe.bytes


def long_directory_archive() -> bytes:
    """An archive whose directory holds 64-bit offsets and sizes throughout, however small it is."""
    raw = archive(contents(("score.xml", "")), ("score.xml", XML), ("last.txt", b"last" * 100))
    with zipfile.ZipFile(io.BytesIO(raw)) as made:
        infos, start = made.infolist(), made.start_dir
    directory = b""
    for info in infos:
        extra = struct.pack("<HHQQQ", 1, 24, info.file_size, info.compress_size, info.header_offset)
        head = struct.pack("<4s6HL", b"PK\1\2", 45, 45, 0, info.compress_type, 0, 33, info.CRC)
        sizes = struct.pack("<LLHHHHHLL", 2**32 - 1, 2**32 - 1, len(info.filename), len(extra), 0, 0, 0, 0, 2**32 - 1)
        directory += head + sizes + info.filename.encode() + extra
    end = start + len(directory)
    long = struct.pack("<4sQHHLLQQQQ", b"PK\6\6", 44, 45, 45, 0, 0, 3, 3, len(directory), start)
    locator = struct.pack("<4sLQL", b"PK\6\7", 0, end, 1)
    last = struct.pack("<4sHHHHLLH", b"PK\5\6", 0, 0, 2**16 - 1, 2**16 - 1, 2**32 - 1, 2**32 - 1, 0)
    return raw[:start] + directory + long + locator + last


def members(raw: bytes, without: str = "") -> list[tuple[object, ...]]:
    """What promise 2 lists of each member, in order, as Python's zipfile tells it."""
    told: list[tuple[object, ...]] = []
    with zipfile.ZipFile(io.BytesIO(raw)) as opened:
        assert opened.testzip() is None
        told.append((opened.comment,))
        for info in opened.infolist():
            extra = b"" if info.extra.startswith(b"\1\0") else info.extra  # 64-bit sizes and offsets move
            about = (info.orig_filename, info.date_time, info.compress_type, info.comment, extra)
            flags = (info.external_attr, info.internal_attr, info.create_system, info.create_version, info.flag_bits)
            told.append((*about, *flags, b"" if info.filename == without else opened.read(info)))
    return told


def test_a_plain_file_is_its_own_data(tmp_path: Path) -> None:
    path = tmp_path / "score.musicxml"
    path.write_bytes(XML)
    score = load(path)
    assert score == ScoreFile(path, "", XML, XML, False)
    assert pack(score, NEW) == NEW


@pytest.mark.parametrize("name", ["score.xml", "score.mxl"])
def test_contents_count_and_not_the_name(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(odd_archive())
    assert load(path).data == XML
    path.write_bytes(XML)
    assert load(path).data == XML


ARCHIVES: dict[str, Callable[[], bytes]] = {
    "odd": odd_archive,
    "streamed": lambda: streamed_archive(long=False),
    "streamed with 64-bit sizes": lambda: streamed_archive(long=True),
    "64-bit directory": long_directory_archive,
    "stored": lambda: archive(contents(("score.xml", "")), ("score.xml", XML), method=zipfile.ZIP_STORED),
    "score last": lambda: archive(contents(("score.xml", MUSICXML)), ("a", b"a"), ("score.xml", XML)),
    "in a folder": lambda: archive(("in/score.xml", XML), contents(("./in/score.xml", MUSICXML.upper()))),
    "ending in a comment like an archive's": lambda: archive(
        contents(("score.xml", "")), ("score.xml", XML), comment=b"no PK here"
    ),
}


@pytest.mark.parametrize("kind", ARCHIVES)
@pytest.mark.parametrize("new", [NEW, b"<a/>"], ids=["longer", "shorter"])
def test_only_the_score_changes_in_an_archive(kind: str, new: bytes) -> None:
    raw = ARCHIVES[kind]()
    score = unpack(Path("score.mxl"), raw)
    assert score.packed and score.data == XML
    made = pack(score, new)
    assert members(made, score.member) != members(made)
    assert members(made, score.member) == members(raw, score.member)
    again = check_packed(score, made)
    assert again.data == new
    assert members(pack(again, XML)) == members(raw)


def test_nothing_changes_in_an_archive_whose_score_does_not() -> None:
    raw = odd_archive()
    assert pack(unpack(Path("score.mxl"), raw), XML) == raw


def test_local_headers_of_other_members_keep_every_byte() -> None:
    # Their extra fields differ from the directory's in archives of common tools; zipfile would level them.
    raw = streamed_archive(long=True)
    made = pack(unpack(Path("score.mxl"), raw), NEW)
    first, last = raw.index(b"score.xml", raw.index(b"PK\7\x08")), raw.index(b"last.txt")
    assert made.startswith(raw[:first])
    assert raw[last - 30 : raw.index(b"PK\1\2")] in made


@pytest.mark.parametrize("composed", [True, False])
def test_a_name_in_utf8_that_is_not_declared_so_is_found_and_kept(composed: bool) -> None:
    name = "Flöte.xml" if composed else "Flo\u0308te.xml"
    stand_in = "x" * len(name.encode())
    raw = archive((stand_in, XML), contents(("Flöte.xml", ""))).replace(stand_in.encode(), name.encode())
    score = unpack(Path("score.mxl"), raw)
    assert score.data == XML
    made = pack(score, NEW)
    assert made.count(name.encode()) == 2
    assert unpack(Path("score.mxl"), made).data == NEW


def test_a_score_in_utf16_comes_out_of_an_archive_as_it_is() -> None:
    data = '<?xml version="1.0" encoding="UTF-16"?><score-partwise/>'.encode("utf-16")
    directory = contents(("score.xml", ""))
    raw = archive((directory[0], directory[1].decode().encode("utf-16")), ("score.xml", data))
    assert unpack(Path("score.mxl"), raw).data == data


def test_check_packed_sees_a_member_that_is_lost_or_changed() -> None:
    score = unpack(Path("score.mxl"), odd_archive())
    lost = archive(("score.xml", XML), contents(("score.xml", "")))
    with pytest.raises(InputError, match="lose something beside the score"):
        check_packed(score, lost)


def _encrypted() -> bytes:
    raw = bytearray(archive(contents(("score.xml", "")), ("score.xml", XML)))
    for signature, flags in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        at = raw.rindex(signature)
        raw[at + flags] |= 1
    return bytes(raw)


# Those that `test_hostile` has every command refuse are not among them.
HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "empty": (lambda: b"", "is empty"),
    "only its beginning": (lambda: b"PK\3\4", "damaged archive"),
    "empty archive": (archive, "has no META-INF/container.xml"),
    "encrypted": (_encrypted, "'score.xml' inside is encrypted"),
    "no rootfile": (lambda: archive(contents()), "names no MusicXML file"),
    "only a PDF": (lambda: archive(contents(("a.pdf", "application/pdf")), ("a.pdf", b"")), "names no MusicXML file"),
    "other method": (
        lambda: archive(contents(("score.xml", "")), ("score.xml", XML), method=zipfile.ZIP_LZMA),
        "packed in an unusual way",
    ),
    "name of two lines": (lambda: archive(contents(("a&#10;b", ""))), "'a?b'"),
}


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(ARCHIVES)), st.integers(min_value=0), st.binary(min_size=1, max_size=8))
def test_an_archive_damaged_anywhere_is_read_or_refused_in_one_line(kind: str, at: int, put: bytes) -> None:
    raw = bytearray(ARCHIVES[kind]())
    at %= len(raw)
    raw[at : at + len(put)] = put
    try:
        score = unpack(Path("score.mxl"), bytes(raw))
        assert not score.packed or check_packed(score, pack(score, NEW)).data == NEW
    except InputError as error:
        assert str(error).isprintable()


def one_line(caught: pytest.ExceptionInfo[InputError], path: Path) -> str:
    message = str(caught.value)
    assert message.isprintable() and str(path) in message and "expected" in message
    return message


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_or_damaged_file_is_refused_in_one_line(tmp_path: Path, kind: str) -> None:
    make, told = HOSTILE[kind]
    path = tmp_path / "score.mxl"
    path.write_bytes(make())
    with pytest.raises(InputError) as caught:
        load(path)
    assert told in one_line(caught, path)


def test_a_missing_file_a_folder_and_a_name_that_cannot_be_are_refused_in_one_line(tmp_path: Path) -> None:
    for path, told in ((tmp_path / "none.xml", "no such file"), (tmp_path, "is not a file")):
        with pytest.raises(InputError) as caught:
            load(path)
        assert told in one_line(caught, path)
    for name in ("x" * 300, "a\0b"):
        with pytest.raises(InputError):
            load(tmp_path / name)


def test_an_unreadable_file_is_refused_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "score.xml"
    path.write_bytes(XML)

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError) as caught:
        load(path)
    assert "cannot be read (Permission denied)" in one_line(caught, path)


def test_files_beyond_the_limits_of_size_are_refused_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "score.mxl"
    path.write_bytes(odd_archive())
    monkeypatch.setattr(container, "MOST_UNPACKED", len(XML))
    with pytest.raises(InputError, match="unpacks to more than") as caught:
        load(path)
    one_line(caught, path)
    monkeypatch.setattr(container, "MOST_FILE", len(odd_archive()) - 1)
    with pytest.raises(InputError, match="is larger than") as caught:
        load(path)
    one_line(caught, path)


def test_members_that_overlap_are_refused_before_anything_is_replaced() -> None:
    # The directory lists a second member inside the bytes of the score.
    inner = archive(("inner.txt", b"inner"), method=zipfile.ZIP_STORED)
    data = inner[: inner.index(b"PK\1\2")]
    raw = archive(contents(("score.xml", "")), ("score.xml", data), method=zipfile.ZIP_STORED)
    inside = raw.index(data)
    entry = bytearray(inner[inner.index(b"PK\1\2") : inner.index(b"PK\5\6")])
    struct.pack_into("<L", entry, 42, inside)
    end = bytearray(raw[raw.index(b"PK\5\6") :])
    size, count = struct.unpack_from("<L", end, 12)[0] + len(entry), 3
    struct.pack_into("<HHL", end, 8, count, count, size)
    hostile = raw[: raw.index(b"PK\5\6")] + bytes(entry) + bytes(end)
    with pytest.raises(InputError, match="damaged"):
        pack(unpack(Path("score.mxl"), hostile), NEW)


def test_a_folder_or_device_is_never_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.xml"
    os.mkfifo(pipe)
    for path in (pipe, tmp_path):
        with pytest.raises(InputError) as caught:
            write_atomically(path, NEW, accept)
        assert "is a folder or device" in one_line(caught, path)
    assert list(tmp_path.iterdir()) == [pipe] and pipe.is_fifo()


def write_atomically(path: Path, content: bytes, verify: Callable[[bytes], None], before: str | None = None) -> None:
    with prepared(path, content, verify, before) as ready:
        ready.place()


def accept(_: bytes) -> None:
    """A verification that finds nothing."""


def refuse(_: bytes) -> None:
    raise InputError("not as it should be")


def test_a_file_is_written_after_it_was_read_back(tmp_path: Path) -> None:
    path = tmp_path / ("ü" * 120 + ".xml")
    seen: list[bytes] = []
    write_atomically(path, NEW, seen.append)
    assert seen == [NEW] and path.read_bytes() == NEW
    assert list(tmp_path.iterdir()) == [path]


def test_nothing_is_left_behind_when_the_verification_fails(tmp_path: Path) -> None:
    path = tmp_path / "out.xml"
    with pytest.raises(InputError, match="not as it should be"):
        write_atomically(path, NEW, refuse)
    assert list(tmp_path.iterdir()) == []
    path.write_bytes(XML)
    with pytest.raises(InputError, match="not as it should be"):
        write_atomically(path, NEW, refuse)
    assert path.read_bytes() == XML and list(tmp_path.iterdir()) == [path]


def test_a_full_disk_leaves_everything_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "out.xml"
    path.write_bytes(XML)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError) as caught:
        write_atomically(path, NEW, accept)
    assert "No space left on device" in one_line(caught, path)
    assert path.read_bytes() == XML and list(tmp_path.iterdir()) == [path]


def test_permissions_of_an_existing_file_stay_and_a_new_one_gets_the_usual(tmp_path: Path) -> None:
    path, plain, new = tmp_path / "out.xml", tmp_path / "plain", tmp_path / "new.xml"
    path.write_bytes(XML)
    path.chmod(0o640)
    write_atomically(path, NEW, accept)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    plain.write_bytes(b"")
    write_atomically(new, NEW, accept)
    assert new.stat().st_mode == plain.stat().st_mode


def test_a_symbolic_link_stays_and_leads_to_the_new_contents(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    real, link = tmp_path / "elsewhere" / "real.xml", tmp_path / "link.xml"
    real.write_bytes(XML)
    link.symlink_to(real)
    write_atomically(link, NEW, accept)
    assert link.is_symlink() and real.read_bytes() == NEW


def test_a_place_that_cannot_be_written_is_refused_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "none" / "out.xml"
    with pytest.raises(InputError) as caught:
        write_atomically(path, NEW, accept)
    assert "cannot be written" in one_line(caught, path)
    path = tmp_path / "protected.xml"
    path.write_bytes(XML)
    monkeypatch.setattr(os, "access", lambda *_: False)  # the user of a test run may be allowed everything
    with pytest.raises(InputError) as caught:
        write_atomically(path, NEW, accept)
    assert "write-protected" in one_line(caught, path)
    assert path.read_bytes() == XML


@pytest.mark.parametrize(
    ("source", "target", "told"),
    [
        ("a.mxl", "b.musicxml", "expected .mxl"),
        ("a.musicxml", "b.mxl", "expected .musicxml or .xml"),
        ("a.xml", "b", "expected .musicxml or .xml"),
        ("a.xml", "none/b.xml", "expected a folder that exists"),
        ("a.xml", "folder.xml", "is a folder or device"),
        ("a.xml", "a.xml", "is the score itself"),
        ("a.xml", "folder.xml/../a.xml", "is the score itself"),
        ("a.xml", "soft.xml", "is the score itself"),
        ("a.xml", "hard.xml", "is the score itself"),
        ("a.xml", "n\0.xml", "cannot be written"),
    ],
)
def test_a_target_that_will_not_do_is_refused_in_one_line(tmp_path: Path, source: str, target: str, told: str) -> None:
    for name in ("a.mxl", "a.musicxml", "a.xml"):
        (tmp_path / name).write_bytes(XML)
    (tmp_path / "soft.xml").symlink_to(tmp_path / "a.xml")
    (tmp_path / "hard.xml").hardlink_to(tmp_path / "a.xml")
    (tmp_path / "folder.xml").mkdir()
    with pytest.raises(InputError) as caught:
        check_target(tmp_path / source, tmp_path / target, in_place=False)
    message = str(caught.value)
    assert told in message and message.isprintable() and "expected" in message


def test_a_target_of_the_same_kind_beside_the_score_or_the_score_in_place_will_do(tmp_path: Path) -> None:
    source = tmp_path / "a.musicxml"
    source.write_bytes(XML)
    check_target(source, tmp_path / "b.XML", in_place=False)
    check_target(source, source, in_place=True)
