"""What is in a pack: nothing of the score is markup, the order to learn, what is said of a demand, what is drawn."""

from __future__ import annotations

import base64
import html
import io
import json
import re
import shutil
import subprocess
import wave
from dataclasses import replace
from html.parser import HTMLParser
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hostile_score import HOSTILE, LIKE_OURS

from annotate.language import words
from annotate.marking import Style, stands_of
from annotate.pack import fonts, part_pages, sounds
from annotate.pack.entries import Entry, entries, ways
from annotate.pack.figures import blown
from annotate.pack.look import look as the_look
from annotate.pack.markup import data, tag
from annotate.pack.part_pages import _drawn, above
from annotate.pack.speech import seek, where
from annotate.pack.svg_out import Store
from annotate.pack.typeset import pdf, sheets
from annotate.pipeline import Looked
from annotate.report.content import build
from annotate.report.phrases import Page
from fingering_db.mechanism import hole_states

_WORD = r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">'


class Tags(HTMLParser):
    """Elements and their attributes; what a browser would run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.scripts, self.attributes, self.names = 0, set[str](), set[str]()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.add(tag)
        self.scripts += tag == "script"
        self.attributes |= {name for name, _ in attrs}


def test_nothing_of_the_score_is_markup(files: dict[str, bytes]) -> None:
    page = files["index.html"].decode()
    seen = Tags(page)
    assert seen.scripts == 2 and "img" not in seen.names
    assert not {name for name in seen.attributes if name.startswith("on") or name == "style"}
    assert HOSTILE not in page and html.escape(HOSTILE, quote=False) in page
    told = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert told and "<" not in told[1] and json.loads(told[1])["order"]
    assert not re.search(r"""(?:src|href)\s*=\s*["']?(?:https?:)?//""", page)


def test_words_of_the_score_that_look_like_our_own_stay_as_they_are(files: dict[str, bytes]) -> None:
    for name in ("index.html", "pages/part-1-page-1.svg"):
        assert LIKE_OURS in html.unescape(files[name].decode()), name


def test_a_text_that_ends_a_script_stays_a_text() -> None:
    """The control: what is not Html is escaped, whatever it be."""
    assert tag("p", {"title": '"<'}, "</p><script>") == '<p title="&quot;&lt;">&lt;/p&gt;&lt;script&gt;</p>'
    assert "<" not in data({"a": "</script><!--"}) and json.loads(data({"a": "</script><!--"})) == {
        "a": "</script><!--"
    }


def test_files_have_their_names_and_sizes(files: dict[str, bytes]) -> None:
    assert {"index.html", "part.pdf", "practice.pdf", "pages/part-1-page-1.svg"} <= set(files)
    assert len(files["index.html"]) < 5_000_000
    assert files["part.pdf"].startswith(b"%PDF")
    for name, content in files.items():
        if name.endswith(".wav"):
            with wave.open(io.BytesIO(content)) as sound:
                assert sound.getnframes() > 1000


@pytest.fixture(scope="module")
def learned(looked: Looked) -> tuple[Entry, ...]:
    return entries(looked, build(looked.result))


def test_every_demand_is_practised_once_and_what_cannot_be_played_comes_last(
    looked: Looked, learned: tuple[Entry, ...]
) -> None:
    told = [demand for entry in learned for demand in entry.group.ids]
    assert sorted(told) == sorted(one.demand.id for one in looked.result.first_flute())
    ranks = [entry.answers[0].decision.status.rank for entry in learned]
    assert ranks == sorted(ranks) and ranks[-1] == 2
    assert [entry.number for entry in learned] == list(range(1, len(learned) + 1))


def test_a_report_begins_with_what_cannot_be_played(looked: Looked) -> None:
    ranks = [one.answers[0].decision.status.rank for one in entries(looked, build(looked.result), worst_first=True)]
    assert ranks == sorted(ranks, reverse=True)
    assert ranks[0] > ranks[-1]


def test_the_lip_of_an_answer_puts_its_tones_where_the_decision_has_them(learned: tuple[Entry, ...]) -> None:
    for answer in (one for entry in learned for one in entry.answers if one.blown):
        assert answer.blown is not None
        hz = answer.tones[0].sound.hz
        flute = answer.desk.model.flute
        # The whole tube at that frequency alone: bore and lip cancel there.
        states = hole_states(flute.instrument, answer.blown.fingering)[None, :]
        bore = flute.bore_impedance(states, np.array([hz])).imag[0, 0]
        assert answer.blown.lip_m == pytest.approx(-bore / flute.lip_slope(np.array([hz]))[0], abs=2e-5)
        # Two tones, one lip: the second lies in a dip too, where the curve of that lip has one.
        curve = answer.blown.curve
        for tone in answer.tones:
            at = int(np.abs(np.log(curve.hz / tone.sound.hz)).argmin())
            assert curve.level_db[at] < curve.level_db[max(at - 8, 0) : at + 9].max() - 6.0


def test_how_to_blow_for_tones_at_once_is_told_as_in_the_report_and_no_other_air(learned: tuple[Entry, ...]) -> None:
    say, told = words("en"), 0
    for answer in (one for entry in learned for one in entry.answers if len(one.tones) > 1):
        sentences = seek(say, answer)
        if answer.decision.at_once:
            told += sentences[0] == say.say(answer.decision.at_once)
        assert all("m/s" not in one for one in sentences[bool(answer.decision.at_once) :])
    assert told


def test_a_jet_map_knows_the_tones_of_a_plain_note(looked: Looked) -> None:
    """C5 with its standard fingering: slow air sounds it, fast air its octave (another tone), no air nothing."""
    from fingering_db.fingering import Fingering

    desk = looked.desks["open-hole-b"]
    (own,) = blown(desk, [(Fingering.parse("1 | Eb"), 0.0, (523.25,))])
    found = own.jets
    middle = found.sounds[len(found.sounds) // 2]
    assert 1 in middle.tolist()
    speeds = found.speed_m_s
    assert speeds[middle == 1].min() < speeds[middle == -2].max()


def test_words_above_a_note_get_the_room_that_their_letters_take() -> None:
    """By the widths that the bold face of the sheets itself tells."""
    from fontTools.ttLib import TTFont

    for face in fonts._ttf():
        font = TTFont(io.BytesIO(face), lazy=True)
        if font["name"].getDebugName(4) == "Liberation Serif Bold":
            wide, name, em = font["hmtx"], font.getBestCmap(), font["head"].unitsPerEm
            break
    for told in ("mult. gliss. ?", "tr. 2 3 | E♭", "HALF-HOLE +12, -50", "Wie Wäscheleinen im Wind"):
        real = sum(wide[name[ord(letter)]][0] / em if ord(letter) in name else 1.0 for letter in told)
        kept = sum(map(part_pages._width, told))
        assert real <= kept < 1.35 * real, told


def test_a_place_names_its_part_where_there_are_several(looked: Looked) -> None:
    report = build(looked.result)
    place = report.groups[0].demand.place
    told = [where(Page(replace(report, several_parts=one), 80, False, words("en")), place) for one in (False, True)]
    assert told[1] == f"{place.part}, {told[0]}" and place.part not in told[0]


def test_the_hand_goes_from_what_is_held_before(looked: Looked) -> None:
    found = ways(looked)
    second = looked.result.first_flute()[1]
    to = found[second.demand.id].to
    assert to is not None and to.other is not None and to.other.demand.id == looked.result.first_flute()[0].demand.id
    assert to.before != to.after and len(to.moved) >= 1


def test_a_sound_in_the_page_is_that_of_the_file_but_for_its_eight_bits() -> None:
    """Decoded as the page does (ITU-T G.711): nowhere farther off than its own steps, a thirty-second of the size."""
    wanted = 0.5 * np.sin(np.linspace(0.0, 40.0, 500))
    byte = ~np.frombuffer(base64.b64decode(sounds._mulaw(wanted)), dtype=np.uint8).astype(int) & 255
    size = ((((byte & 15) << 3) + 132) << ((byte >> 4) & 7)) - 132
    heard = np.where(byte & 128, -size, size) / 32768
    assert np.all(np.abs(heard - wanted) <= np.abs(wanted) / 30 + 2e-4)


def test_what_the_player_noted_stands_over_the_drawing_in_two_lines_at_most(looked: Looked) -> None:
    (stand, *_) = stands_of(looked.parts[0], looked.result.first_flute(), Style())
    plain, noted = above(stand), above(stand, "left hand low, wait for the hall <to> be quiet, then breathe")
    assert noted.words == ("left hand low, wait", "for the hall <to> be …", *plain.words) and noted.noted == 2
    drawn = _drawn("n", noted, 0.0, 0.0, (100.0, 100.0), Store("m"))
    assert drawn.count("italic") == 2 and "&lt;to&gt;" in drawn
    assert noted.height > plain.height


def _luminance(colour: str) -> float:
    """Relative luminance of sRGB (WCAG 2)."""
    parts = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


@pytest.mark.parametrize("theme", [0, 1])
def test_every_colour_of_text_stands_out_from_every_ground(theme: int) -> None:
    colour = {name: pair[theme] for name, pair in the_look().colour.items()}
    for text in ("ink", "quiet", "tide", "playable", "doubtful", "unplayable"):
        for ground in ("ground", "sheet", "raised"):
            high, low = sorted((_luminance(colour[text]), _luminance(colour[ground])), reverse=True)
            assert (high + 0.05) / (low + 0.05) >= 4.5, (text, ground)
    pair = sorted((_luminance(colour["tide"]), _luminance(colour["on_tide"])), reverse=True)
    assert (pair[0] + 0.05) / (pair[1] + 0.05) >= 4.5


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext (poppler) is not installed")
def test_no_line_of_a_card_that_is_longer_than_a_page_lies_on_another(tmp_path: Path) -> None:
    card = dict.fromkeys(("asked", "kind", "status_word", "places", "seek", "sure", "own", "why"), "")
    lists: dict[str, list[object]] = {name: [] for name in ("held", "tuner", "warnings", "others")}
    moves = [f"From C5: number {n} down, and on to the next one, which comes at once after it" for n in range(70)]
    given = {
        "cards": [{**card, **lists, "number": 1, "status": "playable", "hand": moves}],
        "findings": [],
        "notes": [],
    }
    names = ("title", "heading", "composer", "flute", "summary", "hand", "findings_heading")
    colours = {name: the_look().light(name) for name in ("line", "tide", "playable", "doubtful", "unplayable")}
    texts = {**dict.fromkeys(names, "x"), "tuner": ["a", "b", "c", "d"]}
    (tmp_path / "sheet.pdf").write_bytes(pdf("sheet.typ", {**sheets("a4", "en"), **colours, **texts, **given}, {}))
    told = subprocess.run(
        ["pdftotext", "-bbox", "sheet.pdf", "-"], cwd=tmp_path, capture_output=True, check=True, text=True
    )
    pages = [[tuple(map(float, one)) for one in re.findall(_WORD, page)] for page in told.stdout.split("<page ")[1:]]
    assert len(pages) > 1 and sum(map(len, pages)) > 900
    for page in pages:
        for one, two in combinations(page, 2):
            wide = min(one[2], two[2]) - max(one[0], two[0])
            high = min(one[3], two[3]) - max(one[1], two[1])
            assert wide < 0.5 or high < 4.0, (one, two)
