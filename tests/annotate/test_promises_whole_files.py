"""The promises about the user's file, kept by the whole program on music21's corpus and the test suite beside it.

None of these scores asks a flute for multiphonics, so the first and the last part are taken for flutes and every chord
for a multiphonic, but for the largest files, where a search for every chord of a piano would take an hour. Then most
files get marks (chords, and notes below the flute), and a share of them is demanded here.
"""

import io
import zipfile
from pathlib import Path

import music21
import pytest
from test_promises import schema_errors

from annotate.files.container import load
from annotate.files.stripping import strip
from annotate.findings import InputError
from annotate.marking import Style
from annotate.pipeline import Looked, Options, annotate, look, strip_file
from annotate.reading.read import read_headings

ROOT = Path(music21.__file__).parent
FILES = sorted(
    path
    for folder in (ROOT / "corpus", ROOT / "musicxml" / "lilypondTestSuite")
    for kind in ("mxl", "musicxml", "xml")
    for path in folder.rglob(f"*.{kind}")
)
SAMPLE = [path for path in FILES if path.stem in {
    "bwv1.6", "bwv248.23-2", "layoutTestMore", "nested_tuplet_finale_test", "21a-Chord-Basic", "24d-AfterGrace",
    "32a-Notations", "43b-MultiStaff-DifferentKeys", "72a-TransposingInstruments", "90a-Compressed-MusicXML",
}]  # fmt: skip
CHUNKS = 24
MOST_SEARCHED = 400_000  # bytes
REFUSED: dict[str, str] = {}
"""Files that are refused, and what the refusal says."""


def looked_at(path: Path) -> Looked:
    data = strip(load(path).data)
    count = len(read_headings(data).parts)
    chords = "multiphonic" if len(data) < MOST_SEARCHED else "players"
    return look(path, Options(parts=tuple(dict.fromkeys(("1", str(count)))), chords=chords))


def contents(path: Path) -> list[object]:
    """The bytes of a file, or of each member of an archive with its place, name, date, method and attributes."""
    data = path.read_bytes()
    if not zipfile.is_zipfile(io.BytesIO(data)):
        return [data]
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        told = [(i.orig_filename, i.date_time, i.compress_type, i.external_attr, i.comment) for i in archive.infolist()]
        return [archive.comment, *zip(told, [archive.read(info) for info in archive.infolist()], strict=True)]


def keeps_the_promises(path: Path, folder: Path) -> bool:
    """Annotate, again, again with other options, and strip; whether the file got marks."""
    marked, again, other, direct, bare = (folder / f"{name}{path.suffix}" for name in ("m", "a", "o", "d", "b"))
    try:
        looked = looked_at(path)
    except InputError as error:
        assert REFUSED.get(path.stem, "not refused") in str(error)
        return False
    annotate(looked, marked, in_place=False)
    seen = looked_at(marked)
    annotate(seen, again, in_place=False)
    assert again.read_bytes() == marked.read_bytes()
    # With other options the old marks are replaced: the same comes out as without any marks before.
    annotate(seen, other, in_place=False, style=Style("every", "ascii"))
    annotate(looked, direct, in_place=False, style=Style("every", "ascii"))
    assert contents(other) == contents(direct)
    errors = schema_errors(looked.data)
    for one in (marked, other):
        strip_file(one, bare, in_place=False)
        assert contents(bare) == contents(path)
        assert schema_errors(load(one).data) == errors
    data = load(marked).data
    return strip(data) != data


def test_annotating_once_twice_or_otherwise_and_stripping_keep_the_promises(tmp_path: Path) -> None:
    assert len(SAMPLE) == 10
    assert sum(keeps_the_promises(path, tmp_path) for path in SAMPLE) >= 6


@pytest.mark.slow
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_the_promises_are_kept_on_every_file_most_of_which_get_marks(chunk: int, tmp_path: Path) -> None:
    paths = FILES[chunk::CHUNKS]
    assert len(paths) > 25
    assert sum(keeps_the_promises(path, tmp_path) for path in paths) > 0.6 * len(paths)
