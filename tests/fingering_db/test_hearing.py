"""Pitches out of a recording: tones made by formula, and the simulation's sound with noise and an invented room."""

import numpy as np
import pytest

from fingering_db.fingering import Fingering
from fingering_db.hearing import ToneSpan, near, strongest, tones
from fingering_db.listening import listen
from fingering_db.mechanism import chart_of
from fingering_db.model import Model

RATE = 44100
SILENCE = 0.5


def tone(hz: float, seconds: float, partials: tuple[float, ...], rate: int = RATE) -> np.ndarray:
    t = np.arange(int(seconds * rate)) / rate
    wave = sum(level * np.sin(2.0 * np.pi * hz * n * t + n) for n, level in enumerate(partials, start=1))
    fade = np.clip(np.minimum(t, seconds - t) / 0.03, 0.0, 1.0)
    return np.asarray(0.3 * wave * fade)


def take(sounds: list[np.ndarray], rate: int) -> np.ndarray:
    silence = np.zeros(int(SILENCE * rate))
    return np.concatenate([silence, *[piece for sound in sounds for piece in (sound, silence)]])


def in_a_room(samples: np.ndarray, rate: int, random: np.random.Generator, snr_db: float = 25.0) -> np.ndarray:
    """An invented room that rings for 0.6 s (60 dB), and noise, both seeded."""
    t = np.arange(int(0.6 * rate)) / rate
    ring = random.normal(size=len(t)) * 10.0 ** (-3.0 * t / 0.6) * 0.02
    ring[0] = 1.0
    size = 1 << int(np.ceil(np.log2(len(samples) + len(ring))))
    wet = np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(ring, size), size)[: len(samples)]
    level = np.sqrt(np.mean(wet[np.abs(wet) > 0.05] ** 2))
    return np.asarray(wet + random.normal(size=len(wet)) * level * 10.0 ** (-snr_db / 20.0))


def cents(hz: float, of: float) -> float:
    return float(1200.0 * np.log2(hz / of))


@pytest.mark.parametrize("snr_db", [60.0, 20.0])
def test_tones_of_known_pitch_are_found_and_told_within_two_cents(snr_db: float, random: np.random.Generator) -> None:
    pitches = (246.9, 262.7, 523.25, 1190.0, 2093.0)
    # A low note's first partial may be much weaker than its second.
    made = take([tone(hz, 0.9, (0.2, 1.0, 0.3) if hz < 300 else (1.0, 0.3)) for hz in pitches], RATE)
    heard = in_a_room(made, RATE, random, snr_db)
    found = tones(heard, RATE)
    assert len(found) == len(pitches)
    for hz, one in zip(pitches, found, strict=True):
        told = near(heard, RATE, one, hz * 2.0 ** (40.0 / 1200.0))
        assert told.is_near and abs(cents(told.hz, hz)) < 2.0 and told.unsteady_cents < 2.0


def test_an_overblown_tone_is_not_taken_for_the_note_below(random: np.random.Generator) -> None:
    heard = in_a_room(take([tone(880.0, 0.9, (1.0, 0.4))], RATE), RATE, random)
    (one,) = tones(heard, RATE)
    told = near(heard, RATE, one, 440.0)
    assert not told.is_near and abs(cents(told.hz, 880.0)) < 3.0


def test_the_notes_of_a_multiphonic_are_its_strongest_tones(random: np.random.Generator) -> None:
    low, high = 521.0, 1190.0
    t = np.arange(RATE) / RATE
    both = tone(low, 1.0, (1.0, 0.4, 0.2)) + tone(high, 1.0, (0.7, 0.2)) + 0.02 * np.sin(2 * np.pi * (high - low) * t)
    heard = in_a_room(take([both], RATE), RATE, random)
    (one,) = tones(heard, RATE)
    found = strongest(heard, RATE, one, 2)
    assert [abs(cents(hz, meant)) < 5.0 for (hz, _), meant in zip(found, (low, high), strict=True)] == [True, True]
    assert max(level for _, level in found) == 0.0


def test_clicks_and_silence_are_no_tones(random: np.random.Generator) -> None:
    assert tones(np.zeros(10), RATE) == ()
    assert tones(random.normal(size=RATE) * 1e-4, RATE) == ()
    clicks = np.zeros(2 * RATE)
    clicks[::9000] = 1.0
    assert tones(clicks, RATE) == ()
    assert not near(np.zeros(RATE), RATE, ToneSpan(0.1, 0.9), 440.0).is_near


def test_the_simulations_sound_is_heard_alike_with_noise_and_a_room(made: Model, random: np.random.Generator) -> None:
    # Clean, the pitch is that of the simulation; the room and the noise may move it by 3 cents, and the blown tone lies within
    # half a semitone of the passive resonance, by which its note is known.
    notes = {str(note.pitch): note for note in reversed(chart_of(made.instrument))}
    chosen = [notes[name] for name in ("A4", "C6")]
    sounds = [listen(made, note.fingering, 1.0, asked_hz=(note.pitch.hz(),)) for note in chosen]
    rate = sounds[0].rate
    clean = take([one.samples[int(0.2 * rate) :] for one in sounds], rate)
    heard = in_a_room(clean, rate, random, 20.0)
    for found, note in zip(tones(heard, rate), chosen, strict=True):
        told, plain = (near(samples, rate, found, note.pitch.hz()) for samples in (heard, clean))
        assert told.is_near and plain.is_near
        assert abs(cents(told.hz, plain.hz)) < 3.0
        assert abs(cents(told.hz, note.pitch.hz())) < 50.0


def test_the_simulations_multiphonic_keeps_its_two_loudest_notes_in_a_room(
    made: Model, random: np.random.Generator
) -> None:
    sound = listen(made, Fingering.parse("T 1 3 | tr2"), 1.8)
    loudest = sorted(hz for hz, _ in sound.heard[:2])
    clean = take([sound.samples[int(0.5 * sound.rate) :]], sound.rate)
    heard = in_a_room(clean, sound.rate, random, 25.0)
    (one,) = tones(heard, sound.rate)
    found = [hz for hz, _ in strongest(heard, sound.rate, one, 3)]
    for meant in loudest:  # resonances; the blown tones lie beside them
        assert min(abs(cents(hz, meant)) for hz in found) < 50.0
