"""What must hold for any file whatever: looked at and marked with every promise kept, or refused in one line."""

import io
import json
import signal
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from types import FrameType
from typing import Any
from unittest import mock

from lxml import etree

from annotate.files.container import unpack
from annotate.files.stripping import strip
from annotate.files.writing import CARRIERS, SelfCheckError
from annotate.findings import InputError
from annotate.marking import Style
from annotate.pipeline import Looked, Options, annotate, look, strip_file
from annotate.reading.flute_parts import choose_part
from annotate.report import json_report, text
from annotate.score import Part
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import Instrument
from fingering_db.mechanism import hole_states
from fingering_db.nearby import Nearby
from fingering_db.pitch import Pitch
from fingering_db.ranking import Candidate, Found, Resonance

ACCEPTED, REFUSED, DIFFERENT = "accepted", "refused", "different"


class Broken(AssertionError):
    """A promise that was not kept; the message says which."""


class TooLongError(BaseException):
    """The time limit of a file has passed. Not an Exception, so that nothing takes it for an error of its own."""


@dataclass(frozen=True)
class Verdict:
    """accepted or refused; marks: whether anything was written into the file; told: the error's sentence."""

    outcome: str
    marks: bool = False
    told: str = ""


def judge(path: Path, options: Options | None = None, carrier: str = CARRIERS[0], diagrams: str = "changes") -> Verdict:
    """Run every stage on a file, writing beside it. Raises Broken, or whatever a stage lets escape."""
    before = path.read_bytes()
    _strip_alone(path)
    try:
        looked = _look(path, options or Options())
    except InputError as error:
        _one_line(error)
        return Verdict(REFUSED, told=str(error))
    finally:
        _same("the input", path.read_bytes(), before)
    for ascii_only in (False, True):
        printed = text.render(looked.result, ascii=ascii_only)
        _hold(not ascii_only or printed.isascii(), "the report is not ASCII")
    told = json.loads(json_report.render(looked.result))
    _hold(len(told["demands"]) == len(looked.result.decisions), "demands are missing from the JSON report")
    try:
        marks = _annotate(path, looked, options or Options(), carrier, diagrams)
    except SelfCheckError as error:
        raise Broken(str(error)) from error
    _same("the input", path.read_bytes(), before)
    return Verdict(ACCEPTED, marks)


def _annotate(path: Path, looked: Looked, options: Options, carrier: str, diagrams: str) -> bool:
    once, twice, clean = (path.with_name(f"{name}{path.suffix}") for name in ("once", "twice", "clean"))
    annotate(looked, once, in_place=False, style=Style(diagrams=diagrams, carrier=carrier))
    again = _look(once, options, like=looked)
    _hold(len(again.result.decisions) == len(looked.result.decisions), "marking changes what is demanded")
    annotate(again, twice, in_place=False, style=Style(diagrams=diagrams, carrier=carrier))
    _same("marking twice", twice.read_bytes(), once.read_bytes())
    strip_file(once, clean, in_place=False)
    _same("after strip the score", unpack(clean, clean.read_bytes()).data, looked.data)
    _same("after strip the rest", *(_others(each, looked.file.member) for each in (clean, path)))
    _well_formed(looked.data, unpack(once, once.read_bytes()).data)
    _hold(not list(path.parent.glob(".ventwise-*")), "a temporary file is left")
    return once.read_bytes() != path.read_bytes()


def _look(path: Path, options: Options, like: Looked | None = None) -> Looked:
    """Look at the flute parts; at the first part where there is none."""
    if like is not None:
        options = replace(options, parts=tuple(_selector(part, like.score.parts) for part in like.parts))
    try:
        return look(path, options)
    except InputError as error:
        if "no flute part" not in str(error) or options.parts:
            raise
    return look(path, replace(options, parts=("1",)))


def _selector(part: Part, parts: Sequence[Part]) -> str:
    """What names this part and no other: an id or a name may be blank, and an id may look like a number."""
    for selector in (part.id, str(part.number), part.name):
        with suppress(InputError):
            if choose_part(parts, selector).id == part.id:
                return selector
    raise AssertionError(f"nothing names part {part.number}")


def _strip_alone(path: Path) -> None:
    """Taking marks out reads less of a file, so it accepts more files; it must not trip over them either."""
    try:
        data = unpack(path, path.read_bytes()).data
        bare = strip(data)
    except InputError as error:
        _one_line(error)
        return
    _hold(strip(bare) == bare, "strip leaves marks")


def _well_formed(before: bytes, after: bytes) -> None:
    """What another parser accepts it must accept after marking too."""
    parser = etree.XMLParser(load_dtd=False, no_network=True, resolve_entities=False)
    try:
        old = etree.fromstring(before, parser)
    except (etree.XMLSyntaxError, ValueError):
        return
    new = etree.fromstring(after, parser)
    counts = [len(list(root.iter("{*}note"))) for root in (old, new)]
    _hold(counts[0] == counts[1], "another parser finds another number of notes")


def _others(path: Path, score: str) -> Any:
    """Members of an archive other than the score; nothing for a plain file."""
    raw = path.read_bytes()
    if not score:
        return ()
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        kept = [(info.orig_filename, info.date_time, info.compress_type, info.comment) for info in archive.infolist()]
        return kept, [(info.CRC, info.file_size) for info in archive.infolist() if info.filename != score]


def _one_line(error: InputError) -> None:
    _hold(bool(str(error)) and "Error(" not in str(error), f"not a sentence: {error!r}")


def _same(what: str, now: object, before: object) -> None:
    _hold(now == before, f"{what} is not what it was")


def _hold(kept: bool, broken: str) -> None:
    if not kept:
        raise Broken(broken)


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Raise TooLongError after so much processor time (main thread only)."""

    def stop(_: int, __: FrameType | None) -> None:
        raise TooLongError

    previous = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, previous)


@contextmanager
def invented_search() -> Iterator[None]:
    """Answers of an invented flute at once, decided by the pitches alone, instead of the search among all fingerings.

    The flute itself, its compass, its lip and its standard fingerings stay the real ones."""
    answers = {
        "annotate.choosing.desk._find": _invented_find,
        "annotate.choosing.desk._nearby": _invented_nearby,
        "annotate.choosing.slides._ways": lambda *_: (),
        "annotate.choosing.slides._by_slide": lambda *_: (),
    }
    patches = [mock.patch(name, answer) for name, answer in answers.items()]
    for patch in patches:
        patch.start()
    try:
        yield
    finally:
        for patch in patches:
            patch.stop()


_FINGERINGS = ("T 2 3 | Eb", "T 1 2 3 | 1 2 3 C", "2o 3 | 1 tr1", "T 1 | 1 Eb", "2 3 | 1 2 3")


@lru_cache(maxsize=64)
def _invented_fingerings(instrument: Instrument) -> tuple[Fingering, ...]:
    """Those of _FINGERINGS that a flute has."""
    found = []
    for one in map(Fingering.parse, _FINGERINGS):
        with suppress(FingeringError):
            hole_states(instrument, one)
            found.append(one)
    return tuple(found)


@lru_cache(maxsize=4096)
def _invented_find(of: Any, sounding: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float) -> Found:
    kind = round(sum(pitch.midi for pitch in sounding) * 4) % 4
    if not kind:
        return Found(0, ())
    off = (tolerance_cents * kind / 4.0,) * len(sounding)
    heard = tuple(Resonance(pitch.hz(a4_hz), 0.9, 14.0, 0.8, (20.0, 30.0)) for pitch in sounding)
    fingerings = _invented_fingerings(of.instrument)[:kind]
    return Found(
        1,
        tuple(Candidate(one, off, (14.0,) * len(off), 0.9, 0.2, False, 0.0, 3.0, lambda: heard) for one in fingerings),
    )


@lru_cache(maxsize=4096)
def _invented_nearby(of: Any, sounding: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float) -> tuple[Nearby, ...]:
    near = tuple(pitch.transposed(1.0) for pitch in sounding)
    best = _invented_find(of, near, tolerance_cents, a4_hz).best
    return tuple(Nearby(near, candidate, float(len(near))) for candidate in best)
