"""Notation programs as witnesses: what each makes of a MusicXML file that we have marked.

A program is given a file and tells what it complained of, which texts it shows, and which notes it has. Two of them are
asked through what they save again as MusicXML, since they draw letters as outlines.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from lxml import etree

HERE = Path(__file__).parent
MARK = (
    "\u2063"  # the invisible sign at the end of each of our texts, written out here since the tests look from outside
)


@dataclass(frozen=True)
class Seen:
    """What a program makes of a file. complaints: its warnings. texts: lines of text shown. music: its notes in a form
    that can be compared. notes: how many. saved: the file as the program saves it, b'' where it does not."""

    complaints: tuple[str, ...]
    texts: tuple[str, ...]
    music: object
    notes: int
    saved: bytes = b""


@dataclass(frozen=True)
class Program:
    """absent: '' or why it cannot be asked. see: takes XML bytes and a folder to work in."""

    name: str
    absent: Callable[[], str]
    see: Callable[[bytes, Path], Seen]


def plain(text: str) -> str:
    """A text as a reader sees it: no invisible sign, blanks alike."""
    return " ".join(text.replace(MARK, "").split())


def ours(data: bytes) -> tuple[str, ...]:
    """Our rows in a marked file, in its order."""
    words = [str(each.text) for each in etree.fromstring(data).iter("words") if MARK in str(each.text)]
    return tuple(plain(row) for text in words for row in text.splitlines() if plain(row))


def run(command: list[str], folder: Path, seconds: int = 120) -> list[str]:
    """Lines that a program says; CalledProcessError where it fails."""
    (folder / "home").mkdir(exist_ok=True)
    alone = {"QT_QPA_PLATFORM": "offscreen", "HOME": str(folder / "home"), "XDG_RUNTIME_DIR": str(folder / "home")}
    done = subprocess.run(
        command, cwd=folder, env=os.environ | alone, check=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        timeout=seconds, encoding="utf-8", errors="replace",
    )  # fmt: skip
    return done.stdout.splitlines()


def complaints(lines: list[str]) -> tuple[str, ...]:
    """Lines that complain, without what differs from run to run; each once."""
    bad = [
        line for line in lines if re.search("warn|error|fail|not well|invalid|unknown|cannot|unsupported", line, re.I)
    ]
    return tuple(sorted({re.sub(r"\d+|/\S+", "_", line.strip()) for line in bad}))


def _music(data: bytes) -> tuple[tuple[object, ...], int]:
    """Every note and rest of a MusicXML file: part, bar, pitch, duration, chord, tie, accidental; and the number of
    notes."""
    found: list[tuple[str, ...]] = []
    for part in etree.fromstring(data).iter("part"):
        for bar in part.iter("measure"):
            for note in bar.iter("note"):
                pitch = "".join(note.findtext(f"pitch/{name}", "") for name in ("step", "alter", "octave"))
                told = [note.findtext(name, "") for name in ("duration", "voice", "type", "accidental")]
                flags = [str(note.find(name) is not None) for name in ("chord", "grace", "rest", "tie", "cue")]
                slides = [
                    each.tag + each.get("type", "") for name in ("slide", "glissando") for each in note.iter(name)
                ]
                found.append((part.get("id", ""), bar.get("number", ""), pitch, *told, *flags, *slides))
    return tuple(found), sum(bool(one[2]) for one in found)


def _seen_as_saved(lines: list[str], saved: bytes) -> Seen:
    root = etree.fromstring(saved)
    texts = [str(each.text) for each in root.iter("words") if each.text]
    music, notes = _music(saved)
    shown = tuple(plain(row) for text in texts for row in text.splitlines())
    return Seen(complaints(lines), shown, music, notes, saved)


# -- MuseScore 3


def musescore3() -> str:
    return shutil.which("musescore3") or shutil.which("mscore3") or ""


def _see_in_musescore3(data: bytes, folder: Path) -> Seen:
    source, target = folder / "in.musicxml", folder / "out.musicxml"
    source.write_bytes(data)
    lines = run([musescore3(), str(source), "-o", str(target)], folder)
    return _seen_as_saved(lines, target.read_bytes())


# -- MuseScore 4's engine


@cache
def webmscore() -> str:
    """Folder of the npm package: the one named by VENTWISE_WEBMSCORE, else one that npm finds from here; '' for none."""
    named = os.environ.get("VENTWISE_WEBMSCORE", "")
    places = [Path(named)] if named else [each / "node_modules/webmscore" for each in (HERE, *HERE.parents)]
    return next((str(place) for place in places if (place / "package.json").exists()), "")


def _webmscore_absent() -> str:
    if not shutil.which("node"):
        return "node is not installed"
    return "" if webmscore() else "the npm package webmscore is not installed (VENTWISE_WEBMSCORE names its folder)"


def _see_in_webmscore(data: bytes, folder: Path) -> Seen:
    source, target = folder / "in.musicxml", folder / "out.musicxml"
    source.write_bytes(data)
    lines = run(["node", str(HERE / "webmscore.cjs"), webmscore(), str(source), str(target)], folder)
    return _seen_as_saved(lines, target.read_bytes())


# -- Verovio


def _verovio_absent() -> str:
    try:
        import verovio  # noqa: F401 - a large library, looked for only here
    except ImportError:
        return "the Python package verovio is not installed"
    return ""


def _see_in_verovio(data: bytes, folder: Path) -> Seen:
    source, target = folder / "in.musicxml", folder / "out.json"
    source.write_bytes(data)
    lines = run([sys.executable, str(HERE / "ask_verovio.py"), str(source), str(target)], folder)
    told = json.loads(target.read_text(encoding="utf-8"))
    # The times at which notes sound are told by the MIDI file.
    return Seen(complaints(lines), tuple(map(plain, told["texts"])), told["midi"], told["notes"])


# -- LilyPond


def _lilypond_absent() -> str:
    missing = [name for name in ("lilypond", "musicxml2ly") if not shutil.which(name)]
    return f"{' and '.join(missing)} not installed" if missing else ""


def _see_in_lilypond(data: bytes, folder: Path) -> Seen:
    (folder / "in.musicxml").write_bytes(data)
    lines = run(["musicxml2ly", "-m", "-o", "out.ly", "in.musicxml"], folder)
    source = with_grobs((folder / "out.ly").read_text(encoding="utf-8"), ("TextScript",))
    (folder / "out.ly").write_text(source, encoding="utf-8")
    lines += run(["lilypond", "-dbackend=svg", "-o", "out", "out.ly"], folder)
    texts = []
    for page in sorted(folder.glob("out*.svg")):
        for group in etree.parse(page).iterfind(".//{*}g[@class='TextScript']"):  # it sets each word by itself
            words = ("".join(str(each) for each in text.itertext()) for text in group.iter("{*}text"))
            texts.append(plain(" ".join(words)))
    midi = next(folder.glob("out*.mid*")).read_bytes()
    return Seen(complaints(lines), tuple(texts), midi, _notes_in_midi(midi))


def with_grobs(source: str, names: Iterable[str]) -> str:
    """A score for LilyPond that tells of each such grob, in the SVG, its name and its box (`boxes.ly`)."""
    told = "".join(f"\\override {name}.output-attributes = #vw-box\n" for name in names)
    before = (HERE / "boxes.ly").read_text(encoding="utf-8") + f"\\layout {{ \\context {{ \\Score\n{told}}} }}\n"
    version, line, rest = source.partition("\n")
    return f"{version}{line}{before}{rest}"


def _notes_in_midi(midi: bytes) -> int:
    import music21

    read = music21.midi.MidiFile()
    read.readstr(midi)
    return sum(event.isNoteOn() and bool(event.velocity) for track in read.tracks for event in track.events)


PROGRAMS = (
    Program("MuseScore 3", lambda: "" if musescore3() else "MuseScore 3 is not installed", _see_in_musescore3),
    Program("MuseScore 4 (engine)", _webmscore_absent, _see_in_webmscore),
    Program("Verovio", _verovio_absent, _see_in_verovio),
    Program("LilyPond", _lilypond_absent, _see_in_lilypond),
)


def see(program: Program, data: bytes) -> Seen:
    """Ask a program, in a folder of its own that goes again."""
    with tempfile.TemporaryDirectory() as name:
        return program.see(data, Path(name))
