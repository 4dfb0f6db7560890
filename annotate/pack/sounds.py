"""The model's own sound of each fingering: as WAV files, and small enough to lie in a page."""

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from annotate.decision import PathPoint
from annotate.model_sound import wave_file
from annotate.pack.entries import Answer
from fingering_db.acoustics.arrays import RealArray
from fingering_db.listening import listen

SECONDS = 1.2
PAGE_RATE = 11_025
"""[1/s] in the page: the model's resonances end at 2.6 kHz, and what it gives above 4 kHz is taken away already."""
_BIAS, _CLIP = 132, 32635


@dataclass(frozen=True, slots=True)
class Heard:
    """A sound. wav: a file of 16 bits; mulaw: the same for a page, eight bits at PAGE_RATE, as text."""

    wav: bytes
    mulaw: str


def heard(answer: Answer) -> Heard | None:
    """The sound of an answer's fingering, its tones at once where a jet sounds them so; None without a fingering."""
    blown = answer.blown
    if blown is None:
        return None
    lip = blown.lip_m * 1e3 if math.isfinite(blown.lip_m) else None
    found = listen(answer.desk.model, blown.fingering, SECONDS, 0.0, blown.targets_hz, lip)
    path = answer.decision.path
    samples = _gliding(found.samples, found.rate, path) if len(path) > 1 and path[0].sounds else found.samples
    return Heard(wave_file(samples, found.rate), _mulaw(_slower(samples, found.rate)))


def _gliding(samples: RealArray, rate: int, path: Sequence[PathPoint]) -> RealArray:
    """The sound of the beginning, drawn to and fro in time so that its pitch goes the way of the path (of its first tone):
    held for a fifth of the time, gliding, held for a fifth. What the jet does on the way is not stepped."""
    t = np.clip((np.linspace(0.0, 1.0, len(samples)) - 0.2) / 0.6, 0.0, 1.0)
    ratio = [point.sounds[0].hz / path[0].sounds[0].hz if point.sounds else 1.0 for point in path]
    place = np.cumsum(np.interp(t, [point.t for point in path], ratio))
    # Read on a loop of the steady middle part, so that no end is run over.
    first, last = len(samples) // 3, 2 * len(samples) // 3
    span = last - first
    steady = _seamless(samples[first:last], samples[last : last + span // 8])
    drawn = np.interp(place % len(steady), np.arange(len(steady) + 1), np.append(steady, steady[0]))
    fade = np.clip(np.minimum(np.arange(len(drawn)), np.arange(len(drawn))[::-1]) / (0.03 * rate), 0.0, 1.0)
    return np.asarray(drawn * fade)


def _seamless(loop: RealArray, after: RealArray) -> RealArray:
    """A loop that begins as it goes on after its end: its first part is blended with what came after."""
    share = np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, len(after))) ** 2
    blended = loop.copy()
    blended[: len(after)] = loop[: len(after)] * share + after * (1.0 - share)
    return blended


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
