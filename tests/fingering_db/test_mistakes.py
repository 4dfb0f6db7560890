"""What is wrong with a flute file is told in full, line by line; and the page that explains these files holds."""

import itertools
import random
import re
import tomllib
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from annotate import instruments
from annotate.choosing.desks import desk
from annotate.findings import InputError
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import DATA, Instrument, InstrumentError, decode, load
from fingering_db.mechanism import OPEN, SHUT, VENT, chart_of, hole_states, reach
from fingering_db.message import in_english
from fingering_db.mistakes import mistakes
from fingering_db.model import model
from fingering_db.pitch import Pitch
from fingering_db.ranking import answers, sounds
from fingering_db.tuning import chart_deviations, out_of_tune

TEXT = (DATA / "instruments" / "open-hole-b.toml").read_text(encoding="utf-8")
PAGE = (DATA / "YOUR-FLUTE.md").read_text(encoding="utf-8")

# What to replace in the file of the default flute, and what the line about it must hold.
ONE_BY_ONE = [
    ("bore_mm = 19.0", 'bore_mm = "wide"', ["body.bore_mm", '"wide"', "a number"]),
    ("end_mm = 636.3", "end_mm = 63.63", ["hole", "position_mm", "open end"]),
    ("a4_hz = 440.0", "a4_hz = 44.0", ["a4_hz = 44", "380 to 500"]),
    ("temperature_c = 25.0", "temperature_c = nan", ["temperature_c = nan", "finite"]),
    ("taper_mm = 134.0", "", ["head.taper_mm is missing", "a number"]),
    ("stopper_mm = 17.0", "stopper_mm = 17.0\nstoper_mm = 3", ["head.stoper_mm = 3", "no such key", "stopper_mm"]),
    ('name = "C5"\n', 'name = "C#5"\n', ["hole 'C#5' stands 2 times"]),
    ("position_mm = 271.5", "position_mm = 300.0", ["hole 'B4'", "position_mm", "300"]),
    ("diameter_mm = 12.6", "diameter_mm = 22.6", ["hole 'C5'", "diameter_mm = 22.6", "19"]),
    ('rest = "shut"', 'rest = "closed"', ["D#trill", '"closed"', '"open" or "shut"']),
    ("perforation_mm = 6.75", "perforation_mm = 16.75", ["hole 'A#4'", "perforation_mm = 16.75", "13.4"]),
    ('name = "L4"', 'name = "L5"', ['name = "L5"', "L4"]),
    ('touch = "Eb"', 'touch = "Es"', ["finger 'R4'", '"Es"', "Eb"]),
    ('touch = "Bb"', 'touch = "1"', ["finger 'R1', touch '1' stands 2 times"]),
    ('shuts = ["C#5"]', 'shuts = ["H5"]', ["finger 'L1'", "touch '1'", "'H5'", "C#5"]),
    ('opens = ["D#4"]', 'opens = ["D4"]', ["touch 'Eb'", "'D4' is open at rest"]),
    ('uncovers = ["F4"]', 'uncovers = ["G4"]', ["touch '2o'", "'G4' has no perforation", "perforation_mm"]),
    ('uncovers = ["F4"]', 'uncovers = ["E4"]', ["touch '2o'", "does not hold", "'E4'"]),
    ('uncovers = ["F4"]', 'uncovers = "F4"', ["touch '2o'", '"F4"', "a list"]),
    (', uncovers = ["F4"]', "", ["touch '2o'", "uncovers", "perforation is open"]),
    ('touch = "2o", shuts = ["G4", "F4"]', 'touch = "2", shuts = ["G4", "F4"]', ["touch '2'"]),
    ('chart = "flute"', 'chart = "../flute"', ["chart", '"../flute"', "c-foot"]),
    ('family = "flute"', 'family = "fife"', ["family", '"fife"', "piccolo"]),
    ('name = "open-hole-b"', 'name = " "', ["name", "expected a name"]),
    ('name = "A#4"', 'name = "A♯4"', ["hole 'A♯4'", '"A♯4"', "A#4"]),
    (', shuts = ["D4"] }', " }", ["finger 'R4', touch 'C#'", "moves nothing", "shuts or opens"]),
    ('family = "flute"', 'family = "alto"', ["transposition_semitones = 0", '"alto"', "-5"]),
    ("end_mm = 636.3", "end_mm = 636,3", ["line 17", "`end_mm = 636,3`", "decimals with a point"]),
    ('name = "open-hole-b"', "name = “open-hole-b”", ["line 2", "straight quotes"]),
    ("bore_mm = 19.0", "bore_mm = 0.748", ["body.bore_mm = 0.748", "4 to 80"]),
    ("diameter_mm = 7.0", "diameter_mm = -7.0", ["hole 'C#5'", "diameter_mm = -7", "expected 0.5 to"]),
]  # fmt: skip


def lines(text: str) -> tuple[str, ...]:
    with pytest.raises(InstrumentError) as caught:
        decode(text, "mine.toml")
    return tuple(map(in_english, caught.value.mistakes))


@pytest.mark.parametrize(("old", "new", "expected"), ONE_BY_ONE, ids=[f"{new or old}" for old, new, _ in ONE_BY_ONE])
def test_a_mistake_is_told_by_file_place_value_and_what_was_expected(old: str, new: str, expected: list[str]) -> None:
    assert old in TEXT
    found = lines(TEXT.replace(old, new, 1))
    assert all(line.startswith("flute file 'mine.toml': ") and "\n" not in line for line in found)
    assert any(all(word in line for word in expected) for line in found), found


def test_all_mistakes_are_told_at_once_each_on_its_line() -> None:
    text = TEXT
    chosen = [ONE_BY_ONE[at] for at in (2, 4, 5, 8, 9, 10, 11, 12, 14, 21, 22)]
    for old, new, _ in chosen:
        text = text.replace(old, new, 1)
    found = lines(text)
    for _, _, expected in chosen:
        assert sum(all(word in line for word in expected) for line in found) == 1, (expected, found)
    assert len(found) == len(chosen)


def test_text_that_is_no_toml_is_one_line_with_the_place() -> None:
    (line,) = lines("name = \nx")
    assert "line 1" in line


def test_one_line_names_the_first_mistake_and_counts_the_others() -> None:
    with pytest.raises(InstrumentError, match=r"a4_hz = 1.*\(and 1 more: see flute check\)"):
        decode(TEXT.replace("a4_hz = 440.0", "a4_hz = 1").replace('family = "flute"', 'family = "x"'), "mine.toml")


def test_shipped_flutes_have_no_mistakes() -> None:
    assert mistakes(tomllib.loads(TEXT), Instrument) == []


def leaves(value: Any, path: tuple[Any, ...] = ()) -> Any:
    yield path
    if isinstance(value, dict | list):
        for key, one in value.items() if isinstance(value, dict) else enumerate(value):
            yield from leaves(one, (*path, key))


def replaced(value: Any, path: tuple[Any, ...], new: Any) -> Any:
    if not path:
        return new
    changed = value.copy()
    changed[path[0]] = replaced(value[path[0]], path[1:], new)
    return changed


def test_whatever_stands_in_a_file_gives_a_flute_or_lines_and_never_another_error() -> None:
    raw = tomllib.loads(TEXT)
    odd = ["x", "", -1, 0, 1e300, float("inf"), True, [], {}, [1], [{}], {"name": 3}, [["C5"]]]
    every = [path for path in leaves(raw) if path]
    assert len(every) > 150
    every = random.Random(5).sample(every, 40)  # all of them take a minute or two
    refused = 0
    for path, value in itertools.product(every, odd):
        changed = replaced(raw, path, value)
        found = mistakes(changed, Instrument)
        refused += bool(found)
        assert all("\n" not in in_english(line) for line in found)
        if not found:
            assert isinstance(msgspec.convert(changed, Instrument), Instrument)
    assert refused > 0.8 * len(every) * len(odd)


def test_too_many_fingerings_are_refused_before_they_are_built() -> None:
    touches = ", ".join(f'{{ touch = "{n}" }}' for n in range(40))
    found = lines(TEXT + f'\n[[fingers]]\nname = "L9"\nplacements = [{touches}]\n')
    assert any("1,416,960 fingerings" in line and "1,000,000" in line for line in found)


def test_a_lever_that_is_missing_takes_its_chart_notes_with_it_and_nothing_else() -> None:
    without = TEXT.replace('    { touch = "tr1", opens = ["Dtrill"] },\n', "")
    flute = decode(without, "mine.toml")
    notes = {str(note.pitch) for note in chart_of(load("open-hole-b"))} - {str(note.pitch) for note in chart_of(flute)}
    assert notes == {"A#6"}
    assert len(chart_deviations(model(flute))) == len(chart_of(flute))


def test_a_flute_that_can_hardly_play_its_chart_is_told() -> None:
    (line,) = lines(TEXT.replace('    { touch = "T", shuts = ["C5"] },\n', ""))
    assert "chart" in line and "C4" in line


def test_a_bore_and_a_taper_that_silence_a_standard_fingering_are_told_in_one_line(tmp_path: Path) -> None:
    """Found by search: a body 74 mm wide behind a head of 5 mm leaves a fingering of the chart without any resonance."""
    text = (DATA / "instruments/closed-hole-c.toml").read_text("utf-8")
    for key, value in (("bore_mm = 19.0", "bore_mm = 73.64"), ("taper_mm = 134.0", "taper_mm = 112.1")):
        text = text.replace(key, value)
    file = tmp_path / "wide.toml"
    file.write_text(text.replace("bore_at_embouchure_mm = 17.0", "bore_at_embouchure_mm = 4.956"), encoding="utf-8")
    for ask in (instruments.verdict, instruments.description, desk):
        with pytest.raises(InputError, match="has no resonance at all: expected a bore that sounds") as refused:
            ask(str(file))
        assert "\n" not in str(refused.value)


def test_a_flute_that_is_far_too_long_is_refused_in_one_line_and_one_a_little_flat_is_not(tmp_path: Path) -> None:
    file = tmp_path / "long.toml"
    file.write_text(TEXT.replace("at_c4_mm = ", "at_c4_mm = 1"), encoding="utf-8")
    with pytest.raises(
        InputError, match="standard fingerings sound within 60 cents of their notes: expected 8 at least"
    ):
        instruments.verdict(str(file))
    assert out_of_tune(load("open-hole-b")) is None


def test_one_slip_of_a_unit_is_one_line() -> None:
    for old, new in (
        ("bore_mm = 19.0", "bore_mm = 0.748"),
        ("end_mm = 636.3", "end_mm = 0.6363"),
        ("_mm = 7.0", "_mm = -7.0"),
    ):
        assert len(lines(TEXT.replace(old, new, 1))) == 1, new


BLOCKS = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)


@pytest.fixture(scope="module")
def ada() -> Instrument:
    return decode(BLOCKS[-1], "YOUR-FLUTE.md")


def test_the_worked_example_has_the_fingerings_that_the_page_says(ada: Instrument) -> None:
    assert f"{len(reach(ada).placements):,} fingerings are left" in PAGE
    assert len(reach(ada).placements) == 3 * 2 * 3 * 2 * 2 * 3 * 4 * 4 * 6


def test_the_worked_example_has_gizmo_plug_and_split_e(ada: Instrument) -> None:
    index = {hole.name: column for column, hole in enumerate(ada.holes)}
    plain = hole_states(ada, Fingering.parse("T 1 2 | 1 Eb"))
    split = hole_states(ada, Fingering.parse("T 1 2 | 1 2 Eb"))
    assert (plain[index["G#4"]], split[index["G#4"]]) == (0, SHUT)
    gizmo = hole_states(ada, Fingering.parse("| gz"))
    assert [gizmo[index[name]] for name in ("D4", "C#4", "C4")] == [0, 0, SHUT]
    for text in ("3o |", "| Bb"):
        with pytest.raises(FingeringError):
            hole_states(ada, Fingering.parse(text))


def test_the_split_e_of_the_worked_example_makes_e6_surer(ada: Instrument) -> None:
    # Common practice: what a split E is for.
    def strength(flute: Instrument) -> float:
        heard = sounds(model(flute), Fingering.parse("T 1 2 | 1 2 Eb"))
        return min(heard, key=lambda sound: abs(sound.hz - Pitch.parse("E6").hz())).strength

    assert strength(ada) > strength(load("open-hole-b")) + 0.1


def changed_by(title: str) -> Instrument:
    """The default flute with the lines that stand on the page under a title in their places."""
    (block,) = re.findall(rf"\*\*{title}.*?```toml\n(.*?)```", PAGE, re.DOTALL)
    raw, new = tomllib.loads(TEXT), tomllib.loads(block)
    for table in ("holes", "fingers"):
        by_name = {one["name"]: one for one in new.pop(table, ())}
        assert set(by_name) <= {one["name"] for one in raw[table]}
        raw[table] = [by_name.get(one["name"], one) for one in raw[table]]
    raw |= new
    assert mistakes(raw, Instrument) == []
    return msgspec.convert(raw, Instrument)


def proposed(flute: Instrument, chord: tuple[Pitch, ...], spared: frozenset[str]) -> set[Fingering]:
    """The easiest fingering of every sound that answers, of those that use none of the touches spared: they are looked at in a
    moment."""
    fingers = tuple(
        msgspec.structs.replace(one, placements=tuple(way for way in one.placements if way.touch not in spared))
        for one in flute.fingers
    )
    few = model(msgspec.structs.replace(flute, fingers=fingers))
    return {few.reach.fingering(int(few.easiest[row])) for row in answers(few, chord, 30.0).rows}


SPARED = frozenset({"Tb", "1o", "2o", "tr1", "tr2", "C#", "C", "B"})


def refuses(flute: Instrument, text: str) -> bool:
    try:
        hole_states(flute, Fingering.parse(text))
    except FingeringError:
        return True
    return False


LIMITS = [  # title on the page, a touch that the flute lacks, pitches that the default flute plays with it, fingerings left
    ("Plugged perforations", "3o |", "A4 G#5", 34_560 * 2 // 3),
    ("A lever that is not there", "| Bb", "A#4", 34_560 * 3 // 4),
]


@pytest.mark.parametrize(("title", "lacks", "chord", "left"), LIMITS, ids=[title for title, *_ in LIMITS])
def test_what_a_player_cannot_do_is_never_proposed(title: str, lacks: str, chord: str, left: int) -> None:
    flute, touch = changed_by(title), lacks.replace("|", "").strip()
    finger = next(n for n, one in enumerate(Fingering.parse(lacks).touches) if one)
    assert refuses(flute, lacks) and not refuses(load("open-hole-b"), lacks)
    assert len(reach(flute).placements) == left
    asked = tuple(map(Pitch.parse, chord.split()))
    with_it, without = (
        {one.touches[finger] for one in proposed(of, asked, SPARED)} for of in (load("open-hole-b"), flute)
    )
    assert touch in with_it
    assert without and touch not in without


def test_a_gizmo_is_proposed_only_where_there_is_one() -> None:
    gizmo, plain = changed_by("A gizmo"), load("open-hole-b")
    assert refuses(plain, "| gz") and not refuses(gizmo, "| gz")
    assert len(reach(gizmo).placements) == 34_560 * 6 // 5
    heard = sounds(model(gizmo), Fingering.parse("T 1 2 3 | 1 2 3 gz"))
    # The lowest two sound as with the gizmo up: where a touch is idle the fingering without it is the one proposed.
    asked = tuple(Pitch.from_hz(sound.hz) for sound in heard[2:4])
    found = {of: proposed(of, asked, SPARED - {"B"}) for of in (gizmo, plain)}
    assert any("gz" in one.touches for one in found[gizmo])
    assert found[plain] and not any("gz" in one.touches for one in found[plain])


def test_the_other_lines_of_the_page_do_what_they_say() -> None:
    split, vents, slide = changed_by("Split E"), changed_by("Vents"), changed_by("A telescoping head joint")
    index = {hole.name: column for column, hole in enumerate(split.holes)}
    states = hole_states(split, Fingering.parse("T 1 2 | 1 2 Eb"))
    assert states[index["G#4"]] == SHUT and states[index["A4"]] == OPEN
    assert hole_states(vents, Fingering.parse("Tv |"))[index["C5"]] == VENT
    assert slide.slide is not None and slide.slide.travel_mm == 45.0


def test_every_block_of_the_page_is_looked_at_by_a_test() -> None:
    assert len(BLOCKS) == 7  # six changes and the worked example


def test_a_flute_that_is_flat_throughout_says_where_to_look(tmp_path: Path) -> None:
    file = tmp_path / "flat.toml"
    file.write_text(TEXT.replace("a4_hz = 440.0", "a4_hz = 445.0").replace('"open-hole-b"', '"flat"'), encoding="utf-8")
    cents = np.mean([row.cents for row in chart_deviations(model(load(str(file)))) if row.judged])
    told = instruments.verdict(str(file))
    assert cents == pytest.approx(-1200 * np.log2(445 / 440), abs=6)
    assert f"on average {abs(cents):.0f} flat" in told and "at_c4_mm" in told
    assert "in-sample" not in instruments.description(str(file))
    assert "in-sample" in instruments.description("open-hole-b")
