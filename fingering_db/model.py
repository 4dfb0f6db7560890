"""Everything computed once for a flute: its fingerings, both halves of its tube on a grid, its plain curve."""

from dataclasses import dataclass, replace
from functools import lru_cache

import msgspec
import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, IndexArray, RealArray, StateArray
from fingering_db.acoustics.branches import between
from fingering_db.acoustics.resonance import Crossings, rising_zeros
from fingering_db.acoustics.tube import TwoPort
from fingering_db.chart import FIRST_REGISTER_TOP
from fingering_db.fingering import Fingering
from fingering_db.halves import Ends, HalfTables, Halves, halve, tabulate
from fingering_db.hand import easiest, efforts
from fingering_db.instrument import Instrument
from fingering_db.mechanism import Reach, chart_of, choices, hole_states, keys, reach
from fingering_db.playability import PlainCurve, Size, fit_plain_curve
from fingering_db.sounding import Flute
from fingering_db.store import Arrays, fetch

HIGHEST_HZ = 2600.0  # resonances are listed up to here; on a flute that sounds higher than written, as much higher
_GRID_CENTS = 6.0
_BORE_OF_FLUTE_IN_C_MM = 19.0


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """A flute made ready for questions. grid: shape (m,) [Hz]. easiest: shape (n_sounds,), a fingering's row for each
    distinct sound; effort: shape (n_fingerings,)."""

    flute: Flute
    reach: Reach
    halves: Halves
    grid: RealArray
    tables: HalfTables
    curve: PlainCurve
    effort: RealArray
    easiest: IndexArray

    @property
    def instrument(self) -> Instrument:
        """The instrument behind it."""
        return self.flute.instrument

    def drawn_out(self, states: StateArray, slide_mm: float, lips_m: RealArray | None = None) -> Crossings:
        """Resonances of rows of hole states, shape (n, n_holes), the head joint drawn out by slide_mm; the grid reaches as
        far down as the longer tube sounds."""
        flute, grid = replace(self.flute, slide_mm=slide_mm), grid_for(self.instrument, slide_mm)
        lips = flute.lip_law_m(grid) if lips_m is None else lips_m[:, None]
        return rising_zeros(flute.bore_impedance(states, grid) + 1j * flute.lip_slope(grid) * lips, grid)

    def resonances(self, bore: ComplexArray, lips_m: RealArray | None = None) -> Crossings:
        """Resonances of bore impedances on the grid, shape (n, m), with one lip per row, shape (n,) [m], or by the
        law."""
        lips = self.flute.lip_law_m(self.grid) if lips_m is None else lips_m[:, None]
        return rising_zeros(bore + 1j * self.flute.lip_slope(self.grid) * lips, self.grid)

    def crossings_at(
        self, sounds: IndexArray, lips_m: RealArray, number: IndexArray, hz: RealArray
    ) -> tuple[IndexArray, Crossings]:
        """(which of them, these as Crossings) of known resonances, shape (n,) [Hz], of rows `sounds` of `reach.states`, each row
        with one lip, `number` their row: what `resonances` gives, of these few points of the grid alone. Left out is what
        the grid does not see: at the very end of a branch the reactance just touches zero and is below it again."""
        growth = float(np.log(self.grid[1] / self.grid[0]))
        x = np.log(hz / self.grid[0]) / growth
        cell = np.minimum(x.astype(np.intp), len(self.grid) - 2)
        left = np.minimum(np.maximum(cell, 1), len(self.grid) - 3)
        own, columns = sounds[number], left + np.arange(-1, 3)[:, None]
        pressure, flow = self.tables.at(self.halves.upper_of[own], self.halves.lower_of[own], columns)
        needed = (pressure / flow).imag + self.flute.lip_slope(self.grid[columns]) * lips_m[number]
        here = cell - left + 1, np.arange(len(x))
        seen = np.flatnonzero((needed[here] < 0.0) & (needed[1:][here] >= 0.0))
        number, cell, hz = number[seen], cell[seen], hz[seen]
        z, dz = between(pressure[:, seen], flow[:, seen], x[seen] - left[seen])
        # The lip's reactance, which makes up for that of the bore, grows as the frequency.
        slope = (dz.imag - growth * z.imag) / (2.0 * np.pi * growth * hz)
        return seen, Crossings(number, cell, hz, slope, z.real)

    def pressure_and_flow(self, sounds: IndexArray) -> tuple[ComplexArray, ComplexArray]:
        """At the embouchure on the grid for rows of `reach.states`, shape (n, m) each; without poles (halves.py)."""
        return self.tables.pressure_and_flow(self.halves.upper_of[sounds], self.halves.lower_of[sounds])

    def bore(self, sounds: IndexArray) -> ComplexArray:
        """Bore impedance of rows of `reach.states` on the grid, shape (n, m) [Pa s/m³]."""
        return self.tables.impedance(self.halves.upper_of[sounds], self.halves.lower_of[sounds])


def highest_hz(instrument: Instrument) -> float:
    """Resonances are listed up to here [Hz]: 2.6 kHz, 5.2 on the piccolo."""
    return float(HIGHEST_HZ * 2.0 ** (max(instrument.transposition_semitones, 0) / 12.0))


def size_of(instrument: Instrument) -> Size:
    """Size against the flute in C (bore 19 mm)."""
    length = 2.0 ** (-instrument.transposition_semitones / 12.0)
    return Size(length, (instrument.body.bore_mm / _BORE_OF_FLUTE_IN_C_MM) ** 2)


def grid_for(instrument: Instrument, slide_mm: float = 0.0) -> RealArray:
    """The analysis grid [Hz], shape (m,): from well below the lowest resonance to above highest_hz, 6 cents apart. With the
    head joint drawn out it has further points below the same ones."""
    longest = instrument.body.end_mm * 1e-3 + 0.15 * max(
        size_of(instrument).length, 1.0
    )  # the long lip of a large flute
    lowest = 343.0 / (2.0 * longest)
    steps = np.ceil(1200.0 * np.log2(highest_hz(instrument) * 1.04 / lowest) / _GRID_CENTS)
    below = np.ceil(1200.0 * np.log2(1.0 + max(slide_mm, 0.0) * 1e-3 / longest) / _GRID_CENTS)
    return np.asarray(lowest * 2.0 ** (np.arange(-below, steps) * _GRID_CENTS / 1200.0))


@lru_cache(maxsize=16)
def model(instrument: Instrument, slide_mm: float = 0.0) -> Model:
    """The model of an instrument; built once, then kept in the user's cache folder."""
    flute, acoustic = Flute(instrument, slide_mm), _acoustic(instrument)
    if instrument != acoustic:
        return replace(model(acoustic, slide_mm), flute=flute)
    stored = fetch(_key(flute, "model"), lambda: _compute(flute))
    every = Reach(choices(instrument), stored["placements"], stored["states"], stored["sound"])
    halves = Halves(int(stored["cut"]), *(stored[name] for name in ("upper", "lower", "upper_of", "lower_of")))
    tables = HalfTables(TwoPort(*stored["above"]), Ends(*stored["below"]))
    plain, held = (tuple(map(float, row)) for row in stored["curve"])
    grid, effort = grid_for(instrument, slide_mm), efforts(instrument, every)
    curve = PlainCurve(
        (plain[0], plain[1], plain[2], plain[3]), (held[0], held[1], held[2], held[3]), size_of(instrument)
    )
    return Model(flute, every, halves, grid, tables, curve, effort, stored["easiest"])


def _key(flute: Flute, what: str) -> str:
    return f"{what} {flute.slide_mm!r} {acoustic_fingerprint(flute.instrument)}"


def _acoustic(instrument: Instrument) -> Instrument:
    """All of it that what it can sound depends on: a flute with a telescoping head joint at rest is the same."""
    return msgspec.structs.replace(instrument, name="", title="", remark="", slide=None)


def acoustic_fingerprint(instrument: Instrument) -> str:
    """A digest of all that what it can sound depends on."""
    return _acoustic(instrument).fingerprint()


def only(of: Model, sounds: IndexArray) -> Model:
    """The same flute with some rows of its `reach.states` alone; only its states, halves and tables are those of a flute, its
    fingerings stay those of the whole."""
    states, own, cut = of.reach.states[sounds], np.arange(len(sounds)), of.halves.cut
    halves = Halves(cut, states[:, :cut], states[:, cut:], own, own)
    above = TwoPort(*(entry[of.halves.upper_of[sounds]] for entry in of.tables.above))
    below = Ends(*(entry[of.halves.lower_of[sounds]] for entry in of.tables.below))
    return replace(of, reach=replace(of.reach, states=states), halves=halves, tables=HalfTables(above, below))


def sound_of(of: Model, fingering: Fingering) -> int:
    """Row of `reach.states` of a fingering. Raises FingeringError when the flute has no such touch."""
    return sound_of_states(of, hole_states(of.instrument, fingering))


def sound_of_states(of: Model, states: StateArray) -> int:
    """Row of `reach.states` that these states, shape (n_holes,), are."""
    return int(np.searchsorted(_keys(of), keys(states[None, :]))[0])


@lru_cache(maxsize=8)
def _keys(of: Model) -> IndexArray:
    return keys(of.reach.states)


def _compute(flute: Flute) -> Arrays:
    """Everything of a Model that takes time, as arrays."""
    every = reach(flute.instrument)
    halves = halve(every)
    grid = grid_for(flute.instrument, flute.slide_mm)
    tables = tabulate(flute, halves, grid)
    curve = _plain_curve(flute, grid)
    return {
        "placements": every.placements,
        "states": every.states,
        "sound": every.sound,
        "cut": np.array(halves.cut),
        "upper": halves.upper,
        "lower": halves.lower,
        "upper_of": halves.upper_of,
        "lower_of": halves.lower_of,
        "above": np.array(tables.above),
        "below": np.array(tables.below),
        "curve": np.array([curve.coefficients, curve.held]),
        "easiest": easiest(every, efforts(flute.instrument, every)),
    }


def _plain_curve(flute: Flute, grid: RealArray) -> PlainCurve:
    chart = chart_of(flute.instrument)
    states = np.array([hole_states(flute.instrument, note.fingering) for note in chart])
    reactance = 1j * flute.lip_slope(grid) * flute.lip_law_m(grid)
    impedance = flute.bore_impedance(states, grid) + reactance
    # First register: one tube each, no cross-fingering.
    plain = [row for row, note in enumerate(chart) if note.pitch.midi <= FIRST_REGISTER_TOP]
    every = rising_zeros(impedance, grid)
    shift = flute.instrument.transposition_semitones
    asked = np.array([note.pitch.transposed(shift).hz(flute.instrument.a4_hz) for note in chart])
    away = np.abs(np.log2(every.hz / asked[every.row]))
    nearest = np.full(len(chart), np.inf)
    np.minimum.at(nearest, every.row, away)
    is_note = (away == nearest[every.row]) & (away < _SAME_NOTE_CENTS / 1200.0)
    return fit_plain_curve(rising_zeros(impedance[plain], grid), every, is_note, size_of(flute.instrument))


_SAME_NOTE_CENTS = 60.0  # a resonance this near a note of the chart is that note
