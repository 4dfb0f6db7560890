"""Picture files of the diagrams: an SVG and the same as PNG for each, and a list of their places."""

import csv
import hashlib
import io
import itertools
import re
import struct
import unicodedata
import zlib
from collections.abc import Container, Iterable, Mapping, Sequence

import resvg_py

from annotate.decision import Decision, Status
from annotate.demand import Kind
from annotate.drawing import picture
from annotate.drawing.path_picture import path_svg
from annotate.marking import Drawn
from annotate.output import clean
from annotate.place import Place
from annotate.score import Part
from fingering_db.fingering import Fingering

PLACES = "places.csv"
COLUMNS = ("part", "bar", "beat", "voice", "rehearsal", "text", "status", "drawn", "svg", "png", "path")
HERE, EARLIER = "here", "earlier"  # under `drawn`: at this place, or the picture of an earlier one serves
PNG_DPI = 600  # what printers of line art resolve

_LONGEST_PART, _LONGEST_BAR = 40, 20  # characters of a name
_MM_PER_INCH = 25.4
_FORMULA = r"=+@\-＝＋＠－"  # a cell that begins so is run by spreadsheets
_DIGEST = 32  # characters
_PNG_END = struct.pack(">I", 0) + b"IEND" + struct.pack(">I", zlib.crc32(b"IEND"))
_PNG_HEAD = 33  # bytes of signature and header


def files(drawn: Sequence[Drawn], parts: Sequence[Part], decisions: Iterable[Decision] = ()) -> dict[str, bytes]:
    """Contents by file name: a picture for each diagram drawn, in the order of `drawn`, and of each path of a glissando
    among `decisions` (`bar-012-beat-2.5-path.svg`), then the list of places. A place where a fingering is not drawn again
    is listed with the picture that serves it.

    parts: those that were read; with several of them names begin with the part's. Names are of a-z, 0-9, dot and
    hyphen, and differ by more than case."""
    prefixes = _prefixes(parts)
    paths = _paths(decisions, prefixes)
    contents: dict[str, bytes] = {}
    pictures: dict[tuple[Fingering, Fingering | None], tuple[bytes, bytes]] = {}
    serving: dict[tuple[str, Fingering], str] = {}  # name of the picture drawn last, by part id and fingering
    rows = []
    for one in drawn:
        place, key = one.place, (one.place.part_id, one.fingering)
        look = one.fingering, one.contrary
        if look not in pictures:
            text = picture.svg(picture.drawing(one.fingering, contrary=one.contrary))
            pictures[look] = _marked_svg(text.encode()), _marked_png(_png(text))
        if one.here:
            name = _free_name(prefixes.get(place.part_id, "") + place_name(place), contents)
            contents[f"{name}.svg"], contents[f"{name}.png"] = pictures[look]
            serving[key] = name
        name = serving[key]
        told = (place.part, place.bar, place.beat_text, place.voice, place.rehearsal)
        drawn_at = HERE if one.here else EARLIER
        path, _ = paths.get((*_moment(place), one.fingering), ("", b""))
        rows.append((*map(_cell, told), str(one.fingering), one.status, drawn_at, f"{name}.svg", f"{name}.png", path))
    return contents | dict(paths.values()) | {PLACES: _table(rows)}


def _paths(decisions: Iterable[Decision], prefixes: Mapping[str, str]) -> dict[tuple[object, ...], tuple[str, bytes]]:
    """Name and contents of the picture of each glissando's path, by its place and first fingering."""
    found: dict[tuple[object, ...], tuple[str, bytes]] = {}
    for decision in decisions:
        glides = decision.demand.kind == Kind.GLISSANDO and len(decision.path) > 1 and decision.path[0].sounds
        if glides and decision.status != Status.UNPLAYABLE:
            place = decision.demand.place
            name = f"{prefixes.get(place.part_id, '')}{place_name(place)}-path"
            name = f"{_free_name(name, {taken for taken, _ in found.values()})}.svg"
            found[*_moment(place), decision.fingering] = name, _marked_svg(path_svg(decision).encode())
    return found


def _moment(place: Place) -> tuple[str, str, object, str]:
    return place.part_id, place.bar, place.beat, place.voice


def place_name(place: Place) -> str:
    """`bar-012-beat-2.5`: sorts as the score goes."""
    text = "".join(
        str(unicodedata.decimal(char, char)) for char in place.bar
    )  # digits of every script as those of ASCII
    found = re.match(r"[0-9]+", text)
    digits = found[0] if found else ""
    bar = digits.zfill(3) * bool(digits) + _safe(text[len(digits) :])
    return f"bar-{bar[:_LONGEST_BAR] or 'unnamed'}-beat-{_safe(place.beat_text) or '0'}"


def _prefixes(parts: Sequence[Part]) -> dict[str, str]:
    """What names of files begin with, by part id; empty where a single part is read."""
    if len(parts) < 2:
        return {}
    names = {part.id: _safe(part.name)[:_LONGEST_PART].strip("-.") for part in parts}
    shared = {name for name in names.values() if list(names.values()).count(name) > 1}
    numbers = {part.id: f"-{part.number}" * (names[part.id] in {"", *shared}) for part in parts}
    return {part.id: f"{names[part.id] or 'part'}{numbers[part.id]}-" for part in parts}


def _safe(text: str) -> str:
    """Lower-case ASCII letters, digits, dots and hyphens of a text; accents are dropped."""
    bare = unicodedata.normalize("NFKD", text.replace("ß", "ss")).encode("ascii", "ignore").decode("ascii").lower()
    return re.sub(r"[^a-z0-9.]+", "-", bare).strip("-.")


def _free_name(name: str, taken: Container[str]) -> str:
    names = itertools.chain([name], (f"{name}-no-{number}" for number in itertools.count(2)))
    return next(one for one in names if f"{one}.svg" not in taken)


def _cell(text: str) -> str:
    """Other people's text, such that no terminal takes it for a command and no spreadsheet for a formula, be the cells
    parted by commas, semicolons, tabs or bars. Signs of full width count as their narrow ones."""
    line = " ".join(clean(text).split())
    if re.fullmatch(r"-?[0-9]+", line):
        return line
    return re.sub(f"(^|[,;|][\"' ]*)(?=[{_FORMULA}])", r"\1'", line)


def _table(rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8", "replace")


def _png(svg: str) -> bytes:
    """The picture on white, with its resolution, so that programs place it in its size."""
    plain = resvg_py.svg_to_bytes(svg_string=svg, background="white", skip_system_fonts=True, dpi=float(PNG_DPI))
    per_metre = round(PNG_DPI * 1000 / _MM_PER_INCH)
    return plain[:_PNG_HEAD] + _chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)) + plain[_PNG_HEAD:]


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def _svg_mark(data: bytes) -> bytes:
    return f"<!-- ventwise {hashlib.sha256(data).hexdigest()[:_DIGEST]} -->\n".encode()


def _marked_svg(data: bytes) -> bytes:
    return data + _svg_mark(data)


def _png_mark(data: bytes) -> bytes:
    return _chunk(b"tEXt", f"Software\0ventwise {hashlib.sha256(data).hexdigest()[:_DIGEST]}".encode())


def _marked_png(data: bytes) -> bytes:
    return data.removesuffix(_PNG_END) + _png_mark(data) + _PNG_END


def is_marked(data: bytes, suffix: str) -> bool:
    """Whether the contents of a picture are as we wrote them. suffix: '.svg', or else PNG."""
    if suffix == ".svg":
        mark = len(_svg_mark(b""))
        return data == _marked_svg(data[:-mark])
    mark = len(_png_mark(b"")) + len(_PNG_END)
    return data == _marked_png(data[:-mark] + _PNG_END)
