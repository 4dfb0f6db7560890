"""Flutes told in words: the list, one of them, and what is wrong with a file."""

from __future__ import annotations

import numpy as np

from annotate.findings import InputError
from annotate.output import wrap
from fingering_db.instrument import Instrument, InstrumentError, load, shipped
from fingering_db.model import Model, model
from fingering_db.tuning import chart_deviations
from fingering_db.uncertainty import band_cents


def listing() -> str:
    """One line for each flute that is shipped."""
    return "\n".join(f"{name:<16}{load(name).title}" for name in shipped())


def description(name: str) -> str:
    """Holes, number of fingerings, and the chart's deviations. Raises InputError for a flute that is not there."""
    instrument = _load(name)
    ready = model(instrument)
    lines = [
        f"{instrument.name}: {instrument.title}",
        *_figures(instrument, ready),
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
        "Standard fingerings, cents off (in-sample: the flute was fitted to them):",
    ]
    notes = [f"{row.pitch} {row.cents:+.0f}{'' if row.judged else '*'}" for row in chart_deviations(ready)]
    lines += wrap("  ".join(notes), 80)
    lines.append("* real flutes are sharp here; not part of the fit")
    return "\n".join(lines)


def _figures(instrument: Instrument, ready: Model) -> list[str]:
    judged = np.array([row.cents for row in chart_deviations(ready) if row.judged])
    rms, worst = np.sqrt(np.mean(judged**2)), np.abs(judged).max()
    return [
        f"{len(ready.reach.placements):,} fingerings, {len(ready.reach.states):,} of them different in sound",
        f"air at {instrument.temperature_c:g} °C, A4 = {instrument.a4_hz:g} Hz, "
        f"open end at {instrument.body.end_mm:g} mm",
        f"standard chart: rms {rms:.1f} cents, worst {worst:.1f} (in-sample); band shown ±{band_cents(instrument):.0f}",
    ]


def verdict(file: str) -> str:
    """'can be used', or InputError with the first mistake."""
    instrument = _load(file)
    reach = model(instrument).reach
    return f"{file}: can be used: {instrument.title}, {len(reach.placements):,} fingerings"


def _load(name: str) -> Instrument:
    try:
        return load(name)
    except InstrumentError as error:
        raise InputError(str(error)) from error
