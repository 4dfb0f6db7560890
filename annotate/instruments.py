"""Flutes told in words: the list, one of them, and what is wrong with a file."""

from __future__ import annotations

import numpy as np

from annotate.choosing.desks import refuse_out_of_tune
from annotate.findings import InputError
from annotate.output import wrap
from fingering_db.instrument import SLIDE_SUFFIX, Instrument, InstrumentError, load, shipped
from fingering_db.model import Model, model
from fingering_db.tuning import chart_deviations
from fingering_db.uncertainty import band_cents

_ALL_OFF_CENTS = 10.0  # on average: more than a player makes up without thinking of it (ours)


def listing() -> str:
    """One line for each flute that is shipped."""
    lines = [f"{name:<16}{load(name).title}" for name in shipped()]
    slide = "Each also with -slide appended (open-hole-b-slide): a telescoping head joint, for glissandi by hand; see --slide MM."
    return "\n".join([*lines, "", *wrap(slide, 80)])


def description(name: str) -> str:
    """Holes, number of fingerings, and the chart's deviations. Raises InputError for a flute that is not there."""
    instrument = _load(name)
    ready = model(instrument)
    lines = [
        f"{instrument.name}: {instrument.title}",
        *_figures(instrument, ready),
        *(wrap(f"It is {instrument.remark}.", 80) if instrument.remark else []),
        "",
        "hole      place  diameter  at rest  in the key",
    ]
    for hole in instrument.holes:
        small = [f"{kind} {size:g}" for kind, size in (("hole", hole.perforation_mm), ("vent", hole.vent_mm)) if size]
        lines.append(
            f"{hole.name:<8}{hole.position_mm:7.1f}{hole.diameter_mm:10.1f}  {hole.rest:<9}{', '.join(small)}".rstrip()
        )
    lines += [
        "(mm from the embouchure)",
        "",
        f"Standard fingerings, cents off{_fitted(instrument)}:",
    ]
    notes = [f"{row.pitch} {row.cents:+.0f}{'' if row.judged else '*'}" for row in chart_deviations(ready)]
    lines += wrap("  ".join(notes), 80)
    lines.append(f"* real flutes are sharp here; {'not part of the fit' if _fitted(instrument) else 'not counted'}")
    return "\n".join(lines)


def _fitted(instrument: Instrument) -> str:
    """What tells that these figures are no test of the model; '' for a flute of the user's own."""
    plain = instrument.name.removesuffix(SLIDE_SUFFIX)
    ours = plain in shipped() and instrument.fingers == load(plain).fingers and instrument.lip == load(plain).lip
    return " (in-sample: the flute was fitted to them)" if ours else ""


def _chart_line(instrument: Instrument, ready: Model) -> str:
    """How well the standard fingerings are in tune, and what to look at where all of them are off."""
    judged = np.array([row.cents for row in chart_deviations(ready) if row.judged])
    rms, worst, mean = np.sqrt(np.mean(judged**2)), np.abs(judged).max(), judged.mean()
    line = f"standard chart: rms {rms:.1f} cents, worst {worst:.1f}{' (in-sample)' if _fitted(instrument) else ''}"
    if abs(mean) <= _ALL_OFF_CENTS:
        return line
    way = "flat" if mean < 0 else "sharp"
    return f"{line}; on average {abs(mean):.0f} {way}: look at a4_hz, temperature_c, [lip] at_c4_mm and the places of the holes"


def moved_scale(name: str, slide_mm: float) -> str:
    """How each standard fingering's note moves when the head joint is drawn out. Raises InputError."""
    instrument = _load(name)
    ready = model(instrument)
    rest, drawn = (chart_deviations(ready, slide) for slide in (0.0, slide_mm))
    drawn_out = f"head joint drawn out {slide_mm:g} mm"
    lines = wrap(f"{instrument.name}: {drawn_out}; cents that each standard fingering moves:", 80)
    moved = [two.cents - one.cents for one, two in zip(rest, drawn, strict=True)]
    notes = [
        f"{one.pitch!s:<4}{cents:+5.0f}" if np.isfinite(cents) else f"{one.pitch!s:<4}    ?"
        for one, cents in zip(rest, moved, strict=True)
    ]
    lines += ["   ".join(notes[at : at + 6]) for at in range(0, len(notes), 6)]
    lines += [] if np.isfinite(moved).all() else wrap("?: its resonance is lost before the joint is so far out.", 80)
    lines += wrap(f"It is {instrument.remark}.", 80) if instrument.remark else []
    lines += wrap("Short tubes move more than long ones: this is for gliding, not for playing in another key.", 80)
    return "\n".join(lines)


def _figures(instrument: Instrument, ready: Model) -> list[str]:
    return [
        f"{len(ready.reach.placements):,} fingerings, {len(ready.reach.states):,} of them different in sound",
        f"air at {instrument.temperature_c:g} °C, A4 = {instrument.a4_hz:g} Hz, "
        f"open end at {instrument.body.end_mm:g} mm",
        *wrap(f"{_chart_line(instrument, ready)}; band shown ±{band_cents(instrument):.0f}", 80),
    ]


def verdict(file: str) -> str:
    """'can be used', or InputError with every mistake on a line."""
    try:
        instrument = load(file)
    except InstrumentError as error:
        raise InputError(*error.mistakes) from error
    refuse_out_of_tune(instrument, file)
    ready = model(instrument)
    used = f"{file}: can be used: {instrument.title}, {len(ready.reach.placements):,} fingerings"
    return "\n".join([used, *wrap(_chart_line(instrument, ready), 80)])


def _load(name: str) -> Instrument:
    try:
        instrument = load(name)
    except InstrumentError as error:
        raise InputError(error.message) from error
    refuse_out_of_tune(instrument, name)
    return instrument
