"""The player's log as a player meets it: what it changes in find and check, and that it says so."""

import json
from pathlib import Path

import pytest

from annotate.choosing.desks import desk
from annotate.commands.logs import add as add_command
from annotate.decision import Decision, Status
from annotate.findings import InputError
from annotate.language import languages, words
from annotate.pipeline import Options, look
from annotate.player import log_command
from annotate.questions import find
from annotate.report import answers_json, answers_text, json_report
from fingering_db import player_log

SAY = words()
NOTE = "<note>{}<pitch><step>{}</step><octave>{}</octave></pitch><duration>4</duration></note>"
PLAIN = "T 2 3 | Eb"


def score(folder: Path) -> Path:
    """One bar of C5 & D6, called a multiphonic."""
    path = folder / "chord.musicxml"
    path.write_text(
        '<score-partwise version="3.1"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
        '<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes><direction><direction-type>'
        f"<words>mult.</words></direction-type></direction>{NOTE.format('', 'C', 5)}{NOTE.format('<chord/>', 'D', 6)}"
        "</measure></part></score-partwise>",
        encoding="utf-8",
    )
    return path


def gliding(folder: Path, start: str, end: str) -> Path:
    """One bar that slides from two pitches to two others ("C5 D6"), called a multiphonic."""
    chords = []
    for pitches, role in ((start, "start"), (end, "stop")):
        slide = f'<notations><glissando type="{role}" number="1"/></notations>'
        low, high = (
            NOTE.format(chord, one[0], one[-1]) for chord, one in zip(("", "<chord/>"), pitches.split(), strict=True)
        )
        chords.append(low.replace("</note>", slide + "</note>") + high)
    path = folder / "slide.musicxml"
    text = score(folder).read_text(encoding="utf-8")
    first = text.index("<note>")
    path.write_text(text[:first] + "".join(chords) + text[text.index("</measure>") :], encoding="utf-8")
    return path


def checked(path: Path) -> Decision:
    (decision,) = look(path, Options()).result.decisions
    return decision


def add(fingering: str, worked: bool, *pitches: str) -> str:
    return log_command.add_fingering(fingering, pitches or ("C5", "D6"), "open-hole-b", worked, "", SAY)


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("VENTWISE_DATA", str(tmp_path / "data"))
    return tmp_path


def test_check_takes_what_worked_says_so_and_does_not_propose_again_what_failed(own: Path) -> None:
    path = score(own)
    before = checked(path)
    assert before.fingering and before.alternatives and before.tried is None
    other = before.alternatives[0]
    add(str(before.fingering), False)
    failed = checked(path)
    assert failed.fingering != before.fingering
    assert before.fingering not in [one.fingering for one in failed.alternatives]
    assert f"Not proposed, for it failed in your log: {before.fingering}." in SAY.say(failed.why)
    add(str(other.fingering), True)
    worked = checked(path)
    assert worked.fingering == other.fingering and worked.status == Status.PLAYABLE
    assert "In your log it worked 1 of 1 time on this flute." in SAY.say(worked.why)
    assert f"by the model alone {other.confidence:.2f}" in SAY.say(worked.why)
    result = look(path, Options()).result
    assert "P13" in [one.code for one in result.findings]
    (demand,) = json.loads(json_report.render(result))["demands"]
    assert demand["log"] == {
        "worked": 1, "failed": 0, "others_worked": 0, "others_failed": 0, "model_confidence": round(other.confidence, 2)
    }  # fmt: skip


def test_what_failed_starts_no_glissando_and_that_is_said(own: Path) -> None:
    path = gliding(own, "C5 D6", "C5 E6")
    before = checked(path)
    assert before.fingering is not None
    add(str(before.fingering), False)
    after = checked(path)
    assert after.fingering != before.fingering
    assert f"it failed in your log: {before.fingering}" in SAY.say(after.why)


def test_a_glissando_tells_how_easily_its_tones_sound_at_once_and_where_they_are_one_note(own: Path) -> None:
    """E5 and B5, a fifth among the harmonics of E4, and B4 with E6, a wide fourth that hardly a jet of the model has."""
    one_note, fourth = checked(gliding(own, "E5 B5", "F5 C6")), checked(gliding(own, "B4 E6", "C5 F6"))
    assert 0.0 < fourth.together < 0.08 and "few of the model's jets sound the tones at once" in SAY.say(fourth.why)
    assert one_note.one_note and one_note.status == Status.DOUBTFUL
    assert "heard as one note" in SAY.say(one_note.why)


def test_what_the_model_finds_unplayable_is_playable_once_it_worked(own: Path) -> None:
    add("T 1 2 | Eb", True)
    decision = checked(score(own))
    assert str(decision.fingering) == "T 1 2 | Eb" and decision.status == Status.PLAYABLE
    assert "It worked for you, though the model is" in SAY.say(decision.why)


def test_find_puts_what_worked_first_and_tells_what_it_leaves_out(own: Path) -> None:
    add("T 2o 3 | 2 Eb", True)
    add(PLAIN, False)
    answer = find(desk("open-hole-b"), ("C5", "D6"), 30.0, 3)
    assert str(answer.found[0].fingering) == "T 2o 3 | 2 Eb" and len(answer.found) == 3
    assert [str(one.fingering) for one in answer.failed] == [PLAIN]
    for language in languages():
        told = " ".join(answers_text.render([answer], language=language).split())
        say = words(language)
        assert say.text("log.own", n=1, worked=1) in told
        assert say.text("log.left_out", fingerings=(PLAIN,)) in told
    data = json.loads(answers_json.render([answer]))
    assert data["results"][0]["log"]["worked"] == 1 and data["failed"][0]["fingering"] == PLAIN


def test_a_place_of_a_score_can_be_logged(own: Path) -> None:
    path = score(own)
    for place in ("1", "bar 1, beat 1", "Flute, bar 1, beat 1"):
        told = log_command.add_place(place, (), path, "open-hole-b", True, "speaks at once", SAY)
        assert "C5 & D6" in told
    for place in ("Takt 1, Zeit 1", "Flute, Takt 1, Zeit 1"):  # as a German report tells it
        assert "C5 & D6" in log_command.add_place(place, (), path, "open-hole-b", True, "", words("de"))
    (first, *_) = player_log.read(player_log.path()).trials  # type: ignore[arg-type]
    assert [str(pitch) for pitch in first.pitches] == ["C5", "D6"] and first.remark == "speaks at once"
    with pytest.raises(InputError, match="expected one such as Flute, bar 1, beat 1"):
        log_command.add_place("bar 9", (), path, "open-hole-b", True, "", SAY)


def test_a_log_goes_to_another_player_and_comes_back(own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add(PLAIN, True)
    table = own / "ada.csv"
    assert "1 trial exported" in log_command.export(table, SAY, lambda ready: None)
    monkeypatch.setenv("VENTWISE_DATA", str(own / "kim"))
    add("T 2o 3 | 2 Eb", False)
    assert "1 trial added; 0 were there already." in log_command.import_(table, SAY)
    assert "0 trials added; 1 were there already." in log_command.import_(table, SAY)
    listed = log_command.listing(SAY)
    assert "(ada.csv)" in listed and " ada " in listed and "2 trials" in listed
    answer = find(desk("open-hole-b"), ("C5", "D6"), 30.0, 3)
    assert answer.found[0].tried and answer.found[0].tried.others_worked == 1


def test_the_own_table_read_again_adds_nothing_whatever_it_is_called_and_whoever_had_it(
    own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("VENTWISE_PLAYER", raising=False)
    add(PLAIN, True)
    for name in ("l.csv", "m.csv"):
        log_command.export(own / name, SAY, lambda ready: None)
        assert "0 trials added; 1 were there already." in log_command.import_(own / name, SAY)
    monkeypatch.setenv("VENTWISE_DATA", str(own / "kim"))
    log_command.import_(own / "l.csv", SAY)
    log_command.export(own / "back.csv", SAY, lambda ready: None)
    monkeypatch.setenv("VENTWISE_DATA", str(own / "data"))
    assert "0 trials added; 1 were there already." in log_command.import_(own / "back.csv", SAY)


def test_what_cannot_be_logged_or_read_is_told_in_one_line(own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for fingering, expected in (
        ("T 9 |", "no left-hand touch"),
        ("bar 12", "a place and its score"),
        ("T 2v | Eb", "has no"),
    ):
        with pytest.raises(InputError, match=expected):
            add(fingering, True)
    with pytest.raises(InputError, match="is not a pitch"):
        add(PLAIN, True, "H4")
    bad = own / "bad.csv"
    bad.write_text("flute,fingering,outcome\nmine,T 9 |,perhaps\n", encoding="utf-8")
    with pytest.raises(InputError) as raised:
        log_command.import_(bad, SAY)
    assert [line.split(": ")[1] for line in str(raised.value).splitlines()] == [
        "line 2, column 'fingering'", "line 2, column 'outcome'",
    ]  # fmt: skip
    assert player_log.read(own / "data" / player_log.NAME).trials == ()
    (own / "data" / player_log.NAME).mkdir(parents=True)
    with pytest.raises(InputError, match="cannot be read"):
        desk("open-hole-b")
    monkeypatch.setenv("VENTWISE_DATA", "")
    assert not desk("open-hole-b").experience.trials
    with pytest.raises(InputError, match="no place for a log"):
        log_command.listing(SAY)


@pytest.mark.parametrize("said", [[], ["--worked", "--failed"]])
def test_how_it_went_must_be_said_once(said: list[str], own: Path) -> None:
    with pytest.raises(InputError, match="either --worked or --failed"):
        add_command.main(["T 2 3 | Eb", "C5", "D6", *said], standalone_mode=False)
    assert not (own / "data").exists()
    add_command.main(["T 2 3 | Eb", "C5", "D6", "--failed"], standalone_mode=False)
    (trial,) = player_log.read(own / "data" / player_log.NAME).trials
    assert not trial.worked
