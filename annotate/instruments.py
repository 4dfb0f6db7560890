"""Flutes told in words: the list, one of them, and what is wrong with a file."""

import numpy as np

from annotate.choosing.desks import flute_named, refuse_out_of_tune
from annotate.findings import InputError
from annotate.language import Words, known_remark, words
from annotate.output import together, with_blanks, wrap
from fingering_db.instrument import SLIDE_SUFFIX, Instrument, InstrumentError, load, shipped
from fingering_db.model import Model, model
from fingering_db.tuning import chart_deviations
from fingering_db.uncertainty import band_cents

ENGLISH = words()
_ALL_OFF_CENTS = 10.0  # on average: more than a player makes up without thinking of it (ours)


def listing(say: Words = ENGLISH) -> str:
    """One line for each flute that is shipped."""
    lines = [f"{name:<16}{_title(load(name), say)}" for name in shipped()]
    return "\n".join([*lines, "", *wrap(say.text("flute_told.slides"), 80)])


def description(name: str, say: Words = ENGLISH) -> str:
    """Holes, number of fingerings, and the chart's deviations. Raises InputError for a flute that is not there."""
    instrument = flute_named(name)
    ready = model(instrument)
    fitted = "_fitted" if _is_fitted(instrument) else ""
    heads = [say.text(f"flute_told.{key}") for key in ("hole", "place", "diameter", "at_rest", "in_the_key")]
    lines = [
        *wrap(f"{instrument.name}: {_title(instrument, say)}", 80),
        *_figures(instrument, ready, say),
        *_remark(instrument, say),
        "",
        f"{heads[0]:<7}{heads[1]:>8}{heads[2]:>10}  {heads[3]:<9}{heads[4]}",
    ]
    for hole in instrument.holes:
        small = [
            say.text(f"flute_told.{kind}", mm=f"{size:g}")
            for kind, size in (("perforation", hole.perforation_mm), ("vent", hole.vent_mm))
            if size
        ]
        rest = say.text(f"flute_told.{hole.rest}")
        lines.append(
            f"{hole.name:<8}{hole.position_mm:7.1f}{hole.diameter_mm:10.1f}  {rest:<9}{', '.join(small)}".rstrip()
        )
    lines += [say.text("flute_told.from_embouchure"), "", *wrap(say.text(f"flute_told.standard{fitted}"), 80)]
    notes = [
        together(f"{say.note_name(row.pitch, 'typed')} {round(row.cents):+d}{'' if row.judged else '*'}")
        for row in chart_deviations(ready)
    ]
    lines += wrap(" ".join(notes), 80)
    lines += wrap(say.text(f"flute_told.sharp{fitted}"), 80, hanging=2)
    return with_blanks("\n".join(lines))


def _title(instrument: Instrument, say: Words) -> str:
    """What kind of flute it is: of one shipped in the language, of another as its file says."""
    plain = instrument.name.removesuffix(SLIDE_SUFFIX)
    if not say.has(f"title.{plain}") or not instrument.title.startswith(load(plain).title):
        return instrument.title
    told = say.text(f"title.{plain}")
    return told if plain == instrument.name else say.text("title.slide", title=told)


def _remark(instrument: Instrument, say: Words) -> list[str]:
    if not instrument.remark:
        return []
    return wrap(say.text("flute_told.it_is", remark=say.say(known_remark(instrument.remark))), 80)


def _is_fitted(instrument: Instrument) -> bool:
    """Whether its figures are no test of the model, since it was fitted to them: not so for a flute of the user's own."""
    plain = instrument.name.removesuffix(SLIDE_SUFFIX)
    return plain in shipped() and instrument.fingers == load(plain).fingers and instrument.lip == load(plain).lip


def _chart_line(instrument: Instrument, ready: Model, say: Words) -> str:
    """How well the standard fingerings are in tune, and what to look at where all of them are off."""
    judged = np.array([row.cents for row in chart_deviations(ready) if row.judged])
    rms, worst, mean = (float(each) for each in (np.sqrt(np.mean(judged**2)), np.abs(judged).max(), judged.mean()))
    line = say.text(f"flute_told.chart{'_fitted' if _is_fitted(instrument) else ''}", rms=rms, worst=worst)
    if abs(mean) <= _ALL_OFF_CENTS:
        return line
    return say.text("flute_told.flat" if mean < 0 else "flute_told.sharp_all", chart=line, cents=abs(mean))


def moved_scale(name: str, slide_mm: float, say: Words = ENGLISH) -> str:
    """How each standard fingering's note moves when the head joint is drawn out. Raises InputError."""
    instrument = flute_named(name)
    ready = model(instrument)
    rest, drawn = (chart_deviations(ready, slide) for slide in (0.0, slide_mm))
    lines = wrap(say.text("flute_told.moved", name=instrument.name, mm=slide_mm), 80)
    moved = [two.cents - one.cents for one, two in zip(rest, drawn, strict=True)]
    names = [say.note_name(one.pitch, "typed") for one in rest]
    width = max(map(len, names)) + 1
    notes = [
        f"{name:<{width}}{f'{cents:+.0f}' if np.isfinite(cents) else '?':>4}"
        for name, cents in zip(names, moved, strict=True)
    ]
    lines += ["   ".join(notes[at : at + 6]) for at in range(0, len(notes), 6)]
    lines += [] if np.isfinite(moved).all() else wrap(say.text("flute_told.lost"), 80)
    lines += _remark(instrument, say)
    lines += wrap(say.text("flute_told.short_tubes"), 80)
    return "\n".join(lines)


def _figures(instrument: Instrument, ready: Model, say: Words) -> list[str]:
    air = {"celsius": instrument.temperature_c, "a4": instrument.a4_hz, "mm": instrument.body.end_mm}
    chart = _chart_line(instrument, ready, say)
    return [
        say.text("flute_told.count", n=len(ready.reach.placements), states=len(ready.reach.states)),
        say.text("flute_told.air", **air),
        *wrap(say.text("flute_told.band", chart=chart, cents=band_cents(instrument)), 80),
    ]


def verdict(file: str, say: Words = ENGLISH) -> str:
    """'can be used', or InputError with every mistake on a line."""
    try:
        instrument = load(file)
    except InstrumentError as error:
        raise InputError(*error.mistakes) from error
    refuse_out_of_tune(instrument, file)
    ready = model(instrument)
    told = {"file": file, "title": _title(instrument, say), "n": len(ready.reach.placements)}
    return "\n".join([say.text("flute_told.usable", **told), *wrap(_chart_line(instrument, ready, say), 80)])
