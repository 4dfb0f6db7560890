import csv
import io
import json
import re
import struct
import unicodedata
import zlib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import etree
from PIL import Image

from annotate.cli import cli
from annotate.decision import Status
from annotate.drawing import picture_files, picture_folder
from annotate.drawing.picture import drawing, size
from annotate.findings import InputError
from annotate.marking import Drawn
from annotate.place import Place
from annotate.score import Part
from fingering_db.fingering import Fingering

COMPOSER = Path(__file__).parents[2] / "examples/composer/low-water.musicxml"
FLUTE, ALTO = Part("P1", 1, "Flute", "Fl."), Part("P2", 2, "Alto Flute", "Afl.")


def drawn(bar: str, beat: str = "1", fingering: str = "T 2 3 | Eb", part: Part = FLUTE, rehearsal: str = "") -> Drawn:
    return Drawn(
        Place(part.name, part.id, bar, Fraction(beat), "1", rehearsal), Fingering.parse(fingering), Status.PLAYABLE
    )


def again(*place: str, **more: object) -> Drawn:
    """A place where the fingering is not drawn again."""
    return replace(drawn(*place, **more), here=False)


def names(*places: Drawn, parts: tuple[Part, ...] = (FLUTE,)) -> list[str]:
    return [name for name in picture_files.files(places, parts) if name.endswith(".svg")]


def table(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"))))


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def place(folder: Path, files: dict[str, bytes]) -> None:
    with picture_folder.placed(folder, files):
        pass


def annotate(tmp_path: Path, *more: object) -> object:
    """Run the command in this process; an InputError comes out as it is."""
    words = ["annotate", str(COMPOSER), "-o", str(tmp_path / "out.musicxml"), *map(str, more)]
    return CliRunner().invoke(cli, words, standalone_mode=False)


def test_names_tell_bar_and_beat_and_sort_as_the_score_goes():
    assert names(drawn("12", "5/2"), drawn("7"), drawn("112a", "4/3")) == [
        "bar-012-beat-2.5.svg", "bar-007-beat-1.svg", "bar-112a-beat-1.33.svg",
    ]  # fmt: skip


def test_names_are_of_safe_characters_and_unique_whatever_the_score_says():
    bars = ("../../x", "X1", "x1", "", "a" * 300, "CON", "12/13", "小節", "12\n")
    found = names(*(drawn(bar) for bar in bars))
    assert len({name.lower() for name in found}) == len(bars)
    assert all(set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789.-") and len(name) < 60 for name in found)


def test_the_same_place_twice_gives_two_names():
    assert names(drawn("3"), drawn("3"), drawn("3")) == [
        "bar-003-beat-1.svg", "bar-003-beat-1-no-2.svg", "bar-003-beat-1-no-3.svg",
    ]  # fmt: skip


def test_with_several_parts_the_name_begins_with_the_part():
    both = (drawn("3"), drawn("3", part=ALTO))
    assert names(*both, parts=(FLUTE, ALTO)) == ["flute-bar-003-beat-1.svg", "alto-flute-bar-003-beat-1.svg"]


def test_parts_of_one_name_or_of_a_name_without_latin_letters_go_by_number():
    parts = (Part("P1", 1, "Flöte", ""), Part("P4", 4, "Flote", ""), Part("P5", 5, "フルート", ""))
    assert names(*(drawn("3", part=part) for part in parts), parts=parts) == [
        "flote-1-bar-003-beat-1.svg", "flote-4-bar-003-beat-1.svg", "part-5-bar-003-beat-1.svg",
    ]  # fmt: skip


def test_the_list_of_places_has_a_row_for_each_picture():
    files = picture_files.files((drawn("12", "5/2", rehearsal="C+3"), drawn("13", fingering="Tb |")), (FLUTE,))
    assert files["places.csv"].decode().splitlines() == [
        '"part","bar","beat","voice","rehearsal","text","status","drawn","svg","png","path"',
        '"Flute","12","2.5","1","C+3","T 2 3 | Eb","playable","here","bar-012-beat-2.5.svg","bar-012-beat-2.5.png",""',
        '"Flute","13","1","1","","Tb |","playable","here","bar-013-beat-1.svg","bar-013-beat-1.png",""',
    ]


def test_a_place_where_nothing_is_drawn_again_is_listed_with_the_picture_of_its_own_part_that_serves_it():
    places = (
        drawn("1"), drawn("2", fingering="Tb |"), again("3"), drawn("4"), again("5"),
        drawn("6", part=ALTO), again("7", part=ALTO), again("8", fingering="Tb |"),
    )  # fmt: skip
    files = picture_files.files(places, (FLUTE, ALTO))
    rows = table(files["places.csv"])
    assert [(row["bar"], row["drawn"], row["svg"]) for row in rows] == [
        ("1", "here", "flute-bar-001-beat-1.svg"),
        ("2", "here", "flute-bar-002-beat-1.svg"),
        ("3", "earlier", "flute-bar-001-beat-1.svg"),
        ("4", "here", "flute-bar-004-beat-1.svg"),
        ("5", "earlier", "flute-bar-004-beat-1.svg"),
        ("6", "here", "alto-flute-bar-006-beat-1.svg"),
        ("7", "earlier", "alto-flute-bar-006-beat-1.svg"),
        ("8", "earlier", "flute-bar-002-beat-1.svg"),
    ]
    assert {row[kind] for row in rows for kind in ("svg", "png")} | {"places.csv"} == set(files)


def test_two_voices_at_one_beat_have_two_pictures_and_the_list_tells_the_voices():
    upper, lower = drawn("12a", "3"), drawn("12a", "3", fingering="Tb |")
    lower = replace(lower, place=replace(lower.place, voice="2"))
    rows = table(picture_files.files((upper, lower), (FLUTE,))["places.csv"])
    assert [(row["voice"], row["svg"]) for row in rows] == [
        ("1", "bar-012a-beat-3.svg"), ("2", "bar-012a-beat-3-no-2.svg"),
    ]  # fmt: skip


def test_every_demand_with_a_fingering_is_listed_whatever_is_drawn_again(tmp_path):
    for diagrams in ("every", "first"):
        annotate(tmp_path, "--pictures", tmp_path / diagrams, "--diagrams", diagrams)
    lists = {name: table((tmp_path / name / "places.csv").read_bytes()) for name in ("every", "first")}
    every, first = ([(row["bar"], row["beat"], row["text"]) for row in rows] for rows in lists.values())
    assert every == first
    earlier = {name: sum(row["drawn"] == "earlier" for row in rows) for name, rows in lists.items()}
    assert earlier["every"] == 0 < earlier["first"]
    for name, rows in lists.items():
        for row in rows:
            assert row["text"] in (tmp_path / name / row["svg"]).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("bar", "name"),
    [("１２", "bar-012-beat-1"), ("١٢b", "bar-012b-beat-1"), ("²", "bar-2-beat-1"), ("五", "bar-unnamed-beat-1")],
)
def test_bar_numbers_in_other_digits_have_plain_names_and_the_second_run_knows_its_folder(bar, name, tmp_path):
    files = picture_files.files((drawn(bar),), (FLUTE,))
    assert set(files) == {f"{name}.svg", f"{name}.png", "places.csv"}
    for _ in range(2):
        place(tmp_path, files)
    assert contents(tmp_path) == files


@pytest.mark.parametrize("sign", "=+-@＝＋－＠")
@pytest.mark.parametrize("before", ["", " ", "x;", "x; ", 'x;"', "x|", "x\t", "x,"])
def test_no_cell_is_a_formula_however_cells_are_parted(before, sign):
    part = Part("P1", 1, f"{before}{sign}cmd|' /C calc'!A0", "")
    (row,) = table(picture_files.files((drawn("1", part=part),), (part,))["places.csv"])
    for cell in re.split(r"[,;|\t]", row["part"]):
        assert cell.strip(' "')[:1] not in set("=+-@＝＋－＠")


def test_a_list_of_places_tells_no_terminal_anything():
    part = Part("P1", 1, "Flute \x9b31m\u202egnorw", "")
    data = picture_files.files((drawn("\x9b1\u202e", part=part, rehearsal="\x1b[2J"),), (part,))["places.csv"]
    text = data.decode()
    assert all(char == "\n" or unicodedata.category(char)[0] != "C" for char in text)


def test_names_from_the_score_are_no_formulas_in_a_spreadsheet():
    part = Part("P1", 1, "=cmd()\nx", "")
    (row,) = table(picture_files.files((drawn("-1", part=part, rehearsal="@A"),), (part,))["places.csv"])
    assert (row["part"], row["bar"], row["rehearsal"]) == ("'=cmd() x", "-1", "'@A")


def test_svg_is_well_formed_and_png_is_the_same_picture_in_print_resolution():
    files = picture_files.files((drawn("1"),), (FLUTE,))
    assert etree.fromstring(files["bar-001-beat-1.svg"]).tag == "{http://www.w3.org/2000/svg}svg"
    shown = Image.open(io.BytesIO(files["bar-001-beat-1.png"]))
    shown.load()
    width, height = size(drawing(Fingering.parse("T 2 3 | Eb")))
    assert shown.size == pytest.approx((width * 600 / 72, height * 600 / 72), abs=1)
    assert shown.info["dpi"] == pytest.approx((600, 600), abs=0.1)


def test_every_chunk_of_a_png_has_its_right_checksum():
    data = picture_files.files((drawn("1"),), (FLUTE,))["bar-001-beat-1.png"]
    at, kinds = 8, []
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        body = data[at + 4 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0] == zlib.crc32(body)
        kinds.append(body[:4])
        at += 12 + length
    assert kinds[:2] == [b"IHDR", b"pHYs"] and kinds[-2:] == [b"tEXt", b"IEND"]


def test_pictures_of_different_states_have_different_pixels():
    fingerings = ("T 2 3 |", "T 2 3 | Eb", "T 2o 3 |", "T 2v 3 |", "T 2ov 3 |", "2 3 |")
    files = picture_files.files([drawn(str(n), fingering=text) for n, text in enumerate(fingerings)], (FLUTE,))
    shown = [Image.open(io.BytesIO(data)).tobytes() for name, data in files.items() if name.endswith(".png")]
    assert len(set(shown)) == len(fingerings)


def test_the_folder_is_made_and_nothing_else_stays_in_it(tmp_path):
    files = picture_files.files((drawn("1"),), (FLUTE,))
    place(tmp_path / "a/b", files)
    assert contents(tmp_path / "a/b") == files


def test_our_earlier_pictures_are_replaced_and_those_not_drawn_any_more_go(tmp_path):
    place(tmp_path, picture_files.files((drawn("1"), drawn("2")), (FLUTE,)))
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    files = picture_files.files((drawn("1", fingering="Tb |"),), (FLUTE,))
    place(tmp_path, files)
    assert contents(tmp_path) == files | {"notes.txt": b"mine"}


@pytest.mark.parametrize("name", ["bar-001-beat-1.svg", "bar-001-beat-1.png", "places.csv"])
@pytest.mark.parametrize("how", ["foreign", "changed", "folder", "link"])
def test_a_file_in_the_way_that_is_not_ours_is_named_and_everything_stays(tmp_path, name, how):
    files = picture_files.files((drawn("1"),), (FLUTE,))
    path = tmp_path / name
    if how == "folder":
        path.mkdir()
    elif how == "link":
        (tmp_path / "elsewhere").write_bytes(files[name])
        path.symlink_to("elsewhere")
    else:
        path.write_bytes(b"mine" if how == "foreign" else files[name].replace(b"b", b"c"))
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError, match=r"is not ours or was changed: expected") as caught:
        place(tmp_path, files)
    assert str(path) in str(caught.value) and "\n" not in str(caught.value)
    assert sorted(tmp_path.iterdir()) == before


def test_a_picture_that_somebody_worked_on_stays_when_it_is_not_drawn_any_more(tmp_path):
    place(tmp_path, picture_files.files((drawn("1"), drawn("2")), (FLUTE,)))
    worked = tmp_path / "bar-002-beat-1.svg"
    worked.write_bytes(worked.read_bytes().replace(b"black", b"navy"))
    place(tmp_path, picture_files.files((drawn("1"),), (FLUTE,)))
    assert worked.exists() and not worked.with_suffix(".png").exists()


def test_a_failure_afterwards_leaves_everything_as_it_was(tmp_path):
    first = picture_files.files((drawn("1"), drawn("2")), (FLUTE,))
    place(tmp_path / "old", first)
    for folder in ("old", "new/er"):
        with (
            pytest.raises(InputError, match="no room"),
            picture_folder.placed(tmp_path / folder, picture_files.files((drawn("1", fingering="Tb |"),), (FLUTE,))),
        ):
            assert (tmp_path / folder / "bar-001-beat-1.svg").exists()
            raise InputError("no room")
    assert contents(tmp_path / "old") == first
    assert [path.name for path in tmp_path.iterdir()] == ["old"]


@pytest.mark.parametrize("failing", ["write_bytes", "rename"])
def test_a_failure_half_way_leaves_everything_as_it_was(tmp_path, monkeypatch, failing):
    first = picture_files.files((drawn("1"), drawn("2"), drawn("3")), (FLUTE,))
    place(tmp_path, first)
    real, calls = getattr(Path, failing), []

    def fails_later(self, *words):
        calls.append(self)
        if len(calls) == 5:
            raise OSError(28, "No space left on device")
        return real(self, *words)

    monkeypatch.setattr(Path, failing, fails_later)
    with pytest.raises(InputError, match="No space left on device"):
        place(tmp_path, picture_files.files((drawn("1", fingering="Tb |"), drawn("2"), drawn("4")), (FLUTE,)))
    monkeypatch.undo()
    assert contents(tmp_path) == first


def test_a_file_where_the_folder_should_be_is_an_error(tmp_path):
    (tmp_path / "x").write_text("mine", encoding="utf-8")
    for folder in (tmp_path / "x", tmp_path / "x/y"):
        with pytest.raises(InputError, match="expected a folder"):
            place(folder, {"places.csv": b""})


# Each diagram has two rows of two circles that a letter never stands for (of its columns the middle ones), or two of three.
@pytest.mark.parametrize(("carrier", "circles_each"), [("column", 2), ("rows", 3)])
def test_the_command_writes_a_picture_for_each_diagram_in_the_score(tmp_path, carrier, circles_each):
    folder = tmp_path / "pictures"
    result = annotate(tmp_path, "--pictures", folder, "--diagrams", "every", "--carrier", carrier)
    assert result.return_value == 1  # something in the piece cannot be played
    rows = table((folder / "places.csv").read_bytes())
    marked = etree.parse(tmp_path / "out.musicxml")
    words = [text.strip("\u2063") for text in marked.xpath("//words/text()") if text.endswith("\u2063")]
    first = [text.split()[0] for text in words if "down" not in text]  # the legend is not of the diagrams
    circles = [text for text in first if set(text) <= set("●○◎◉◐")]
    assert {len(text) for text in circles} == {circles_each}
    assert 2 * len(rows) <= len(circles) <= 4 * len(rows) and rows
    assert circles_each == 2 or len(circles) == 2 * len(rows)
    listed = {row[kind] for row in rows for kind in ("svg", "png", "path") if row[kind]} | {"places.csv"}
    assert {path.name for path in folder.iterdir()} == listed
    assert "bar-004-beat-1-path.svg" in listed
    # What the list says of a place is what the report says of it.
    report = json.loads(CliRunner().invoke(cli, ["check", str(COMPOSER), "--format", "json"]).stdout)
    told = {(one["bar"], one["beat"]): (one["fingering"], one["status"]) for one in report["demands"]}
    for row in rows:
        at = (row["bar"], float(row["beat"]))
        assert at not in told or told[at] == (row["text"], row["status"])
    assert sum((row["bar"], float(row["beat"])) in told for row in rows) >= 6


def test_the_picture_of_a_path_that_is_not_drawn_any_more_goes(tmp_path):
    annotate(tmp_path, "--pictures", tmp_path / "p")
    assert list((tmp_path / "p").glob("*-path.svg"))
    place(tmp_path / "p", picture_files.files((drawn("1"),), (FLUTE,)))
    assert sorted(path.name for path in (tmp_path / "p").iterdir()) == [
        "bar-001-beat-1.png", "bar-001-beat-1.svg", "places.csv",
    ]  # fmt: skip


def test_a_foreign_file_stops_the_command_before_the_score_is_written(tmp_path):
    folder = tmp_path / "pictures"
    folder.mkdir()
    (folder / "places.csv").write_text("mine\n", encoding="utf-8")
    result = annotate(tmp_path, "--pictures", folder)
    assert isinstance(result.exception, InputError) and "places.csv" in str(result.exception)
    assert not (tmp_path / "out.musicxml").exists()
    assert contents(folder) == {"places.csv": b"mine\n"}


def test_pictures_go_when_the_score_cannot_be_written(tmp_path, monkeypatch):
    def fails(*_):
        raise InputError("cannot be written")

    monkeypatch.setattr("annotate.files.placing.Ready.place", fails)
    result = annotate(tmp_path, "--pictures", tmp_path / "pictures")
    assert str(result.exception) == "cannot be written"
    assert list(tmp_path.iterdir()) == []


def test_the_command_run_twice_gives_the_same_files(tmp_path):
    annotate(tmp_path, "--pictures", tmp_path / "p")
    before = contents(tmp_path / "p")
    annotate(tmp_path, "--pictures", tmp_path / "p")
    assert contents(tmp_path / "p") == before
