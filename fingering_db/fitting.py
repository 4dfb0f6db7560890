"""Deriving an instrument's hole positions and lip law from its standard fingerings, and what that is worth.

`python -m fingering_db.fitting NAME` prints the fit, in-sample figures as such, and what is predicted for notes left
out. Needs scipy (in the extra `fit`)."""

import sys
from collections.abc import Callable

import msgspec
import numpy as np

from fingering_db.acoustics.arrays import RealArray, StateArray
from fingering_db.chart import FIRST_REGISTER_TOP, ChartNote
from fingering_db.fingering import Fingering
from fingering_db.instrument import Instrument, load
from fingering_db.mechanism import chart_of, hole_states
from fingering_db.pitch import Pitch
from fingering_db.sounding import Flute

# A hole may leave the place that tunes the first register alone by this much: ours. All lengths here are those of a flute
# in C; on other sizes they grow with its length.
MOST_MOVED_MM = 3.0
_LIP_SCALE_MM = 5.0
# Residuals that keep what the chart hardly tells from running off: moving a hole 3 mm costs as much as 10 cents.
_PLACE_WEIGHT = 10.0 / MOST_MOVED_MM


def length_scale(instrument: Instrument) -> float:
    """Length against a flute in C: 2 an octave below it."""
    return float(2.0 ** (-instrument.transposition_semitones / 12.0))


def deviations(instrument: Instrument, states: StateArray, pitches: tuple[Pitch, ...]) -> RealArray:
    """Cents from each pitch to the resonance nearest to it, lip by the law; states (n, n_holes). Newton from the pitch,
    so it is smooth in the instrument's dimensions."""
    flute = Flute(instrument)
    target = np.array([pitch.hz(instrument.a4_hz) for pitch in pitches])
    hz = target.copy()
    steps = np.array([-1e-4, 1e-4])
    for _ in range(4):
        freq = hz[:, None] * np.exp(steps)
        lip = flute.lip_slope(freq) * flute.lip_law_m(freq)
        reactance = flute.bore_impedance(states, freq).imag + lip
        slope = (reactance[:, 1] - reactance[:, 0]) / (steps[1] - steps[0])
        move = -reactance.mean(axis=1) / slope
        hz = hz * np.exp(np.clip(move, -0.03, 0.03))
    return np.asarray(1200.0 * np.log2(hz / target))


def fit(instrument: Instrument, notes: tuple[ChartNote, ...]) -> Instrument:
    """Positions, end and lip law by least squares on the notes given, from the instrument's present values.

    Three rounds: the first register alone places the holes for the lip law at hand (home); then all notes together move
    holes, at most MOST_MOVED_MM from home, and the law."""
    for _ in range(3):
        home = _tune_first_register(instrument)
        instrument = _fit_from(home, notes)
    return instrument


def _tune_first_register(instrument: Instrument) -> Instrument:
    """Holes and end so that every first-register note is exact with the lip law at hand; trill holes by their
    trills."""
    notes = [note for note in chart_of(instrument) if note.pitch.midi <= FIRST_REGISTER_TOP]
    notes += trills()
    places = hole_places(instrument)
    problem = _problem(instrument, tuple(notes))

    def residuals(moved: RealArray) -> RealArray:
        changed = with_hole_places(instrument, places + moved)
        return np.concatenate([problem(changed), 0.01 * moved])

    limit = 30.0 * length_scale(instrument)
    return with_hole_places(instrument, places + _least_squares(residuals, np.zeros(len(places)), limit))


def _fit_from(home: Instrument, notes: tuple[ChartNote, ...]) -> Instrument:
    places = hole_places(home)
    law = np.array([home.lip.at_c4_mm, home.lip.per_octave_mm, home.lip.curve_mm])
    problem = _problem(home, (*notes, *trills()))
    scale = length_scale(home)

    def unpack(x: RealArray) -> Instrument:
        at_c4, per_octave, curve = (float(value) for value in law + _LIP_SCALE_MM * x[:3])
        lip = msgspec.structs.replace(home.lip, at_c4_mm=at_c4, per_octave_mm=per_octave, curve_mm=curve)
        return with_hole_places(msgspec.structs.replace(home, lip=lip), places + scale * x[3:])

    def residuals(x: RealArray) -> RealArray:
        return np.concatenate([problem(unpack(x)), _PLACE_WEIGHT * x[3:]])

    return unpack(_least_squares(residuals, np.zeros(3 + len(places)), MOST_MOVED_MM))


def trills() -> list[ChartNote]:
    """The trills that place the trill holes: C-D with tr1, C sharp-D sharp with tr2. Common practice, no source."""
    rows = {"D5": "1 | tr1 Eb", "D#5": "| tr2 Eb"}
    return [ChartNote(Pitch.parse(note), Fingering.parse(text), True) for note, text in rows.items()]


def _problem(instrument: Instrument, notes: tuple[ChartNote, ...]) -> Callable[[Instrument], RealArray]:
    states = np.array([hole_states(instrument, note.fingering) for note in notes])
    pitches = tuple(note.pitch.transposed(instrument.transposition_semitones) for note in notes)
    return lambda changed: deviations(changed, states, pitches)


def _least_squares(residuals: Callable[[RealArray], RealArray], start: RealArray, limit: float) -> RealArray:
    from scipy.optimize import least_squares

    return np.asarray(least_squares(residuals, start, bounds=(-limit, limit), x_scale=1.0, max_nfev=40).x)


def hole_places(instrument: Instrument) -> RealArray:
    """Positions of all holes and of the open end [mm]; holes at one place count once."""
    distinct = dict.fromkeys(hole.position_mm for hole in instrument.holes)
    return np.array([*distinct, instrument.body.end_mm])


def with_hole_places(instrument: Instrument, places: RealArray) -> Instrument:
    distinct = list(dict.fromkeys(hole.position_mm for hole in instrument.holes))
    new = dict(zip(distinct, (float(place) for place in places[:-1]), strict=True))
    holes = tuple(msgspec.structs.replace(hole, position_mm=new[hole.position_mm]) for hole in instrument.holes)
    body = msgspec.structs.replace(instrument.body, end_mm=float(places[-1]))
    return msgspec.structs.replace(instrument, holes=holes, body=body)


def chart_cents(instrument: Instrument, notes: tuple[ChartNote, ...]) -> RealArray:
    """Deviation of each note [cents]."""
    return _problem(instrument, notes)(instrument)


def figures(cents: RealArray) -> str:
    """rms and worst, in words."""
    return f"rms {np.sqrt(np.mean(cents**2)):.1f} cents, worst {np.abs(cents).max():.1f}"


def report(name: str, say: Callable[[str], None], leave_out: bool = True) -> Instrument:
    """Fit, and say what came out; leave_out: also without octave 3 and without each note in turn."""
    start = load(name)
    notes = chart_of(start)
    judged = tuple(note for note in notes if note.judged)
    fitted = fit(start, judged)
    say(f"lip law [mm]: {fitted.lip.at_c4_mm:.2f} + {fitted.lip.per_octave_mm:.2f} x + {fitted.lip.curve_mm:.2f} x²")
    say(f"in-sample, {len(judged)} notes: {figures(chart_cents(fitted, judged))}")
    beside = tuple(note for note in notes if not note.judged)
    values = ", ".join(
        f"{note.pitch} {cents:+.0f}" for note, cents in zip(beside, chart_cents(fitted, beside), strict=True)
    )
    say(f"not fitted (real flutes: 0 to +40): {values}")
    home = _tune_first_register(fitted)
    say(
        f"holes moved from first-register places: at most {np.abs(hole_places(fitted) - hole_places(home)).max():.1f} mm"
    )
    for note, cents in zip(notes, chart_cents(fitted, notes), strict=True):
        say(f"  {note.pitch!s:<4} {cents:+6.1f}{'' if note.judged else '  not fitted'}")
    for hole in fitted.holes:
        say(f"  {hole.name:<8} {hole.position_mm:7.1f} mm")
    say(f"  end      {fitted.body.end_mm:7.1f} mm")
    if leave_out:
        _say_left_out(start, judged, say)
    return fitted


def _say_left_out(start: Instrument, judged: tuple[ChartNote, ...], say: Callable[[str], None]) -> None:
    top = Pitch.parse("C6").midi
    low = tuple(note for note in judged if note.pitch.midi <= top)
    high = tuple(note for note in judged if note.pitch.midi > top)
    say(f"predicted, fit on B3 to C6, notes above it: {figures(chart_cents(fit(start, low), high))}")
    predicted = []
    for index, note in enumerate(judged):
        others = judged[:index] + judged[index + 1 :]
        predicted.append(chart_cents(fit(start, others), (note,))[0])
    say(f"predicted, each note left out in turn: {figures(np.array(predicted))}")


if __name__ == "__main__":
    report(sys.argv[1] if len(sys.argv) > 1 else "open-hole-b", print)
