"""How well a flute's model plays its standard fingerings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

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


def chart_deviations(of: Model, slide_mm: float = 0.0) -> tuple[ChartDeviation, ...]:
    """One row for each note of the flute's chart, low to high (written pitch), the head joint drawn out by slide_mm:
    the resonance nearest to the note where it is at rest."""
    notes = chart_of(of.instrument)
    states = np.array([hole_states(of.instrument, note.fingering) for note in notes])
    crossings = of.resonances(of.flute.bore_impedance(states, of.grid))
    drawn = (
        of.resonances(replace(of.flute, slide_mm=slide_mm).bore_impedance(states, of.grid)) if slide_mm else crossings
    )
    rows = []
    for number, note in enumerate(notes):
        sounding = note.pitch.transposed(of.instrument.transposition_semitones)
        cents = 1200.0 * np.log2(crossings.hz[crossings.row == number] / sounding.hz(of.instrument.a4_hz))
        mode = int(np.abs(cents).argmin())
        moved = 1200.0 * np.log2(drawn.hz[drawn.row == number] / sounding.hz(of.instrument.a4_hz))
        rows.append(ChartDeviation(note.pitch, str(note.fingering), float(moved[mode]), note.judged))
    return tuple(rows)
