"""Technique words and player counts: what is found in a text, and how long it holds. Texts are invented."""

from dataclasses import replace
from fractions import Fraction

import pytest

from annotate.detecting import words
from annotate.detecting.fingering_text import is_fingering
from annotate.detecting.holding import HoldingWords
from annotate.detecting.sonority import Ties, gather
from annotate.detecting.words import Spans, find_words, word_tables
from annotate.language import languages
from annotate.score import Direction, Event, LineOverStaff, Note, Part
from fingering_db.pitch import Pitch


def told(text: str) -> set[str]:
    return {hit.technique.id for hit in find_words(text)}


def direction(text: str, onset: int, *, staff: int = 1, ours: bool = False, kind: str = "words") -> Direction:
    return Direction(text, Fraction(onset), str(onset + 1), onset, Fraction(1), staff, "1", 10 * onset, 0, ours, kind)


def event(onset: int, *, staff: int = 1, rehearsal: str = "", pitches: tuple[str, ...] = ("C5", "D6")) -> Event:
    start = 1000 * staff + 10 * onset
    written = [Pitch.parse(text) for text in pitches]
    notes = tuple(Note(start + index, start + index + 1, one, one) for index, one in enumerate(written))
    when = Fraction(onset)
    return Event(
        notes, str(onset + 1), onset, Fraction(1), when, Fraction(1), 0.0, 0.0, "1", staff, rehearsal=rehearsal
    )


def part(*directions: Direction, bars: tuple[int, ...] = (), staves: int = 1, rehearsal: str = "") -> Part:
    """Twelve bars of a chord each, on each staff."""
    events = tuple(
        event(onset, rehearsal=rehearsal, staff=staff) for onset in range(12) for staff in range(1, staves + 1)
    )
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


class Held:
    """The words of a part, and where they hold."""

    def __init__(self, of: Part, several: bool = False) -> None:
        sonorities = gather(of.events)
        self._holding = HoldingWords(of, sonorities, Spans(of), Ties(sonorities), several)
        self._at = {(each.first.bar_index, each.first.staff): each for each in sonorities}

    def techniques(self, onset: int, staff: int = 1) -> list[str]:
        return [said.hit.technique.id for said in self._holding.techniques_at(self._at[onset, staff])]

    def players(self, onset: int) -> str:
        said = self._holding.players_at(self._at[onset, 1])
        return said.hit.technique.id if said else ""


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
        assert all(tables[technique][language] for language in ("en", "it", "fr", "de"))


def test_every_word_of_the_vocabulary_is_found_by_its_own_entry() -> None:
    tables = word_tables()
    for table in tables["technique"] + tables["players"]:
        for language in (*languages(), "exact"):
            for word in table.get(language, ()):
                assert table.get("id", table.get("says")) in told(word), word


def test_a_technique_word_holds_until_the_next_technique_word() -> None:
    held = Held(part(direction("mult.", 2), direction("whistle tone", 5)))
    assert [held.techniques(onset) for onset in (1, 2, 4)] == [[], ["multiphonic"], ["multiphonic"]]
    assert held.techniques(5) == ["whistle tone"]


@pytest.mark.parametrize("word", ["ord.", "trem.", "normale", "nat."])
def test_ord_and_trem_end_a_technique_word_and_the_number_of_players_stays(word: str) -> None:
    held = Held(part(direction("1.", 0), direction("mult.", 2), direction(word, 4)))
    assert held.techniques(3) == ["multiphonic"]
    assert held.techniques(4) == []
    assert held.players(6) == "one"


def test_a_double_bar_ends_words_that_stand_before_it_and_not_those_at_it() -> None:
    held = Held(part(direction("mult.", 2), direction("a 2", 2), direction("sing", 4), bars=(4, 8)))
    assert [held.techniques(onset) for onset in (3, 4, 8)] == [["multiphonic"], ["voice"], []]
    assert [held.players(onset) for onset in (3, 4)] == ["several", ""]


def without(music: Part, *onsets: int) -> Part:
    return replace(music, events=tuple(each for each in music.events if each.bar_index not in onsets))


def single(music: Part, *onsets: int) -> Part:
    """The same with a single note instead of the chord."""
    return replace(
        music, events=tuple(event(e.bar_index, pitches=("C5",)) if e.bar_index in onsets else e for e in music.events)
    )


@pytest.mark.parametrize("word", ["mult.", "whistle tone", "sing"])
def test_a_bar_of_rest_ends_a_technique_word(word: str) -> None:
    held = Held(without(part(direction(word, 2)), 4))
    assert held.techniques(3) != []
    assert held.techniques(5) == []


def test_a_single_note_ends_a_word_for_chords() -> None:
    held = Held(single(part(direction("mult.", 2)), 4))
    assert [held.techniques(onset) for onset in (3, 4, 5)] == [["multiphonic"], [], []]


def test_a_word_at_a_single_note_holds_for_that_note_and_for_chords_that_follow() -> None:
    held = Held(single(part(direction("mult.", 2), direction("mult.", 6)), 2, 6, 7))
    assert [held.techniques(onset) for onset in (2, 3, 4)] == [["multiphonic"]] * 3
    assert [held.techniques(onset) for onset in (6, 7, 8)] == [["multiphonic"], [], []]


def test_what_is_slurred_to_a_single_note_with_a_word_is_one_gesture_with_it() -> None:
    music = single(part(direction("mult.", 2)), 2, 3, 4, 5)
    events = list(music.events)
    for onset, role in ((2, "slur_starts"), (4, "slur_stops")):
        events[onset] = replace(events[onset], notes=(replace(events[onset].notes[0], **{role: ("1",)}),))
    held = Held(replace(music, events=tuple(events)))
    assert [held.techniques(onset) for onset in (2, 3, 4, 5)] == [["multiphonic"]] * 3 + [[]]


@pytest.mark.parametrize("word", ["mult. sempre", "multiphonics throughout", "sons multiples toujours"])
def test_sempre_holds_over_single_notes_and_rests_until_ord(word: str) -> None:
    held = Held(without(single(part(direction(word, 2), direction("ord.", 9)), 4, 5), 6, 7))
    assert [held.techniques(onset) for onset in (4, 5, 8, 9)] == [["multiphonic"]] * 3 + [[]]


def test_a_line_holds_a_word_to_its_end_and_no_further() -> None:
    music = single(part(direction("mult.", 2)), 3, 4)
    held = Held(replace(music, lines=(LineOverStaff(Fraction(2), Fraction(5), 1),)))
    assert [held.techniques(onset) for onset in (2, 3, 4, 5)] == [["multiphonic"]] * 3 + [[]]


def test_over_a_grace_note_and_its_main_note_a_word_speaks_of_the_chord_among_them() -> None:
    grace = replace(event(2, pitches=("B5",)), grace=True, duration=Fraction(0))
    grace = replace(grace, notes=(replace(grace.notes[0], start=5),))
    music = part(direction("mult.", 2))
    sonorities = gather((grace, *music.events))
    holding = HoldingWords(music, sonorities, Spans(music), Ties(sonorities), several=False)
    (first, second) = [each for each in sonorities if each.onset == 2]
    assert first.first.grace
    assert holding.techniques_at(first) == ()
    assert len(holding.techniques_at(second)) == 1


@pytest.mark.parametrize("word", ["1.", "solo", "a 2", "II."])
def test_a_bar_of_rest_ends_a_number_of_players(word: str) -> None:
    held = Held(without(part(direction(word, 2)), 4))
    assert held.players(3) != ""
    assert held.players(5) == ""


def test_on_a_staff_of_several_a_chord_ends_one_player() -> None:
    held = Held(single(part(direction("1.", 2)), 2, 3, 5), several=True)
    assert [held.players(onset) for onset in (2, 3, 4, 5)] == ["one", "one", "", ""]


def test_a_glissando_word_does_not_end_the_technique_in_force() -> None:
    held = Held(part(direction("mult.", 2), direction("gliss.", 4)))
    assert held.techniques(5) == ["multiphonic"]


def test_tutti_ends_a_solo_without_telling_of_two_players() -> None:
    music = part(direction("solo", 1), direction("tutti", 3))
    assert [Held(music).players(onset) for onset in (2, 3)] == ["one", ""]
    assert Spans(music).several is None


def test_first_and_second_at_one_moment_are_two_players() -> None:
    assert Held(part(direction("1.", 1), direction("2.", 1))).players(1) == "several"


def test_words_of_one_staff_say_nothing_about_the_other() -> None:
    held = Held(part(direction("mult.", 1, staff=2), staves=2))
    assert held.techniques(3, staff=1) == []
    assert held.techniques(3, staff=2) == ["multiphonic"]


def test_an_earlier_annotation_of_this_program_says_nothing() -> None:
    assert Held(part(direction("mult.", 1, ours=True))).techniques(3) == []


def test_a_rehearsal_mark_is_never_a_technique() -> None:
    assert Held(part(direction("M", 1, kind="rehearsal"))).techniques(3) == []
    assert Held(part(direction("M", 1), rehearsal="M")).techniques(3) == []
    assert Held(part(direction("M", 1))).techniques(3) == ["multiphonic"]


def test_the_letter_m_between_l_and_n_counts_sections() -> None:
    held = Held(part(direction("L", 1), direction("M", 4), direction("N", 8)))
    assert held.techniques(5) == []


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


def test_no_id_of_the_vocabulary_stands_twice() -> None:
    ids = [entry.technique.id for entry in words._entries()]  # the words of the first would be told as the other's
    assert len(ids) == len(set(ids))
