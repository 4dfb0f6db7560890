"""How easy a fingering is to hold."""

from __future__ import annotations

import numpy as np

from fingering_db.acoustics.arrays import RealArray
from fingering_db.fingering import Fingering
from fingering_db.instrument import Instrument
from fingering_db.mechanism import Reach, choices
from fingering_db.touches import FINGERS, HELD, Held

# On top of the touch's own effort, in units of one plainly pressed key: a finger on the rim of a key must balance there,
# a vent has a lever of its own. Common practice, no source.
_RIM, _VENT = 2.5, 2.5


def _effort(held: Held) -> float:
    return held.touch.effort + _RIM * held.hole_open + _VENT * held.vent_open


def effort_of(fingering: Fingering) -> float:
    """Effort of one fingering [pressed keys]."""
    return sum(map(_effort, fingering.held))


def efforts(instrument: Instrument, reach: Reach) -> RealArray:
    """Effort of every fingering, shape (n_fingerings,) [pressed keys]: the sum over its touches."""
    total = np.zeros(len(reach.placements))
    for column, (finger, options) in enumerate(zip(FINGERS, choices(instrument), strict=True)):
        effort = np.array([_effort(HELD[finger, one.touch]) if one.touch else 0.0 for one in options])
        total += effort[reach.placements[:, column]]
    return total


def easiest(reach: Reach, effort: RealArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """For each distinct sound the row of its easiest fingering, shape (n_sounds,); ties go to the first enumerated."""
    order = np.lexsort((effort, reach.sound))
    _, first = np.unique(reach.sound[order], return_index=True)
    return np.asarray(order[first], dtype=np.intp)
