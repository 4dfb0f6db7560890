"""How easy a fingering is to hold."""

from __future__ import annotations

import numpy as np

from fingering_db.acoustics.arrays import RealArray
from fingering_db.fingering import Fingering
from fingering_db.instrument import Instrument
from fingering_db.mechanism import Reach, choices

# Effort of a touch, in units of one plainly pressed key: common practice, no source. A finger on the rim of a key must
# balance there; side, trill and low foot keys leave the home position.
_EFFORT = {"": 0.0, "G#": 1.5, "Tb": 1.2, "Bb": 1.6, "tr1": 1.8, "tr2": 1.8, "Eb": 0.5, "C#": 1.8, "C": 2.0, "B": 2.2}
_EFFORT |= {"gz": 2.4}
_PLAIN, _RIM, _VENT = 1.0, 2.5, 2.5


def touch_effort(touch: str) -> float:
    """Effort of one touch [pressed keys]."""
    if touch in _EFFORT:
        return _EFFORT[touch]
    return _PLAIN + _RIM * ("o" in touch) + _VENT * ("v" in touch)


def effort_of(fingering: Fingering) -> float:
    """Effort of one fingering [pressed keys]."""
    return sum(map(touch_effort, fingering.touches))


def efforts(instrument: Instrument, reach: Reach) -> RealArray:
    """Effort of every fingering, shape (n_fingerings,) [pressed keys]: the sum over its touches."""
    total = np.zeros(len(reach.placements))
    for finger, options in enumerate(choices(instrument)):
        effort = np.array([touch_effort(option.touch) for option in options])
        total += effort[reach.placements[:, finger]]
    return total


def easiest(reach: Reach, effort: RealArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """For each distinct sound the row of its easiest fingering, shape (n_sounds,); ties go to the first enumerated."""
    order = np.lexsort((effort, reach.sound))
    _, first = np.unique(reach.sound[order], return_index=True)
    return np.asarray(order[first], dtype=np.intp)
