"""The model's own sound of each fingering: as WAV files, and small enough to lie in a page."""

from __future__ import annotations

import base64
import math
from dataclasses import dataclass

import numpy as np

from annotate.model_sound import wave_file
from annotate.pack.entries import Answer
from fingering_db.acoustics.arrays import RealArray
from fingering_db.listening import listen

SECONDS = 1.2
PAGE_RATE = 16_000
"""[1/s] in the page: the model's resonances end at 2.6 kHz."""
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
    asked = blown.targets_hz if len(blown.targets_hz) > 1 else ()
    found = listen(answer.desk.model, blown.fingering, SECONDS, 0.0, asked, lip)
    return Heard(wave_file(found.samples, found.rate), _mulaw(_slower(found.samples, found.rate)))


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
