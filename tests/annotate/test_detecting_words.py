"""Technique words and player counts: what is found in a text, and how long it holds. Texts are invented."""

from __future__ import annotations

from fractions import Fraction

import pytest

from annotate.detecting.fingering_text import is_fingering
from annotate.detecting.words import LANGUAGES, Spans, find_words, word_tables
from annotate.score import Direction, Event, Note, Part
from fingering_db.pitch import Pitch


def told(text: str) -> set[str]:
    return {hit.technique.id for hit in find_words(text)}


def direction(text: str, onset: int, *, staff: int = 1, ours: bool = False, kind: str = "words") -> Direction:
    return Direction(text, Fraction(onset), str(onset + 1), onset, Fraction(1), staff, "1", 10 * onset, 0, ours, kind)


def event(onset: int, *, staff: int = 1, rehearsal: str = "") -> Event:
    pitch = Pitch.parse("C5")
    note = Note(1000 + onset, 1001 + onset, pitch, pitch)
    when = Fraction(onset)
    return Event(
        (note,),
        str(onset + 1),
        onset,
        Fraction(1),
        when,
        Fraction(1),
        0.0,
        0.0,
        "1",
        staff,
        rehearsal=rehearsal,
    )


def part(*directions: Direction, bars: tuple[int, ...] = (), staves: int = 1, rehearsal: str = "") -> Part:
    events = tuple(event(onset, rehearsal=rehearsal) for onset in range(12))
    return Part(
        "P1",
        1,
        "Flute",
        "",
        events=events,
        directions=directions,
        double_bars=tuple(Fraction(bar) for bar in bars),
        staves=staves,
    )


def in_force(spans: Spans, onset: int, staff: int = 1) -> list[str]:
    return [said.hit.technique.id for said in spans.techniques_at(event(onset, staff=staff))]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("mult.", {"multiphonic"}),
        ("Multifonico", {"multiphonic"}),
        ("bicordo (lontano)", {"multiphonic"}),
        ("son multiple", {"multiphonic"}),
        ("son  multiple", {"multiphonic"}),
        ("MEHRKLANG", {"multiphonic"}),
        ("Mehrkla\u0308nge", {"multiphonic"}),
        ("M", {"multiphonic"}),
        ("mult. + flz.", {"multiphonic", "flutter-tongue"}),
        ("sing", {"voice"}),
        ("con la voce", {"voice"}),
        ("chanter et jouer", {"voice"}),
        ("port.", {"portamento"}),
        ("chrom. gliss.", {"glissando", "chromatic run"}),
        ("W.T.", {"whistle tone"}),
        ("T. R.", {"tongue ram"}),
        ("ord.", {"ordinary"}),
        ("a 2", {"several"}),
        ("a2", {"several"}),
        ("a 2.", {"several"}),
        ("zu 2", {"several"}),
        ("div.", {"several"}),
        ("1.", {"one"}),
        ("1 solo", {"one"}),
        ("2. Solo", {"one"}),
        ("tutti", {"all"}),
    ],
)
def test_a_word_is_found_in_every_usual_spelling(text: str, expected: set[str]) -> None:
    assert told(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "single",
        "singing tone like a bell",
        "sotto voce",
        "mezza voce",
        "colla voce",
        "Tempo primo",
        "port de mer",
        "mp",
        "m",
        "o",
        "A",
        "dim.",
        "Andante",
        "a 24",
        "a 2/4",
        "1",
        "multiply",
        "soloist",
        "harmonious",
        "Menuetto da capo",
        "1st time only",
    ],
)
def test_a_text_that_only_looks_like_a_technique_tells_nothing(text: str) -> None:
    assert told(text) == set()


def test_every_language_has_words_for_a_multiphonic_a_voice_and_the_ordinary_tone() -> None:
    tables = {table["id"]: table for table in word_tables()["technique"]}
    for technique in ("multiphonic", "voice", "ordinary"):
        assert all(tables[technique][language] for language in LANGUAGES)


def test_every_word_of_the_vocabulary_is_found_by_its_own_entry() -> None:
    tables = word_tables()
    for table in tables["technique"] + tables["players"]:
        for language in (*LANGUAGES, "exact"):
            for word in table.get(language, ()):
                assert table.get("id", table.get("says")) in told(word), word


def test_a_technique_word_holds_until_the_next_technique_word() -> None:
    spans = Spans(part(direction("mult.", 2), direction("whistle tone", 5)))
    assert in_force(spans, 1) == []
    assert in_force(spans, 2) == ["multiphonic"]
    assert in_force(spans, 4) == ["multiphonic"]
    assert in_force(spans, 5) == ["whistle tone"]


def test_ord_ends_a_technique_word_and_the_number_of_players_stays() -> None:
    spans = Spans(part(direction("1.", 0), direction("mult.", 2), direction("ord.", 4)))
    assert in_force(spans, 3) == ["multiphonic"]
    assert in_force(spans, 4) == []
    players = spans.players_at(event(6))
    assert players is not None
    assert players.hit.word == "1."


def test_a_double_bar_ends_words_that_stand_before_it_and_not_those_at_it() -> None:
    spans = Spans(part(direction("mult.", 2), direction("a 2", 2), direction("sing", 4), bars=(4, 8)))
    assert in_force(spans, 3) == ["multiphonic"]
    assert in_force(spans, 4) == ["voice"]
    assert in_force(spans, 8) == []
    assert spans.players_at(event(3)) is not None
    assert spans.players_at(event(4)) is None


def test_a_glissando_word_does_not_end_the_technique_in_force() -> None:
    spans = Spans(part(direction("mult.", 2), direction("gliss.", 4)))
    assert in_force(spans, 5) == ["multiphonic"]


def test_tutti_ends_a_solo_without_telling_of_two_players() -> None:
    spans = Spans(part(direction("solo", 1), direction("tutti", 3)))
    assert spans.players_at(event(2)) is not None
    assert spans.players_at(event(3)) is None
    assert spans.several_anywhere() is None


def test_first_and_second_at_one_moment_are_two_players() -> None:
    spans = Spans(part(direction("1.", 1), direction("2.", 1)))
    players = spans.players_at(event(1))
    assert players is not None
    assert players.hit.technique.id == "several"


def test_words_of_one_staff_say_nothing_about_the_other() -> None:
    spans = Spans(part(direction("mult.", 1, staff=2), staves=2))
    assert in_force(spans, 3, staff=1) == []
    assert in_force(spans, 3, staff=2) == ["multiphonic"]


def test_an_earlier_annotation_of_this_program_says_nothing() -> None:
    assert in_force(Spans(part(direction("mult.", 1, ours=True))), 3) == []


def test_a_rehearsal_mark_is_never_a_technique() -> None:
    assert in_force(Spans(part(direction("M", 1, kind="rehearsal"))), 3) == []
    assert in_force(Spans(part(direction("M", 1), rehearsal="M")), 3) == []
    assert in_force(Spans(part(direction("M", 1))), 3) == ["multiphonic"]


def test_the_letter_m_between_l_and_n_counts_sections() -> None:
    spans = Spans(part(direction("L", 1), direction("M", 4), direction("N", 8)))
    assert in_force(spans, 5) == []


@pytest.mark.parametrize(
    "rows",
    [
        ["T 2 3 | Eb"],
        ["T 1 2 3 | 1 2 3 C#"],
        ["1 2ov | tr1"],
        ["●○●|○○●"],
        ["● ● ○", "● ○ ○"],
        ["Eb", "3", "2", "1", "T"],
        ["T 2 3 Eb"],
    ],
)
def test_circles_fingers_and_keys_are_a_fingering(rows: list[str]) -> None:
    assert is_fingering(rows)


@pytest.mark.parametrize("rows", [[], ["1"], ["2 3"], ["C"], ["A", "B"], ["4/4"], ["mult."], ["○"], ["a 2"], ["|"]])
def test_digits_letters_and_single_signs_are_no_fingering(rows: list[str]) -> None:
    assert not is_fingering(rows)
