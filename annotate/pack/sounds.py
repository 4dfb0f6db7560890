"""The model's own sound of each fingering: as WAV files, and small enough to lie in a page."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from annotate.decision import PathPoint
from annotate.demand import Kind
from annotate.model_sound import wave_file
from annotate.pack.entries import Answer
from annotate.pack.figures import Blown, lips_at
from fingering_db.acoustics.arrays import RealArray
from fingering_db.acoustics.jet import Modes, padded
from fingering_db.listening import MOMENTS, Wanted, listen_all
from fingering_db.mechanism import hole_states
from fingering_db.model import Model
from fingering_db.track import Stage, sweep

SECONDS = 1.2
PAGE_RATE = 11_025
"""[1/s] in the page: the model's resonances end at 2.6 kHz, and what it gives above 4 kHz is taken away already."""
_BIAS, _CLIP = 132, 32635


_MOST_KEPT = 256


@dataclass(frozen=True, slots=True)
class Heard:
    """A sound. wav: a file of 16 bits; mulaw: the same for a page, eight bits at PAGE_RATE, as text."""

    wav: bytes
    mulaw: str


_kept: dict[tuple[object, ...], Heard] = {}


def heard(answers: Sequence[Answer]) -> list[Heard]:
    """The sound of each answer with a fingering, all on one flute, its tones at once where a jet sounds them so. Those of
    before are remembered: a score that is watched changes little."""
    keys = {_key(one, one.blown): (one, one.blown) for one in answers if one.blown}
    new = [key for key in keys if key not in _kept]
    found = listen_all(answers[0].desk.model, [_wanted(*keys[key]) for key in new], SECONDS) if new else []
    for key, one in zip(new, found, strict=True):
        _kept[key] = Heard(wave_file(one.samples, one.rate), _mulaw(_slower(one.samples, one.rate)))
    made = [_kept[_key(one, one.blown)] for one in answers if one.blown]
    for key in list(_kept)[: max(len(_kept) - _MOST_KEPT, 0)]:
        del _kept[key]
    return made


def _key(answer: Answer, own: Blown) -> tuple[object, ...]:
    return answer.desk.model.instrument, own.fingering, own.targets_hz, answer.decision.path, SECONDS


def _wanted(answer: Answer, own: Blown) -> Wanted:
    """Resonances of a fingering, or along a path: of its fingerings with the lip at which the first tone is where the path has
    it, the air as much faster as that tone is higher. A tremolo goes to and fro."""
    path, model = answer.decision.path, answer.desk.model
    if len(path) < 2 or not all(point.sounds for point in path):
        return Wanted(own.modes, own.targets_hz)
    to_and_fro = answer.decision.demand.kind in (Kind.TREMOLO, Kind.TIMBRAL_TRILL)
    at = np.arange(MOMENTS) // 2 % 2 * (len(path) - 1) if to_and_fro else np.linspace(0.0, len(path) - 1.0, MOMENTS)
    points = [path[round(one)] for one in at]
    hz = np.interp(at, np.arange(len(path)), [point.sounds[0].hz for point in path])
    bore = sweep(model, [_stage(model, point) for point in points])
    size = model.curve.size
    modes = padded(size.likened(model.resonances(bore, lips_at(answer.desk, bore, hz))), MOMENTS)
    if not to_and_fro:
        modes = _in_line(modes, hz * size.length)
    return Wanted(modes, tuple(sound.hz for sound in path[0].sounds), tuple((hz / hz[0]).tolist()))


def _in_line(modes: Modes, hz: RealArray) -> Modes:
    """Rows whose n-th is the same resonance, that at hz, shape (n_rows,), in one column, also where a lower one comes into
    reach."""
    number = np.nanargmin(np.abs(modes.hz - hz[:, None]), axis=1)
    at = np.arange(modes.hz.shape[1]) + (number - number.min())[:, None]
    last = modes.hz.shape[1] - 1
    parts = (modes.hz, modes.amplitude, modes.resistance)
    return Modes(
        *(np.where(at <= last, np.take_along_axis(one, np.minimum(at, last), axis=1), np.nan) for one in parts)
    )


def _stage(model: Model, point: PathPoint) -> Stage:
    """The flute at a point of a path."""
    touches = {
        option.touch.removesuffix("o"): name
        for options in model.reach.choices
        for option in options
        for name in option.uncovers
    }
    index = {hole.name: number for number, hole in enumerate(model.instrument.holes)}
    rolling = tuple((index[touches.get(touch, touch)], share) for touch, share in point.open if 0.0 < point.t < 1.0)
    return Stage(hole_states(model.instrument, point.fingering), point.slide_mm, rolling)


def _slower(samples: RealArray, rate: int) -> RealArray:
    """The same at PAGE_RATE: what lies above half of that is left out, by the Fourier transform."""
    spectrum = np.fft.rfft(samples)
    count = round(len(samples) * PAGE_RATE / rate)
    return np.asarray(np.fft.irfft(spectrum[: count // 2 + 1], count) * (count / len(samples)))


def _mulaw(samples: RealArray) -> str:
    """Eight bits a sample, after ITU-T G.711 (mu-law), as base64."""
    whole = np.clip(np.round(samples * 32768), -_CLIP, _CLIP).astype(np.int64)
    size = np.abs(whole) + _BIAS
    exponent = np.floor(np.log2(size)).astype(np.int64) - 7
    mantissa = (size >> (exponent + 3)) & 15
    byte = ~(np.where(whole < 0, 128, 0) | (exponent << 4) | mantissa) & 255
    return base64.b64encode(byte.astype(np.uint8).tobytes()).decode()
