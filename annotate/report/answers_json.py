"""Answers to questions as JSON, version 1: the field names of the report."""

import json
from collections.abc import Sequence
from typing import Any

from annotate.answers import Answer, FoundFingering, Gliding, Search, Shifted, Shifts, Sounding, Way
from annotate.report.json_report import VERSION, fields, figure, log_data


def render(answers: Sequence[Answer]) -> str:
    data: dict[str, Any] = {"version": VERSION, "results": [row for answer in answers for row in _rows(answer)]}
    failed = [_found(one) for answer in answers if isinstance(answer, Search) for one in answer.failed]
    if failed:
        data["failed"] = failed
    near = [fields(one, "pitches fingering") for answer in answers if isinstance(answer, Search) for one in answer.near]
    if near:
        data["instead"] = near
    sets = [
        fields(one, "flute pattern") | {"set_size": len(one.reached)} | fields(one, "spread_cents")
        for one in answers
        if isinstance(one, Shifts)
    ]
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
            bands = [figure(one.band_cents) for one in answer.sounds]
            return [fields(answer, "flute fingering sounds") | {"band_cents": bands}]
        case Gliding():
            return [_way(one) for one in answer.ways]
        case Shifts():
            return [_shifted(one) for one in answer.places]


def _found(one: FoundFingering) -> dict[str, Any]:
    names = "flute fingering deviation_cents band_cents confidence together one_note lip_mm set_size sounds"
    return fields(one, names) | log_data(one.tried, one.by_model)


def _way(one: Way) -> dict[str, Any]:
    path = [fields(point, "t slide_mm open lip_mm fingering sounds") for point in one.path]
    names = "flute status why means fingering deviation_cents band_cents confidence"
    return fields(one, names) | {"path": path}


def _shifted(one: Shifted) -> dict[str, Any]:
    intervals = [fields(each, "cents name") for each in one.intervals]
    told = fields(one, "flute hole reachable why fingering keys lip_mm sounds")
    return told | {"intervals": intervals} | fields(one, "contrary")
