"""A flute with other dimensions that is still in tune: whoever makes a flute puts the holes where the first register asks
for them, so an error of a dimension shows where the first register does not tell it."""

from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import RealArray
from fingering_db.chart import FIRST_REGISTER_TOP, ChartNote
from fingering_db.fitting import chart_cents, hole_places, trills, with_hole_places
from fingering_db.instrument import Instrument
from fingering_db.mechanism import chart_of, has_touches

_STEP_MM = 0.5
_ROUNDS = 2  # the second moves by less than a tenth of a millimetre
_RIDGE = 1e-3  # [cents per mm] keeps a hole that no note tells where it is


def anchors(instrument: Instrument) -> tuple[ChartNote, ...]:
    """The notes that place the holes: the first register, and the trills that this flute's keys can play."""
    first = [note for note in chart_of(instrument) if note.pitch.midi <= FIRST_REGISTER_TOP]
    return (*first, *(trill for trill in trills() if has_touches(instrument, trill.fingering)))


def retuned(changed: Instrument, like: Instrument) -> Instrument:
    """`changed` with holes and end moved so that first register and trills sound as they do on `like`."""
    notes = anchors(like)
    if not notes:
        return changed
    wanted, jacobian = _moved_by_holes(like)
    for _ in range(_ROUNDS):
        changed = with_hole_places(
            changed, hole_places(changed) + _step(jacobian, wanted - chart_cents(changed, notes))
        )
    return changed


@lru_cache(maxsize=8)  # one flute is put in tune again with one dimension after the other in error
def _moved_by_holes(instrument: Instrument) -> tuple[RealArray, RealArray]:
    """Cents of each anchor, and how far each moves with each hole and the end, shape (n_notes, n_places) [cents per mm]."""
    notes, start = anchors(instrument), hole_places(instrument)
    wanted = chart_cents(instrument, notes)
    columns = [chart_cents(with_hole_places(instrument, start + step), notes) for step in _STEP_MM * np.eye(len(start))]
    return wanted, (np.stack(columns, axis=1) - wanted[:, None]) / _STEP_MM


def _step(jacobian: RealArray, missing: RealArray) -> RealArray:
    """Least squares with a ridge: shape (n_places,) [mm] for missing cents of shape (n_notes,)."""
    count = jacobian.shape[1]
    matrix = np.concatenate([jacobian, _RIDGE * np.eye(count)])
    return np.asarray(np.linalg.lstsq(matrix, np.concatenate([missing, np.zeros(count)]), rcond=None)[0])
