"""How far each computed resonance may lie from the played one: an error band of its own for every fingering.

A resonance stands where the reactance X is zero, so a dimension that is wrong by its standard deviation moves it by
-ΔX/(dX/dω): ΔX is the difference of two whole models, one of them with that dimension changed on every hole that has it
and then put in tune again (retuning.py). Both are tabulated once on the grid; a resonance costs a few products.

To first order in the error; a test moves the dimensions and searches again. Dimensions and their standard deviations:
data/uncertainty.toml. What no dimension explains stays in the model's own error, which is the same everywhere.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import msgspec
import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.halves import HalfTables, tabulate
from fingering_db.instrument import Hole, Instrument
from fingering_db.model import Model
from fingering_db.retuning import retuned
from fingering_db.sounding import Flute
from fingering_db.uncertainty import Dimension, dimensions, lip_sigma_mm

WIDEST_CENTS = 100.0
"""No band is told wider: a resonance moved farther may be another one, or none. Ours."""

_BORE_OF_FLUTE_IN_C_MM = 19.0
_CENTS = 1200.0 / np.log(2.0)


@lru_cache(maxsize=128)  # each is put in tune again, which takes a tenth of a second
def with_error(instrument: Instrument, dimension: Dimension) -> Instrument | None:
    """The flute with one dimension smaller by its standard deviation and in tune again; None where no hole has it.
    Smaller, for then every hole and opening still fits what it lies in."""
    less = dimension.sigma_mm * instrument.body.bore_mm / _BORE_OF_FLUTE_IN_C_MM

    def changed(hole: Hole) -> Hole:
        values = {field: getattr(hole, field) for field in dimension.fields}
        return msgspec.structs.replace(hole, **{field: value - min(less, value / 2) for field, value in values.items()})

    holes = tuple(map(changed, instrument.holes))
    small = any(hole.perforation_mm or hole.vent_mm for hole in holes)
    if holes == instrument.holes or (dimension.of_small_openings and not small):
        return None
    return retuned(msgspec.structs.replace(instrument, holes=holes), instrument)


@dataclass(frozen=True, slots=True, eq=False)
class Errors:
    """A flute with one dimension after the other in error. names: of the dimensions. Tables are made of one at a time: those of a
    large flute take much room."""

    model: Model
    names: tuple[str, ...]
    flutes: tuple[Flute, ...]

    def moved_cents(self, sounds: IndexArray, crossings: Crossings) -> Iterator[RealArray]:
        """How far each error moves each crossing, shape (n_crossings,) [cents].

        sounds: shape (n_rows,), which row of `reach.states` each row of the crossings is."""
        left = np.minimum(crossings.left, len(self.model.grid) - 2)
        step = np.log(self.model.grid[1] / self.model.grid[0])
        share = np.clip(np.log(crossings.hz / self.model.grid[left]) / step, 0.0, 1.0)
        base = self._reactance(self.model.tables, sounds[crossings.row], left, share)
        per_log = crossings.slope * 2.0 * np.pi * crossings.hz
        for flute in self.flutes:
            tables = tabulate(flute, self.model.halves, self.model.grid)
            moved = base - self._reactance(tables, sounds[crossings.row], left, share)
            yield np.asarray(_CENTS * moved / per_log)

    def lip_cents_per_mm(self, crossings: Crossings) -> RealArray:
        """How far a millimetre less of lip (equivalent length) raises each crossing, shape (n_crossings,) [cents]."""
        per_log = crossings.slope * 2.0 * np.pi * crossings.hz
        return np.asarray(_CENTS * 1e-3 * self.model.flute.lip_slope(crossings.hz) / per_log)

    def own_cents(self, sounds: IndexArray, crossings: Crossings) -> RealArray:
        """Errors of dimensions and lip together (sum of squares), shape (n_crossings,) [cents], at most WIDEST_CENTS."""
        lip = self.lip_cents_per_mm(crossings) * lip_sigma_mm() * _lip_scale(self.model.instrument)
        squares = lip**2
        for moved in self.moved_cents(sounds, crossings):
            squares += moved**2
        return np.asarray(np.minimum(np.sqrt(squares), WIDEST_CENTS))

    def _reactance(self, tables: HalfTables, sounds: IndexArray, left: IndexArray, share: RealArray) -> RealArray:
        """Between two points of the grid, shape (n,) each [Pa s/m³]."""
        found = np.empty(len(sounds))
        for start in range(0, len(sounds), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            own, columns = sounds[part], left[part] + np.array([[0], [1]])
            pressure, flow = tables.at(self.model.halves.upper_of[own], self.model.halves.lower_of[own], columns)
            low, high = (pressure / flow).imag
            found[part] = low + share[part] * (high - low)
        return found


_AT_ONCE = 1 << 14  # crossings: bounds memory


def _lip_scale(instrument: Instrument) -> float:
    """Length against that of a flute in C, over area: as the lip law grows (family.py)."""
    wide = instrument.body.bore_mm / _BORE_OF_FLUTE_IN_C_MM
    return float(2.0 ** (-instrument.transposition_semitones / 12.0) / wide**2)


def errors(of: Model) -> Errors:
    """The flute with each dimension in error."""
    found = [(one.name, with_error(of.instrument, one)) for one in dimensions()]
    flutes = [(name, Flute(wrong, of.flute.slide_mm)) for name, wrong in found if wrong is not None]
    return Errors(of, tuple(name for name, _ in flutes), tuple(flute for _, flute in flutes))
