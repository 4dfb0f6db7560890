"""The report as JSON, version 1: field names and their order are a promise to other programs."""

import json
import math
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from annotate.decision import Alternative, Decision, PlannedNote, Result, Sound
from annotate.decisions.address import FIX, READ, READINGS, place_line
from annotate.language import words
from annotate.numbering import fingerings_of
from annotate.report.content import Report, build, spelled_as_asked
from annotate.since import Entry, Pair, Since
from fingering_db.fingering import Fingering, text_of
from fingering_db.message import Message
from fingering_db.pitch import Pitch
from fingering_db.trials import Tried

VERSION = 1
_OF_COUNTS = "demands playable doubtful unplayable"
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
        "summary": fields(report.total, _OF_COUNTS),
    }
    if len(report.per_flute) > 1:
        data["summaries"] = {flute: fields(counts, _OF_COUNTS) for flute, counts in report.per_flute}
    first = result.first_flute()
    ids = {(one.demand.id, one.flute) for one in first}
    data |= {
        "demands": [
            _demand(decision, report)
            | _numbers(decision if (decision.demand.id, decision.flute) in ids else None, result.numbers)
            for decision in result.decisions
        ],
        "findings": [
            {"id": one.id} | fields(one.finding, "code severity demand place message advice") for one in report.findings
        ],
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
        {"part": one.part.part, "plan": figure(one.cost, 1), "each_alone": figure(one.alone, 1)}
        for one in result.plan_costs
    ]
    return data | {"since": _since(since)} if since else data


def _numbers(decision: Decision | None, numbers: Mapping[Fingering, int]) -> dict[str, int | None]:
    """Number on the marked page of the fingering, and of the one that a glissando ends with where that is another; None: has no
    number, for the page draws it."""
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
    return fields(entry, "id kind part part_id bar beat")


def _entry(entry: Entry) -> dict[str, Any]:
    return {"written": [str(pitch) for pitch in entry.pitches]} | fields(entry, "to status fingering")


def _demand(decision: Decision, report: Report) -> dict[str, Any]:
    demand = decision.demand
    asked = demand.sounding + demand.to_sounding
    alternatives = [
        _alternative(one) | {"decide": _fix_line(demand.address, one.fingering)} for one in decision.alternatives
    ]
    pitches = [
        {"name": pitch.name, "cents": figure(pitch.cents), "hz": figure(pitch.hz(report.result.a4_hz), 2)}
        for pitch in demand.sounding
    ]
    instead = [fields(one, "pitches fingering why") | (fields(one, "to") if one.to else {}) for one in decision.instead]
    return (
        fields(demand, "id kind")
        | fields(demand.place, "part part_id bar beat rehearsal seconds")
        | {"written": [str(pitch) for pitch in demand.pitches]}
        | {"pitches": pitches}
        | fields(demand, "to")
        | fields(decision, "flute status why fingering deviation_cents confidence sounds", asked)
        | {"alternatives": alternatives, "instead": instead}
        | {"path": [fields(point, _OF_A_POINT, asked) for point in decision.path]}
        | fields(decision, "notes")
        | {"findings": list(report.findings_of(demand.id))}
        | fields(decision, "band_cents")
        | fields(demand, "reading")
        | fields(decision, "together one_note")
        | {"decided": decision.ruled, "own_note": decision.own_note}
        | {"decide": _fix_line(demand.address, decision.fingering)}
        | log_data(decision.tried, decision.by_model)
    )


_OF_A_POINT = "t slide_mm open lip_cents fingering sounds"


def log_data(tried: Tried | None, by_model: float) -> dict[str, Any]:
    """How players' trials went and the confidence before them; nothing where nobody tried."""
    if tried is None:
        return {}
    told = fields(tried, "worked failed others_worked others_failed")
    return {"log": told | {"model_confidence": figure(by_model, 2)}}


def _planned(note: PlannedNote) -> dict[str, Any]:
    return (
        fields(note.place, "bar beat part_id voice")
        | {"fingering": text_of(note.fingering), "trill": text_of(note.other)}
        | fields(note, "alternatives demand")
    )


def _fix_line(address: str, fingering: Fingering | None) -> str:
    """The line of a decisions file that holds on to a fingering, '' where none can."""
    return place_line(address, FIX, fingering) if address and fingering else ""


def sounds_data(sounds: tuple[Sound, ...], asked: tuple[Pitch, ...] = ()) -> list[dict[str, Any]]:
    """Resonances, those asked for spelled as asked."""
    return [
        fields(one, "hz")
        | {"name": spelled_as_asked(one.pitch, asked).name, "cents": figure(one.pitch.cents)}
        | fields(one, "strength holds speed_m_s")
        for one in sounds
    ]


def _alternative(one: Alternative) -> dict[str, Any]:
    return fields(one, "fingering deviation_cents band_cents confidence") | log_data(one.tried, one.by_model)


_DECIMALS = {"beat": 3, "t": 3, "lip_mm": 1, "slide_mm": 1}
_DECIMALS |= dict.fromkeys(("confidence", "together", "hz", "strength", "holds", "seconds"), 2)


def fields(one: object, names: str, asked: tuple[Pitch, ...] = ()) -> dict[str, Any]:
    """The fields named of a value, in that order, as JSON has them. asked: as in `sounds_data`."""
    return {name: _plain(name, getattr(one, name), asked) for name in names.split()}


def _plain(name: str, value: Any, asked: tuple[Pitch, ...]) -> Any:
    if name == "sounds":
        return sounds_data(value, asked)
    if name == "open":
        return {touch: figure(share, 2) for touch, share in value}
    if isinstance(value, tuple):
        return [_plain(name, each, asked) for each in value]
    if isinstance(value, float | Fraction) or name in _DECIMALS:
        return figure(float(value), _DECIMALS.get(name))
    if isinstance(value, Message):
        return _SAID(value)
    return value if isinstance(value, int) else str(value or "")


def figure(value: float, decimals: int | None = None) -> float | int | None:
    """Rounded; whole (an int) without `decimals`; None for what is not a number; no negative zero."""
    if not math.isfinite(value):
        return None
    return round(value) if decimals is None else round(value, decimals) + 0.0
