"""Answers to questions as JSON, version 1: the field names of the report."""

import json
from collections.abc import Sequence
from typing import Any

from annotate.answers import Answer, FoundFingering, Gliding, Near, Search, Shifted, Shifts, Sounding, Way, WayPoint
from annotate.language import words
from annotate.report.json_report import VERSION, figure, log_data, sounds_data
from fingering_db.fingering import text_of

_SAID = words().say


def render(answers: Sequence[Answer]) -> str:
    """All answers as one JSON text."""
    data: dict[str, Any] = {"version": VERSION, "results": [row for answer in answers for row in _rows(answer)]}
    failed = [_found(one) for answer in answers if isinstance(answer, Search) for one in answer.failed]
    if failed:
        data["failed"] = failed
    near = [_near(one) for answer in answers if isinstance(answer, Search) for one in answer.near]
    if near:
        data["instead"] = near
    sets = [_set(answer) for answer in answers if isinstance(answer, Shifts)]
    if sets:
        data["sets"] = sets
    remarks = {answer.flute: answer.remark for answer in answers if answer.remark}
    if remarks:
        data["remarks"] = remarks
    return json.dumps(data, indent=1, allow_nan=False)


def _rows(answer: Answer) -> list[dict[str, Any]]:
    match answer:
        case Search():
            return [_found(one) for one in answer.found]
        case Sounding():
            return [_sounding(answer)]
        case Gliding():
            return [_way(one) for one in answer.ways]
        case Shifts():
            return [_shifted(one) for one in answer.places]


def _cents(cents: tuple[float, ...]) -> list[float | int | None]:
    return [figure(one) for one in cents]


def _found(one: FoundFingering) -> dict[str, Any]:
    return {
        "flute": one.flute,
        "fingering": str(one.fingering),
        "deviation_cents": _cents(one.deviation_cents),
        "band_cents": _cents(one.band_cents),
        "confidence": figure(one.confidence, 2),
        "together": figure(one.together, 2),
        "one_note": one.one_note,
        "lip_mm": figure(one.lip_mm, 1),
        "set_size": one.set_size,
        "sounds": sounds_data(one.sounds),
    } | log_data(one.tried, one.by_model)


def _near(one: Near) -> dict[str, Any]:
    return {"pitches": [str(pitch) for pitch in one.pitches], "fingering": str(one.fingering)}


def _sounding(answer: Sounding) -> dict[str, Any]:
    return {
        "flute": answer.flute,
        "fingering": str(answer.fingering),
        "sounds": sounds_data(answer.sounds),
        "band_cents": [figure(one.band_cents) for one in answer.sounds],
    }


def _way(one: Way) -> dict[str, Any]:
    return {
        "flute": one.flute,
        "status": one.status,
        "why": _SAID(one.why),
        "means": one.means,
        "fingering": str(one.fingering),
        "deviation_cents": _cents(one.deviation_cents),
        "band_cents": _cents(one.band_cents),
        "confidence": figure(one.confidence, 2),
        "path": [_point(point) for point in one.path],
    }


def _point(point: WayPoint) -> dict[str, Any]:
    return {
        "t": figure(point.t, 3),
        "slide_mm": figure(point.slide_mm, 1),
        "open": {touch: figure(share, 2) for touch, share in point.open},
        "lip_mm": figure(point.lip_mm, 1),
        "fingering": str(point.fingering),
        "sounds": sounds_data(point.sounds),
    }


def _shifted(one: Shifted) -> dict[str, Any]:
    return {
        "flute": one.flute,
        "hole": one.hole,
        "reachable": one.reachable,
        "why": _SAID(one.why) if one.why else "",
        "fingering": text_of(one.fingering),
        "keys": one.keys,
        "lip_mm": figure(one.lip_mm, 1),
        "sounds": sounds_data(one.sounds),
        "intervals": [{"cents": figure(each.cents), "name": each.name} for each in one.intervals],
        "contrary": text_of(one.contrary),
    }


def _set(answer: Shifts) -> dict[str, Any]:
    return {
        "flute": answer.flute,
        "pattern": str(answer.pattern),
        "set_size": len(answer.reached),
        "spread_cents": _cents(answer.spread_cents),
    }
