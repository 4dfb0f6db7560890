"""Replacing one member of a zip archive and no other byte of it, save the sizes and offsets that follow.

Python's zipfile reads; it does not write here, because it would rewrite names in unknown encodings, local
extra fields and flags of every member. Layout: APPNOTE.TXT 6.3.10, sections 4.3.6 to 4.5.3.
"""

import struct
import zipfile
import zlib
from dataclasses import dataclass

from fingering_db.message import Message, MessageError

_CENTRAL = struct.Struct("<4s24xHHH12x")  # signature, lengths of name, extra, comment
_LOCAL = struct.Struct("<4s22xHH")  # signature, lengths of name, extra
_END = struct.Struct("<4s8xLLH")  # signature, directory size, directory offset, comment
_END_64 = struct.Struct("<4s36xQQ")  # signature, directory size, directory offset
_LOCATOR_64 = struct.Struct("<4s4xQ4x")  # signature, offset of _END_64
_LONGEST_COMMENT = 0xFFFF
_IN_EXTRA = 0xFFFFFFFF  # the number stands in the extra field with id 1, as 8 bytes
_HAS_DESCRIPTOR = 0x8


class ArchiveError(MessageError):
    """The archive's directory and its members do not fit together."""


@dataclass(slots=True)
class _Header:
    """A record of the archive, central or local, whose numbers can be changed in place.

    at: offset in the file. extra: offsets in the file of its extra field. fields: offsets in the record of
    the numbers that move to the extra field when they are too large, in the order in which they stand there:
    unpacked, packed, offset.
    """

    raw: bytearray
    at: int
    fields: tuple[int, ...]
    extra: tuple[int, int]

    def _places(self) -> list[tuple[int, str]]:
        """Where each number really stands and how it is packed."""
        places = []
        long = self._long_extra()
        for field in self.fields:
            place, form = self.at + field, "<L"
            if struct.unpack_from(form, self.raw, place)[0] == _IN_EXTRA and long is not None:
                place, form = long, "<Q"
                long += 8
            places.append((place, form))
        return places

    def _long_extra(self) -> int | None:
        at, end = self.extra
        while at + 4 <= end:
            kind, size = struct.unpack_from("<HH", self.raw, at)
            if kind == 1:
                return at + 4
            at += 4 + size
        return None

    def numbers(self) -> list[int]:
        return [struct.unpack_from(form, self.raw, place)[0] for place, form in self._places()]

    def put(self, *numbers: int) -> None:
        for (place, form), number in zip(self._places(), numbers, strict=True):
            struct.pack_into(form, self.raw, place, number)


def replace_member(raw: bytes, member: zipfile.ZipInfo, data: bytes) -> bytes:
    """The archive with new contents for one member; all other members keep their bytes, headers and order.

    raw: the whole archive. member: as zipfile lists it, stored or deflated. data: its new unpacked bytes.
    Raises ArchiveError if the archive is not laid out as it says.
    """
    try:
        return _replace(raw, member, data)
    except (struct.error, IndexError, OverflowError) as error:
        raise ArchiveError(Message("archive.past_the_end", reason=str(error))) from error


def _replace(raw: bytes, member: zipfile.ZipInfo, data: bytes) -> bytes:
    new = bytearray(raw)
    end, directory, before = _find_directory(raw)
    headers = _central_headers(new, directory, end)
    # zipfile adds what stands before the archive to the offsets it tells.
    local, start = _local_header(new, member.header_offset)
    stop = start + member.compress_size
    places = [header.numbers()[2] + before for header in headers]
    if stop > directory or any(member.header_offset < place < stop for place in places):
        raise ArchiveError(Message("archive.overlap"))
    if places.count(member.header_offset) != 1:
        raise ArchiveError(Message("archive.one_place"))
    own = headers[places.index(member.header_offset)]
    packed = _packed(data, member.compress_type)
    numbers = (len(data), len(packed))
    crc = zlib.crc32(data)
    delta = len(packed) - member.compress_size
    for header in headers:
        unpacked, size, offset = header.numbers()
        moved = offset + delta if offset + before > member.header_offset else offset
        header.put(*((*numbers, moved) if header is own else (unpacked, size, moved)))
    struct.pack_into("<L", new, own.at + 16, crc)
    if not (member.flag_bits & _HAS_DESCRIPTOR and local.numbers() == [0, 0]):
        local.put(*numbers)
        struct.pack_into("<L", new, local.at + 14, crc)
    _move_directory(new, end, delta)
    _describe_again(new, stop, member, (crc, len(packed), len(data)))
    new[start:stop] = packed
    return bytes(new)


def _packed(data: bytes, method: int) -> bytes:
    if method == zipfile.ZIP_STORED:
        return data
    packer = zlib.compressobj(wbits=-zlib.MAX_WBITS)
    return packer.compress(data) + packer.flush()


def _find_directory(raw: bytes) -> tuple[int, int, int]:
    """Offsets of the end record and of the central directory, and the number of bytes before the archive
    proper."""
    end = raw.rfind(b"PK\5\6", max(0, len(raw) - _LONGEST_COMMENT - _END.size))
    if end < 0:
        raise ArchiveError(Message("archive.no_end"))
    _, size, offset, _ = _END.unpack_from(raw, end)
    stop = end
    long = _end_64(raw, end)
    if long is not None:
        _, size, offset = _END_64.unpack_from(raw, long)
        stop = long
    directory = stop - size
    return end, directory, directory - offset


def _end_64(raw: bytes | bytearray, end: int) -> int | None:
    """Offset of the 64-bit end record, which stands right before its locator; None if there is none."""
    locator = end - _LOCATOR_64.size
    if locator < 0 or raw[locator : locator + 4] != b"PK\6\7":
        return None
    record = locator - 56
    if raw[record : record + 4] != b"PK\6\6":
        raise ArchiveError(Message("archive.no_long_end"))
    return record


def _central_headers(new: bytearray, directory: int, end: int) -> list[_Header]:
    headers = []
    at = directory
    while new[at : at + 4] == b"PK\1\2" and at < end:
        _, name, extra, comment = _CENTRAL.unpack_from(new, at)
        fields = at + _CENTRAL.size + name
        headers.append(_Header(new, at, (24, 20, 42), (fields, fields + extra)))
        at = fields + extra + comment
    return headers


def _local_header(new: bytearray, at: int) -> tuple[_Header, int]:
    """The local header at an offset, and the offset of the data behind it."""
    signature, name, extra = _LOCAL.unpack_from(new, at)
    if signature != b"PK\3\4":
        raise ArchiveError(Message("archive.no_member"))
    fields = at + _LOCAL.size + name
    return _Header(new, at, (22, 18), (fields, fields + extra)), fields + extra


def _move_directory(new: bytearray, end: int, delta: int) -> None:
    at = _end_64(new, end)
    if at is not None:
        struct.pack_into("<Q", new, at + 48, _END_64.unpack_from(new, at)[2] + delta)
        locator = end - _LOCATOR_64.size
        struct.pack_into("<Q", new, locator + 8, _LOCATOR_64.unpack_from(new, locator)[1] + delta)
    offset = _END.unpack_from(new, end)[2]
    if offset != _IN_EXTRA:
        struct.pack_into("<L", new, end + 16, offset + delta)


def _describe_again(new: bytearray, at: int, member: zipfile.ZipInfo, numbers: tuple[int, int, int]) -> None:
    """Bring the record behind a streamed member's data up to date; it comes in four forms, or is missing."""
    old = (member.CRC, member.compress_size, member.file_size)
    for signature in (b"PK\7\x08", b""):
        for form in ("<LLL", "<LQQ"):
            record = signature + struct.pack(form, *old)
            if member.flag_bits & _HAS_DESCRIPTOR and new.startswith(record, at):
                new[at : at + len(record)] = signature + struct.pack(form, *numbers)
                return
