from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

import pytest
from report_samples import demand, pitches, place, playable, rich_result, two_flutes, unplayable

from annotate.decision import Instead, Result, Sound
from annotate.demand import NotJudged
from annotate.findings import Finding
from annotate.output import clean, display_width, needs_ascii, wrap
from annotate.report import text
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.pitch import Pitch

HOSTILE = "Fl\x1b[31möte\u202e\r\n\x9b2J 長い笛の名前 {flutes} %s 🎶 \udce9"
ONE = demand(1, place("12", 2), "C5 D6")


def of(*decisions, **more):
    flutes = tuple(dict.fromkeys(one.flute for one in decisions)) or ("open-hole-b",)
    return Result("invented.musicxml", more.pop("flutes", flutes), decisions, parts_read=("Flute",), **more)


def block(report: str, start: str) -> str:
    """The lines of one demand, joined by single blanks: from the line with `start` to the next empty line."""
    paragraph = next(part for part in report.split("\n\n") if start in part)
    return " ".join(paragraph.split())


def columns(line: str) -> int:
    """Terminal columns of a line, counted without the code under test."""
    shown = [char for char in line if unicodedata.category(char) not in ("Mn", "Me", "Cf")]
    return sum(2 if unicodedata.east_asian_width(char) in ("W", "F") else 1 for char in shown)


def test_the_headline_counts_demands():
    head = text.render(rich_result()).split("\n\n")[:2]
    assert head[0].splitlines() == [
        "invented/duo.musicxml",
        "Flute: open-hole-b, the default (open holes, B foot); another: --flute NAME",
        "Part read: Flute",
    ]
    assert head[1].splitlines()[0] == "6 places judged: 4 playable, 1 doubtful, 1 unplayable"


def test_one_demand_is_told_with_place_fingering_diagram_figures_and_alternatives():
    lines = text.render(rich_result()).splitlines()
    start = next(n for n, line in enumerate(lines) if "bar 12" in line)
    assert lines[start : start + 3] == [
        "  bar 12, beat 2      C5 & D6, multiphonic                        playable",
        "  3 bars after C      T 2 3 | Eb                                  ○●● T",
        "  0:31                C5 -6 ±9, D6 +11 ±12 cents                  ○○○ E♭",
    ]
    told = block("\n".join(lines), "bar 12")
    assert "likely to sound (confidence 0.8)" in told
    assert "or T 2 3 G# | Eb -12, +14 cents (0.7)" in told
    assert "also sounds (with strength): A5+50 (0.5)" in told


def test_at_most_three_alternatives_are_shown():
    report = text.render(of(playable(ONE)))
    assert report.count("  or ") == 3
    assert "or 2 3 | Eb" not in report


def test_equal_demands_are_told_once_with_their_other_bars():
    report = text.render(rich_result())
    assert report.count("C5 & D6, multiphonic") == 1
    assert "also bar 14 (beats 1, 3)" in report


def test_equal_demands_answered_differently_are_told_apart():
    other = playable(demand(2, place("14"), "C5 D6"), fingering="T 2 3 G# | Eb")
    assert text.render(of(playable(ONE), other)).count("C5 & D6, multiphonic") == 2


def test_a_hundred_equal_bars_stay_readable():
    same = [playable(demand(n, place(str(n)), "C5 D6")) for n in range(1, 101)]
    report = text.render(of(*same))
    assert "100 places judged: 100 playable" in report
    assert "also bars 2, 3, 4, 5, 6, 7, 8, 9 and 91 more" in " ".join(report.split())
    assert "also bars 2, 3, 4, 5, 6, 7, 8, 9\n" in text.render(of(*same[:9]))
    assert len(report.splitlines()) < 60


def test_an_unplayable_demand_says_why_and_what_instead():
    report = text.render(rich_result())
    told = block(report[report.index("────") :], "bar 20, beat 1 ")
    assert told.startswith("! bar 20, beat 1 C♯5 & C6, multiphonic unplayable")
    assert "instead: C5 & C♯6 with T 2 3o | Eb: a semitone away" in told
    assert "confidence" not in told


def test_cents_in_a_demand_do_not_run_into_the_deviation():
    assert "B♭4(+50) +27 ±9 cents" in text.render(rich_result())


def test_pitches_with_cents_are_joined_with_blanks():
    assert "C5+50 & D6, multiphonic" in text.render(of(playable(demand(1, place("1"), "C5+50 D6"))))


def test_a_glissando_tells_what_its_reason_does_not_hole_and_lip_and_fingerings_between():
    told = block(text.render(rich_result()), "bar 21")
    assert "C5 & D6 → B4 & C♯6, glissando" in told
    assert "on the way" not in told
    assert "by hole in key 2 open 0 to 0.4, lip 0 to -20 cents" in told
    result = rich_result()
    (glide,) = [one for one in result.decisions if one.path]
    between = replace(glide.path[0], t=0.5, fingering=Fingering.parse("T 2 | Eb"))
    longer = replace(glide, path=(glide.path[0], between, *glide.path[1:]))
    assert "on the way: T 2 3 | Eb → T 2 | Eb → T 2o 3 | Eb" in " ".join(
        text.render(of(longer)).replace("\u00a0", " ").split()
    )


def test_the_first_screen_says_how_far_a_glissando_gets_of_what_is_written():
    asked = demand(1, place("4"), "A4", "glissando", to="A#4")
    short = playable(asked, status="doubtful", deviation_cents=(-4.0, -44.0), band_cents=(13.0, 14.0))
    first = text.render(of(short), detail="brief").split("─" * 80)[0]
    assert re.search(r"\? bar 4, beat 1 +A4 → A♯4 +slides 60 cents, not 100 +a short gliss. or none", first)


def test_the_first_screen_says_where_no_fingers_slide_and_where_a_slide_may_fall_silent():
    asked = demand(1, place("4"), "C4", "glissando", to="G4")
    run = (Instead(asked.pitches, None, Message("glide.run_instead"), asked.to),)
    none = unplayable(asked, status="doubtful", why="The lip gives 60.", instead=run, confidence=0.0)
    first = text.render(of(none), detail="brief").split("─" * 80)[0]
    assert re.search(r"\? bar 4, beat 1 +C4 → G4 +cannot slide all the way +a chromatic run", first)
    weak = playable(asked, status="doubtful", confidence=0.3)
    assert "may not sound midway" in text.render(of(weak), detail="brief").split("─" * 80)[0]


def test_where_everything_can_be_played_nothing_has_to_be_changed():
    assert "Nothing has to be changed." in text.render(of(playable(ONE)))
    assert "Nothing has to be changed." not in text.render(two_flutes())


def test_places_of_warnings_are_counted_where_everything_judged_can_be_played():
    told = [Finding("H3", "warning", place(bar), "Too fast.", "Write it slower.") for bar in ("3", "4", "4")]
    hint = Finding("R3", "info", place("9"), "Read as two players.", "See --chords.")
    report = text.render(of(playable(ONE), findings=(*told, hint)))
    assert "\n2 places need a look: see below.\n" in report and "Nothing has to be changed" not in report
    assert "Nothing has to be changed." in text.render(of(playable(ONE), findings=(hint,)))


def test_other_sounds_of_a_transposing_flute_are_named_as_written():
    piccolo = demand(1, place("1"), "C5 D6", sounding=pitches("C6 D7"))
    sounds = (Sound(1046.5, Pitch("C", 0, 6), 0.9), Sound(1864.7, Pitch("A", 1, 6), 0.8))
    assert "also sounds (with strength): A♯5 (0.8)" in text.render(of(playable(piccolo, "piccolo", sounds=sounds)))


def test_a_written_fingering_and_open_pitches_are_told():
    asked = demand(1, place("1"), "C5", fingering="T 2 3 | Eb", open_pitches=True)
    told = block(text.render(of(playable(asked))), "bar 1,")
    assert "C5 and what comes with it, multiphonic" in told
    assert "written fingering: T 2 3 | Eb" in told


def test_errors_come_first_and_a_reason_already_told_is_not_repeated():
    report = text.render(rich_result())
    assert report.count("84 cents low") == 1
    assert "P1: " not in report or report.count("P1: ") == 1
    brief = text.render(rich_result(), detail="brief")
    assert brief.count("84 cents low") == 1
    assert brief.index("H1 warning") < brief.index("R3 info")


def test_equal_findings_share_one_entry_and_many_of_a_code_are_shortened():
    same = [Finding("R3", "info", place(str(n)), "Read as players.", "Tell.") for n in (3, 7, 7)]
    many = [Finding("R4", "info", place(str(n)), f"Odd word {n}.", "") for n in range(20, 30)]
    report = text.render(of(findings=(*same, *many)))
    assert "R3 info: bars 3, 7\n" in report
    assert report.count("Read as players.") == 1
    assert report.count("Odd word") == 3
    assert "and 7 more of this kind: bars 23, 24, 25, 26, 27, 28, 29" in report


def test_a_finding_for_the_whole_file_has_no_place():
    report = text.render(of(findings=(Finding("F2", "warning", None, "Bytes mended.", "Save again."),)))
    assert "F2 warning\n    Bytes mended. Save again." in report


def test_techniques_not_judged_are_listed_by_name():
    found = tuple(NotJudged(place(bar), Message("technique.whistle tone")) for bar in ("30", "31"))
    report = text.render(of(not_judged=found))
    assert "whistle tone: bars 30, 31" in report


def test_no_demands_says_what_was_read_and_gives_no_cautions():
    report = text.render(of())
    assert "Part read: Flute" in report
    assert "Nothing there asks for judgement" in " ".join(report.split())
    assert "physician" not in report
    unread = text.render(Result("x", ("open-hole-b",)))
    assert "No flute part was read." in unread
    assert "Nothing there" not in unread


def test_the_first_screen_tells_every_doubtful_and_unplayable_place_in_a_line():
    brief = text.render(rich_result(), detail="brief").splitlines()
    first = [line for line in brief[: brief.index("─" * 80)] if line[:2] in ("? ", "! ")]
    assert [line.split("  ")[0] for line in first] == ["? bar 15, beat 1.5", "! bar 20, beat 1"]
    assert "no fingering sounds it  other notes: C5 & C♯6" in first[1]
    assert brief.index("─" * 80) < 24
    worst = text.render(rich_result(), detail="brief", sort="severity").splitlines()
    assert [line[0] for line in worst if line[:2] in ("? ", "! ")][:2] == ["!", "?"]


def test_a_row_of_many_places_tells_the_first_and_how_many_more():
    asked = [demand(n, place(str(n), part="Flute in the first gallery"), "C5 C6") for n in range(10, 60)]
    rows = text.render(of(*(unplayable(one) for one in asked)), detail="brief").splitlines()
    (row,) = [row for row in rows if row.startswith("! bars")]
    assert row.split("  ")[0] == "! bars 10, 11 and 48 more" and "C5 & C6" in row
    two = demand(51, place("9", part="Flute in the second gallery", part_id="P2"), "D5 C6")
    rows = text.render(of(unplayable(asked[0]), unplayable(two)), detail="brief").splitlines()
    at = rows.index("  Flute in the second gallery")
    assert rows[at - 2] == "  Flute in the first gallery" and re.match(r"! bar 9, beat 1 +D5 & C6 ", rows[at + 1])


def test_what_is_simply_playable_is_told_in_full_detail_only():
    assert "bar 12, beat 2" not in text.render(rich_result(), detail="brief")
    assert "bar 12, beat 2" in text.render(rich_result(), detail="full")


def test_more_places_than_a_screen_holds_are_counted():
    many = [unplayable(demand(n, place(str(n)), f"C5 {'CDEFGAB'[n % 7]}{4 + n % 3}")) for n in range(1, 40)]
    lines = text.render(of(*many), detail="brief").splitlines()
    assert lines.index("─" * 80) < 26
    assert re.search(r"and \d+ more, below", "\n".join(lines[:25]))


def test_cautions_and_the_state_of_evidence_stand_once():
    report = " ".join(text.render(rich_result()).split())
    assert report.count("not from players: ventwise explain trust") == 1
    assert report.count("stop where it hurts or you feel faint: ventwise explain care") == 1


def test_two_flutes_stand_side_by_side_with_what_the_second_adds_and_lacks():
    report = text.render(two_flutes())
    assert "open-hole-b       2         1         0           1\n" in report
    assert "vented-b adds to open-hole-b: C♯5 & C6 (bar 20: playable)" in report
    assert "vented-b lacks: C5 & D6 (bar 12: unplayable)" in report
    side_by_side = [line.split() for line in report.splitlines()]
    assert ["open-hole-b", "vented-b"] in side_by_side
    assert ["playable", "unplayable"] in side_by_side
    assert "? doubtful, ! unplayable on open-hole-b" in report


def test_flutes_are_compared_in_one_table_on_top():
    lines = text.render(two_flutes(), detail="brief").splitlines()
    told = [re.split(r"  +", line) for line in lines[: lines.index("─" * 80)]]
    assert ["", "open-hole-b", "vented-b"] in told
    assert ["", "bar 12, beat 2", "C5 & D6", "playable", "unplayable (worse)"] in told
    assert ["! bar 20, beat 1", "C♯5 & C6", "cannot be played", "playable (better)"] in told


@pytest.mark.parametrize("flutes", [3, 4, 6])
@pytest.mark.parametrize("language", ["en", "de", "fr", "it"])
def test_beside_many_flutes_a_place_is_told_without_its_beat_rather_than_cut(flutes, language):
    names = ["open-hole-b-slide", "vented-b-low-e", "closed-hole-c-by-hand", "alto-small", "alto", "bass"][:flutes]
    asked = demand(2, place("110", 2.67), "C#5 C6", "glissando", to="D5 B5")
    lines = text.render(of(*(unplayable(asked, name) for name in names)), detail="brief", language=language).split("\n")
    told = next(line for line in lines if line.startswith("! "))
    bar, beat = {"en": ("bar", "beat"), "de": ("Takt", "Zeit"), "fr": ("mes.", "temps"), "it": ("batt.", "mov.")}[
        language
    ]
    assert re.match(rf"! {bar} 110(, {beat} 2[.,]67)?(  |, \S+5 & )", told), told


def test_a_flute_that_adds_nothing_says_so():
    assert "closed adds nothing to open." in text.render(of(playable(ONE, "open"), playable(ONE, "closed")))


def test_parts_with_flutes_of_their_own_are_told_by_part_and_flute():
    second = demand(2, place("9", part="Piccolo", part_id="P2"), "C5 D6")
    report = text.render(of(playable(ONE, "open-hole-b"), unplayable(second, "piccolo")))
    assert "2 places judged: 1 playable, 0 doubtful, 1 unplayable" in report
    told = block(report[report.index("────") :], "bar 9")
    assert "Piccolo" in told and "on piccolo" in told
    assert "adds" not in report


def test_another_tuning_is_told():
    assert "Flute: open-hole-b at A4 = 442 Hz" in text.render(of(playable(ONE), a4_hz=442.0))


def long_and_hostile() -> Result:
    rich = rich_result(HOSTILE * 4)
    odd = [
        replace(one, demand=replace(one.demand, place=replace(one.demand.place, part=HOSTILE, bar="X" * 30)))
        for one in (*rich.decisions, *two_flutes().decisions)
    ]
    odd = [replace(one, demand=replace(one.demand, id=f"x{n // 2}"), why=HOSTILE) for n, one in enumerate(odd)]
    flutes = ("open-hole-b", "vented-b", HOSTILE)
    findings = tuple(replace(one, place=place("X" * 30, part=HOSTILE), message="w" * 200) for one in rich.findings)
    parts = (HOSTILE, HOSTILE)
    return Result(rich.score, flutes, tuple(odd), findings, rich.not_judged, parts_read=parts)


@pytest.mark.parametrize("result", [rich_result(), two_flutes(), of(), long_and_hostile()])
@pytest.mark.parametrize("width", [40, 59, 60, 80, 132])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_line_is_wider_than_the_page_nor_ends_in_blanks(result, width, ascii_only):
    report = text.render(result, width=width, ascii=ascii_only)
    for line in report.split("\n"):
        assert columns(line) <= width, line
        assert line == line.rstrip()
    assert report.isascii() or not ascii_only


def test_names_from_the_score_cannot_command_the_terminal():
    for ascii_only in (False, True):
        report = text.render(long_and_hostile(), ascii=ascii_only)
        bad = [char for char in report if unicodedata.category(char)[0] == "C" and char != "\n"]
        assert bad == []
        report.encode("utf-8")


def test_ascii_says_the_same_with_plain_signs():
    report = text.render(rich_result(), ascii=True)
    assert re.search(r"C5 -6 \+/-9, D6 \+11 \+/-12 cents +--- Eb\n", report)
    told = block(report, "bar 21")
    assert "C5 & D6 -> B4 & C#6, glissando" in told
    assert "-@@ T" in told


def test_names_lose_their_accents_in_ascii_and_a_question_mark_stands_for_the_rest():
    assert clean("Große Flöte № 1 — «Ré♭» 笛", True) == "Grosse Floete No 1 - 'Reb' ?"


def test_only_a_stream_that_lacks_the_signs_needs_ascii():
    assert [needs_ascii(name) for name in ("utf-8", "latin-1", "cp1252", "ascii", None, "no-such")] == [
        False, True, True, True, True, True,
    ]  # fmt: skip


def test_wrapping_counts_wide_characters_and_cuts_long_words():
    lines = wrap("笛笛笛笛 ab abcdefghijkl", 7, hanging=2)
    assert [columns(line) <= 7 for line in lines] == [True] * len(lines)
    assert "".join("".join(lines).split()) == "笛笛笛笛ababcdefghijkl"
    assert display_width("e\u0301笛") == 3
    assert wrap("", 10) == []


def test_the_first_screen_calls_a_plain_note_plain_and_says_which_way_a_pitch_is_off():
    result = rich_result()
    doubtful = next(one for one in result.decisions if one.status == "doubtful")
    low = replace(
        doubtful,
        deviation_cents=(-44.0,),
        band_cents=(9.0,),
        instead=(Instead(pitches("B4"), None, Message("short.weak")),),
    )
    told = text.render(replace(result, decisions=(low,)), detail="brief")
    line = next(line for line in told.splitlines() if line.startswith("? "))
    assert "  44 cents too low" in line and line.split("  ")[-1] == "plain B4"


def test_chords_are_said_to_be_read_so_in_their_bars_and_transposed_pitches_to_be_as_written():
    result = rich_result()
    first = result.decisions[0]
    demand = replace(first.demand, sounding=tuple(pitch.transposed(-5.0) for pitch in first.demand.pitches))
    told = text.render(
        replace(result, decisions=(replace(first, demand=demand), *result.decisions[1:])), detail="brief"
    )
    assert "as written, not as they sound" in told
    assert "as written, not as they sound" not in text.render(result, detail="brief")
