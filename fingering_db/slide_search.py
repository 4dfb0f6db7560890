"""With which settings of a telescoping head joint sounds give pitches, tried for many settings at once.

Only the tube above the first hole changes with the joint. Pressure p and flow u at the first hole belong to the sound, and what
the lip must be follows from |p|², |u|² and p u* by two products with coefficients of the setting: matrix products over all sounds
and settings. Nothing is kept for a setting, unlike for the joint at rest (survey.py)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.halves import HalfTables, below_head
from fingering_db.model import Model

_SAMPLE_CENTS = 20.0  # a resonance is wider than this


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """Frequencies around one pitch, shape (m,), and coefficients of (|p|², |u|², Re p u*, Im p u*) for numerator and denominator
    of the lip at each setting, shape (m, n_settings, 4) each."""

    tables: HalfTables
    above: RealArray
    below: RealArray

    def lips(self, model: Model, sounds: IndexArray) -> tuple[RealArray, RealArray]:
        """Shortest and longest lip [m] of a resonance within the window, shape (n, n_settings) each: where the lip falls from one
        frequency to the next. Of several stretches the deepest counts; longest < shortest where there is none."""
        p, u = self.tables.pressure_and_flow(model.halves.upper_of[sounds], model.halves.lower_of[sounds])
        across = p * u.conj()
        terms = np.stack([np.abs(p) ** 2, np.abs(u) ** 2, across.real, across.imag], axis=1).transpose(2, 1, 0)
        needed = (self.above @ terms) / (self.below @ terms)  # (m, n_settings, n)
        falls = needed[1:] < needed[:-1]
        whole = falls.all(axis=0)
        begins, ends = np.where(whole, needed[0], -np.inf), np.where(whole, needed[-1], np.inf)
        # Where it does not fall all the way, only the stretch that falls deepest is taken.
        part = np.nonzero(falls.any(axis=0) & ~whole)
        needed, falls = needed[:, *part], falls[:, *part]
        deepest = np.argmax(np.where(falls, needed[:-1] - needed[1:], -np.inf), axis=0)
        column = np.arange(len(deepest))
        begins[part], ends[part] = needed[deepest, column], needed[deepest + 1, column]
        return ends.T, begins.T


@dataclass(frozen=True, slots=True, eq=False)
class Settings:
    """Some pitches on a flute with its joint at many settings, ready to be asked about sounds. bounds_m: of the one lip [m]."""

    model: Model
    windows: tuple[Window, ...]
    bounds_m: tuple[float, float]

    @classmethod
    def of(
        cls,
        model: Model,
        targets_hz: RealArray,
        tolerance_cents: float,
        bounds_m: tuple[float, float],
        slides_mm: RealArray,
    ) -> Settings:
        """Windows of the tolerance on both sides of each pitch [Hz]; settings as Flute.slide_mm."""
        samples = 2 * max(int(np.ceil(tolerance_cents / _SAMPLE_CENTS)), 1) + 1
        offsets = np.linspace(-tolerance_cents, tolerance_cents, samples)
        windows = tuple(_window(model, hz * 2.0 ** (offsets / 1200.0), slides_mm) for hz in targets_hz)
        return cls(model, windows, bounds_m)

    def lips(self, sounds: IndexArray) -> RealArray:
        """The lip [m] with which each sound gives all pitches within the tolerance at each setting, shape (n, n_settings); NaN
        where none: the middle of those that do."""
        least, most = (np.asarray(bound) for bound in self.bounds_m)
        for window in self.windows:
            shortest, longest = window.lips(self.model, sounds)
            least, most = np.maximum(least, shortest), np.minimum(most, longest)
        middle, found = np.full(np.shape(least), np.nan), least <= most
        middle[found] = 0.5 * (least[found] + most[found])
        return middle


def _window(model: Model, freq: RealArray, slides_mm: RealArray) -> Window:
    flute = model.flute
    plain = flute.spacing_m()[0] + slides_mm * 1e-3
    head = flute.cone(freq).then(flute.body_wave(freq).along(plain[:, None]))
    cavity = flute.cavity_admittance(freq)
    a, b, c, d = head.a, head.b, head.c + cavity * head.a, head.d + cavity * head.b
    slope = flute.lip_slope(freq)
    # L = -Im(P U*)/(|U|² ωρ/S) with P = a p + b u, U = c p + d u
    ad, bc = a * d.conj(), b * c.conj()
    above = np.stack([(a * c.conj()).imag, (b * d.conj()).imag, ad.imag + bc.imag, ad.real - bc.real], axis=-1)
    cd = c * d.conj()
    below = np.stack([np.abs(c) ** 2, np.abs(d) ** 2, 2.0 * cd.real, -2.0 * cd.imag], axis=-1)
    below *= -slope[:, None]
    return Window(below_head(flute, model.halves, freq), *(np.moveaxis(one, 1, 0) for one in (above, below)))
