"""The files of the languages, and the code that asks them for words."""

from __future__ import annotations

import ast
import re
import string
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from report_samples import rich_result

import annotate
import fingering_db
from annotate.language import Words, languages, words
from annotate.place import Place
from annotate.report import text
from annotate.score import Part
from fingering_db.message import Message
from fingering_db.pitch import Pitch

BREAKS_AN_IMPORTER = set('\\{$#"%')
SOURCES = [
    path
    for package in (annotate, fingering_db)
    for path in sorted(Path(str(package.__file__)).parent.rglob("*.py"))
]  # fmt: skip
DATA = {"number", "pitch", "join"}
"""Tables that are no words but how words are made."""
ENGLISH = words("en")
READ = ("en", "de", "fr", "it")
"""Languages of which it is told here what they say; others may be added."""
FINDINGS = tomllib.loads(SOURCES[0].with_name("findings.toml").read_text(encoding="utf-8"))


def fields(template: str) -> set[tuple[str, str]]:
    """(name, what stands after its colon) of everything to be filled in."""
    return {(name, form or "") for _, name, form, _ in string.Formatter().parse(template) if name}


def entries(lexicon: Words) -> dict[str, list[str]]:
    """Every entry as its templates: one, two for a pair, several for a list."""
    found = {}
    for table, named in lexicon.tables.items():
        for name, entry in named.items():
            if table not in DATA:
                forms = list(entry.values()) if isinstance(entry, dict) else entry
                found[f"{table}.{name}"] = forms if isinstance(forms, list) else [forms]
    return found


def names_of(lexicon: Words, key: str) -> set[str]:
    return {name for template in entries(lexicon)[key] for name, _ in fields(template)}


def sample(name: str, form: str, number: int) -> object:
    """A value that may stand there."""
    if form in ("chord", "bare"):
        pitch = Pitch("B", -1, 4)
        return (pitch, Pitch("C", 1, 6)) if form == "chord" else pitch
    if form in ENGLISH.tables["join"]:
        return (Message("place.bar_beat", bar="7", beat="1"), "12")
    return number if name == "n" or form else "x"


@pytest.mark.parametrize("language", languages())
def test_tables_parsed_one_by_one_are_those_of_the_whole_file(language):
    whole = tomllib.loads(SOURCES[0].with_name("languages").joinpath(f"{language}.toml").read_text(encoding="utf-8"))
    assert {name: words(language).tables[name] for name in whole} == whole


@pytest.mark.parametrize("language", languages())
def test_every_language_has_every_key_in_the_same_order(language):
    assert list(entries(words(language))) == list(entries(ENGLISH))


@pytest.mark.parametrize("language", languages())
def test_every_language_fills_in_the_same_values_in_the_same_form(language):
    other = entries(words(language))
    for key, templates in entries(ENGLISH).items():
        asked = set().union(*map(fields, templates))
        told = set().union(*map(fields, other[key]))
        # "1 place" may or may not say its number with {n}.
        assert told - {("n", "")} == asked - {("n", "")}, key
        assert isinstance(words(language)._entry(key), type(ENGLISH._entry(key))), key


@pytest.mark.parametrize("language", languages())
def test_every_entry_can_be_said_of_one_and_of_many(language):
    lexicon = words(language)
    for key, templates in entries(lexicon).items():
        if isinstance(lexicon._entry(key), list):
            continue
        for number in (1, 2):
            values = {name: sample(name, form, number) for one in templates for name, form in fields(one)}
            text = lexicon.text(key, **({"n": number} | values))
            assert text.strip() and "{" not in text and "  " not in text.strip(), key


@pytest.mark.parametrize("language", languages())
def test_words_for_the_score_hold_no_character_that_breaks_an_importer(language):
    for key, templates in entries(words(language)).items():
        if key.startswith(("note.", "legend.")):
            for template in templates:
                assert not BREAKS_AN_IMPORTER & set(re.sub(r"\{\w+\}", "", template)), key


def keys_of(node: ast.expr) -> list[str]:
    """The keys that an expression may stand for: a text, one of two; none for others."""
    if isinstance(node, ast.IfExp):
        return keys_of(node.body) + keys_of(node.orelse)
    return [node.value] if isinstance(node, ast.Constant) and isinstance(node.value, str) else []


def asked_for() -> list[tuple[str, str, set[str]]]:
    """(where, key, names of the values) of every Message(..), words.text(..) and .say(..) with a key that stands there."""
    found = []
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            if called in ("Message", "text", "say", "count") and all(k.arg for k in node.keywords):
                names = {str(keyword.arg) for keyword in node.keywords}
                names |= {"n"} if called == "count" else set()
                found += [(f"{path.name}:{node.lineno}", key, names) for key in keys_of(node.args[0]) if "." in key]
            names = {str(keyword.arg) for keyword in node.keywords}
            if called in ("of", "_remark", "_finding", "finding_at") and not names & {"message", "None"}:
                codes = [code for code in keys_of(node.args[0]) if code in FINDINGS]
                found += [(f"{path.name}:{node.lineno}", FINDINGS[code][1], names - {"advice"}) for code in codes]
    return found


def test_every_key_that_the_code_asks_for_is_there_with_the_values_that_the_code_gives():
    asked = asked_for()
    assert len(asked) > 50
    for where, key, names in asked:
        assert key in entries(ENGLISH), (where, key)
        wanted = names_of(ENGLISH, key)
        paired = isinstance(ENGLISH._entry(key), dict)
        assert wanted <= names, (where, key)
        assert names - ({"n"} if paired else set()) <= wanted, (where, key)


def test_no_key_is_in_the_file_without_being_used():
    code = "\n".join(path.read_text(encoding="utf-8") for path in SOURCES)
    code += "".join(f'"{key}"' for row in FINDINGS.values() for key in row)
    # Keys made from a status, a kind, a sign, .. : "table.{x}" or "table.start_{x}"
    made = tuple(re.findall(r"""f["'](\w+\.\w*)\{""", code))
    for key in entries(ENGLISH):
        used = (
            f'"{key}"' in code
            or f"'{key}'" in code
            or (made and key.startswith(made))
            or key.split(".")[1] in ("heading", "lines", "not_begun")  # the last is read as bytes, before anything else
        )
        assert used, key


@pytest.mark.parametrize("language", languages())
def test_every_code_of_a_finding_is_explained_in_whole_sentences(language):
    explained = words(language).tables["explain"]
    code = "\n".join(path.read_text(encoding="utf-8") for path in SOURCES if "fingering_db" not in path.parts)
    fingers = {"R1", "R2", "R3", "R4"}
    assert set(re.findall(r'"([RPHGF]\d{1,3})"', code)) - fingers == set(explained) == set(FINDINGS)
    assert {row[0] for row in FINDINGS.values()} == {"error", "warning", "info"}
    assert all(text.endswith(".") and len(text) > 40 for text in explained.values())


def test_a_language_that_is_not_there_is_not_looked_for_elsewhere():
    for language in ("xx", "../en"):
        with pytest.raises(KeyError):
            words(language)


def test_note_names_are_those_of_the_language():
    names = ["C##5", "Bbb4", "A4", "F#6", "Eb5", "B3", "Bb4"]
    said = {language: [words(language).pitch(Pitch.parse(name)) for name in names] for language in READ}
    assert said == {
        "en": ["C♯♯5", "B♭♭4", "A4", "F♯6", "E♭5", "B3", "B♭4"],
        "de": ["Cisis5", "Heses4", "A4", "Fis6", "Es5", "H3", "B4"],
        "fr": ["do♯♯5", "si♭♭4", "la4", "fa♯6", "mi♭5", "si3", "si♭4"],
        "it": ["do♯♯5", "si♭♭4", "la4", "fa♯6", "mi♭5", "si3", "si♭4"],
    }


def test_numbers_carry_the_signs_of_the_language():
    told = {language: words(language).value(34560.5, ",.1f") for language in READ}
    assert told == {"en": "34,560.5", "de": "34.560,5", "fr": "34\u00a0560,5", "it": "34.560,5"}


def test_less_than_a_cent_is_said_so_and_one_is_no_plural():
    said = [words("en").number(value, form) for form in ("cents", "within") for value in (0.2, 1.4, 29.6)]
    assert said == ["less than 1 cent", "1 cent", "30 cents", "1 cent", "1 cent", "30 cents"]


def test_a_report_in_another_language_has_no_english_sentence_and_the_same_fingerings():
    english = text.render(rich_result())
    for language in ("de", "fr", "it"):
        other = text.render(rich_result(), language=language)
        for key in ("findings.heading", "signs.heading", "cautions.heading", "report.margin"):
            assert ENGLISH.text(key) not in other
        assert all(len(line) <= 80 for line in other.splitlines())
        assert english.count("T 2 3 | Eb") == other.count("T 2 3 | Eb")


def test_values_are_said_by_their_kind():
    lexicon = words("en")
    assert lexicon.value(Fraction(5, 2)) == "2.5"
    assert lexicon.value(34560, ",") == "34,560"
    assert lexicon.value((Pitch.parse("C5"), Pitch.parse("D6+50")), "chord") == "C5 & D6+50"
    assert lexicon.value(("1", "2", "3"), "and") == "1, 2 and 3"
    assert lexicon.value(Place("Flute", "P1", "12", Fraction(5, 2))) == "Flute, bar 12, beat 2.5"


def test_a_part_without_a_name_is_called_so_in_every_language():
    place = Place("Part 3", "P3", "7", Fraction(2), number=3)
    told = {language: words(language).place(place) for language in READ}
    assert told == {
        "en": "Part 3, bar 7, beat 2",
        "de": "Stimme 3, Takt 7, Zeit 2",
        "fr": "partie 3, mes. 7, temps 2",
        "it": "parte 3, batt. 7, mov. 2",
    }
    unnamed, named = Part("P3", 3, "", ""), Part("P1", 1, "Flute", "Fl.")
    assert unnamed.whole == Place("Part 3", "P3", number=3) and named.whole == Place("Flute", "P1")
    assert (words("de").say(unnamed.title), words("de").say(named.title)) == ("Stimme 3", "Flute")


def test_messages_one_after_the_other_are_said_as_sentences():
    one, two = Message("glide.speed", speed=30.4), Message("glide.weakest", confidence=0.5)
    assert one + None is one
    assert ENGLISH.say(one + two + one) == (
        "That is 30 mm a second. Its weakest point has confidence 0.5. That is 30 mm a second."
    )


ENGLISH_KEPT = {
    "annotate/catalogue/page.py": "the style of the page and its policy, for browsers",
    "annotate/report/answers_json.py": "names of fields",
    "annotate/report/json_report.py": "names of fields; JSON is the same in all languages",
    "fingering_db/evidence.py": "figures for those who work on the model",
    "fingering_db/family.py": "figures for those who make the flutes' files",
    "fingering_db/fitting.py": "figures for those who make the flutes' files",
    "fingering_db/neighbours.py": "errors for those who call it",
    "annotate/usage.py": "what click says of a misused option, to tell two cases apart",
    "annotate/console.py": "a reason like those that the system gives",
    "annotate/files/encoding.py": "what Python says of bytes, to tell two cases apart",
    "annotate/ventwise/__init__.py": "errors for those who call it",
    "annotate/drawing/path_picture.py": "SVG",
    "annotate/drawing/picture.py": "SVG, and errors for those who call it",
    "annotate/pack/look.py": "style sheet",
    "annotate/pack/page.py": "the page's content security policy",
    "annotate/files/writing.py": "XML, and errors for those who call it",
    "annotate/detecting/detect.py": "an error for those who call it",
}
"""Modules that hold English sentences, each with the reason."""


def sentences(path: Path) -> list[str]:
    """Texts of a module, docstrings left out, with a blank and at least four words."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    left_out = {
        id(statement.value)
        for node in ast.walk(tree)
        for statement in (node.body if isinstance(getattr(node, "body", None), list) else ())
        if isinstance(statement, ast.Expr)
    }
    parts = [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)]
    left_out |= {id(inner) for node in parts for inner in ast.walk(node) if inner is not node}
    texts = ["".join(p.value if isinstance(p, ast.Constant) else "\0" for p in node.values) for node in parts]
    texts += [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in left_out
    ]
    return [text for text in texts if len(re.findall(r"(?<![\\\w])[A-Za-z]{2,}(?= |[.,:;]|$)", text)) >= 4]


@pytest.mark.parametrize(
    "path", [path for path in SOURCES if "acoustics" not in path.parts], ids=lambda path: path.stem
)
def test_no_sentence_stands_in_a_module_where_no_language_reaches_it(path):
    name = path.relative_to(Path(str(annotate.__file__)).parent.parent).as_posix()
    found = sentences(path)
    assert not found or name in ENGLISH_KEPT, found
    assert found or name not in ENGLISH_KEPT, "nothing is kept there any more"
