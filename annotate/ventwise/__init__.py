"""What a flute can play of a score, and what a fingering sounds: ventwise from Python.

>>> import ventwise
>>> best = ventwise.find(["C5", "D6"])[0]
>>> [round(cents) for cents in best.deviation_cents], 0.0 <= best.confidence <= 1.0
([..., ...], True)
>>> [str(sound.pitch.name) for sound in ventwise.sounds("T 2 3 | Eb")[:3]]
['C5', 'A5', 'D6']

Everything that comes back is a frozen value; its docstring tells shapes and units. Texts are `Message` values that `say` puts
into words. Pitches are `Pitch`, fingerings `Fingering`; `str()` gives what is typed. What could not be looked at raises
`InputError` with one line that says what, where, and what was expected; what cannot be played is a result, no error.
Predictions are for a model flute: try every fingering on an instrument before it goes to print.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, TypeAlias

import numpy as np

from annotate import pipeline, questions
from annotate.answers import FoundFingering, Shifted, Way
from annotate.choosing.desk import Desk
from annotate.choosing.desks import DEFAULT_FLUTE, desk
from annotate.decision import Decision, Result, Sound, Status
from annotate.demand import Kind
from annotate.files.container import ScoreFile, load, unpack
from annotate.findings import Finding, InputError
from annotate.language import words
from annotate.marking import DEFAULT, Style
from annotate.report import json_report, text
from fingering_db.acoustics.arrays import ComplexArray, RealArray, StateArray
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.mechanism import hole_states
from fingering_db.message import Message
from fingering_db.pitch import Pitch

if TYPE_CHECKING:
    from music21.stream import Stream as _Stream

    Stream = _Stream[Any]

__all__ = [
    "Decision", "Finding", "Fingering", "FoundFingering", "InputError", "Kind", "Message", "ModelFlute", "Pitch", "Result",
    "Score", "Shifted", "Sound", "Status", "Style", "Way", "annotate", "check", "find", "glide", "load_flute", "report", "say",
    "shifts", "sounds", "strip",
]  # fmt: skip

Score: TypeAlias = "str | os.PathLike[str] | bytes | IO[bytes] | Stream"
"""A score: a path, the bytes of a file, a file open for reading bytes, or a music21 stream."""


@dataclass(frozen=True, slots=True)
class ModelFlute:
    """A flute ready to be asked: hand it to any function here as `flute`. source: the name or file it came from; a4_hz: tuning
    of the pitches asked for [Hz]."""

    source: str
    desk: Desk

    @property
    def name(self) -> str:
        """Its name, as in its file."""
        return self.desk.name

    @property
    def a4_hz(self) -> float:
        """Tuning of the pitches asked for [Hz]."""
        return self.desk.a4_hz

    def impedance(self, fingering: str | Fingering, freq_hz: RealArray, slide_mm: float = 0.0) -> ComplexArray:
        """Input impedance of the bore at the embouchure hole [Pa s/m³], stopper cavity included, lip side left out.

        freq_hz: shape (m,), above 0 [Hz]. slide_mm: how far the head joint is drawn out [mm]. Returns shape (m,). The flute
        sounds near its minima, pulled down by the lip. Raises InputError for no fingering of this flute.

        >>> import numpy as np, ventwise
        >>> curve = ventwise.load_flute().impedance("T 2 3 | Eb", np.linspace(200.0, 2000.0, 901))
        >>> curve.shape, bool(np.isfinite(curve).all())
        ((901,), True)
        """
        flute = self.desk.model.flute
        states = _states(self, fingering)
        freq = np.asarray(freq_hz, dtype=np.float64)
        if slide_mm:
            return np.asarray(flute.drawn_out(states, freq, np.array([slide_mm]))[0])
        return np.asarray(flute.bore_impedance(states, freq)[0])


def _states(flute: ModelFlute, fingering: str | Fingering) -> StateArray:
    try:
        held = Fingering.parse(fingering) if isinstance(fingering, str) else fingering
        return hole_states(flute.desk.model.instrument, held)[None, :]
    except FingeringError as error:
        raise InputError(error.message) from error


def load_flute(flute: str | os.PathLike[str] = DEFAULT_FLUTE, *, a4_hz: float | None = None) -> ModelFlute:
    """A flute by name, or from a file that describes one. a4_hz: tuning [Hz]; its own where None. Raises InputError.

    >>> import ventwise
    >>> ventwise.load_flute("alto").name
    'alto'
    """
    source = os.fspath(flute)
    return ModelFlute(source, desk(source, a4_hz))


def _flute(flute: ModelFlute | str | os.PathLike[str] | None) -> ModelFlute:
    return flute if isinstance(flute, ModelFlute) else load_flute(flute or DEFAULT_FLUTE)


def find(
    pitches: Sequence[str | Pitch],
    flute: ModelFlute | str | os.PathLike[str] | None = None,
    *,
    tolerance_cents: float = 30.0,
    limit: int = 10,
) -> tuple[FoundFingering, ...]:
    """Fingerings that sound these pitches together, best first; empty where none does.

    pitches: sounding pitches as text (`C5`, `Bb4`, `C5+50` a quarter-tone up) or `Pitch`, at least one. tolerance_cents: how far
    each may be off [cents]. limit: how many at most. Raises InputError for a text that is no pitch.

    >>> import ventwise
    >>> all(max(map(abs, one.deviation_cents)) <= 20.0 for one in ventwise.find(["C5", "D6"], tolerance_cents=20.0))
    True
    >>> ventwise.find(["C5", "C5"])
    Traceback (most recent call last):
    ...
    annotate.findings.InputError: C5 C5: the same pitch twice (C5); expected different ones
    """
    return questions.find(_flute(flute).desk, tuple(map(str, pitches)), tolerance_cents, limit).found


def sounds(
    fingering: str | Fingering, flute: ModelFlute | str | os.PathLike[str] | None = None, *, slide_mm: float = 0.0
) -> tuple[Sound, ...]:
    """Every resonance of a fingering up to 2.6 kHz, lowest first, with the lip that suits each. slide_mm: how far the head
    joint is drawn out [mm]. Raises InputError for a text that is no fingering of this flute.

    >>> import ventwise
    >>> lowest = ventwise.sounds("T 1 2 3 | 1 2 3 C")[0]
    >>> lowest.pitch.name, lowest.strength > 0.5
    ('C4', True)
    """
    return questions.sounds(_flute(flute).desk, str(fingering), slide_mm).sounds


def glide(
    start: Sequence[str | Pitch],
    end: Sequence[str | Pitch],
    flute: ModelFlute | str | os.PathLike[str] | None = None,
    *,
    tolerance_cents: float = 30.0,
) -> tuple[Way, ...]:
    """Ways to slide from some sounding pitches to as many others without a jump, best first; empty where there is none.

    Raises InputError for texts that are no pitches, or as many to slide to.

    >>> import ventwise
    >>> [way.means for way in ventwise.glide(["C5"], ["B4"], "open-hole-b-slide")][:1]
    ['slide']
    """
    one, other = (" ".join(map(str, pitches)) for pitches in (start, end))
    return questions.glide(_flute(flute).desk, one, other, tolerance_cents).ways


def shifts(pattern: str | Fingering, flute: ModelFlute | str | os.PathLike[str] | None = None) -> tuple[Shifted, ...]:
    """Every place along the tube, from the top, at which a pattern (`small 4`, or that of a fingering) can or cannot stand.

    Raises InputError for a text that is neither, or a fingering without a pattern.

    >>> import ventwise
    >>> len([place for place in ventwise.shifts("small 4") if place.reachable])
    6
    """
    return questions.shifts([_flute(flute).desk], str(pattern))[0].places


def check(
    score: Score,
    flute: ModelFlute | str | os.PathLike[str] | Sequence[str] | None = None,
    *,
    parts: Sequence[str] = (),
    chords: str = "auto",
    tolerance_cents: float | None = None,
    a4_hz: float | None = None,
    decisions: str | os.PathLike[str] | None = None,
) -> Result:
    """What of a score can be played: a decision for each demand, and findings.

    score: a path, the bytes of a MusicXML file (plain or compressed), a file open for reading bytes, or a music21 stream (which
    music21 writes out; it is then read as any file). flute: for every flute part; None: as each part tells; several names: each
    demand once per flute, the first decides. parts: names, ids or numbers from 1; empty: every flute part. chords: 'auto',
    'multiphonic', 'players' or 'voice'. tolerance_cents: 30, for microtones 20, where None. decisions: the
    file of players' decisions; None: the one beside the score, if there is one. Raises InputError.

    >>> import ventwise
    >>> result = ventwise.check("examples/glides/slack-tide.musicxml", parts=["1"])
    >>> {str(decision.status) for decision in result.decisions} <= {"playable", "doubtful", "unplayable"}
    True
    """
    return _look(score, flute, parts, chords, tolerance_cents, a4_hz, decisions).result


def annotate(
    score: Score,
    out: str | os.PathLike[str],
    flute: ModelFlute | str | os.PathLike[str] | Sequence[str] | None = None,
    *,
    parts: Sequence[str] = (),
    chords: str = "auto",
    tolerance_cents: float | None = None,
    a4_hz: float | None = None,
    decisions: str | os.PathLike[str] | None = None,
    style: Style = DEFAULT,
    in_place: bool = False,
) -> Result:
    """Check a score, and write it with diagrams and technique notes to `out`; no other byte of it changes.

    Arguments as in `check`. out: a path with the ending of the score's kind (.mxl for compressed scores); the score itself only
    with in_place. style: when diagrams are drawn again and how, which notes, where the legend, in which language.
    Raises InputError, and then nothing is written.
    """
    looked = _look(score, flute, parts, chords, tolerance_cents, a4_hz, decisions)
    return pipeline.annotate(looked, Path(out), in_place=in_place, style=style)


def strip(score: str | os.PathLike[str], out: str | os.PathLike[str], *, in_place: bool = False) -> None:
    """Write a score without our marks to `out`, byte for byte as it was before. Raises InputError, and then nothing is
    written."""
    pipeline.strip_file(Path(score), Path(out), in_place=in_place)


def say(message: Message | str, language: str = "en") -> str:
    """A message of a result in words. Raises InputError for a language that is not there.

    >>> import ventwise
    >>> way = ventwise.glide(["C5"], ["B4"], "open-hole-b-slide")[0]
    >>> ventwise.say(way.why).startswith("The slide goes from")
    True
    """
    return words(language).say(message)


def report(result: Result, form: str = "text", language: str = "en") -> str:
    """A result as the command line prints it. form: 'text', within 80 columns, or 'json', which is the same in every
    language. Raises InputError for a language that is not there, ValueError for another form."""
    if form not in ("text", "json"):
        raise ValueError(f"form '{form}': expected text or json")
    return json_report.render(result) if form == "json" else text.render(result, language=language)


def _look(
    score: Score,
    flute: ModelFlute | str | os.PathLike[str] | Sequence[str] | None,
    parts: Sequence[str],
    chords: str,
    tolerance_cents: float | None,
    a4_hz: float | None,
    decisions: str | os.PathLike[str] | None,
) -> pipeline.Looked:
    if isinstance(flute, ModelFlute):
        named: tuple[str, ...] = (flute.source,)
        a4_hz = a4_hz or flute.a4_hz
    elif flute is None or isinstance(flute, str | os.PathLike):
        named = (os.fspath(flute),) if flute else ()
    else:
        named = tuple(flute)
    options = pipeline.Options(
        flutes=named,
        a4_hz=a4_hz,
        parts=tuple(map(str, parts)),
        chords=chords,
        tolerance_cents=tolerance_cents,
        decisions=Path(decisions) if decisions else None,
    )
    return pipeline.look_at(_score_file(score), options)


def _score_file(score: Score) -> ScoreFile:
    if isinstance(score, str | os.PathLike):
        return load(Path(score))
    if isinstance(score, bytes):
        return _of_bytes(score, "")
    if hasattr(score, "read"):
        raw, name = score.read(), getattr(score, "name", "")
        if not isinstance(raw, bytes):
            raise InputError("the score is open as text: expected a file opened for reading bytes ('rb')")
        return _of_bytes(raw, name if isinstance(name, str) else "")
    try:
        from music21.musicxml.m21ToXml import GeneralObjectExporter
    except ImportError as error:
        raise InputError(f"a score of type {type(score).__name__}: expected a path, bytes or an open file") from error
    if not hasattr(score, "elements"):
        raise InputError(f"a score of type {type(score).__name__}: expected a path, bytes, an open file or a stream")
    return _of_bytes(GeneralObjectExporter(score).parse(), "")


def _of_bytes(raw: bytes, name: str) -> ScoreFile:
    usual = "score.mxl" if raw.startswith(b"PK") else "score.musicxml"
    return unpack(Path(name or usual), raw)
