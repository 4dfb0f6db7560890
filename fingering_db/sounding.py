"""Where acoustics meets keys: the impedance of a flute for any state of its holes."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.air import Air, air_at
from fingering_db.acoustics.arrays import ComplexArray, RealArray, RealLike, StateArray
from fingering_db.acoustics.embouchure import lip_over_inertance
from fingering_db.acoustics.ends import open_end_admittance
from fingering_db.acoustics.hole import (
    HoleGeometry,
    Opening,
    closed_shunt,
    open_shunt,
    perforated_shunt,
    series_impedance,
)
from fingering_db.acoustics.tube import TwoPort, Wave, propagation, stopped_admittance, taper
from fingering_db.instrument import Hole, Instrument
from fingering_db.mechanism import OPEN, PERFORATION, PERFORATION_AND_VENT, SHUT, VENT

MM = 1e-3
C4_HZ = 440.0 * 2.0 ** (-9.0 / 12.0)


@dataclass(frozen=True, slots=True)
class HoleElement:
    """A hole in every state it can take: half its series impedance [Pa s/m³] and its shunt admittance [m³/(Pa s)].

    half_series, shunt: shape (5, *freq.shape), first index the state (OPEN..); NaN where the hole lacks the state.
    """

    half_series: ComplexArray
    shunt: ComplexArray

    def two_port(self, states: StateArray) -> TwoPort:
        """Chain matrices for states of shape (n,); entries of shape (n, *freq.shape)."""
        half, shunt = self.half_series[states], self.shunt[states]
        diagonal = 1.0 + half * shunt
        return TwoPort(diagonal, half * (1.0 + diagonal), shunt, diagonal)

    def carry(self, load: ComplexArray, states: StateArray) -> ComplexArray:
        """Admittance before the hole with `load` behind it; load of shape (n, *freq.shape), states (n,)."""
        return carried(load, self.half_series[states], self.shunt[states])


def carried(load: ComplexArray, half_series: ComplexArray, shunt: ComplexArray) -> ComplexArray:
    """Admittance before a hole with `load` behind it; shapes broadcast."""
    return _in_series(_in_series(load, half_series) + shunt, half_series)


def _in_series(admittance: ComplexArray, impedance: ComplexArray) -> ComplexArray:
    return admittance / (1.0 + admittance * impedance)


@dataclass(frozen=True, slots=True)
class Flute:
    """An instrument as an acoustic line. slide_mm: how far a telescoping head joint is drawn out (its tube added below
    the taper). All methods take frequencies of shape (m,) [Hz]."""

    instrument: Instrument
    slide_mm: float = 0.0

    @property
    def air(self) -> Air:
        """Air in the tube."""
        return air_at(self.instrument.temperature_c)

    @property
    def bore_m(self) -> float:
        """Radius of the body [m]."""
        return self.instrument.body.bore_mm / 2.0 * MM

    def spacing_m(self) -> list[float]:
        """Lengths of plain tube [m]: taper's end to first hole, hole to hole, last hole to the open end."""
        places = [self.instrument.head.taper_mm, *(hole.position_mm for hole in self.instrument.holes)]
        places.append(self.instrument.body.end_mm)
        lengths = [(after - before) * MM for before, after in itertools.pairwise(places)]
        lengths[0] += self.slide_mm * MM
        return lengths

    def lip_law_m(self, freq: RealLike) -> RealArray:
        """Equivalent length of the lip side [m] that the law gives for a single note at freq [Hz]."""
        lip = self.instrument.lip
        octaves = np.log2(np.asarray(freq) / C4_HZ)
        return np.asarray((lip.at_c4_mm + lip.per_octave_mm * octaves + lip.curve_mm * octaves**2) * MM)

    def lip_slope(self, freq: RealArray) -> RealArray:
        """ωρ/S [Pa s/m⁴]: reactance of the lip side per metre of equivalent length."""
        return np.asarray(2.0 * np.pi * freq * lip_over_inertance(self.air))

    def body_wave(self, freq: RealArray) -> Wave:
        """The wave in the body's plain tube, shared by all pieces between holes."""
        return propagation(freq, self.bore_m, self.air)

    def cone(self, freq: RealArray) -> TwoPort:
        """From the embouchure to the end of the head's taper."""
        head = self.instrument.head
        return taper(freq, head.taper_mm * MM, head.bore_at_embouchure_mm / 2 * MM, self.bore_m, self.air)

    def head_two_port(self, freq: RealArray) -> TwoPort:
        """From the embouchure to the first hole, the taper included."""
        return self.cone(freq).then(self.body_wave(freq).along(self.spacing_m()[0]))

    def cavity_admittance(self, freq: RealArray) -> ComplexArray:
        """Admittance of the tube between embouchure hole and stopper [m³/(Pa s)]."""
        head = self.instrument.head
        return stopped_admittance(freq, head.stopper_mm * MM, head.bore_at_embouchure_mm / 2 * MM, self.air)

    def open_end(self, freq: RealArray) -> ComplexArray:
        """Admittance of the open end [m³/(Pa s)]."""
        return open_end_admittance(freq, self.bore_m, self.air)

    def end_admittance(self, freq: RealArray) -> ComplexArray:
        """Admittance just below the last hole [m³/(Pa s)]."""
        return self.body_wave(freq).carry(self.open_end(freq), self.spacing_m()[-1])

    def elements(self, freq: RealArray, states: StateArray | None = None) -> tuple[HoleElement, ...]:
        """Every hole in every state, or only those among `states`, shape (n, n_holes). Holes of equal make share
        them."""
        makes: dict[tuple[float, ...], list[int]] = {}
        for index, hole in enumerate(self.instrument.holes):
            make = (
                hole.diameter_mm, hole.chimney_mm, hole.rim_mm, hole.pad_rise_mm, hole.pad_ratio,
                hole.perforation_mm, hole.vent_mm, hole.plate_mm,
            )  # fmt: skip
            makes.setdefault(make, []).append(index)
        found: dict[int, HoleElement] = {}
        for alike in makes.values():
            needed = set(range(5)) if states is None else set(states[:, alike].ravel().tolist())
            element = _element(freq, self.instrument.holes[alike[0]], self.bore_m, self.air, needed)
            found |= dict.fromkeys(alike, element)
        return tuple(found[index] for index in range(len(found)))

    def perforated(self, freq: RealArray, hole: Hole, sizes_mm: RealArray) -> ComplexArray:
        """Shunt admittance of a hole whose key is down with one opening of each of these sizes in it, shape (n, m)."""
        geometry = _geometry(hole, self.bore_m)
        opening = Opening(sizes_mm[:, None] / 2 * MM, hole.plate_mm * MM, geometry.pad_radius)
        return np.asarray(1.0 / perforated_shunt(freq, geometry, (opening,), self.air))

    def below_head(self, states: StateArray, freq: RealArray) -> ComplexArray:
        """Admittance just above the first hole, shape (n, m) [m³/(Pa s)]; states (n, n_holes), freq (m,)."""
        elements, spacing, wave = self.elements(freq, states), self.spacing_m(), self.body_wave(freq)
        admittance = self.end_admittance(freq) * np.ones((len(states), 1))
        for index in range(len(elements) - 1, -1, -1):
            admittance = elements[index].carry(admittance, states[:, index])
            if index > 0 and spacing[index] > 0.0:
                admittance = wave.carry(admittance, spacing[index])
        return admittance

    def bore_impedance(self, states: StateArray, freq: RealArray) -> ComplexArray:
        """Impedance at the embouchure of bore and stopper cavity side by side, without the lip side [Pa s/m³].

        states: shape (n, n_holes). freq: shape (m,) for every row, or (n, m) for frequencies of each row's own.
        Returns shape (n, m)."""
        if freq.ndim == 1:
            below = self.below_head(states, freq)
            return np.asarray(1.0 / (self.head_two_port(freq).admittance(below) + self.cavity_admittance(freq)))
        # Every (row, frequency) pair is a row with one frequency.
        flat, rows = freq.ravel(), np.repeat(states, freq.shape[1], axis=0)
        elements, spacing, wave = self.elements(flat, states), self.spacing_m(), self.body_wave(flat)
        admittance = self.end_admittance(flat)
        for index in range(len(elements) - 1, -1, -1):
            admittance = _carry_each(elements[index], admittance, rows[:, index])
            if index > 0 and spacing[index] > 0.0:
                admittance = wave.carry(admittance, spacing[index])
        at_embouchure = self.head_two_port(flat).admittance(admittance) + self.cavity_admittance(flat)
        return np.asarray(1.0 / at_embouchure).reshape(freq.shape)

    def drawn_out(self, states: StateArray, freq: RealArray, slides_mm: RealArray) -> ComplexArray:
        """Bore impedance of ONE row of states, shape (1, n_holes), at several slides, shape (n,): shape (n, m) [Pa
        s/m³].

        Only the tube above the first hole changes, so the rest is computed once. `slide_mm` of this flute is not
        added."""
        below, cone, wave = self.below_head(states, freq), self.cone(freq), self.body_wave(freq)
        plain = (self.instrument.holes[0].position_mm - self.instrument.head.taper_mm + slides_mm) * MM
        at_taper = wave.along(plain[:, None]).admittance(below)
        return np.asarray(1.0 / (cone.admittance(at_taper) + self.cavity_admittance(freq)))


def _carry_each(element: HoleElement, load: ComplexArray, states: StateArray) -> ComplexArray:
    """As HoleElement.carry where row i has just frequency i: load, states of shape (n,)."""
    column = np.arange(len(states))
    return carried(load, element.half_series[states, column], element.shunt[states, column])


def _geometry(hole: Hole, bore: float) -> HoleGeometry:
    return HoleGeometry(
        bore=bore,
        radius=hole.diameter_mm / 2 * MM,
        chimney=hole.chimney_mm * MM,
        rim=hole.rim_mm * MM,
        pad_radius=hole.pad_ratio * hole.diameter_mm / 2 * MM,
        pad_rise=hole.pad_rise_mm * MM,
    )


def _element(freq: RealArray, hole: Hole, bore: float, air: Air, needed: set[int]) -> HoleElement:
    """The hole in the states needed; NaN in the others."""
    geometry = _geometry(hole, bore)
    half_series = np.full((5, *freq.shape), np.nan, dtype=complex)
    shunt = half_series.copy()
    half_series[OPEN] = series_impedance(freq, geometry, air, is_open=True) / 2
    half_series[1:] = series_impedance(freq, geometry, air, is_open=False) / 2
    if OPEN in needed:
        shunt[OPEN] = 1.0 / open_shunt(freq, geometry, air)
    if SHUT in needed:
        shunt[SHUT] = 1.0 / closed_shunt(freq, geometry, air)
    for state, sizes in _small_openings(hole):
        if state not in needed:
            continue
        openings = tuple(Opening(size / 2 * MM, hole.plate_mm * MM, geometry.pad_radius) for size in sizes)
        shunt[state] = 1.0 / perforated_shunt(freq, geometry, openings, air)
    return HoleElement(half_series, shunt)


def _small_openings(hole: Hole) -> Sequence[tuple[int, tuple[float, ...]]]:
    """States with the key down and something open in it, with the diameters [mm] of what is open."""
    found: list[tuple[int, tuple[float, ...]]] = []
    if hole.perforation_mm:
        found.append((PERFORATION, (hole.perforation_mm,)))
    if hole.vent_mm:
        found.append((VENT, (hole.vent_mm,)))
    if hole.perforation_mm and hole.vent_mm:
        found.append((PERFORATION_AND_VENT, (hole.perforation_mm, hole.vent_mm)))
    return found
