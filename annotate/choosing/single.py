"""Deciding single pitches: microtones, and ordinary notes outside the flute's range."""

from __future__ import annotations

from annotate.choosing.desk import Desk, alternatives, instead, preferred, ranked, shown, status_of, transposition
from annotate.decision import Decision, Instead, Status
from annotate.demand import Demand, Kind
from annotate.score import Event
from fingering_db.fingering import Fingering
from fingering_db.mechanism import chart_of
from fingering_db.pitch import Pitch

_ABOVE_CHART = 2  # semitones above the chart's last note that players reach with luck: common practice, no source


def decide_microtone(demand: Demand, desk: Desk, prefer: Fingering | None = None) -> Decision:
    """A fingering for the pitch itself; the lip alone from the nearest semitone is named where no fingering is near.

    prefer: the fingering to take if it is among those found, None for the best by itself."""
    tolerance = desk.tolerance(demand)
    candidates = ranked(desk.find(demand.sounding, tolerance), tolerance)
    if not candidates or status_of(candidates[0], tolerance) == Status.UNPLAYABLE:
        why = (
            f"No fingering is within {2 * tolerance:.0f} cents and strong enough; "
            f"the lip bends about {desk.model.instrument.lip.bend_cents:.0f} cents."
        )
        near = instead(desk, demand, demand.sounding)
        return Decision(demand, desk.name, Status.UNPLAYABLE, why, band_cents=desk.band_cents(), instead=near)
    candidates = preferred(candidates, prefer)
    best = candidates[0]
    status = status_of(best, tolerance)
    worst = best.worst_cents
    bent = abs(demand.sounding[0].midi - round(demand.sounding[0].midi)) * 100.0
    bend = desk.model.instrument.lip.bend_cents
    reach = f"which the lip reaches ({bend:.0f})" if bent <= bend else f"more than the lip bends ({bend:.0f})"
    steadier = f" Steadier than the next semitone bent by {bent:.0f} cents, {reach}." if worst < bent else ""
    reached = "within the tolerance" if worst <= tolerance else "the lip must make up the rest"
    if worst <= desk.band_cents():
        reached = f"inside the ±{desk.band_cents():.0f} of model, temperature and lip, so the lip reaches it"
    return Decision(
        demand=demand,
        flute=desk.name,
        status=status,
        why=f"This fingering lies {worst:.0f} cents from the pitch (tolerance {tolerance:.0f}): {reached}.{steadier}",
        fingering=best.fingering,
        deviation_cents=best.deviation_cents,
        band_cents=desk.band_cents(),
        confidence=best.confidence,
        sounds=shown(best.sounds, desk.a4_hz),
        alternatives=alternatives(candidates, tolerance),
    )


def compass(desk: Desk) -> tuple[Pitch, Pitch]:
    """Lowest and highest sounding pitch of the flute's standard chart."""
    instrument = desk.model.instrument
    notes = [note.pitch for note in chart_of(instrument)]
    return notes[0].transposed(instrument.transposition_semitones), notes[-1].transposed(
        instrument.transposition_semitones
    )


def out_of_compass(event: Event, desk: Desk) -> bool:
    """Whether an ordinary note lies outside the chart, by more than a quarter-tone."""
    low, high = compass(desk)
    return any(not low.midi - 0.5 <= note.sounding.midi <= high.midi + 0.5 for note in event.notes)


def decide_note(demand: Demand, desk: Desk) -> Decision:
    """An ordinary note outside the chart: doubtful just above it, else unplayable, with the octave that fits."""
    assert demand.kind == Kind.NOTE
    low, high = compass(desk)
    pitch, shift = demand.sounding[0], transposition(demand)
    written_low, written_high = low.transposed(-shift), high.transposed(-shift)
    span = f"{desk.name} has {written_low} to {written_high}"
    if high.midi < pitch.midi <= high.midi + _ABOVE_CHART:
        why = f"{demand.pitches[0]} lies above the standard chart ({span}); some players reach it."
        return Decision(demand, desk.name, Status.DOUBTFUL, why, band_cents=desk.band_cents())
    octaves = 1 if pitch.midi < low.midi else -1
    moved = pitch
    while not low.midi <= moved.midi <= high.midi:
        moved = moved.transposed(12 * octaves)
    written = moved.transposed(-shift)
    standard = {note.pitch.midi: note.fingering for note in chart_of(desk.model.instrument)}
    fingering = standard.get(moved.midi - desk.model.instrument.transposition_semitones)
    proposals = (Instead((written,), fingering, "the same note in an octave that the flute has"),)
    where = "below" if octaves > 0 else "above"
    why = f"{demand.pitches[0]} lies {where} the flute: {span}."
    return Decision(demand, desk.name, Status.UNPLAYABLE, why, band_cents=desk.band_cents(), instead=proposals)
