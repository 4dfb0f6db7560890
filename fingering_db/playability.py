"""How surely a resonance sounds: a model with stated evidence, never a promise.

Two measures sort what is known, each beside the notes of the standard chart of the same flute at the same height, and each
counted as one at most. Relative modal amplitude r = a/(f1 E(f)): a = 2/(dX/dω) says how strongly the mode couples to the
embouchure, f1 is the fingering's lowest resonance, E(f) the smooth curve of the plain fingerings. Relative holding
h = holds/H(f): `holds` is the share of players' jets that hold the mode once it sounds (acoustics/jet.py, nothing fitted),
H(f) the smooth curve of the chart's notes. What counts is their mean: where the two disagree the answer is a doubt. One number
is fitted, where the strength passes one half; `python -m fingering_db.evidence` prints what is known, and what this and other
measures make of it.
"""

from dataclasses import dataclass, replace

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.acoustics.jet import Modes, broad_jets, held_share, padded, pair_share, stated_jets
from fingering_db.acoustics.resonance import Crossings

PLAYABLE_CONFIDENCE = 0.5  # at least this: expected to sound
DOUBTFUL_CONFIDENCE = 0.15  # at least this: may sound; below: not expected to
HIGHEST_PLAIN_HZ = 2200.0  # above, plain fingerings have too few resonances to tell the curve


@dataclass(frozen=True, slots=True)
class Size:
    """A flute's size against the flute in C: lengths (2 an octave below), and area of the bore. All limits of this module
    are those of the flute in C; a flute of another size is looked at as if it were that one (frequencies grow as 1/length,
    impedances as 1/area: similarity, derived; that players and their jets follow it is ours)."""

    length: float = 1.0
    area: float = 1.0

    def likened(self, crossings: Crossings) -> Crossings:
        """The crossings as they would be on a flute in C of the same shape."""
        return replace(
            crossings,
            hz=crossings.hz * self.length,
            slope=crossings.slope * (self.area / self.length),
            resistance=crossings.resistance * self.area,
        )


@dataclass(frozen=True, slots=True)
class PlainCurve:
    """What notes of the standard chart have, over frequency, likened to the flute in C by `size`. coefficients: E(f), log of
    a/f1 of plain fingerings as a cubic in f [kHz]; held: H(f), log of `holds` of the chart's notes as a cubic in octaves
    above 1 kHz; constant term first."""

    coefficients: tuple[float, float, float, float]
    held: tuple[float, float, float, float]
    size: Size = Size()

    def __call__(self, hz: RealArray) -> RealArray:
        """a/f1 of a plain fingering [m³/(Pa s²) / Hz] at hz; held constant above the range of the fit."""
        khz = np.minimum(hz, 1.25 * HIGHEST_PLAIN_HZ) / 1000.0
        return np.asarray(np.exp(np.polyval(self.coefficients[::-1], khz)))

    def holds(self, hz: RealArray) -> RealArray:
        """Share of the stated jets that hold a note of the chart at hz; constant beyond its lowest and highest note."""
        octaves = np.log2(np.clip(hz, *_CHART_HZ) / 1000.0)
        return np.asarray(np.exp(np.polyval(self.held[::-1], octaves)))


_CHART_HZ = (240.0, 2130.0)  # B3 to C7 of the flute in C


def fit_plain_curve(plain: Crossings, every: Crossings, is_note: BoolArray, size: Size) -> PlainCurve:
    """Both curves by least squares. plain: resonances of the first-register fingerings of a flute of this size; every: those
    of all fingerings of its chart; is_note: shape of `every`, which of them are the chart's notes."""
    like = size.likened(plain)
    ratio = np.log(like.modal_amplitude / lowest(like))
    used = like.hz < HIGHEST_PLAIN_HZ
    e = np.polynomial.polynomial.polyfit(like.hz[used] / 1000.0, ratio[used], 3)
    notes = size.likened(every)
    share = np.maximum(holding(notes, is_note).share[is_note], 1e-3)
    h = np.polynomial.polynomial.polyfit(np.log2(notes.hz[is_note] / 1000.0), np.log(share), 3)
    first, second = ((float(c[0]), float(c[1]), float(c[2]), float(c[3])) for c in (e, h))
    return PlainCurve(first, second, size)


@dataclass(frozen=True, slots=True)
class Holding:
    """Of each crossing: share of the stated jets that hold it, and their speeds from and to [m/s]; NaN for crossings that
    were not asked for, speeds also where no jet holds. Shape (n,)."""

    share: RealArray
    speed_low: RealArray
    speed_high: RealArray


def holding(like: Crossings, wanted: BoolArray | None = None) -> Holding:
    """What the jets make of the crossings wanted, shape of crossings; all without it. Crossings likened to the flute in C:
    speeds are the same on a flute of another size (frequency times length is)."""
    modes, place = modes_of(like)
    chosen = np.zeros(modes.hz.shape, dtype=bool)
    chosen[like.row, place] = True if wanted is None else wanted
    found = held_share(modes, stated_jets(), chosen)
    return Holding(*(part[like.row, place].astype(np.float64) for part in found))


def pairs(like: Crossings, wanted: BoolArray, rows: int) -> RealArray:
    """How easily two crossings of a row sound at once, the least over the pairs of those wanted, shape (rows,), NaN for
    rows with fewer than two: share of broad jets (acoustics/jet.py). Likened to the flute in C."""
    modes, place = modes_of(like, rows)
    chosen = np.zeros(modes.hz.shape, dtype=bool)
    chosen[like.row, place] = wanted
    asked = chosen[:, :, None] & chosen[:, None, :]
    own = np.arange(asked.shape[1])
    asked[:, own, own] = False
    least = np.where(asked, pair_share(modes, broad_jets(), chosen), np.inf).min(axis=(1, 2), initial=np.inf)
    return np.where(np.isfinite(least), least, np.nan)


def modes_of(like: Crossings, rows: int = 0) -> tuple[Modes, IndexArray]:
    """The crossings with one line per row, so many at least, and the place of each in its line."""
    place: IndexArray = np.arange(len(like.row)) - np.searchsorted(like.row, like.row, side="left")
    return padded(like, max(rows, int(like.row.max(initial=-1)) + 1)), place


def lowest(crossings: Crossings) -> RealArray:
    """For each crossing the lowest resonance of its row [Hz]."""
    first: IndexArray = np.searchsorted(crossings.row, crossings.row, side="left")
    return np.asarray(crossings.hz[first])


def relative_amplitude(crossings: Crossings, curve: PlainCurve) -> RealArray:
    """r of each crossing [1]: 1 for a plain tube, under about 0.6 for resonances that players do not report."""
    like = curve.size.likened(crossings)
    return np.asarray(like.modal_amplitude / (lowest(like) * curve(like.hz)))


def worth(crossings: Crossings, curve: PlainCurve, share: RealArray) -> RealArray:
    """Mean of r and h of each crossing [1], each counted as 1 at most: about 1 for a note of the chart. share: `Holding.share`
    of each."""
    r = np.minimum(relative_amplitude(crossings, curve), 1.0)
    h = np.minimum(share / curve.holds(crossings.hz * curve.size.length), 1.0)
    return np.asarray(0.5 * (r + h))


# Between the best of what is published as silent (0.66) and the weakest note of the chart (0.75); in-sample, see
# `python -m fingering_db.evidence` for what it makes of fingerings left out.
HALF_AT = 0.7
_WIDTH = 0.12  # of worth over which the strength goes from one half to .73: ours, a little more than that gap
_THIN = 0.04  # no resonance is surer than 1 - _THIN or less sure than _THIN: the evidence is a few dozen rows
_FADES_OVER_HZ = 400.0
_HIGHEST_PLAYED_HZ = 2600.0  # E7 of the flute in C: ours


def strength(crossings: Crossings, curve: PlainCurve, wanted: BoolArray | None = None) -> RealArray:
    """How surely each resonance sounds alone, 0 to 1, shape of crossings; under 0.5: not expected to. wanted: the same shape,
    NaN for the others; all without it."""
    like = curve.size.likened(crossings)
    at = worth(crossings, curve, holding(like, wanted).share)
    bounded = _THIN + (1.0 - 2.0 * _THIN) / (1.0 + np.exp((HALF_AT - at) / _WIDTH))
    # Above the plain fingerings' range nothing is known: towards the middle; far above, where no flute is played, to none.
    beyond = np.clip((like.hz - HIGHEST_PLAIN_HZ) / _FADES_OVER_HZ, 0.0, 1.0)
    played = np.clip((_HIGHEST_PLAYED_HZ + 2.0 * _FADES_OVER_HZ - like.hz) / (2.0 * _FADES_OVER_HZ), 0.0, 1.0)
    return np.asarray((0.5 + (bounded - 0.5) * (1.0 - 0.5 * beyond)) * played)
