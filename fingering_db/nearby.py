"""What could be played instead: the nearest sets of pitches that a search really finds."""

import hashlib
import itertools
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray, distinct
from fingering_db.model import Model, acoustic_fingerprint
from fingering_db.model import model as at_rest
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import Candidate, find, first_of_each, told_first
from fingering_db.store import Arrays, fetch, let_go
from fingering_db.survey import atlas

KEPT_SEMITONES = 0.5  # a note moved by no more keeps its quarter-tone and its spelling
FARTHEST = 14.0
"""Sets that differ by more are not offered: ours."""

# In semitones: ours.
_NONE_KEPT, _OTHER_REGISTER, _OTHER_KIND = 3.0, 4.0, 1.5
_REGISTER_SEMITONES = 6.0
# Least semitones of each kind of interval: unison, seconds, thirds, fourths and fifths, sixths, sevenths, octave, ninths,
# tenths, wider.
_KINDS = np.array([0.5, 2.5, 4.5, 7.5, 9.5, 11.5, 12.5, 14.5, 16.5])
_HARMONICS = np.round(12.0 * np.log2(np.arange(2, 9)))  # of a whole-number multiple, to the nearest semitone


def moved(notes: RealArray, asked: RealArray) -> RealArray:
    """Semitones that each note is away, 0 where it is kept; notes of shape (n, k), asked of shape (k,), MIDI numbers. A note
    alone is never kept: beside a quarter-tone the two semitones around it are what is nearest."""
    away = np.abs(notes - asked)
    return np.asarray(np.where((away <= KEPT_SEMITONES) & (len(asked) > 1), 0.0, away))


def difference(notes: RealArray, asked: RealArray) -> RealArray:
    """How unlike sets are to the one asked for, shape (n,) [semitones]: semitones moved, more where no note is kept, for each
    note that leaves its register, and for each interval between neighbours that becomes another kind."""
    away = moved(notes, asked)
    others = _NONE_KEPT * ((away > 0).all(axis=1) & (notes.shape[1] > 1))
    registers = _OTHER_REGISTER * (away > _REGISTER_SEMITONES).sum(axis=1)
    kinds = _OTHER_KIND * np.abs(_kind(np.diff(notes, axis=1)) - _kind(np.diff(asked))).sum(axis=1)
    return np.asarray(away.sum(axis=1) + others + registers + kinds)


def harmonic(notes: RealArray) -> BoolArray:
    """Sets whose notes are all whole-number multiples of the lowest, to the nearest semitone: heard as one note, shape (n,)."""
    apart = np.round(notes[:, 1:] - notes[:, :1])
    return np.asarray((apart[:, :, None] == _HARMONICS).any(axis=2).all(axis=1) & (notes.shape[1] > 1))


def _holds_an_octave(notes: RealArray) -> BoolArray:
    """Sets two of whose notes are octaves apart, shape (n,): those two are heard as one."""
    pairs = itertools.combinations(range(notes.shape[1]), 2)
    return np.asarray(np.any([(notes[:, two] - notes[:, one]) % 12 == 0 for one, two in pairs], axis=0))


def _kind(semitones: RealArray) -> IndexArray:
    return np.searchsorted(_KINDS, semitones)


_MOST_SKIPPED = 2
_SPEED_OF_SOUND = 343.0  # m/s
_NOTES = 256  # more than there are MIDI numbers
_MOST_TRIALS = 40  # sets to search for before giving up; one search takes a few hundredths of a second


@dataclass(frozen=True, slots=True)
class Nearby:
    """A set of pitches near the one asked for, and the fingering that sounds it. moved: semitones in all."""

    pitches: tuple[Pitch, ...]
    candidate: Candidate
    moved: float


def nearby(
    model: Model,
    targets: tuple[Pitch, ...],
    tolerance_cents: float,
    a4_hz: float = 440.0,
    wanted: int = 3,
    *,
    doubtful_too: bool = False,
) -> tuple[Nearby, ...]:
    """The nearest sets that are within the tolerance and expected to sound, most like the one asked for first; may be
    empty. None is one note and its harmonics. doubtful_too: where there is none, those that may sound.

    targets: sounding pitches. Proposals come from the strong resonances of every fingering (atlas), to the nearest
    semitone; each is then searched for with one lip, and only what the search finds is returned."""
    least = DOUBTFUL_CONFIDENCE if doubtful_too else PLAYABLE_CONFIDENCE
    found: list[Nearby] = []
    doubtful: list[Nearby] = []
    for away, pitches in _proposals(model, tuple(sorted(targets, key=lambda pitch: pitch.midi)), a4_hz):
        best = _best(model, pitches, tolerance_cents, a4_hz, least)
        if best is None or best.one_note or best.confidence < least:
            continue
        (found if best.confidence >= PLAYABLE_CONFIDENCE else doubtful).append(Nearby(pitches, best, away))
        if len(found) == wanted:
            break
    return tuple(found or doubtful[:wanted])


@lru_cache(maxsize=1 << 12)  # one set is near many
def _best(
    model: Model, pitches: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float, least: float
) -> Candidate | None:
    asked = (tolerance_cents, a4_hz, model.flute.slide_mm)
    if len(pitches) in _KEPT_SIZES and asked == (_KEPT_TOLERANCE, model.instrument.a4_hz, 0.0):
        kept, numbers = _kept(model, len(pitches))
        notes = tuple(pitch.midi for pitch in pitches)
        if notes in numbers:
            number = numbers[notes]
            return None if number is None else told_first(model, kept, number)
    found = find(model, pitches, tolerance_cents, a4_hz, limit=1, least=least).best
    let_go()
    return found[0] if found else None


_KEPT_SIZES, _KEPT_TOLERANCE = (2, 3), 30.0
_DECIDE = ("idle", "nearby", "ranking", "search", "setting")  # what is kept, beside what decides an atlas


@lru_cache(maxsize=16)
def _kept(model: Model, count: int) -> tuple[Arrays, dict[tuple[float, ...], int | None]]:
    """The first answer to every set of so many notes that may be proposed, computed once for a flute, some seconds (`store`):
    with the numbers of all sets, None for one without."""
    a4_hz = model.instrument.a4_hz
    notes = _sets_of_notes(model, count, a4_hz)
    offered = [tuple(one) for one in notes.tolist()]
    code = hashlib.sha256(b"".join(Path(__file__).with_name(f"{name}.py").read_bytes() for name in _DECIDE)).hexdigest()

    def compute() -> Arrays:
        sets = [tuple(map(Pitch.from_midi, one)) for one in offered]
        return first_of_each(model, sets, _KEPT_TOLERANCE, a4_hz)

    kept = fetch(f"sets of {count} {acoustic_fingerprint(model.instrument)} {code}", compute)
    found = {offered[of]: number for number, of in enumerate(kept["set"].tolist())}
    return kept, dict.fromkeys(offered) | found


def _proposals(model: Model, targets: tuple[Pitch, ...], a4_hz: float) -> list[tuple[float, tuple[Pitch, ...]]]:
    """(semitones moved, pitches) for the sets of resonances that single fingerings offer, most like first (likeness.py),
    without repeats."""
    midi = np.array([pitch.midi for pitch in targets])
    notes = _sets_of_notes(model, len(targets), a4_hz)
    away, unlike = moved(notes, midi), difference(notes, midi)
    offered = (away > 0).any(axis=1) & (unlike <= FARTHEST)
    notes, away, unlike = notes[offered], away[offered], unlike[offered]
    order = np.lexsort((away.max(axis=1), (away > 0).sum(axis=1), unlike))[:_MOST_TRIALS]
    return [(float(away[row].sum()), _spelled(notes[row], away[row], targets)) for row in order]


@lru_cache(maxsize=32)
def _sets_of_notes(model: Model, count: int, a4_hz: float) -> RealArray:
    """Every set of `count` strong resonances of one fingering, to the nearest semitone, shape (n, count), low to high; none of
    one note and its harmonics, or with an octave in it.

    Sets may leave out up to _MOST_SKIPPED strong resonances in between."""
    every = atlas(at_rest(model.instrument))
    strong = np.flatnonzero(every.law_strength >= PLAYABLE_CONFIDENCE)
    row, hz = every.sound[strong], every.hz(every.law_cents[strong].astype(float))
    if model.flute.slide_mm:
        # About as the lowest tone falls when half its wavelength grows so much; the search finds what these really give.
        lowest = every.hz(np.fmin.reduceat(every.law_cents, every.starts[:-1]).astype(float))
        hz = hz / (1.0 + 2.0 * model.flute.slide_mm * 1e-3 / _SPEED_OF_SOUND * lowest[row])
    note = np.round(69.0 + 12.0 * np.log2(hz / a4_hz)).astype(np.int64)
    digits = _NOTES ** np.arange(count - 1, -1, -1, dtype=np.int64)  # one number for a set: sorts faster than rows
    found = []
    for rest in itertools.combinations(range(1, count + _MOST_SKIPPED), count - 1):
        offsets = np.array((0, *rest))
        first = np.arange(len(row) - offsets[-1])
        first = first[row[first] == row[first + offsets[-1]]]
        found.append(distinct(sum(note[first + offset] * digit for offset, digit in zip(offsets, digits, strict=True))))
    sets = np.asarray(distinct(np.concatenate(found))[:, None] // digits % _NOTES, dtype=float)
    return sets[(np.diff(sets, axis=1) > 0).all(axis=1) & ~harmonic(sets) & ~_holds_an_octave(sets)]


def _spelled(notes: RealArray, away: RealArray, targets: tuple[Pitch, ...]) -> tuple[Pitch, ...]:
    return tuple(
        Pitch.from_midi(float(note)) if move else pitch for note, move, pitch in zip(notes, away, targets, strict=True)
    )
