"""The pages of a pack by geometry: what we draw above notes runs into nothing, by the boxes that Verovio tells of its signs."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from lxml import etree
from pages import NOTE, OTHER, STAFF, TEXT, Box, _box, _is_staff_line, _of_verovio, _staves, _whole_staves
from PIL import Image
from svg import Matrix, apply, extent, points, walk

from annotate.language import words
from annotate.pack import engraving, part_pages, svg_out
from annotate.pack.look import look as the_look
from annotate.pack.paper import drawn, part_pdf
from annotate.pack.prepare import Prepared, prepared
from annotate.pack.svg_out import Store
from annotate.pipeline import Options, look

ROOT = Path(__file__).parents[2]
PERFORMER = ROOT / "examples/performer/lantern-buoy.musicxml"
OURS = "ours"
_TOUCH = 0.05  # staff spaces

pytest.importorskip("verovio", reason="the Python package verovio is not installed")


@cache
def made(score: Path) -> Prepared:
    return prepared(look(score, Options()))


def boxes(score: Path, patch: pytest.MonkeyPatch, how: Callable[[Prepared], list[etree._Element]]) -> list[Box]:
    """Everything on the pages: Verovio's signs, and our own by the size we drew them in."""
    plain = engraving._options
    patch.setattr(engraving, "_options", lambda sheet: plain(sheet) | {"svgBoundingBoxes": True})
    found: list[Box] = []
    for number, root in enumerate(how(made(score))):
        inner = next(one for one in root.iter("{*}svg") if one.get("viewBox"))
        everything = list(walk(inner))
        lines = [extent([apply(m, p) for p in points(one)]) for one, m in everything if _is_staff_line(one)]
        space = lines[1][1] - lines[0][1]
        found += _whole_staves(_staves(lines, number, space))
        for one, matrix in everything:
            if one.get("class") == "mark":
                found.append(_box(OURS, number, space, extent([apply(matrix, p) for p in points(one)])))
            else:
                found += _of_verovio(one, matrix, number, space)
            if one.get("class", "").startswith("mNum") and one.find("{*}text") is not None:
                found.append(_number(one, matrix, number, space))
    return found


def _number(group: etree._Element, matrix: Matrix, page: int, space: float) -> Box:
    """A number of a bar, a figure at most 0.52 of its size wide, as in Times."""
    text = next(group.iter("{*}text"))
    size, told = (
        float(text.get("font-size", "0").removesuffix("px")),
        "".join(str(each) for each in text.itertext()).strip(),
    )
    x, y = float(text.get("x", "0")), float(text.get("y", "0"))
    corners = [apply(matrix, one) for one in ((x - 0.52 * size * len(told), y - 0.7 * size), (x, y))]
    return _box(TEXT, page, space, extent(corners), told)


def collisions(found: list[Box]) -> list[tuple[Box, Box]]:
    ours = [box for box in found if box.kind == OURS]
    others = [box for box in found if box.kind in (NOTE, OTHER, STAFF, TEXT)]
    pairs = [*combinations(ours, 2), *((one, two) for one in ours for two in others)]
    return [(one, two) for one, two in pairs if min(one.overlap(two)) > _TOUCH]


def on_paper(one: Prepared) -> list[etree._Element]:
    every = (drawn(part, "a4", words("en"), Store("m")) for part in one.parts)
    return [etree.fromstring(page) for own in every for page in own.paper]


def on_a_phone(one: Prepared) -> list[etree._Element]:
    every = (drawn(part, "a4", words("en"), Store("m")) for part in one.parts)
    return [etree.fromstring(page) for own in every for page in own.phone]


DENSE = sorted((ROOT / "tests/programs/dense").glob("*.musicxml"))
SCORES = [
    pytest.param(PERFORMER, id=PERFORMER.stem),
    *(pytest.param(one, id=one.stem, marks=pytest.mark.slow) for one in DENSE),
]


@pytest.mark.parametrize("how", [on_paper, on_a_phone])
@pytest.mark.parametrize("score", SCORES)
def test_nothing_that_is_drawn_runs_into_anything(
    score: Path, how: Callable[[Prepared], list[etree._Element]], monkeypatch: pytest.MonkeyPatch
) -> None:
    found = boxes(score, monkeypatch, how)
    assert sum(box.kind == OURS for box in found) > 10
    assert sum(box.kind == NOTE for box in found) > 50
    assert collisions(found) == []


def test_without_room_kept_they_would_collide(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control that must fail."""
    monkeypatch.setattr(part_pages.Above, "height", property(lambda self: 0.1))
    found = boxes(PERFORMER, monkeypatch, on_paper)
    tall = the_look().printed.diagram / the_look().printed.staff * 4.0
    grown = [Box(OURS, one.page, one.x0, one.y0, one.x1, one.y0 + tall) if one.kind == OURS else one for one in found]
    assert len(collisions(grown)) > 5


def test_a_drawing_stands_over_the_middle_of_its_notehead(monkeypatch: pytest.MonkeyPatch) -> None:
    for page in on_paper(made(PERFORMER)):
        groups = {one.get("id"): one for one in page.iter("{*}g")}
        rooms = [one for one in page.iter("{*}g") if one.get("class") == "vw-room"]
        assert len(rooms) > 10
        for room in rooms:
            mark = next(one for one in room if one.get("class") == "mark")
            middle = float(mark.get("x", "0")) + float(mark.get("width", "0")) / 2.0
            head = next(groups[room.get("data-note")].iter("{*}use"))
            at = (
                float(head.get("transform", "").split("(")[1].split(",")[0])
                if head.get("transform")
                else float(head.get("x", "0"))
            )
            assert 0.0 < middle - at < 2.0 * the_look().printed.staff / 4.0 * 100.0


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="pdftoppm (poppler) is not installed")
def test_on_the_sheet_ink_stands_where_the_drawings_do_and_nowhere_before_the_music(tmp_path: Path) -> None:
    """The PDF as a picture: every drawing has black in it, most of what lies between its shapes is white."""
    one = made(PERFORMER)
    store = Store("m")
    pages_drawn = [
        [svg_out.on_paper(page, store) for page in drawn(part, "a4", words("en"), store).paper] for part in one.parts
    ]
    path = tmp_path / "part.pdf"
    path.write_bytes(part_pdf(list(zip(one.parts, pages_drawn, strict=True)), "a4", one.title, one.composer, one.words))
    subprocess.run(["pdftoppm", "-r", "100", "-gray", str(path), str(tmp_path / "page")], check=True)
    pictures = [np.asarray(Image.open(picture)) < 128 for picture in sorted(tmp_path.glob("page*.pgm"))]
    tree = [etree.fromstring(page) for svgs in pages_drawn for page in svgs]
    assert len(pictures) == len(tree)
    dots, margin = 100 / 25.4, the_look().printed.margin
    seen = 0
    for picture, page in zip(pictures, tree, strict=True):
        for mark, matrix in walk(next(each for each in page.iter("{*}svg") if each.get("viewBox"))):
            if mark.get("class") == "mark":
                x0, y0, x1, y1 = (
                    round((value / 100.0 + margin) * dots) for value in extent([apply(matrix, p) for p in points(mark)])
                )
                ink = picture[y0:y1, x0:x1].mean()
                assert 0.01 < ink < 0.7
                seen += 1
    assert seen > 20
    left = round(margin * dots)
    assert not pictures[0][:, : left - 2].any()


def test_a_narrow_screen_shows_the_notes_and_drawings_of_the_paper() -> None:
    one = made(PERFORMER)
    names = [
        sorted(
            each.get("id") or each.get("data-note", "")
            for page in how(one)
            for each in page.iter("{*}g")
            if _counts(each)
        )
        for how in (on_paper, on_a_phone)
    ]
    assert names[0] == names[1] and len(names[0]) > 100


def _counts(group: etree._Element) -> bool:
    return group.get("class") in ("note", "vw-room")
