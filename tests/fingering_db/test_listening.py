"""The model's own sound of a fingering: what was blown is heard in the samples."""

import numpy as np
import pytest

from fingering_db.acoustics.jet import padded
from fingering_db.fingering import Fingering
from fingering_db.instrument import load
from fingering_db.listening import LOUDEST, MOMENTS, Wanted, listen, listen_all
from fingering_db.mechanism import hole_states
from fingering_db.model import Model, model
from fingering_db.pitch import Pitch
from fingering_db.track import Stage, sweep


def loudest(samples, rate, at, seconds=0.25):
    """The frequency [Hz] that has most power around a part 0..1 of the samples."""
    middle, half = int(at * len(samples)), int(seconds * rate / 2)
    piece = samples[max(middle - half, 0) : middle + half]
    power = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), 1 << 16))
    return np.fft.rfftfreq(1 << 16, 1 / rate)[power.argmax()]


def cents(hz, name):
    return (Pitch.from_hz(hz).midi - Pitch.parse(name).midi) * 100.0


def test_a_plain_fingering_goes_to_its_octave_and_falls_back_later(made: Model):
    """Registers and hysteresis: Terrien, Vergez & Fabre 2013 (from memory)."""
    heard = listen(made, Fingering.parse("T 1 2 3 | 1 2 Eb"), 3.0)
    assert heard.rests_m_s is None and heard.speed_m_s.max() == pytest.approx(60.0, rel=0.01)
    assert abs(cents(loudest(heard.samples, heard.rate, 0.3), "E4")) < 40.0
    assert abs(cents(loudest(heard.samples, heard.rate, 0.5), "E5")) < 40.0
    late = heard.speed_m_s[int(0.7 * len(heard.speed_m_s))]  # at this speed E4 still sounded on the way up
    assert heard.speed_m_s[int(0.3 * len(heard.speed_m_s))] == pytest.approx(late, rel=0.01)
    assert abs(cents(loudest(heard.samples, heard.rate, 0.7), "E5")) < 40.0


def test_a_single_pitch_that_is_asked_for_is_rested_on(made: Model):
    """E5 on the fingering of E4, whose own first register must then not sound."""
    for name in ("E4", "E5"):
        heard = listen(made, Fingering.parse("T 1 2 3 | 1 2 Eb"), 0.6, asked_hz=(Pitch.parse(name).hz(440.0),))
        assert heard.rests_m_s is not None
        assert abs(cents(loudest(heard.samples, heard.rate, 0.5), name)) < 40.0


def test_the_published_pair_is_rested_on_and_both_its_notes_are_heard(made: Model):
    # C5 and D6 at once on this fingering: Wolfe, Smith, Tann & Fletcher 2001, JSV 243:127.
    heard = listen(made, Fingering.parse("T 2 3 | Eb"), 1.0)
    assert heard.rests_m_s == pytest.approx(heard.speed_m_s.max()) and 8.0 < heard.rests_m_s < 40.0
    for name in ("C5", "D6"):
        assert min(abs(cents(hz, name)) for hz, level in heard.heard if level > -15.0) < 30.0
    assert heard.heard[0][1] == 0.0


def test_nothing_clips_and_the_same_question_gives_the_same_sound(made: Model):
    one, two = (listen(made, Fingering.parse("T 2 3 | 3"), 0.5, asked_hz=(494.0, 1109.0)) for _ in range(2))
    assert np.abs(one.samples).max() == pytest.approx(LOUDEST)
    assert abs(one.samples[0]) < 1e-3 and abs(one.samples[-1]) < 1e-3
    assert len(one.samples) == 0.5 * one.rate == len(one.speed_m_s)
    np.testing.assert_array_equal(one.samples, two.samples)


def test_on_a_flute_of_another_size_everything_is_as_much_lower():
    alto = model(load("alto"))
    heard = listen(alto, Fingering.parse("T 1 2 3 | 1 2 Eb"), 2.0)
    assert heard.rate == 48_000 and heard.distance_mm == pytest.approx(8.0, rel=0.02)
    assert abs(cents(loudest(heard.samples, heard.rate, 0.3), "B3")) < 40.0


def test_sounds_made_side_by_side_are_those_made_one_by_one(made: Model):
    wanted = []
    for text, hz in (("T 2 3 | Eb", (523.0, 1175.0)), ("T 1 2 3 | 1 2 Eb", (330.0,)), ("T 1 2 3 | 1 2 Eb", ())):
        crossings = made.drawn_out(hole_states(made.instrument, Fingering.parse(text))[None, :], 0.0)
        wanted.append(Wanted(padded(made.curve.size.likened(crossings), 1), hz))
    for together, one in zip(listen_all(made, wanted, 0.3), wanted, strict=True):
        (alone,) = listen_all(made, [one], 0.3)
        assert together.rests_m_s == alone.rests_m_s
        np.testing.assert_allclose(together.samples, alone.samples, atol=1e-6)


def test_a_tone_goes_along_with_a_head_joint_that_is_drawn_out_while_it_sounds(made: Model):
    states, way = hole_states(made.instrument, Fingering.parse("T 1 2 | Eb")), np.linspace(0.0, 20.0, MOMENTS)
    crossings = made.resonances(sweep(made, [Stage(states, float(mm)) for mm in way]))
    lowest = [float(crossings.hz[crossings.row == row][0]) for row in range(MOMENTS)]
    assert 1200.0 * np.log2(lowest[0] / lowest[-1]) > 60.0
    (heard,) = listen_all(made, [Wanted(padded(made.curve.size.likened(crossings), MOMENTS), (lowest[0],))], 1.2)
    for at, row in ((0.17, 0), (0.5, MOMENTS // 2), (0.83, MOMENTS - 1)):
        found = loudest(heard.samples, heard.rate, at, 0.08)
        assert abs(1200.0 * np.log2(found / lowest[row])) < 35.0
