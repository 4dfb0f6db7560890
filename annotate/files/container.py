"""Bytes in and out: plain MusicXML files and compressed ones (.mxl), read within limits."""

import io
import re
import struct
import unicodedata
import zipfile
import zlib
from dataclasses import dataclass
from operator import attrgetter
from pathlib import Path

from annotate.files.archive import ArchiveError, replace_member
from annotate.files.errors import bytes_of, file_error, plain, reason, unfit
from fingering_db.message import Message

_MB = 1 << 20
MOST_FILE, MOST_UNPACKED = 256 * _MB, 512 * _MB
"""Largest file and largest contents of an archive [bytes]."""
MOST_RATIO, RATIO_FROM = 200, _MB
"""Largest unpacked to packed size of a member that is larger than RATIO_FROM [bytes] unpacked."""

_DIRECTORY = "META-INF/container.xml"
MOST_DIRECTORY = 1 << 16
"""Largest list of contents in an archive [bytes]; usual ones have some 300."""
_MUSICXML_TYPES = ("", "application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml")
# What Python's zipfile raises on damaged archives, on purpose or not.
_DAMAGE = (
    *(zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError),
    *(RuntimeError, ValueError, OverflowError, LookupError, MemoryError),
)
# What stays as it is of every member, the score too.
_KEPT = attrgetter(
    *("orig_filename", "date_time", "compress_type", "comment", "flag_bits"),
    *("create_system", "create_version", "extract_version", "external_attr", "internal_attr"),
)
_EXPECTED = Message("file.expected_score")
_ENCRYPTED, _NAME_IS_UTF8 = 0x1, 0x800
_KINDS = {".mxl": ".mxl", ".musicxml": ".musicxml or .xml", ".xml": ".musicxml or .xml"}


@dataclass(frozen=True, slots=True)
class ScoreFile:
    """A score as it came. member: name of the score inside the archive, '' for a plain file.

    data: the score's XML bytes. raw: the whole file. packed: whether the contents, whatever the name, are an
    archive.
    """

    path: Path
    member: str
    data: bytes
    raw: bytes
    packed: bool


def load(path: Path) -> ScoreFile:
    """Read a score file. Raises InputError for what is missing, unreadable, damaged or beyond the limits."""
    return unpack(path, bytes_of(path, MOST_FILE, _EXPECTED))


def unpack(path: Path, raw: bytes) -> ScoreFile:
    """The score in a file's bytes; `path` is for messages. Raises InputError as load does."""
    if len(raw) > MOST_FILE:
        raise unfit(path, Message("file.too_large", most=MOST_FILE / _MB), _EXPECTED)
    if not raw:
        raise unfit(path, Message("file.empty"), _EXPECTED)
    if not raw.startswith(b"PK"):  # no XML begins so
        return ScoreFile(path, "", raw, raw, False)
    with _open(path, raw) as archive:
        member = _find_score(path, archive)
        return ScoreFile(path, member.filename, _read(path, archive, member), raw, True)


def pack(score: ScoreFile, data: bytes) -> bytes:
    """The whole file again with `data` as the score's XML bytes; all else in it stays as it came.

    Raises InputError if an archive is not laid out such that one member can be replaced.
    """
    if data == score.data:
        return score.raw
    if not score.packed:
        return data
    with _open(score.path, score.raw) as archive:
        member = _find_score(score.path, archive)
        try:
            return replace_member(score.raw, member, data)
        except ArchiveError as error:
            raise file_error(score.path, Message("file.damaged_archive", reason=error.message)) from error


def check_packed(score: ScoreFile, content: bytes) -> ScoreFile:
    """Read back what pack gave, and see that the members beside the score are what they were.

    Returns the file as it will be loaded. Raises InputError if anything but the score differs.
    """
    again = unpack(score.path, content)
    if score.packed and _others(score) != _others(again):
        raise file_error(score.path, Message("file.would_lose"))
    return again


def _others(score: ScoreFile) -> tuple[object, ...]:
    """Everything in an archive that is not the score, with the order of all members."""
    with _open(score.path, score.raw) as archive:
        entries = []
        for info in archive.infolist():
            size = (info.CRC, info.file_size, info.compress_size) if info.filename != score.member else ()
            moves = info.extra.startswith(b"\1\0")  # it holds sizes or offsets, which move with the score
            entries.append((_KEPT(info), b"" if moves else info.extra, size))
        return archive.comment, entries


def check_target(source: Path, target: Path, in_place: bool) -> None:
    """Raise InputError unless `target` may be written for `source`.

    Its folder must exist, its ending must be of the same kind, and it must not be the source, under whatever
    name, unless `in_place`.
    """
    try:
        if not target.resolve().parent.is_dir():
            raise file_error(target, Message("file.no_folder"))
        if target.exists() and not target.is_file():
            raise file_error(target, Message("file.is_a_folder"))
        wanted, given = (_KINDS.get(path.suffix.lower(), path.suffix.lower()) for path in (source, target))
        if wanted != given:
            raise file_error(target, Message("file.other_ending", wanted=wanted or Message("file.no_ending")))
        if not in_place and target.exists() and source.exists() and target.samefile(source):
            raise file_error(target, Message("file.is_the_score"))
    except (OSError, ValueError, RuntimeError) as error:
        raise file_error(target, Message("file.unwritable_name", reason=reason(error))) from error


def _open(path: Path, raw: bytes) -> zipfile.ZipFile:
    try:
        archive = zipfile.ZipFile(io.BytesIO(raw))
    except _DAMAGE as error:
        raise file_error(path, Message("file.damaged_archive", reason=reason(error))) from error
    total = sum(info.file_size for info in archive.infolist())
    if total > MOST_UNPACKED:
        raise file_error(path, Message("file.unpacks_large", most=MOST_UNPACKED // _MB))
    for info in archive.infolist():
        if info.file_size > max(RATIO_FROM, MOST_RATIO * info.compress_size):
            name = plain(info.filename)
            raise file_error(path, Message("file.unpacks_much", name=name, most=MOST_RATIO))
    return archive


def _find_score(path: Path, archive: zipfile.ZipFile) -> zipfile.ZipInfo:
    """The member that the archive's own list of contents names as the score."""
    if not any(_names(info, _DIRECTORY) for info in archive.infolist()):
        raise file_error(path, Message("file.no_container", name=_DIRECTORY))
    listed = _find(path, archive, _DIRECTORY)
    if listed.file_size > MOST_DIRECTORY:
        raise file_error(path, Message("file.container_large", name=_DIRECTORY, most=MOST_DIRECTORY >> 10))
    contents = _read(path, archive, listed)
    from lxml import etree  # noqa: PLC0415 - most scores come without a container

    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(contents, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise file_error(path, Message("file.bad_container", name=_DIRECTORY)) from error
    native = path.suffix.lower() == ".mscz"  # lists its style and pictures as root files too, without a media type
    for rootfile in root.iterfind(".//{*}rootfile"):
        name = rootfile.get("full-path", "")
        if native and not name.lower().endswith(".mscx"):
            continue
        if name and rootfile.get("media-type", "").strip().lower() in _MUSICXML_TYPES:
            if re.match(r"[/\\]|[A-Za-z]:", name) or ".." in re.split(r"[/\\]", name):
                raise file_error(path, Message("file.leads_out", name=plain(name)))
            return _find(path, archive, name.removeprefix("./"))
    raise file_error(path, Message("file.names_no_score", name=_DIRECTORY))


def _find(path: Path, archive: zipfile.ZipFile, name: str) -> zipfile.ZipInfo:
    found = [info for info in archive.infolist() if _names(info, name)]
    if not found:
        raise file_error(path, Message("file.not_inside", name=plain(name)))
    if len(found) > 1:
        raise file_error(path, Message("file.inside_often", name=plain(name), n=len(found)))
    return found[0]


def _names(info: zipfile.ZipInfo, name: str) -> bool:
    """Whether a member has this name; many programs write UTF-8, composed or not, without saying so."""
    names = {info.orig_filename}
    if not info.flag_bits & _NAME_IS_UTF8:
        names.add(info.orig_filename.encode("cp437", "replace").decode("utf-8", "replace"))
    return unicodedata.normalize("NFC", name) in {unicodedata.normalize("NFC", each) for each in names}


def _read(path: Path, archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    """A member's unpacked bytes; sizes told by headers are not trusted."""
    name = plain(info.filename)
    if info.flag_bits & _ENCRYPTED:
        raise file_error(path, Message("file.encrypted", name=name))
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise file_error(path, Message("file.packed_oddly", name=name))
    try:
        with archive.open(info) as file:
            data = file.read(MOST_UNPACKED + 1)
            rest = file.read(1)
    except _DAMAGE as error:
        raise file_error(path, Message("file.member_damaged", name=name, reason=reason(error))) from error
    if rest or len(data) != info.file_size:
        raise file_error(path, Message("file.member_size", name=name))
    return data
