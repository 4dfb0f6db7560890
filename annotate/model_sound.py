"""What a fingering sounds like in the model, as a WAV file."""

import io
import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from annotate.choosing.desk import Desk
from annotate.files.errors import file_error
from annotate.files.placing import NOTHING, prepared, standing
from annotate.findings import InputError
from annotate.language import Words, words
from annotate.output import clean, wrap
from fingering_db.acoustics.arrays import RealArray
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.listening import Listened, listen
from fingering_db.message import Message
from fingering_db.pitch import Pitch

_FULL_SCALE = 32767  # of 16 bits
_WIDTH = 80


def write(
    desks: Sequence[Desk], text: str, output: Path, seconds: float, slide_mm: float = 0.0, language: str = "en"
) -> list[str]:
    """Write the sound of a fingering to a WAV file, and say what was blown and heard, in lines of a terminal.

    Raises InputError for more flutes than one, for a text that is no fingering of it, for a name that does not end in
    .wav, and for a place where another kind of file stands."""
    if len(desks) != 1:
        raise InputError(Message("listen.one_flute", count=len(desks)))
    if output.suffix.lower() != ".wav":
        raise InputError(Message("listen.wav_name", name=str(output)))
    before = standing(output)
    if before != NOTHING and not _is_wave(output):
        raise file_error(output, Message("listen.other_file"))
    try:
        fingering = Fingering.typed(text)
        heard = listen(desks[0].model, fingering, seconds, slide_mm)
    except FingeringError as error:
        raise InputError(error.message) from error
    with prepared(output, wave_file(heard.samples, heard.rate), lambda _: None, before) as ready:
        ready.place()
    return _told(desks[0], fingering, heard, seconds, words(language))


def wave_file(samples: RealArray, rate: int) -> bytes:
    """A WAV file (16 bits, one channel) of samples, shape (n,), -1 to 1; rate [1/s]."""
    content = io.BytesIO()
    with wave.open(content, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(np.round(np.clip(samples, -1.0, 1.0) * _FULL_SCALE).astype("<i2").tobytes())
    return content.getvalue()


def _is_wave(path: Path) -> bool:
    with path.open("rb") as file:
        head = file.read(12)
    return head[:4] == b"RIFF" and head[8:] == b"WAVE"


def _told(desk: Desk, fingering: Fingering, heard: Listened, seconds: float, say: Words) -> list[str]:
    lowest, highest = float(heard.speed_m_s.min()), float(heard.speed_m_s.max())
    lines = [
        say.text("listen.made", flute=desk.name, fingering=str(fingering), seconds=seconds),
        say.text("listen.jet", distance=heard.distance_mm, thickness=heard.thickness_mm),
    ]
    if heard.rests_m_s is None:
        lines.append(say.text("listen.sweeps", lowest=lowest, highest=highest))
    else:
        loud = tuple(
            Message("listen.heard", pitch=Pitch.from_hz(hz, desk.a4_hz), level=level) for hz, level in heard.heard
        )
        lines.append(say.text("listen.rests", speed=heard.rests_m_s, heard=loud))
    lines += [say.text("listen.limits"), say.text("listen.care")]
    return [line for text in lines for line in wrap(clean(text), _WIDTH)]
