"""How well a flute's model plays its standard fingerings."""

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import RealArray
from fingering_db.acoustics.resonance import Crossings, rising_zeros
from fingering_db.instrument import Instrument
from fingering_db.mechanism import chart_of, hole_states
from fingering_db.message import Message
from fingering_db.model import Model, grid_for
from fingering_db.pitch import Pitch
from fingering_db.sounding import Flute


@dataclass(frozen=True, slots=True)
class ChartDeviation:
    """A standard fingering and how far its nearest resonance lies from its note [cents], lip by the law."""

    pitch: Pitch
    fingering: str
    cents: float
    judged: bool


_FEWEST, _NEAR_CENTS = 8, 60.0
"""So many standard fingerings must sound near their notes: what plays and what not is learnt from them (playability.py), four
figures each time; ours."""
_STEP_MM = 4.0
_FARTHEST_CENTS = 60.0  # in one step: the highest notes move by some 20 cents, and resonances lie farther apart


def out_of_tune(instrument: Instrument) -> Message | None:
    """Why a flute cannot be used: a standard fingering that sounds nothing at all, or too few that sound near their notes. None
    for one that can."""
    flute, grid, chart = Flute(instrument, 0.0), grid_for(instrument), chart_of(instrument)
    states = np.array([hole_states(instrument, note.fingering) for note in chart])
    reactance = 1j * flute.lip_slope(grid) * flute.lip_law_m(grid)
    crossings = rising_zeros(flute.bore_impedance(states, grid) + reactance, grid)
    asked = np.array([note.pitch.transposed(instrument.transposition_semitones).hz(instrument.a4_hz) for note in chart])
    sounding = _nearest(crossings, asked)
    for note, hz in zip(chart, sounding, strict=True):
        if np.isnan(hz):
            return Message("flute_file.silent", pitch=note.pitch, fingering=note.fingering)
    near = int((np.abs(1200.0 * np.log2(sounding / asked)) < _NEAR_CENTS).sum())
    if near < _FEWEST:
        return Message("flute_file.out_of_tune", n=near, of=len(chart), cents=_NEAR_CENTS, least=_FEWEST)
    return None


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
