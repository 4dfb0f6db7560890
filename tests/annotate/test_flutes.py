"""Which parts are for flute, told from sound ids and names as real scores write them."""

import pytest

from annotate.findings import InputError
from annotate.reading.flute_parts import choose_part, family_of_name, family_of_sound, find_flute_parts
from annotate.score import Part, ScoreInstrument

NAMES = {
    "flute": [
        "Flute", "FLUTE", "Flutes", "Flute 1", "Flute 1, 2", "Flute (2)", "3 Flutes", "Flute I/II",
        "Flöte", "Flöten",
        "Große Flöte", "Querflöte", "Flûte", "Grande flûte", "Flûtes 1 et 2", "Flauto", "Flauti",
        "Flauto traverso",
        "Flauto I", "Flauta", "Flauta transversal", "Fluit", "Dwarsfluit", "Fløyte", "Flöjt", "Flet",
        "Flétna", "Fuvola",
        "Huilu", "Флейта", "Флейты", "フルート", "フルート 1", "长笛", "長笛", "플루트", "Fl.", "Fl. 1", "Fl 1", "Fl.1",
        "Fl. 1.2",
        "Fls.", "Gr. Fl.", "C Flute", "Flute in C", "Solo Flute", "Concert Flute", "Flute 3 (Piccolo)",
        "Flute/Piccolo", "Flute 2 (doubling piccolo)", "Flute & Alto Flute", "Flute + electronics",
    ],
    "piccolo": [
        "Piccolo", "Piccolo 1", "Picc.", "Picc", "Pic.", "Piccolo Flute", "Flauto piccolo", "Ottavino",
        "Flautín", "Flautim",
        "Kleine Flöte", "Petite flûte", "Pte. Fl.", "Kl. Fl.", "Pikkoloflöte", "Piccoloflöte",
        "Piccolo/Flute 3",
        "Флейта-пикколо", "Пикколо", "ピッコロ", "短笛",
    ],
    "alto": [
        "Alto Flute", "Alto Flute in G", "Flute (alto)", "Altflöte", "Altflöte in G", "Flûte alto",
        "Flûte en sol",
        "Flauto contralto", "Flauto in Sol", "Flauta alta", "Altfluit", "Альтовая флейта", "アルトフルート",
        "Afl.", "A. Fl.", "A.Fl.",
        "Flute in G", "Alto Fl.",
    ],
    "bass": ["Bass Flute", "Bassflöte", "Flûte basse", "Flauto basso", "Flauta baja", "B. Fl.", "Bass Fl.",
    "バスフルート"],
}  # fmt: skip
NOT_OURS = [
    "Recorder", "Alto Recorder", "Blockflöte", "Flauto dolce", "Flauto dritto", "Flûte à bec",
    "Flauta dulce", "Blokfluit",
    "Pan Flute", "Panflöte", "Piccolo Trumpet", "Piccolo Clarinet", "Flügelhorn", "Flugelhorn 1",
    "Violino piccolo",
    "Violin", "Oboe", "Soprano", "Alto", "Bass", "Bass Clarinet", "Alto Saxophone", "Contrabass",
    "Contrabass Flute",
    "Bass Guitar", "", "Influence", "Tin Whistle", "Irish Flute", "G", "1", "Organ Flute Stop", "Cl.", "Ob.",
    "リコーダー", "Klarinette in B", "Basso", "Basso continuo", "Alt",
]  # fmt: skip


@pytest.mark.parametrize(("name", "family"), [(name, family) for family in NAMES for name in NAMES[family]])
def test_a_name_tells_the_family(name: str, family: str) -> None:
    assert family_of_name(name) == family


@pytest.mark.parametrize("name", NOT_OURS)
def test_names_of_other_instruments_are_not_taken_for_flutes(name: str) -> None:
    assert family_of_name(name) == ""


@pytest.mark.parametrize(
    ("sound", "family"),
    [
        ("wind.flutes.flute", "flute"),
        ("wind.flutes.flute.piccolo", "piccolo"),
        ("wind.flutes.piccolo", "piccolo"),
        ("wind.flutes.flute.alto", "alto"),
        ("wind.flutes.flute.bass", "bass"),
        ("wind.flutes.flute.contrabass", ""),
        ("wind.flutes.flute.irish", ""),
        ("wind.flutes.flutes", ""),
        ("wind.flutes.recorder.alto", ""),
        ("wind.flutes.panpipes", ""),
        ("keyboard.piano", ""),
    ],
)
def test_a_sound_id_tells_the_family(sound: str, family: str) -> None:
    assert family_of_sound(sound) == family


def part(number: int = 1, name: str = "", abbreviation: str = "", sound: str = "", **more: object) -> Part:
    instruments = (ScoreInstrument(f"I{number}", "", sound),) if sound else ()
    return Part(f"P{number}", number, name, abbreviation, instruments, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given", "family"),
    [
        (part(name="Oboe", sound="wind.flutes.flute"), "flute"),
        (part(name="Flute", sound="wind.flutes.flute.alto"), "alto"),
        (part(name="Flute", sound="keyboard.piano"), "flute"),
        (part(name="Flute", sound="wind.flutes.recorder"), ""),
        (part(name="", abbreviation="Fl."), "flute"),
        (part(name="Flügelhorn", abbreviation="Fl."), ""),
        (part(name="", abbreviation="Fl.", sound="brass.flugelhorn"), ""),
        (part(name="Soprano"), ""),
        (part(name=""), ""),
        (part(name="1", group="Flöten"), "flute"),
        (part(name="Oboe 1", abbreviation="Ob.", group="Woodwinds"), ""),
    ],
)
def test_sound_then_name_then_abbreviation_decide(given: Part, family: str) -> None:
    found = find_flute_parts([given])
    assert found == (((given, family),) if family else ())


def test_flute_parts_come_in_the_order_of_the_score() -> None:
    parts = [part(1, "Piccolo"), part(2, "Oboe"), part(3, "Flute")]
    assert [(each.number, family) for each, family in find_flute_parts(parts)] == [(1, "piccolo"), (3, "flute")]


PARTS = [
    part(1, "Flute", "Fl."),
    part(2, "2", "Ob."),
    part(3, "Violin"),
    part(4, "Violin", "Vl. 2"),
    part(5, "5 strings"),
]


@pytest.mark.parametrize(
    ("selector", "number"),
    [
        ("Flute", 1),
        ("flute", 1),
        ("P3", 3),
        ("p3", 3),
        ("1", 1),
        ("2", 2),
        ("4", 4),
        ("Vl. 2", 4),
        (" Flute ", 1),
        ("5", 5),
    ],
)
def test_a_part_is_chosen_by_id_name_or_number(selector: str, number: int) -> None:
    assert choose_part(PARTS, selector).number == number


@pytest.mark.parametrize("selector", ["Horn", "0", "6", "-1", "", "P9", "²"])
def test_a_selector_that_matches_nothing_lists_the_parts(selector: str) -> None:
    with pytest.raises(InputError) as caught:
        choose_part(PARTS, selector)
    assert "1 'Flute'; 2 '2'; 3 'Violin'" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_name_that_stands_at_two_parts_asks_for_the_number() -> None:
    with pytest.raises(InputError, match="give the number, 3 or 4"):
        choose_part(PARTS, "Violin")
