"""One table of touches: what a key needs to be known everywhere."""

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from annotate.drawing.picture import drawing, svg
from annotate.language import words
from annotate.wording import key_names
from fingering_db.fingering import Fingering
from fingering_db.instrument import DATA
from fingering_db.touches import FINGERS, HELD, TOUCHES

ROOT = Path(__file__).parents[2]
ROW = '\n[[left]]\ntouch = "F"\nfinger = "L4"\neffort = 1.7\ndrawn = "side"\nsign = "F"\nwords = "G#"\n'
LETTER = '\nF = { strokes = "M5.6 0H0V10M0 4.8H4.8", width = 5.6 }\n'
# Where text is read that somebody has typed: the command line, a score, data files, an earlier report.
MAY_READ_FINGERINGS = {
    "annotate/decisions/kept.py",
    "annotate/detecting/fingering_text.py",
    "annotate/model_sound.py",
    "annotate/player/log_command.py",
    "annotate/questions.py",
    "annotate/since.py",
    "annotate/ventwise/__init__.py",
    "fingering_db/alternatives.py",
    "fingering_db/chart.py",
    "fingering_db/evidence.py",
    "fingering_db/fitting.py",
    "fingering_db/log_table.py",
    "fingering_db/played.py",
    "fingering_db/player_log.py",
}


@pytest.fixture
def invented(tmp_path: Path) -> Path:
    """A copy of the program with one more key: one row of the table, the strokes of its sign, and a flute that has it."""
    for package in ("annotate", "fingering_db"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    with (tmp_path / "fingering_db/data/touches.toml").open("a", encoding="utf-8") as table:
        table.write(ROW)
    with (tmp_path / "annotate/drawing/letters.toml").open("a", encoding="utf-8") as letters:
        letters.write(LETTER)
    flute = (DATA / "instruments/open-hole-b.toml").read_text(encoding="utf-8")
    key = '{ touch = "G#", opens = ["G#4side"] },'
    assert flute.count(key) == 1
    # Without fingers that roll off their holes there is a fifth of the fingerings to compute.
    flute = re.sub(r'^ *\{ touch = "\do".*\n', "", flute, flags=re.MULTILINE)
    named = flute.replace("open-hole-b", "one-more-key").replace(
        key, f'{key}\n    {{ touch = "F", opens = ["Dtrill"] }},'
    )
    (tmp_path / "one-more-key.toml").write_text(named, encoding="utf-8")
    return tmp_path


def said(folder: Path, code: str) -> str:
    """What a program prints that runs on the copy."""
    place = os.environ | {"PYTHONPATH": str(folder), "XDG_CACHE_HOME": str(folder / "cache"), "PYTHONUTF8": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, env=place, capture_output=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout.decode()


def test_a_new_key_takes_one_row_of_the_table_and_the_strokes_of_its_sign(invented: Path) -> None:
    code = """
from annotate import questions
from annotate.report import answers_text
from annotate.drawing.diagram import letter_keys, rows
from annotate.drawing.picture import drawing, svg
from annotate.choosing.desks import desk
from annotate.wording import key_names, signed
from fingering_db.fingering import Fingering
from fingering_db.hand import effort_of
held = Fingering.parse("t 1 2 f | eb")
dearer = round(effort_of(held) - effort_of(Fingering.parse("T 1 2 G# | Eb")), 2)
print(held, rows(held), dearer, key_names(letter_keys((held,))), "<path" in svg(drawing(held)), sep="; ")
own = desk("one-more-key.toml")
print(len(own.model.reach.placements))
print(answers_text.render([questions.sounds(own, "T 1 2 F | Eb")]))
print(answers_text.render([questions.find(own, ("C5", "D6"), 40.0, 400)]))
"""
    first, count, *rest = said(invented, code).splitlines()
    assert first == (
        "T 1 2 F | Eb; ('●●○ T F', '○○○ E♭'); 0.2; T thumb; F left little finger; E♭ right little finger; True"
    )
    assert int(count) == 6_480 * 3 // 2  # up, G#, F instead of up, G#
    told = "\n".join(rest)
    assert "T 1 2 F | Eb sounds" in told
    assert " F |" in told.split("T 1 2 F | Eb sounds", 1)[1]  # the search finds fingerings with it


def test_without_the_row_the_flute_is_refused_and_the_keys_of_that_finger_are_named(tmp_path: Path) -> None:
    assert ("L4", "F") not in HELD
    with pytest.raises(ValueError, match="expected T Tb 1 2 3 G#"):
        Fingering.parse("T 1 2 F | Eb")


@pytest.mark.parametrize("touch", TOUCHES, ids=lambda touch: f"{touch.finger} {touch.touch}")
def test_every_touch_can_be_drawn_and_has_a_name_in_every_word_file(touch) -> None:
    held = Fingering(tuple(touch.touch if finger == touch.finger else "" for finger in FINGERS))
    assert "<path" in svg(drawing(held)) or touch.is_circle
    assert touch.is_circle or words().has(f"keys.{touch.words or touch.touch}")
    assert touch.is_circle or key_names([touch]).startswith(touch.sign)


def test_fingerings_are_read_from_text_at_the_edge_alone() -> None:
    found = set()
    for path in [*(ROOT / "annotate").rglob("*.py"), *(ROOT / "fingering_db").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Attribute)
                and node.attr in ("parse", "typed")
                and ast.unparse(node.value) == "Fingering"
            ):
                found.add(path.relative_to(ROOT).as_posix())
    assert found == MAY_READ_FINGERINGS
