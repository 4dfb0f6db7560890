"""The report as JSON, version 1: field names and their order are a promise to other programs."""

import json
import math
from collections.abc import Mapping
from typing import Any

from annotate.decision import Alternative, Decision, Instead, PathPoint, PlannedNote, Result, Sound
from annotate.decisions.line import FIX, READ, READINGS, place_line
from annotate.language import words
from annotate.numbering import fingerings_of, numbered
from annotate.report.content import Counts, NumberedFinding, Report, build, spelled_as_asked
from annotate.since import Entry, Pair, Since
from fingering_db.fingering import Fingering, text_of
from fingering_db.pitch import Pitch
from fingering_db.trials import Tried

VERSION = 1
_SAID = words(signs=False).say
"""Sentences are English in every language, with note names as they are typed: other programs read them."""


def render(result: Result, since: Since | None = None) -> str:
    """The report as JSON text, ASCII only (any terminal and program can take it), ending in a line feed."""
    return json.dumps(as_data(build(result), since), indent=1, allow_nan=False) + "\n"


def as_data(report: Report, since: Since | None = None) -> dict[str, Any]:
    """The report as plain lists, dictionaries, numbers and texts, ready for JSON. A figure that could not be
    computed is None. since: what has changed, where an earlier report was given."""
    result = report.result
    data: dict[str, Any] = {
        "version": VERSION,
        "score": result.score,
        "flutes": list(result.flutes),
        "summary": _counts(report.total),
    }
    if len(report.per_flute) > 1:
        data["summaries"] = {flute: _counts(counts) for flute, counts in report.per_flute}
    first = result.first_flute()
    numbers, ids = numbered(first), {(one.demand.id, one.flute) for one in first}
    data |= {
        "demands": [
            _demand(decision, report)
            | _numbers(decision if (decision.demand.id, decision.flute) in ids else None, numbers)
            for decision in result.decisions
        ],
        "findings": [_finding(numbered) for numbered in report.findings],
        "not_judged": [{"place": str(one.place), "what": _SAID(one.what)} for one in result.not_judged],
        "undecided": [
            {
                "place": str(one.place),
                "written": [str(pitch) for pitch in one.pitches],
                "evidence": [_SAID(each) for each in one.evidence],
                "decide": [place_line(one.address, READ, reading) for reading in READINGS] if one.address else [],
            }
            for one in result.undecided
        ],
    }
    data["decisions_file"] = result.decisions_file
    data["plan"] = [_planned(note) for note in result.plan]
    data["plan_costs"] = [
        {"part": one.part, "plan": figure(one.cost, 1), "each_alone": figure(one.alone, 1)} for one in result.plan_costs
    ]
    return data | {"since": _since(since)} if since else data


def _numbers(decision: Decision | None, numbers: Mapping[Fingering, int]) -> dict[str, int | None]:
    """Number of the fingering, and of the one that a glissando ends with where that is another; None: has no number."""
    start, end = fingerings_of(decision) if decision else (None, None)
    return {"number": numbers.get(start) if start else None, "number_to": numbers.get(end) if end else None}


def _since(since: Since) -> dict[str, Any]:
    return {
        "report": since.earlier.path,
        "flutes": list(since.earlier.flutes),
        "new": [_place(entry) | _entry(entry) for entry in since.new],
        "solved": [_pair(pair) for pair in since.solved],
        "changed": [_pair(pair) for pair in since.changed],
        "gone": [_place(entry) | _entry(entry) for entry in since.gone],
        "unchanged": since.unchanged,
    }


def _pair(pair: Pair) -> dict[str, Any]:
    """Place and id of today; of the earlier report where it is not asked any more (then `id` is None)."""
    was = {"bar": pair.was.bar, "beat": figure(pair.was.beat, 3)} | _entry(pair.was)
    if pair.now is None:
        return _place(pair.was) | {"id": None, "was": was, "now": None}
    return _place(pair.now) | {"was": was, "now": _entry(pair.now)}


def _place(entry: Entry) -> dict[str, Any]:
    at = {"id": entry.id, "kind": entry.kind, "part": entry.part, "part_id": entry.part_id}
    return at | {"bar": entry.bar, "beat": figure(entry.beat, 3)}


def _entry(entry: Entry) -> dict[str, Any]:
    return {
        "written": [str(pitch) for pitch in entry.pitches],
        "to": [str(pitch) for pitch in entry.to],
        "status": entry.status,
        "fingering": text_of(entry.fingering),
    }


def _counts(counts: Counts) -> dict[str, int]:
    return {
        "demands": counts.demands,
        "playable": counts.playable,
        "doubtful": counts.doubtful,
        "unplayable": counts.unplayable,
    }


def _demand(decision: Decision, report: Report) -> dict[str, Any]:
    demand, place = decision.demand, decision.demand.place
    asked = demand.sounding + demand.to_sounding
    return {
        "id": demand.id,
        "kind": demand.kind,
        "part": place.part,
        "part_id": place.part_id,
        "bar": place.bar,
        "beat": figure(float(place.beat), 3),
        "rehearsal": place.rehearsal,
        "seconds": figure(place.seconds, 2),
        "written": [str(pitch) for pitch in demand.pitches],
        "pitches": [_pitch(pitch, report.result.a4_hz) for pitch in demand.sounding],
        "to": [str(pitch) for pitch in demand.to],
        "flute": decision.flute,
        "status": decision.status,
        "why": _SAID(decision.why),
        "fingering": text_of(decision.fingering),
        "deviation_cents": [figure(cents) for cents in decision.deviation_cents],
        "confidence": figure(decision.confidence, 2),
        "sounds": sounds_data(decision.sounds, asked),
        "alternatives": [
            _alternative(one) | {"decide": _fix_line(demand.address, one.fingering)} for one in decision.alternatives
        ],
        "instead": [_instead(one) for one in decision.instead],
        "path": [_path_point(point, asked) for point in decision.path],
        "notes": list(decision.notes),
        "findings": list(report.findings_of(demand.id)),
        "band_cents": [figure(cents) for cents in decision.band_cents],
        "reading": _SAID(demand.reading) if demand.reading else "",
        "together": figure(decision.together, 2),
        "one_note": decision.one_note,
        "decided": decision.ruled,
        "own_note": decision.own_note,
        "decide": _fix_line(demand.address, decision.fingering),
    } | log_data(decision.tried, decision.by_model)


def log_data(tried: Tried | None, by_model: float) -> dict[str, Any]:
    """How players' trials went and the confidence before them; nothing where nobody tried."""
    if tried is None:
        return {}
    own = {"worked": tried.worked, "failed": tried.failed}
    others = {"others_worked": tried.others_worked, "others_failed": tried.others_failed}
    return {"log": own | others | {"model_confidence": figure(by_model, 2)}}


def _planned(note: PlannedNote) -> dict[str, Any]:
    place = note.place
    return {
        "bar": place.bar,
        "beat": figure(float(place.beat), 3),
        "part_id": place.part_id,
        "voice": place.voice,
        "fingering": text_of(note.fingering),
        "trill": text_of(note.other),
        "alternatives": [text_of(one) for one in note.alternatives],
        "demand": note.demand,
    }


def _fix_line(address: str, fingering: Fingering | None) -> str:
    """The line of a decisions file that holds on to a fingering, '' where none can."""
    return place_line(address, FIX, fingering) if address and fingering else ""


def _pitch(pitch: Pitch, a4_hz: float) -> dict[str, Any]:
    return {"name": pitch.name, "cents": figure(pitch.cents), "hz": figure(pitch.hz(a4_hz), 2)}


def sounds_data(sounds: tuple[Sound, ...], asked: tuple[Pitch, ...] = ()) -> list[dict[str, Any]]:
    """Resonances, those asked for spelled as asked."""
    return [
        {
            "hz": figure(sound.hz, 2),
            "name": spelled_as_asked(sound.pitch, asked).name,
            "cents": figure(sound.pitch.cents),
            "strength": figure(sound.strength, 2),
            "holds": figure(sound.holds, 2),
            "speed_m_s": [figure(speed) for speed in sound.speed_m_s],
        }
        for sound in sounds
    ]


def _alternative(one: Alternative) -> dict[str, Any]:
    return {
        "fingering": text_of(one.fingering),
        "deviation_cents": [figure(cents) for cents in one.deviation_cents],
        "band_cents": [figure(cents) for cents in one.band_cents],
        "confidence": figure(one.confidence, 2),
    } | log_data(one.tried, one.by_model)


def _instead(one: Instead) -> dict[str, Any]:
    data: dict[str, Any] = {
        "pitches": [str(pitch) for pitch in one.pitches],
        "fingering": text_of(one.fingering),
        "why": _SAID(one.why),
    }
    if one.to:
        data["to"] = [str(pitch) for pitch in one.to]
    return data


def _path_point(point: PathPoint, asked: tuple[Pitch, ...]) -> dict[str, Any]:
    return {
        "t": figure(point.t, 3),
        "slide_mm": figure(point.slide_mm, 1),
        "open": {key: figure(share, 2) for key, share in point.open},
        "lip_cents": figure(point.lip_cents),
        "fingering": str(point.fingering),
        "sounds": sounds_data(point.sounds, asked),
    }


def _finding(numbered: NumberedFinding) -> dict[str, str]:
    finding = numbered.finding
    return {
        "id": numbered.id,
        "code": finding.code,
        "severity": finding.severity,
        "demand": finding.demand,
        "place": str(finding.place) if finding.place else "",
        "message": _SAID(finding.message),
        "advice": _SAID(finding.advice),
    }


def figure(value: float, decimals: int | None = None) -> float | int | None:
    """Rounded; whole (an int) without `decimals`; None for what is not a number; no negative zero."""
    if not math.isfinite(value):
        return None
    return round(value) if decimals is None else round(value, decimals) + 0.0
