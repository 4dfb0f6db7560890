"""What sounds in a recording of single tones and multiphonics with silence between: where each tone is, and its pitches.

No general pitch tracker: which note is meant is known, so its partials are looked for where they must be. A partial is a peak
of the spectrum (window of Hann, parabola through the logarithm of the peak and its neighbours), found by scipy. Blown tones are
periodic: all partials tell the same frequency, and they are taken together by their power. Needs scipy (in the extra `fit`).

Limits: one flute alone, half a second of each tone at least, steady; silence between tones longer than the room rings; vibrato
and bends come out as their middle; of a multiphonic the loudest tones, which need not be those that were meant (the simulation
sounds four or five). Tried on the simulation's sound with noise and an invented room, on no real recording."""

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, RealArray

SHORTEST_S = 0.3
"""Shorter sounds are taken for clicks and keys."""
_FRAME_S, _BELOW_DB, _GAP_S = 0.02, 22.0, 0.12
_WINDOW_S, _PAD = 0.19, 4
_NEAR_CENTS, _PARTIALS = 160.0, 4
_OVER_NOISE_DB = 14.0
_BEGIN, _END = 0.3, 0.85  # of a tone that is listened to: neither its attack nor what the room keeps of it
_LOWEST_HZ, _HIGHEST_HZ = 100.0, 4500.0


@dataclass(frozen=True, slots=True)
class ToneSpan:
    """From and to [s]."""

    begin: float
    end: float


@dataclass(frozen=True, slots=True)
class HeardPitch:
    """hz: the pitch that was meant, or where nothing is near it the loudest; NaN for none. unsteady_cents: how far it wanders
    (half of the middle half of all windows). is_near: whether it is that meant."""

    hz: float
    unsteady_cents: float
    is_near: bool


def tones(samples: RealArray, rate: int) -> tuple[ToneSpan, ...]:
    """Where tones sound, in order. samples: shape (n,); rate [1/s]."""
    size = max(int(_FRAME_S * rate), 1)
    count = len(samples) // size
    if not count:
        return ()
    level = np.sqrt(np.mean(samples[: count * size].reshape(count, size) ** 2, axis=1) + 1e-20)
    db = 20.0 * np.log10(level)
    floor = float(np.percentile(db, 10))
    loud = db > max(float(np.percentile(db, 98)) - _BELOW_DB, floor + 6.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], loud, [False]]).astype(np.int8)))
    begins, ends = edges.reshape(-1, 2).T
    apart = (begins[1:] - ends[:-1]) * _FRAME_S >= _GAP_S
    first, last = (
        begins[np.append(True, apart)[: len(begins)]].tolist(),
        ends[np.append(apart, True)[: len(ends)]].tolist(),
    )
    long = (span for span in zip(first, last, strict=True) if (span[1] - span[0]) * _FRAME_S >= SHORTEST_S)
    return tuple(ToneSpan(begin * _FRAME_S, end * _FRAME_S) for begin, end in long)


def near(samples: RealArray, rate: int, tone: ToneSpan, hz: float) -> HeardPitch:
    """The pitch of a tone that is meant to have this frequency [Hz]."""
    freq, spectra = _spectra(samples, rate, tone)
    found = [_periodic(freq, spectrum, hz) for spectrum in spectra]
    there = np.array([one for one in found if np.isfinite(one)])
    if 2 * len(there) >= len(found) and len(there):
        return HeardPitch(float(np.median(there)), _wandering(there), True)
    loudest = np.array([_loudest(freq, spectrum) for spectrum in spectra] or [np.nan])
    return HeardPitch(float(np.median(loudest)), _wandering(loudest), False)


def strongest(samples: RealArray, rate: int, tone: ToneSpan, most: int = 3) -> tuple[tuple[float, float], ...]:
    """The loudest partials of a tone that are no whole multiples of a louder one among them: (frequency [Hz], level under the
    loudest [dB]), at most `most`, from the lowest up. In a multiphonic these are its notes, or what they make together."""
    freq, spectra = _spectra(samples, rate, tone)
    if not len(spectra):
        return ()
    mean = np.sqrt(np.mean(spectra**2, axis=0))
    found: list[tuple[float, float]] = []
    peaks = sorted((_refined(freq, mean, int(at)) for at in _peaks(freq, mean)), key=lambda one: -one[1])
    for hz, level in peaks:
        if level < peaks[0][1] - _BELOW_DB or len(found) == most:
            break
        if not any(_is_multiple(hz, other) for other, _ in found):
            found.append((hz, level))
    return tuple(sorted((hz, level - peaks[0][1]) for hz, level in found))


def _is_multiple(hz: float, of: float) -> bool:
    ratio = hz / of
    return round(ratio) >= 1 and abs(1200.0 * np.log2(ratio / round(ratio))) < 20.0


def _spectra(samples: RealArray, rate: int, tone: ToneSpan) -> tuple[RealArray, RealArray]:
    """Frequencies [Hz], and magnitudes of windows over the steady part of a tone, shape (n_windows, n_freq)."""
    length = tone.end - tone.begin
    first, last = (int((tone.begin + share * length) * rate) for share in (_BEGIN, _END))
    size = min(int(_WINDOW_S * rate), last - first)
    starts = range(first, last - size + 1, max(size // 2, 1))
    window = np.hanning(size)
    frames = np.array([samples[start : start + size] * window for start in starts if start + size <= len(samples)])
    if not len(frames):
        return np.zeros(0), np.zeros((0, 0))
    whole = 1 << int(np.ceil(np.log2(_PAD * size)))
    freq: RealArray = np.asarray(np.fft.rfftfreq(whole, 1.0 / rate), dtype=float)
    return freq, np.abs(np.fft.rfft(frames, whole, axis=1)) + 1e-12


def _peaks(freq: RealArray, magnitude: RealArray) -> IndexArray:
    """Places of peaks that stand out of the noise around them."""
    from scipy.signal import find_peaks

    db = 20.0 * np.log10(magnitude)
    inside = (freq >= _LOWEST_HZ) & (freq <= _HIGHEST_HZ)
    found, _ = find_peaks(np.where(inside, db, -300.0), height=np.median(db[inside]) + _OVER_NOISE_DB, prominence=8.0)
    return np.asarray(found)


def _refined(freq: RealArray, magnitude: RealArray, at: int) -> tuple[float, float]:
    """Frequency [Hz] and level [dB] of a peak, by the parabola through its logarithm."""
    one, two, three = (20.0 * np.log10(magnitude[at + k]) for k in (-1, 0, 1))
    bend = one - 2.0 * two + three
    off = 0.5 * (one - three) / bend if bend else 0.0
    return float((at + off) * (freq[1] - freq[0])), float(two - 0.25 * (one - three) * off)


def _periodic(freq: RealArray, magnitude: RealArray, hz: float) -> float:
    """The frequency near `hz` that the partials of a tone tell [Hz]; NaN where its first partial is not there."""
    peaks = [_refined(freq, magnitude, int(at)) for at in _peaks(freq, magnitude)]
    told, power = [], []
    for number in range(1, _PARTIALS + 1):
        wanted = number * hz
        own = [(level, one / number) for one, level in peaks if abs(1200.0 * np.log2(one / wanted)) <= _NEAR_CENTS]
        if number == 1 and not own:
            return float("nan")
        if own:
            level, one = max(own)
            told.append(one)
            power.append(10.0 ** (level / 10.0) * number**2)  # the higher a partial, the more finely it tells its pitch
    first = told[0]
    same = [at for at, one in enumerate(told) if abs(1200.0 * np.log2(one / first)) < 15.0]
    return float(np.average([told[at] for at in same], weights=[power[at] for at in same]))


def _loudest(freq: RealArray, magnitude: RealArray) -> float:
    peaks = [_refined(freq, magnitude, int(at)) for at in _peaks(freq, magnitude)]
    return max(peaks, key=lambda one: one[1])[0] if peaks else float("nan")


def _wandering(hz: RealArray) -> float:
    low, high = np.percentile(hz, (25, 75))
    return float(600.0 * np.log2(high / low)) if np.isfinite(hz).all() else float("nan")
