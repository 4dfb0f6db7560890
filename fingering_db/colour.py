"""Another fingering of the same sound: which ones a finger or two away give it, and how different they are in colour."""

from dataclasses import replace

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.model import Model, sound_of
from fingering_db.pitch import Pitch
from fingering_db.ranking import Candidate, answers, candidates, looked_at
from fingering_db.setting import giving

ANOTHER_COLOUR_DB = 3.0
"""From here on two fingerings of a sound differ in colour: ours. On the chart of the flute in C an idle foot key makes less, a
key next to those that sound the note 4 dB and more."""

_MOST_FINGERS = 2
_HALVES = np.arange(
    1, 13
)  # of a pitch: its six lowest harmonics, and half-way between them what air noise makes audible


def colour_db(model: Model, one: Candidate, two: Candidate, targets_hz: tuple[float, ...]) -> float:
    """How far apart overtones are [dB]: rms, over multiples of half of each pitch, of the difference of the impedances at the
    embouchure, each beside that at the pitch itself; NaN for none. Where the impedance is low a harmonic, or the noise of the
    air, is strong (from memory: Wolfe, Smith, Tann & Fletcher 2001); that it may stand for colour is ours."""
    apart = _levels(model, one, targets_hz) - _levels(model, two, targets_hz)
    return float(np.sqrt(np.mean(apart[np.isfinite(apart)] ** 2)))


def _levels(model: Model, of: Candidate, targets_hz: tuple[float, ...]) -> RealArray:
    """Admittance at multiples of half of each pitch as this fingering sounds it, beside that at the pitch itself, shape (k, 12)
    [dB], NaN beyond the grid."""
    hz = np.array(targets_hz) * 2.0 ** (np.array(of.deviation_cents) / 1200.0)
    lip = of.lip_mm * 1e-3 if np.isfinite(of.lip_mm) else float(model.flute.lip_law_m(hz).mean())
    bore = model.bore(np.array([sound_of(model, of.fingering)]))[0]
    level = -20.0 * np.log10(np.abs(bore + 1j * model.flute.lip_slope(model.grid) * lip))
    at = np.interp(0.5 * hz[:, None] * _HALVES, model.grid, level, np.nan, np.nan)
    return np.asarray(at - at[:, 1:2])


def near_in_the_hand(
    model: Model, first: Candidate, targets: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float
) -> tuple[Candidate, ...]:
    """All other sounds within the tolerance that are one or two fingers away from a fingering, each held as near to it as can
    be; those that differ by an idle key too."""
    model, _ = giving(model, (targets,), tolerance_cents, a4_hz)
    found, reach = answers(model, targets, tolerance_cents, a4_hz), model.reach
    touches = [[option.touch for option in options] for options in reach.choices]
    own = np.array([row.index(touch) for row, touch in zip(touches, first.fingering.touches, strict=True)])
    moved = (reach.placements != own).sum(axis=1)
    near: IndexArray = np.flatnonzero((moved <= _MOST_FINGERS) & (reach.sound != sound_of(model, first.fingering)))
    near = near[np.lexsort((model.effort[near], moved[near], reach.sound[near]))]
    sounds, nearest = np.unique(reach.sound[near], return_index=True)
    _, at, held = np.intersect1d(found.rows, sounds, assume_unique=True, return_indices=True)
    rows = near[nearest[held]]
    if len(targets) > 1:
        found, _ = looked_at(model, found, at, np.array([pitch.hz(a4_hz) for pitch in targets]))
    pairs = zip(candidates(model, found, at), rows.tolist(), strict=True)
    return tuple(replace(one, fingering=reach.fingering(row), effort=float(model.effort[row])) for one, row in pairs)
