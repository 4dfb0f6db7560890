import io
import itertools
import re

import numpy as np
import pytest
import resvg_py
from lxml import etree
from PIL import Image
from test_diagram import FINGERINGS

from annotate.drawing import diagram, picture
from annotate.drawing.picture import FOOT, SIDE, THUMB, TRILL, drawing, size, svg
from fingering_db.fingering import Fingering

SVG = "{http://www.w3.org/2000/svg}"
SCREEN, FINE = 96.0, 600.0


def pixels(text: str, dpi: float = SCREEN) -> np.ndarray:
    """Grey values 0..255 of a picture on white."""
    png = resvg_py.svg_to_bytes(svg_string=text, background="white", skip_system_fonts=True, dpi=dpi)
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)


def circle(touch: str, dpi: float = SCREEN) -> np.ndarray:
    """Pixels of the circle of the second left-hand finger."""
    shown = pixels(svg(drawing(Fingering.parse(f"T 1 {touch} 3 | Eb"))), dpi)
    width = round(11.1 * dpi / 72)
    return shown[: shown.shape[0] // 2, width : 2 * width]


@pytest.mark.parametrize("fingering", FINGERINGS, ids=str)
def test_every_fingering_is_well_formed_svg_of_shapes_alone(fingering):
    root = etree.fromstring(svg(drawing(fingering)).encode())
    names = {etree.QName(one).localname for one in root.iter()}
    assert root.tag == f"{SVG}svg"
    assert names <= {"svg", "title", "g", "path", "circle", "rect"}
    assert root.findtext(f"{SVG}title") == str(fingering)


def test_only_black_and_white_are_used():
    colours = {found for one in FINGERINGS for found in re.findall(r'(?:fill|stroke)="(\w+)"', svg(drawing(one)))}
    assert colours == {"black", "white", "none"}


def test_every_different_fingering_is_a_different_picture():
    # The title tells the fingering anyway: it must not be what differs.
    assert len({re.sub("<title>.*</title>", "", svg(drawing(one))) for one in FINGERINGS}) == len(FINGERINGS)


def test_everything_drawn_lies_inside_the_picture():
    for one in FINGERINGS:
        ink = pixels(svg(drawing(one)))
        assert min(ink[0].min(), ink[-1].min(), ink[:, 0].min()) > 100
        assert ink[:, -1].min() > 60, one


def test_the_same_grid_as_the_rows_of_signs():
    for one in FINGERINGS:
        for row, hand in zip(diagram.rows(one), (drawing(one).left, drawing(one).right), strict=True):
            signs, *letters = row.split()
            assert [sign != diagram.UP for sign in signs] == [circle_.down for circle_ in hand.circles]
            assert [key.letters + "v" * key.vent for key in hand.keys if key.down] == letters


def test_thumb_and_little_finger_are_drawn_white_when_up_and_side_and_trill_keys_only_when_used():
    up = drawing(Fingering.parse("|"))
    assert [(key.shape, key.down) for key in (*up.left.keys, *up.right.keys)] == [(THUMB, False), (FOOT, False)]
    used = drawing(Fingering.parse("Tb G# | Bb tr1 tr2 C#"))
    assert [key.shape for key in (*used.left.keys, *used.right.keys)] == [THUMB, SIDE, SIDE, TRILL, TRILL, FOOT]
    assert all(key.down for key in (*used.left.keys, *used.right.keys))


def test_the_states_of_a_circle_are_apart_at_screen_size():
    states = [circle(touch) for touch in ("", "2", "2o", "2v", "2ov")]
    for one, other in itertools.combinations(states, 2):
        # Of some 113 pixels of a circle at 96 dpi; the nearest pair are vent, and vent with perforation.
        assert np.abs(one - other).sum() / 255 > 6


def test_a_picture_is_some_eight_millimetres_high_and_at_most_four_centimetres_wide():
    for one in FINGERINGS:
        width, height = size(drawing(one))
        assert 20 < height < 26 and 44 < width < 115, one


def test_letters_keep_room_inside_their_key():
    # At 600 dpi: black, and nothing else, in the outermost four rows and columns of a key that is down.
    for touch in ("Eb", "C#", "C", "B", "gz"):
        shown = drawing(Fingering.parse(f"| {touch}"))
        left, right = (round(end * FINE / 72) for end in picture._key_places(shown.right)[0])
        whole = pixels(svg(shown), FINE)
        key = whole[-round(9.9 * FINE / 72) : -round(1.1 * FINE / 72), left:right]
        assert (key > 128).any()
        for edge in (key[:4], key[-4:], key[:, :4], key[:, -4:]):
            assert (edge < 40).all(), touch
