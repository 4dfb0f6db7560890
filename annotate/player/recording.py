"""A recording of notes played one after the other (WAV), and the table that tells them in their order."""

import io
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np

from annotate.files.errors import bytes_of, file_error, reason
from annotate.findings import InputError
from annotate.output import together
from fingering_db.acoustics.arrays import RealArray
from fingering_db.hearing import near, strongest, tones
from fingering_db.instrument import Instrument
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.played import PlayedNote

SUFFIX = ".wav"
_MOST_BYTES = 256 << 20
_UNSTEADY_CENTS = 15.0  # a tone that wanders farther than this is told: ours


def table_of(recording: Path) -> Path:
    """The table beside a recording: `take.csv` of `take.wav`."""
    return recording.with_suffix(".csv")


def heard(
    recording: Path, rows: tuple[PlayedNote, ...], instrument: Instrument, a4_hz: float
) -> tuple[tuple[PlayedNote, ...], tuple[Message, ...]]:
    """The rows with the pitches of the recording's tones, in order, and what to say of tones that wander and of multiphonics.

    Raises InputError for what is no WAV file and where there are not as many tones as rows."""
    samples, rate = _samples(recording)
    try:
        found = tones(samples, rate)
        if len(found) != len(rows):
            begins = tuple(f"{one.begin:.1f}" for one in found[:20])
            told = Message("played.other_count", heard=len(found), rows=len(rows), begins=begins)
            raise file_error(recording, told)
        played, remarks = [], []
        for row, tone in zip(rows, found, strict=True):
            if row.is_multiphonic:
                loudest = tuple(Pitch.from_hz(hz, a4_hz) for hz, _ in strongest(samples, rate, tone))
                remarks.append(
                    Message("played.loudest", line=row.line, fingering=together(str(row.fingering)), pitches=loudest)
                )
                continue
            one = near(samples, rate, tone, row.note.transposed(instrument.transposition_semitones).hz(a4_hz))
            if not np.isfinite(one.hz):
                raise file_error(recording, Message("played.no_pitch", begin=tone.begin, line=row.line))
            played.append(replace(row, hz=one.hz))
            if not one.unsteady_cents <= _UNSTEADY_CENTS:
                remarks.append(Message("played.unsteady", line=row.line, note=row.note, begin=tone.begin))
    except ImportError as error:
        raise InputError(Message("played.needs_scipy")) from error
    return tuple(played), tuple(remarks)


def _samples(recording: Path) -> tuple[RealArray, int]:
    """All channels together, shape (n,), -1 to 1, and the rate [1/s]."""
    raw = bytes_of(recording, _MOST_BYTES, Message("played.expected_wav"))
    try:
        with wave.open(io.BytesIO(raw)) as file:
            width, channels, rate = file.getsampwidth(), file.getnchannels(), file.getframerate()
            content = file.readframes(file.getnframes())
    except (wave.Error, EOFError, ValueError) as error:
        raise file_error(recording, Message("played.no_wav", reason=reason(error))) from error
    if not 1 <= width <= 4 or not channels or not 8000 <= rate <= 400_000:
        raise file_error(recording, Message("played.no_wav", reason=f"{8 * width} bit, {channels}, {rate} Hz"))
    content = content[: len(content) // (width * channels) * width * channels]
    whole = np.frombuffer(content, dtype=np.uint8).reshape(-1, width)
    if width == 1:
        values = whole[:, 0].astype(float) - 128.0
    else:
        wide = np.zeros((len(whole), 4), dtype=np.uint8)
        wide[:, 4 - width :] = whole  # little-endian, into the upper bytes: the sign comes along
        values = wide.view("<i4")[:, 0] / 2.0 ** (32 - 8 * width)
    full = 2.0 ** (8 * width - 1)
    return np.asarray(values.reshape(-1, channels).mean(axis=1) / full), rate
