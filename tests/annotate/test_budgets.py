"""What would take memory or time without proportion is refused, each limit in one line that names it."""

import io
import zipfile
from pathlib import Path

import pytest

from annotate.files import encoding
from annotate.files.container import load
from annotate.files.stripping import strip
from annotate.findings import InputError
from annotate.pipeline import Options, annotate, look, strip_file
from annotate.reading import tree
from fingering_db.instrument import DATA, InstrumentError, decode
from fingering_db.toml_size import too_nested

NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
UPPER = NOTE.replace("<note>", "<note><chord/>").replace(">5<", ">6<").replace(">C<", ">D<")
PLAIN = (DATA / "instruments/open-hole-b.toml").read_text(encoding="utf-8")


def score(music: str, head: str = "", listed: str = "") -> bytes:
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n{head}<score-partwise version="3.1"><part-list><score-part id="P1">'
        f'<part-name>Flute</part-name></score-part>{listed}</part-list><part id="P1"><measure number="1"><attributes>'
        f"<divisions>1</divisions></attributes>{music}</measure></part></score-partwise>\n"
    ).encode()


def words(*texts: str) -> str:
    inner = "".join(f"<words>{text}</words>" for text in texts)
    return f"<direction><direction-type>{inner}</direction-type></direction>"


SCORES = {
    "attributes by default": (
        score(NOTE * 30, head=f'<!DOCTYPE score-partwise [<!ATTLIST note zz CDATA "{"x" * 100_000}">]>'),
        "<note> attributes of more than 1000 characters",
    ),
    "many attributes by default": (
        score(
            NOTE,
            head="<!DOCTYPE score-partwise [" + "".join(f'<!ATTLIST note a{n} CDATA "xx">' for n in range(999)) + "]>",
        ),
        "<note> attributes of more than 1000 characters",
    ),
    "attributes that grow with the notes": (
        score(NOTE * 3000, head=f'<!DOCTYPE score-partwise [<!ATTLIST note zz CDATA "{"x" * 900}">]>'),
        "what the DOCTYPE of the score declares grows",
    ),
    "a long word": (score(words("x" * 10_001) + NOTE), "Flute, bar 1: a direction of more than 10,000 characters"),
    "words without end": (score(words(*["a"] * 5_001) + NOTE), "a direction of more than 10,000 characters"),
    "a bar of elements": (score("<a/>" * 20_001), "more than 20,000 elements and attributes in one bar"),
    "a bar of attributes": (
        score(("<a " + " ".join(f"a{n}=''" for n in range(1_000)) + "/>") * 21),
        "more than 20,000 elements and attributes in one bar",
    ),
    "a list of parts": (
        score(NOTE, listed="".join(f'<score-part id="Q{n}"/>' for n in range(2_001))),
        "more than 2,000 parts",
    ),
}


@pytest.mark.parametrize("kind", SCORES)
def test_a_score_that_would_grow_is_refused(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if kind.startswith("a bar"):
        assert tree.MAX_ELEMENTS_IN_BAR == 400_000
        monkeypatch.setattr(tree, "MAX_ELEMENTS_IN_BAR", 20_000)  # of a size that takes a moment
    path = tmp_path / "a.musicxml"
    content, told = SCORES[kind]
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        look(path, Options())
    assert told in str(caught.value) and "\n" not in str(caught.value)
    if "by default" in kind:
        with pytest.raises(InputError, match="by default"):
            strip(content)


@pytest.mark.parametrize("token", ["<!--{}-->", "<a b='{}'/>", "<?x {}?>", "<words>{}</words>", "<![CDATA[{}]]>"])
def test_one_huge_token_is_refused_before_it_is_read(token: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(encoding, "MOST_TOKEN", 1 << 20)
    with pytest.raises(InputError, match="more than 1 MB from byte"):
        strip(score(NOTE + token.format("x" * (3 << 20))))
    assert strip(score(NOTE + token.format("x" * 900_000)))


def test_the_list_of_contents_of_an_archive_is_short(tmp_path: Path) -> None:
    out = io.BytesIO()
    listed = '<container><rootfiles><rootfile full-path="s.xml"/></rootfiles>' + "<a/>" * 200_000 + "</container>"
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("META-INF/container.xml", listed)
        made.writestr("s.xml", score(NOTE))
    path = tmp_path / "a.mxl"
    path.write_bytes(out.getvalue())
    with pytest.raises(InputError, match=r"container\.xml inside is larger than 64 kB"):
        load(path)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (".".join("a" * 32_000) + " = 1", "more than 8 dots near line 1"),
        ("\n\n" + '"a".' * 20_000 + "a = 1", "more than 8 dots near line 3"),
        ("a = " + "[" * 30_000, "more than 8 brackets"),
        ("a = " + "{a = " * 30_000, "more than 8 brackets"),
        ("a = 0x" + "f" * 200_000, "more than 100 signs near line 1"),
        ("a = " + "9" * 5_000, "more than 100 signs near line 1"),
    ],
)
def test_a_flute_file_that_is_nested_without_end_is_refused(text: str, told: str) -> None:
    with pytest.raises(InstrumentError, match=told):
        decode(text, "a.toml")


def test_dots_and_brackets_in_texts_and_comments_do_not_count() -> None:
    dots = "." * 99 + "[" * 99
    for text in (f'a = "{dots}"', f"a = '{dots}'", f'a = """\n{dots}"\\"""{dots}"""', f"a = '''{dots}'''", f"# {dots}"):
        assert too_nested(text) is None
    assert too_nested(PLAIN) is None


@pytest.mark.parametrize("kind", ['"""', "'''", '"', "'", '"""\\"', "#"])
def test_texts_that_do_not_end_are_looked_at_once(kind: str) -> None:
    assert too_nested(kind * 60_000) is None


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("diameter_mm = ", "diameter_mm = 1e-320 # ", "diameter_mm = 9.99989e-321: expected 0.5 to the bore"),
        ("perforation_mm = ", "perforation_mm = 1e-320 # ", "expected 0 (none), or 0.1 to below the hole's diameter"),
    ],
)
def test_a_hole_too_small_for_any_figure_is_a_mistake(old: str, new: str, told: str) -> None:
    with pytest.raises(InstrumentError) as caught:
        decode(PLAIN.replace(old, new, 1), "a.toml")
    assert told in str(caught.value)


def test_a_note_out_of_an_entity_is_told_with_its_line(tmp_path: Path) -> None:
    path, out = tmp_path / "a.musicxml", tmp_path / "out.musicxml"
    path.write_bytes(
        score(words("multiphonic") + "\n&e;&e;", head=f'<!DOCTYPE score-partwise [<!ENTITY e "{NOTE}{UPPER}">]>')
    )
    looked = look(path, Options())
    with pytest.raises(InputError) as caught:
        annotate(looked, out, in_place=False)
    assert str(caught.value).startswith(f"{path}: line 3: a note to be marked comes out of an entity")
    strip_file(path, out, in_place=False)
    assert out.read_bytes() == path.read_bytes()
