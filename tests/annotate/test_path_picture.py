"""The picture of a glissando's path: its curve, what the player moves, and nothing told by colour alone. Paths are invented."""

import re
from dataclasses import replace
from itertools import pairwise

import pytest
from lxml import etree
from report_samples import demand, pitches, place, playable

from annotate.decision import PathPoint, Sound
from annotate.drawing.path_picture import path_svg
from fingering_db.fingering import Fingering
from fingering_db.pitch import Pitch

HANDS = Fingering.parse("T 2 3 | Eb")


def point(t: float, cents: float, slide: float = 0.0, lip: float = 0.0, **opened: float) -> PathPoint:
    """Two sounds, the upper one moving half as far."""
    moved = [pitch.midi + cents * share / 100.0 for pitch, share in zip(pitches("C5 D6"), (1.0, 0.5), strict=True)]
    sounds = tuple(Sound(440.0, Pitch.from_midi(midi), 0.9) for midi in moved)
    shares = tuple((name.removeprefix("key"), share) for name, share in opened.items())
    return PathPoint(t, slide, shares, lip, HANDS, sounds)


def drawn(*path: PathPoint) -> etree._Element:
    asked = replace(demand(1, place("1"), "C5 D6"), to=pitches("B4 C#6"))
    return etree.fromstring(path_svg(playable(asked, fingering=HANDS, path=path)).encode())


def texts(picture: etree._Element) -> list[str]:
    return [str(each.text or "") for each in picture.iterfind("{*}text")]


def lines(picture: etree._Element) -> list[list[tuple[float, float]]]:
    found = [re.findall(r"([\d.]+),([\d.]+)", str(each.get("points"))) for each in picture.iterfind("{*}polyline")]
    return [[(float(x), float(y)) for x, y in one] for one in found]


def test_each_pitch_has_a_curve_that_ends_at_its_name_and_lines_differ_by_dashes() -> None:
    picture = drawn(point(0, 0), point(0.5, -20), point(1, -100))
    lower, upper = lines(picture)
    assert [x for x, _ in lower] == sorted(x for x, _ in lower) and len(lower) == 3
    falls = [[b[1] - a[1] for a, b in pairwise(one)] for one in (lower, upper)]
    assert falls[0] == pytest.approx([2 * fall for fall in falls[1]], abs=0.2) and min(falls[0]) > 0
    assert {"B4", "C♯6", "0", "-100"} <= set(texts(picture))
    dashes = [each.get("stroke-dasharray") for each in picture.iterfind("{*}polyline")]
    assert len(set(dashes)) == 2


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ((point(0, 0, slide=0.0), point(1, -60, slide=12.0)), ["slide", "0 > 12 mm"]),
        ((point(0, 25, lip=25.0), point(1, -25, lip=-25.0)), ["lip", "+25 > -25"]),
        ((point(0, 0, key2=1.0), point(1, -60, key2=0.0)), ["hole 2"]),
    ],
)
def test_what_the_player_moves_stands_below_the_curves(path: tuple[PathPoint, ...], told: list[str]) -> None:
    assert set(told) <= set(texts(drawn(*path)))


def test_all_ink_is_black_grey_or_white() -> None:
    picture = drawn(point(0, 0, key2=1.0), point(1, -60, key2=0.0))
    inks = {str(each.get(name)) for each in picture.iter() for name in ("fill", "stroke") if each.get(name)}
    assert inks <= {"black", "white", "none", "#999", "#bbb"}


def test_everything_lies_on_the_page() -> None:
    picture = drawn(point(0, 40, lip=20.0), point(0.3, 1000, lip=30.0), point(1, -700, lip=-20.0))
    width, height = float(str(picture.get("width"))), float(str(picture.get("height")))
    assert all(0 <= x <= width and 0 <= y <= height for one in lines(picture) for x, y in one)


def test_a_decision_without_a_path_has_no_picture() -> None:
    with pytest.raises(ValueError, match="without a path"):
        path_svg(playable(demand(1, place("1"), "C5 D6")))
