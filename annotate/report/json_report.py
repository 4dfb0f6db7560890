"""The report as JSON, version 1: field names and their order are a promise to other programs."""

from __future__ import annotations

import json
import math
from typing import Any

from annotate.decision import Alternative, Decision, Instead, PathPoint, Result, Sound
from annotate.report.model import Counts, NumberedFinding, Report, build, spelled_as_asked
from fingering_db.pitch import Pitch

VERSION = 1


def render(result: Result) -> str:
    """The report as JSON text, ASCII only (any terminal and program can take it), ending in a line feed."""
    return json.dumps(as_data(build(result)), indent=1, allow_nan=False) + "\n"


def as_data(report: Report) -> dict[str, Any]:
    """The report as plain lists, dictionaries, numbers and texts, ready for JSON. A figure that could not be
    computed is None."""
    result = report.result
    data: dict[str, Any] = {
        "version": VERSION,
        "score": result.score,
        "flutes": list(result.flutes),
        "summary": _counts(report.total),
    }
    if len(report.per_flute) > 1:
        data["summaries"] = {flute: _counts(counts) for flute, counts in report.per_flute}
    return data | {
        "demands": [_demand(decision, report) for decision in result.decisions],
        "findings": [_finding(numbered) for numbered in report.findings],
        "not_judged": [{"place": str(one.place), "what": one.what} for one in result.not_judged],
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
        "beat": _figure(float(place.beat), 3),
        "rehearsal": place.rehearsal,
        "seconds": _figure(place.seconds, 2),
        "written": [str(pitch) for pitch in demand.pitches],
        "pitches": [_pitch(pitch, report.result.a4_hz) for pitch in demand.sounding],
        "to": [str(pitch) for pitch in demand.to],
        "flute": decision.flute,
        "status": decision.status,
        "why": decision.why,
        "fingering": decision.fingering,
        "deviation_cents": [_figure(cents) for cents in decision.deviation_cents],
        "confidence": _figure(decision.confidence, 2),
        "sounds": _sounds(decision.sounds, asked),
        "alternatives": [_alternative(one) for one in decision.alternatives],
        "instead": [_instead(one) for one in decision.instead],
        "path": [_path_point(point, asked) for point in decision.path],
        "notes": list(decision.notes),
        "findings": list(report.findings_of(demand.id)),
        "band_cents": _figure(decision.band_cents),
    }


def _pitch(pitch: Pitch, a4_hz: float) -> dict[str, Any]:
    return {"name": pitch.name, "cents": _figure(pitch.cents), "hz": _figure(pitch.hz(a4_hz), 2)}


def _sounds(sounds: tuple[Sound, ...], asked: tuple[Pitch, ...]) -> list[dict[str, Any]]:
    return [
        {
            "hz": _figure(sound.hz, 2),
            "name": spelled_as_asked(sound.pitch, asked).name,
            "cents": _figure(sound.pitch.cents),
            "strength": _figure(sound.strength, 2),
        }
        for sound in sounds
    ]


def _alternative(one: Alternative) -> dict[str, Any]:
    return {
        "fingering": one.fingering,
        "deviation_cents": [_figure(cents) for cents in one.deviation_cents],
        "confidence": _figure(one.confidence, 2),
    }


def _instead(one: Instead) -> dict[str, Any]:
    data: dict[str, Any] = {"pitches": [str(pitch) for pitch in one.pitches], "fingering": one.fingering, "why": one.why}
    if one.to:
        data["to"] = [str(pitch) for pitch in one.to]
    return data


def _path_point(point: PathPoint, asked: tuple[Pitch, ...]) -> dict[str, Any]:
    return {
        "t": _figure(point.t, 3),
        "slide_mm": _figure(point.slide_mm, 1),
        "open": {key: _figure(share, 2) for key, share in point.open},
        "lip_cents": _figure(point.lip_cents),
        "fingering": point.fingering,
        "sounds": _sounds(point.sounds, asked),
    }


def _finding(numbered: NumberedFinding) -> dict[str, str]:
    finding = numbered.finding
    return {
        "id": numbered.id,
        "code": finding.code,
        "severity": finding.severity,
        "demand": finding.demand,
        "place": finding.place,
        "message": finding.message,
        "advice": finding.advice,
    }


def _figure(value: float, decimals: int | None = None) -> float | int | None:
    """Rounded; whole (an int) without `decimals`; None for what is not a number; no negative zero."""
    if not math.isfinite(value):
        return None
    return round(value) if decimals is None else round(value, decimals) + 0.0
