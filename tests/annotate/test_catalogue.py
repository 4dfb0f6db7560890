"""The catalogue of a small flute: against trying its fingerings one by one, and what is made of it."""

import csv
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path

import msgspec
import music21
import numpy as np
import pytest
from lxml import etree

from annotate.catalogue import dyad_map, make, tables
from annotate.choosing.desk import Desk
from annotate.files.stripping import strip
from annotate.findings import InputError
from annotate.language import languages, words
from annotate.pack import folder as folders
from fingering_db.catalogue import Batch, batches, best_of_cells
from fingering_db.instrument import Instrument, load
from fingering_db.model import Model, model, sound_of
from fingering_db.pitch import Pitch
from fingering_db.ranking import answers, candidates

SAY = words()
EVERY = (0.0, float("inf"))


def small(name: str, keys: dict[str, tuple[str, ...]], title: str = "small <b>flute</b> & co") -> Instrument:
    """The default flute with few touches left."""
    flute = load(name)
    fingers = tuple(
        msgspec.structs.replace(
            finger, placements=tuple(one for one in finger.placements if one.touch in keys.get(finger.name, ()))
        )
        for finger in flute.fingers
    )
    return msgspec.structs.replace(flute, name=title, title=title, fingers=tuple(f for f in fingers if f.placements))


KEYS = {"thumb": ("T",), "L1": ("1",), "L2": ("2", "2o"), "L3": ("3", "3o"), "R1": ("1",), "R2": ("2",), "R4": ("Eb",)}


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Model]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield model(small("open-hole-b", KEYS))
        model.cache_clear()


@pytest.fixture(scope="module")
def made(own: Model) -> dict[str, bytes]:
    return make.catalogue([Desk("small <b>", own, 440.0)], EVERY, SAY)[0]


def test_what_a_search_is_sure_of_is_in_the_catalogue_and_about_as_sure(own: Model) -> None:
    pairs = [batch for batch in batches(own) if batch.cells.shape[1] == 2]
    listed = {
        (sound, *cell) for batch in pairs for sound, cell in zip(batch.sounds.tolist(), _cells(batch), strict=True)
    }
    assert len(listed) > 20
    rng = np.random.default_rng(3)
    for at in rng.choice(len(pairs[0].sounds), 8, replace=False):
        hz = pairs[0].hz[at]
        pitches = tuple(Pitch.from_hz(one) for one in hz.tolist())
        found = answers(own, pitches, 10.0)
        there = np.flatnonzero(found.rows == pairs[0].sounds[at])
        assert float(found.confidence[there[0]]) == pytest.approx(float(pairs[0].confidence[at]), abs=0.05)
        # Whatever else the search is sure of there, with nothing between that is expected to sound, is listed too.
        for one in candidates(own, found, np.flatnonzero(found.confidence > 0.6)):
            between = [each for each in one.sounds if hz[0] * 1.02 < each.hz < hz[1] / 1.02 and each.strength > 0.4]
            if not one.one_note and not between:
                sound = int(sound_of(own, one.fingering))
                assert any(near[0] == sound and abs(near[1] - cell_of(hz)) <= 1 for near in listed)


def _cells(batch: Batch) -> list[tuple[int, ...]]:
    return [tuple(cell) for cell in batch.cells.tolist()]


def cell_of(hz: np.ndarray) -> int:
    return int(np.round(24.0 * np.log2(hz[0] / 440.0)))


def test_the_easiest_of_a_cell_is_no_worse_than_any_other_of_it(own: Model) -> None:
    ease: dict[tuple[int, ...], float] = {}
    counts: dict[tuple[int, ...], int] = {}
    for batch in batches(own):
        for cell, value in zip(map(tuple, batch.cells.tolist()), batch.ease.tolist(), strict=True):
            ease[cell] = max(ease.get(cell, 0.0), value)
            counts[cell] = counts.get(cell, 0) + 1
    best = best_of_cells(own, batches(own))
    assert {one.cell: one.ease for one in best} == ease
    assert {one.cell: one.sounds for one in best} == counts
    assert [one.cell for one in best] == sorted(ease, key=lambda cell: (len(cell), cell))


def test_bounds_keep_notes_out(own: Model) -> None:
    low, high = make.bounds("A4", "C6", 440.0)
    for batch in batches(own, between_hz=(low, high)):
        assert (batch.hz >= low).all() and (batch.hz <= high).all()
    with pytest.raises(InputError, match="the lower pitch first"):
        make.bounds("C6", "A4", 440.0)
    with pytest.raises(InputError, match="is not a pitch"):
        make.bounds("H4", None, 440.0)


def test_the_score_reads_in_music21_with_a_bar_for_each_dyad_and_loses_its_diagrams_again(
    own: Model, made: dict[str, bytes], tmp_path: Path
) -> None:
    (name,) = [name for name in made if name.endswith(".musicxml")]
    path = tmp_path / name
    path.write_bytes(made[name])
    chords = music21.converter.parse(path).recurse().getElementsByClass(music21.chord.Chord)
    dyads = [one for one in best_of_cells(own, batches(own)) if len(one.cell) == 2]
    read = sorted((chord.pitches[0].ps, chord.pitches[1].ps) for chord in chords)
    assert read == sorted((69 + one.cell[0] / 2, 69 + sum(one.cell) / 2) for one in dyads)
    assert strip(made[name]) != made[name] and b"\xe2\x97\x8f" in made[name]


def test_tables_and_json_tell_the_same(own: Model, made: dict[str, bytes]) -> None:
    stem = "small-b-"
    best = best_of_cells(own, batches(own))
    data = json.loads(made[f"{stem}.json".replace("-.", ".")])
    assert [one["fingering"] for one in data["multiphonics"]] == [str(one.fingering) for one in best]
    every = list(csv.DictReader(io.StringIO(made["small-b-all.csv"].decode())))
    assert len(every) == data["sets_found"] == sum(len(batch.sounds) for batch in batches(own))
    rows = list(csv.DictReader(io.StringIO(made["small-b-dyads.csv"].decode())))
    assert len(rows) == sum(len(one.cell) == 2 for one in best)
    picture = etree.fromstring(made["small-b-dyads.svg"])
    titles = picture.findall(".//{*}rect/{*}title")
    assert len(titles) == len(rows)


def test_the_page_is_whole_in_itself_and_takes_no_name_for_markup(made: dict[str, bytes]) -> None:
    page = made[make.INDEX].decode()
    assert "<script" not in page
    assert "<b>" not in page and "small &lt;b&gt;" in page
    assert not re.search(r'(?:src|href)="(?!data:|#|[\w.-]+")', page)
    (policy,) = etree.fromstring(page.split("\n", 1)[1], etree.HTMLParser()).xpath("//meta[@http-equiv]/@content")
    assert policy.startswith("default-src 'none'; img-src data:; style-src 'sha256-")


@pytest.fixture(scope="module")
def both(own: Model) -> tuple[tables.Dyads, tables.Dyads]:
    more = model(small("open-hole-b", KEYS | {"R3": ("3", "3o")}, "more"))
    return tables.dyads(best_of_cells(own, batches(own))), tables.dyads(best_of_cells(more, batches(more)))


def test_two_flutes_give_the_table_of_what_the_second_adds(both: tuple[tables.Dyads, tables.Dyads]) -> None:
    first, second = both
    kinds = tables.difference(first, second)
    assert set(kinds) == {*first, *second}
    assert all((kind == tables.ONLY_SECOND) == (cell not in first) for cell, kind in kinds.items())
    # Every fingering of the first is one of the second; what may be lost is what is only just sure enough.
    assert list(kinds.values()).count(tables.ONLY_SECOND) > 5 * list(kinds.values()).count(tables.ONLY_FIRST)
    rows = list(csv.reader(io.StringIO(tables.difference_table(first, second, ("a", "b")).decode())))
    assert len(rows) == len(kinds) + 1


@pytest.mark.parametrize("language", languages())
def test_the_map_of_a_difference_speaks_every_language(language: str, both: tuple[tables.Dyads, tables.Dyads]) -> None:
    picture = etree.fromstring(dyad_map.difference_map(*both, ("a & b", "c"), words(language)))
    told = "".join(picture.itertext())
    assert "a & b" in told and words(language).text("catalogue.axes") in told


def test_files_of_others_are_left_alone(made: dict[str, bytes], tmp_path: Path) -> None:
    folders.write(tmp_path / "new", made)
    folders.write(tmp_path / "new", made)
    assert {path.name for path in (tmp_path / "new").iterdir()} == {*made, folders.LIST}
    (tmp_path / "new" / make.INDEX).write_text("mine")
    with pytest.raises(InputError):
        folders.write(tmp_path / "new", made)
    assert (tmp_path / "new" / make.INDEX).read_text() == "mine"
