"""Which part of the flute decides how far the first two resonances of the E6 fingering lie apart on a flute with split E.

`python tests/references/mode_spacing.py` (project root on the path) prints it: one dimension of one hole after the other
is changed, the flute is put in tune again, and the resonances are looked up on the whole model. The figures stand in
fingering_db/data/SOURCES.md."""

from collections.abc import Iterator

import msgspec
import numpy as np

from fingering_db.acoustics.resonance import rising_zeros
from fingering_db.fingering import Fingering
from fingering_db.instrument import Instrument, load
from fingering_db.mechanism import SHUT, hole_states
from fingering_db.model import grid_for
from fingering_db.retuning import retuned
from fingering_db.sounding import Flute

E6 = "T 1 2 | 1 2 Eb"
STEPS = {"diameter_mm": -1.0, "chimney_mm": 0.5, "pad_rise_mm": -0.5}


def resonances(of: Instrument, lip_mm: float | None = None) -> np.ndarray:
    """Resonances [Hz] of the E6 fingering with split E: the upper plate of the G sharp pair is shut by R2."""
    states = hole_states(of, Fingering.parse(E6))
    states[[hole.name for hole in of.holes].index("G#4")] = SHUT
    grid, flute = grid_for(of), Flute(of)
    lip = flute.lip_law_m(grid) if lip_mm is None else lip_mm * 1e-3
    return rising_zeros(flute.bore_impedance(states[None, :], grid) + 1j * flute.lip_slope(grid) * lip, grid).hz


def spacing_cents(hz: np.ndarray) -> float:
    """From the first resonance to the second."""
    return float(1200.0 * np.log2(hz[1] / hz[0]))


def derivatives(like: Instrument) -> Iterator[tuple[str, str, float]]:
    """(hole, dimension, cents the spacing grows) for each step of STEPS on one hole of a flute that is put in tune again."""
    base = spacing_cents(resonances(like))
    for at, hole in enumerate(like.holes):
        for field, step in STEPS.items():
            changed = msgspec.structs.replace(hole, **{field: getattr(hole, field) + step})
            holes = (*like.holes[:at], changed, *like.holes[at + 1 :])
            tuned = retuned(msgspec.structs.replace(like, holes=holes), like)
            yield hole.name, field, spacing_cents(resonances(tuned)) - base


if __name__ == "__main__":
    flute = load("open-hole-b")
    print(f"spacing by the law {spacing_cents(resonances(flute)):.0f} cents")
    for lip in (35.0, 45.0, 55.0):
        print(f"  with one lip of {lip:.0f} mm {spacing_cents(resonances(flute, lip)):.0f}")
    for name, field, grows in derivatives(flute):
        if abs(grows) >= 0.5:
            print(f"  {name:<8} {field} {STEPS[field]:+.1f}: {grows:+.1f} cents")
