"""MuseScore's own files: spliced as the program itself would write it, and given back byte for byte."""

import io
import json
import re
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import native_scores as scores

sys.path.insert(0, str(Path(__file__).parents[1] / "programs"))
import programs
import pytest

from annotate import pipeline
from annotate.files.container import load, pack, unpack
from annotate.findings import InputError
from annotate.forms import form_of
from annotate.musescore import native, program
from annotate.musescore.form import MuseScore
from annotate.musescore.native import NativeMark, as_json, read_native, splice_native, strip_native
from annotate.musescore.plugin import plug_in as plug_in_files
from annotate.musescore.program import export, find_program
from annotate.musescore.selfcheck import verify_places, verify_same_music

needs_musescore = pytest.mark.skipif(scores.PROGRAM is None, reason=scores.ABSENT)
HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def every_kind(tmp_path_factory):
    """The invented score with every kind of rhythm as a file of MuseScore 3, bars of rest joined."""
    folder = tmp_path_factory.mktemp("every")
    source = folder / "every.musicxml"
    source.write_bytes(scores.every_kind())
    joined = folder / "joined.mscx"
    joined.write_bytes(scores.with_rests_joined(scores.saved(source, folder / "plain.mscx")))
    target = folder / "every.mscx"
    return scores.saved(joined, target), target


def plug_in(folder, answer, after=""):
    """The plug-in in a folder, asking a command that gives `answer`; after: more to run before it ends."""
    command = folder / "answer.sh"
    (folder / "answer.json").write_text(answer, encoding="utf-8")
    command.write_text(f'#!/bin/sh\ncat "{folder}/answer.json"\n', encoding="utf-8")
    command.chmod(0o755)
    for name, text in plug_in_files(f'"{command}"').items():
        longer = text.replace("        Qt.quit()\n", f"        {after}\n        Qt.quit()\n")
        (folder / name).write_text(longer, encoding="utf-8")
    return folder / "ventwise.qml"


def run_plug_in(plugin, source, target):
    """The plug-in run without a window on a file; the bytes of the result."""
    job = plugin.with_name("job.json")
    job.write_text(json.dumps([{"in": str(source), "plugin": str(plugin), "out": str(target)}]), encoding="utf-8")
    scores.ask("-j", job)
    return target.read_bytes()


def resaved(data, folder, name):
    (folder / f"{name}.mscx").write_bytes(data)
    scores.ask("-o", folder / f"{name}-again.mscx", folder / f"{name}.mscx")
    return (folder / f"{name}-again.mscx").read_bytes()


def check_three_ways(data, path, folder):
    """Spliced and plugged in, each saved by MuseScore, are the same bytes; stripped, they are the file as it was."""
    marks, exported = scores.places_in(data, path)
    spliced = splice_native(data, marks)
    assert strip_native(spliced) == data
    after = export(path, spliced, scores.PROGRAM)
    verify_same_music(exported, after)
    verify_places(after, *scores.marks_on(exported))
    plugged = run_plug_in(plug_in(folder, as_json(marks, "")), path, folder / "plugged.mscx")
    saved, theirs = resaved(spliced, folder, "spliced"), resaved(plugged, folder, "theirs")
    assert saved.count("⁣●○●⁣".encode()) == len(marks) > 5
    assert saved == theirs
    assert strip_native(saved) == data


@needs_musescore
def test_a_splice_equals_what_the_plug_in_writes_for_every_kind_of_rhythm(every_kind, tmp_path):
    data, path = every_kind
    assert b"<multiMeasureRest>" in data and b"<subtype>c" in data and b"<Tuplet>" in data
    check_three_ways(data, path, tmp_path)


@needs_musescore
@pytest.mark.slow
@pytest.mark.parametrize("name", scores.CORPUS)
def test_a_splice_equals_what_the_plug_in_writes_in_scores_of_real_size(name, tmp_path):
    path = tmp_path / "score.mscx"
    check_three_ways(scores.saved(scores.corpus_file(name), path), path, tmp_path)


@needs_musescore
def test_texts_go_into_linked_parts_as_the_program_links_them(every_kind, tmp_path):
    source = tmp_path / "flute.musicxml"
    one = scores.every_kind().replace(
        b'<score-part id="P2"><part-name>Clarinet in B flat</part-name></score-part>', b""
    )
    source.write_bytes(one[: one.index(b'<part id="P2">')] + b"</score-partwise>")
    linked = tmp_path / "linked0.mscx"
    linked.write_bytes(scores.with_linked_part(scores.saved(source, tmp_path / "one.mscx")))
    path = tmp_path / "linked.mscx"
    data = scores.saved(linked, path)
    assert data.count(b"<Score>") == 2
    # The program itself moves a text of the second voice to the first one in the part, and no further.
    marks = [mark for mark in scores.places_in(data, path)[0] if mark.voice == 0]
    spliced = splice_native(data, marks)
    plugged = run_plug_in(plug_in(tmp_path, as_json(marks, "")), path, tmp_path / "plugged.mscx")
    assert plugged.count("⁣●○●⁣".encode()) == 2 * len(marks)
    assert resaved(spliced, tmp_path, "spliced") == resaved(plugged, tmp_path, "theirs")
    assert strip_native(spliced) == strip_native(plugged) == data


RULES = {
    "durations": (b"<durationType>half", b"<durationType>whole"),
    "tuplets": (b"<normalNotes>2", b"<normalNotes>3"),
    "tremolo of two notes": (b"<subtype>c", b"<subtype>r"),
    "bars of rest joined": (b"multiMeasureRest>", b"severalMeasureRest>"),
    "grace notes": (b"<appoggiatura/>", b""),
    "dots": (b"<dots>1</dots>", b""),
}


@needs_musescore
@pytest.mark.parametrize("rule", RULES)
def test_without_a_rule_of_rhythm_places_are_missed(every_kind, rule):
    data, path = every_kind
    marks, _ = scores.places_in(data, path, every=1)
    seen, unseen = RULES[rule]
    assert seen in data
    # The bytes as a reader without the rule would see them, of the same length: places found in them are used on the file.
    unruly = data.replace(seen, unseen.ljust(len(seen)))
    try:
        places = [native._places(read_native(unruly), mark)[0][0] for mark in marks]
    except InputError as error:
        assert "no chord" in str(error) or "more than one" in str(error)
        return
    assert places != [native._places(read_native(data), mark)[0][0] for mark in marks]


@needs_musescore
def test_one_undo_of_the_plug_in_gives_the_score_back(every_kind, tmp_path):
    data, path = every_kind
    marks, _ = scores.places_in(data, path)
    undo = f'writeScore(curScore, "{tmp_path}/done", "mscx"); cmd("undo"); writeScore(curScore, "{tmp_path}/undone", "mscx")'
    plugin = plug_in(tmp_path, as_json(marks, ""), undo)
    scores.ask("-p", plugin, path, "-o", tmp_path / "out.mscx")
    assert (tmp_path / "done.mscx").read_bytes().count("⁣●○●⁣".encode()) == len(marks)
    assert resaved((tmp_path / "undone.mscx").read_bytes(), tmp_path, "undone") == data


@needs_musescore
def test_the_second_entry_takes_out_what_the_first_wrote(every_kind, tmp_path):
    data, path = every_kind
    marks, _ = scores.places_in(data, path)
    plugin = plug_in(tmp_path, as_json(marks, ""))
    run_plug_in(plugin, path, tmp_path / "in.mscx")
    gone = run_plug_in(plugin.with_name("ventwise-remove.qml"), tmp_path / "in.mscx", tmp_path / "gone.mscx")
    assert gone == data
    again = run_plug_in(plugin, tmp_path / "in.mscx", tmp_path / "twice.mscx")
    assert again.count("⁣●○●⁣".encode()) == len(marks)


@needs_musescore
def test_a_splice_that_changes_the_music_is_refused_and_the_file_stays(every_kind, tmp_path, monkeypatch):
    data, _ = every_kind
    path = tmp_path / "score.mscx"
    path.write_bytes(data.replace(b"<pitch>72</pitch>", b"<pitch>50</pitch>", 1))  # below a flute: something to mark
    before = path.read_bytes()
    looked = pipeline.look(path, pipeline.Options())
    whole = native.splice_native

    def changing(*words):
        return whole(*words).replace(b"<pitch>74</pitch>", b"<pitch>86</pitch>", 1)

    def misplacing(data, marks):
        return whole(data, [replace(mark, measure=mark.measure + 1) for mark in marks])

    for broken, told in ((changing, "not the same music"), (misplacing, "came out elsewhere")):
        monkeypatch.setattr("annotate.musescore.form.splice_native", broken)
        with pytest.raises(InputError, match=told):
            pipeline.annotate(looked, path, in_place=True)
        assert path.read_bytes() == before and not list(tmp_path.glob(".ventwise*"))


@needs_musescore
def test_a_compressed_file_keeps_its_other_members(every_kind, tmp_path):
    _, path = every_kind
    packed = tmp_path / "score.mscz"
    scores.ask("-o", packed, path)
    file = load(packed)
    marks, _ = scores.places_in(file.data, path)
    form = form_of(file)
    assert isinstance(form, MuseScore)
    whole = pack(file, splice_native(file.data, marks))
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(io.BytesIO(whole)) as new:
        assert old.namelist() == new.namelist()
        for name in old.namelist():
            assert name == file.member or old.read(name) == new.read(name)
    back = unpack(packed, whole)
    assert pack(back, strip_native(back.data)) == packed.read_bytes()


@needs_musescore
@pytest.mark.skipif(
    not shutil.which("node") or not programs.webmscore(), reason="MuseScore 4's engine is not installed"
)
def test_musescore_4_saves_a_spliced_file_of_its_own_to_the_same_bytes(every_kind, tmp_path):
    def resaved_by_4(data, name):
        source, target = tmp_path / f"{name}.mscx", tmp_path / f"{name}-4.mscx"
        source.write_bytes(data)
        subprocess.run(["node", HERE / "resave.cjs", programs.webmscore(), source, target], check=True, timeout=120)
        return target.read_bytes()

    data, path = every_kind
    marks, _ = scores.places_in(data, path)
    own = resaved_by_4(resaved_by_4(data, "imported"), "own")
    assert b'version="4.00"' in own and resaved_by_4(own, "again") == own
    spliced = splice_native(own, marks)
    assert resaved_by_4(spliced, "spliced") == spliced
    assert strip_native(spliced) == own
    # The control: without the size that version 4 writes it is not the same.
    without = re.sub(rb"<size>\d</size>", b"", spliced)
    assert without != spliced and resaved_by_4(without, "control") != without


SMALL = b"""<museScore version="3.01"><Score><Part><Staff id="1"></Staff></Part>
<Staff id="1"><Measure><voice><Chord><durationType>quarter</durationType></Chord></voice></Measure></Staff></Score></museScore>"""


def test_a_place_without_a_chord_is_told_and_nothing_written():
    with pytest.raises(InputError, match=r"part 1, staff 1, bar 1 .* no chord 1 quarters into the bar"):
        splice_native(SMALL, [NativeMark(1, 1, 0, Fraction(1), 0, ("x",))])
    with pytest.raises(InputError, match="no staff 2 in part 1"):
        splice_native(SMALL, [NativeMark(1, 2, 0, Fraction(0), 0, ("x",))])


def test_a_rounded_place_finds_its_chord_and_two_near_ones_are_refused():
    assert splice_native(SMALL, [NativeMark(1, 1, 0, Fraction(1, 400), 0, ("x",))]) != SMALL
    assert len(read_native(SMALL).chords[0, 1, 0, 0]) == 1


def test_files_of_older_versions_and_other_xml_are_refused():
    with pytest.raises(InputError, match="saved by MuseScore 2"):
        read_native(SMALL.replace(b"3.01", b"2.06"))
    with pytest.raises(InputError, match="no MuseScore score"):
        read_native(b"<score-partwise/>")
    with pytest.raises(InputError, match="not well-formed"):
        read_native(b"<museScore")


def test_a_text_of_the_users_own_stays():
    theirs = SMALL.replace(b"<voice><Chord>", b"<voice><StaffText><text>dolce</text></StaffText><Chord>")
    assert strip_native(theirs) == theirs


def fake(folder, script):
    path = folder / "fake"
    path.write_text("#!/bin/sh\n" + script, encoding="utf-8")
    path.chmod(0o755)
    return path


@pytest.mark.parametrize(
    ("script", "told"),
    [
        ("exit 0\n", "wrote nothing"),
        ("echo no screen >&2; exit 3\n", r"status 3 \(no screen\)"),
        ("sleep 30\n", "did not end within 1 s"),
    ],
)
def test_a_program_that_fails_or_hangs_is_one_line(tmp_path, script, told):
    with pytest.raises(InputError, match=told) as caught:
        export(Path("a.mscx"), SMALL, fake(tmp_path, script), time_limit=1.0)
    assert "\n" not in str(caught.value) and "expected it to export" in str(caught.value)


def test_no_program_is_one_line_that_says_what_to_do(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv(program.VARIABLE, raising=False)
    monkeypatch.setattr(program, "_PLACES", ())
    with pytest.raises(InputError, match="export the score as MusicXML and give that"):
        find_program()
    monkeypatch.setenv(program.VARIABLE, "/no/such/thing")
    with pytest.raises(InputError, match="expected the path of MuseScore"):
        find_program()
    assert shutil.which("sh") is None


def test_the_plug_in_is_put_into_its_folder_with_the_command_of_this_installation(tmp_path):
    from annotate.musescore.plugin import install

    assert dict(install(tmp_path).values)["count"] == 3
    text = (tmp_path / "ventwise.qml").read_text(encoding="utf-8")
    assert 'command: "ventwise"' not in text and "command: '\"" in text
    with pytest.raises(InputError, match="expected MuseScore's folder for plug-ins"):
        install(tmp_path / "none")


def test_the_plug_in_is_told_places_or_one_error_as_json(tmp_path):
    from annotate.musescore.plugin import places

    example = Path(__file__).parents[2] / "examples/composer/low-water.musicxml"
    told = json.loads(places(example))
    assert len(told["places"]) > 5 and told["told"].startswith("Places judged: 10,")
    first = told["places"][0]
    assert set(first) == {"part", "staff", "measure", "quarters", "voice", "text"} and first["part"] == 1
    (tmp_path / "bad.musicxml").write_text("<score-partwise", encoding="utf-8")
    assert "expected a complete MusicXML file" in json.loads(places(tmp_path / "bad.musicxml"))["error"]


def test_a_program_named_on_the_line_is_the_one_that_is_asked(tmp_path):
    path = tmp_path / "a.mscx"
    path.write_bytes(SMALL)
    with pytest.raises(InputError, match=r"fake ended with status 3"):
        pipeline.look(path, pipeline.Options(musescore=str(fake(tmp_path, "exit 3\n"))))


@needs_musescore
@pytest.mark.slow
def test_a_score_of_four_megabytes_comes_out_with_every_text_at_its_place(tmp_path):
    path = tmp_path / "score.mscx"
    data = scores.saved(scores.corpus_file("beethoven/opus133"), path)
    assert len(data) > 4_000_000
    marks, exported = scores.places_in(data, path)
    spliced = splice_native(data, marks)
    verify_places(export(path, spliced, scores.PROGRAM), *scores.marks_on(exported))
    assert strip_native(spliced) == data
