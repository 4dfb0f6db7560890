from __future__ import annotations

import re
import string
from dataclasses import replace
from pathlib import Path

import pytest
from report_samples import GLIDE_PATH, demand, pitches, place, playable, unplayable

import annotate
from annotate import wording
from annotate.findings import InputError
from fingering_db.fingering import Fingering

BREAKS_AN_IMPORTER = set('\\{$#"%')
PACKAGE = Path(annotate.__file__).parent
CHORD = demand(1, place("1"), "C5 D6")


def test_a_playable_multiphonic_gets_one_short_word():
    assert wording.technique_notes(playable(CHORD)) == ("mult.",)


def test_doubt_and_impossibility_are_marked():
    assert wording.technique_notes(playable(CHORD, status="doubtful")) == ("mult. (?)",)
    assert wording.technique_notes(unplayable(CHORD)) == ("mult. (!)",)


def test_cents_reach_the_stand_only_beyond_fifteen():
    assert wording.technique_notes(playable(CHORD, deviation_cents=(15.4, -15.0))) == ("mult.",)
    assert wording.technique_notes(playable(CHORD, deviation_cents=(-6.0, 22.3))) == ("mult.", "D6 +22 ct")
    both = playable(CHORD, deviation_cents=(-18.0, 22.3))
    assert wording.technique_notes(both) == ("mult.", "C5 -18, D6 +22 ct")


def test_a_microtone_says_quarter_tone_only_if_it_is_one():
    quarter = demand(1, place("1"), "Bb4+50", kind="microtone")
    third = demand(1, place("1"), "Bb4+33", kind="microtone")
    assert wording.technique_notes(playable(quarter, deviation_cents=(-17.0,))) == ("1/4 tone", "-17 ct")
    assert wording.technique_notes(playable(third, deviation_cents=(1.0,))) == ("microtone",)


def test_a_glissando_says_by_what_it_glides():
    glide = demand(1, place("1"), "C5", kind="glissando", to="B4", continuous=True)
    plain = playable(glide, deviation_cents=())
    slide = replace(plain, path=GLIDE_PATH)
    holes = replace(plain, path=tuple(replace(point, slide_mm=0.0) for point in GLIDE_PATH))
    lip = replace(plain, path=tuple(replace(point, slide_mm=0.0, open=()) for point in GLIDE_PATH))
    found = [wording.technique_notes(one) for one in (plain, slide, holes, lip)]
    assert found == [
        ("gliss.",),
        ("gliss.", "slide 0 > 23 mm", "key 2 > hole open", "lip > down"),
        ("gliss.", "key 2 > hole open", "lip > down"),
        ("gliss.", "key 2 > hole open", "lip > down"),
    ]
    run = playable(replace(glide, continuous=False), deviation_cents=())
    assert wording.technique_notes(run) == ("chrom. gliss.",)


def test_an_ordinary_note_is_silent_when_it_plays():
    note = demand(1, place("1"), "C3", kind="note")
    assert wording.technique_notes(playable(note, deviation_cents=(0.0,))) == ()
    assert wording.technique_notes(unplayable(note)) == ("(!)",)


def test_notes_carry_proper_accidentals_or_plain_letters_and_nothing_that_breaks_an_importer():
    odd = demand(1, place("1"), "C#5+50 Bb5")
    decision = playable(odd, deviation_cents=(20.0, -20.0))
    assert wording.technique_notes(decision) == ("mult.", "C♯5(+50) +20, B♭5 -20 ct")
    plain = wording.technique_notes(decision, ascii_only=True)
    assert plain == ("mult.", "Cs5(+50) +20, Bb5 -20 ct")
    assert not BREAKS_AN_IMPORTER & set("".join(plain))


def test_the_legend_explains_only_the_signs_in_use():
    assert wording.legend([Fingering.parse("T 2 3 | Eb")]) == ("● down", "○ up", "upper row: left hand")
    with_hole = wording.legend([Fingering.parse("T 2o 3 | Eb")])
    assert with_hole == ("● down", "○ up", "◎ down, hole open", "upper row: left hand")
    assert "vent" in "".join(wording.legend([Fingering.parse("1v | 1")]))
    assert wording.legend([]) == ()


def test_the_plain_legend_explains_the_plain_signs():
    assert "  ".join(wording.legend([Fingering.parse("T 2 3 G# | 1o")], ascii_only=True)) == (
        "@ down  - up  o down, hole open  upper row: left hand  s: sharp"
    )


def test_pitches_in_double_accidentals_and_low_octaves_are_written_out():
    names = [wording.pitch_sign(pitch) for pitch in pitches("C##5 Bbb4 A4")]
    assert names == ["C♯♯5", "B♭♭4", "A4"]


def test_cautions_end_on_the_physician_and_tell_that_the_flute_is_a_model():
    text = " ".join(wording.cautions())
    assert "try every fingering on your own instrument before it goes to print" in text
    for topic in ("take breaks", "light-headed", "hurts is wrong", "hearing", "physician"):
        assert topic in text


def test_an_unknown_language_names_those_there_are():
    with pytest.raises(InputError, match=r"language 'xx': expected one of .*en"):
        wording.words("xx")
    with pytest.raises(InputError):
        wording.words("../en")


def _flat(language: str) -> dict[str, str]:
    tables = wording.words(language).tables
    flat = {}
    for table, entries in tables.items():
        for name, entry in entries.items():
            forms = entry.items() if isinstance(entry, dict) else [("", entry)]
            for form, text in forms:
                flat[f"{table}.{name}.{form}"] = " ".join(text) if isinstance(text, list) else text
    return flat


@pytest.mark.parametrize("language", wording.languages())
def test_every_language_has_every_word_with_the_same_names_to_fill_in(language):
    english, other = _flat("en"), _flat(language)
    assert other.keys() == english.keys()

    def names(text: str) -> set[str]:
        return {name for _, name, _, _ in string.Formatter().parse(text) if name}

    for key, text in english.items():
        assert names(other[key]) == names(text), key


@pytest.mark.parametrize("language", wording.languages())
def test_words_for_the_score_hold_no_character_that_breaks_an_importer(language):
    for key, text in _flat(language).items():
        if key.startswith(("note.", "legend.")):
            assert not BREAKS_AN_IMPORTER & set(re.sub(r"\{\w+\}", "", text)), key


def test_no_word_is_in_the_file_without_being_used():
    sources = [PACKAGE / "wording.py", PACKAGE / "report" / "text.py", PACKAGE / "report" / "tables.py"]
    code = "\n".join(source.read_text(encoding="utf-8") for source in sources)
    # Tables whose keys are made from a status, a kind, a sign, .. : their members are known by other tests.
    made = set(re.findall(r"""f["'](\w+)\.\{""", code))
    for table, entries in wording.words().tables.items():
        for name in entries:
            key = f"{table}.{name}"
            assert table in made or f'"{key}"' in code or name in ("heading", "lines"), key
