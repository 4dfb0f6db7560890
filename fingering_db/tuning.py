"""How well a flute's model plays its standard fingerings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.mechanism import chart_of, hole_states
from fingering_db.model import Model
from fingering_db.pitch import Pitch


@dataclass(frozen=True, slots=True)
class ChartDeviation:
    """A standard fingering and how far its nearest resonance lies from its note [cents], lip by the law."""

    pitch: Pitch
    fingering: str
    cents: float
    judged: bool


_STEP_MM = 4.0
_FARTHEST_CENTS = 60.0  # in one step: the highest notes move by some 20 cents, and resonances lie farther apart


def chart_deviations(of: Model, slide_mm: float = 0.0) -> tuple[ChartDeviation, ...]:
    """One row for each note of the flute's chart, low to high (written pitch), the head joint drawn out by slide_mm:
    the resonance nearest to the note where it is at rest, followed as the joint is drawn; NaN where the fingering has none, or it
    is lost on the way."""
    notes = chart_of(of.instrument)
    shift, a4_hz = of.instrument.transposition_semitones, of.instrument.a4_hz
    asked = np.array([note.pitch.transposed(shift).hz(a4_hz) for note in notes])
    states = np.array([hole_states(of.instrument, note.fingering) for note in notes])
    hz, lost = _nearest(of.drawn_out(states, 0.0), asked), np.zeros(len(notes), dtype=bool)
    for drawn in np.linspace(0.0, slide_mm, int(np.ceil(abs(slide_mm) / _STEP_MM)) + 1)[1:]:
        before, hz = hz, _nearest(of.drawn_out(states, float(drawn)), hz)
        lost |= np.abs(1200.0 * np.log2(hz / before)) > _FARTHEST_CENTS
    hz[lost] = np.nan
    return tuple(
        ChartDeviation(note.pitch, str(note.fingering), float(cents), note.judged)
        for note, cents in zip(notes, 1200.0 * np.log2(hz / asked), strict=True)
    )


def _nearest(crossings: Crossings, hz: RealArray) -> RealArray:
    """For each row the resonance nearest to a frequency of its own, shape (n,) [Hz]; NaN where there is none."""
    own = (crossings.hz[crossings.row == row] for row in range(len(hz)))
    pairs = zip(own, hz, strict=True)
    return np.array([each[np.abs(np.log(each / near)).argmin()] if len(each) else np.nan for each, near in pairs])
