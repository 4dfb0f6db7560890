"""How like one set of pitches is to another, for what is offered in its place: a composer keeps a note, the register, and
the kind of interval before counting semitones."""

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray

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
    return np.asarray(np.isin(np.round(notes[:, 1:] - notes[:, :1]), _HARMONICS).all(axis=1) & (notes.shape[1] > 1))


def _kind(semitones: RealArray) -> IndexArray:
    return np.searchsorted(_KINDS, semitones)
