from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from report_samples import demand, pitches, place, playable, rich_result, two_flutes

from annotate.decision import Result, Sound
from annotate.report import json_report
from fingering_db.pitch import Pitch

REFERENCES = Path(__file__).parents[1] / "references"
SCHEMA = json.loads((REFERENCES / "report-v1.schema.json").read_text(encoding="utf-8"))
TOP = "version score flutes summary demands findings not_judged undecided decisions_file plan plan_costs"
DEMAND = (
    "id kind part part_id bar beat rehearsal seconds written pitches to flute status why fingering "
    "deviation_cents confidence sounds alternatives instead path notes findings band_cents reading together "
    "one_note decided own_note decide number number_to"
)
TYPES: dict[str, type | tuple[type, ...]] = {
    "object": dict, "array": list, "string": str, "integer": int, "number": (int, float), "null": type(None),
    "boolean": bool,
}  # fmt: skip


def parsed(result: Result) -> dict[str, Any]:
    text = json_report.render(result)
    assert text.isascii() and text.endswith("}\n")
    data: dict[str, Any] = json.loads(text)
    return data


def faults(value: Any, schema: dict[str, Any], at: str = "") -> list[str]:
    """Where a value differs from the part of JSON Schema that the report's schema uses."""
    if "$ref" in schema:
        schema = SCHEMA["$defs"][schema["$ref"].rsplit("/", 1)[1]]
    found = []
    if value not in schema.get("enum", [value]) or value != schema.get("const", value):
        found.append(f"{at}: {value!r}")
    kinds = schema.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    if kinds and not any(isinstance(value, TYPES[kind]) for kind in kinds):
        return [*found, f"{at}: {value!r} is not {kinds}"]
    if isinstance(value, list):
        for n, one in enumerate(value):
            found += faults(one, schema["items"], f"{at}[{n}]")
    if isinstance(value, dict):
        properties, others = schema.get("properties", {}), schema.get("additionalProperties")
        found += [f"{at}: no {name}" for name in schema.get("required", []) if name not in value]
        for name, one in value.items():
            known = properties.get(name, others)
            found += faults(one, known, f"{at}.{name}") if known else [f"{at}: unknown {name}"]
    return found


@pytest.mark.parametrize("result", [rich_result(), two_flutes(), Result("empty.xml", ("alto",))])
def test_the_report_fits_its_schema(result):
    assert faults(parsed(result), SCHEMA) == []


def test_the_schema_check_itself_finds_faults():
    data = parsed(rich_result())
    data["demands"][0]["status"] = "maybe"
    del data["summary"]
    data["demands"][1]["sounds"][0]["hz"] = "high"
    data["more"] = 1
    assert len(faults(data, SCHEMA)) == 4


def test_fields_stand_in_the_promised_order():
    data = parsed(rich_result())
    demands = data["demands"]
    assert " ".join(data) == TOP
    assert {" ".join(one) for one in demands} == {DEMAND}
    assert " ".join(data["findings"][0]) == "id code severity demand place message advice"
    assert " ".join(data["summary"]) == "demands playable doubtful unplayable"
    assert " ".join(demands[0]["sounds"][0]) == "hz name cents strength holds speed_m_s"
    assert " ".join(demands[5]["path"][0]) == "t slide_mm open lip_cents fingering sounds"
    assert " ".join(demands[4]["instead"][0]) == "pitches fingering why"


def test_a_demand_is_told_with_sensible_figures():
    first = parsed(rich_result())["demands"][0]
    assert (first["bar"], first["beat"], first["rehearsal"], first["seconds"]) == ("12", 2.0, "C+3", 31.5)
    assert first["written"] == ["C5", "D6"]
    assert first["pitches"][0] == {"name": "C5", "cents": 0, "hz": 523.25}
    assert (first["deviation_cents"], first["confidence"], first["band_cents"]) == ([-6, 11], 0.83, [9, 12])
    assert first["sounds"][0] == {
        "hz": 521.38,
        "name": "C5",
        "cents": -6,
        "strength": 0.9,
        "holds": 0.55,
        "speed_m_s": [14, 31],
    }


def test_a_glissando_carries_where_it_goes_and_its_path():
    glide = parsed(rich_result())["demands"][5]
    assert glide["to"] == ["B4", "C#6"]
    assert glide["path"][1]["open"] == {"2": 0.2}
    assert (glide["path"][2]["slide_mm"], glide["path"][2]["lip_cents"]) == (23.0, -20)


def test_findings_are_numbered_and_linked_both_ways():
    data = parsed(rich_result())
    assert [one["id"] for one in data["findings"]] == ["f1", "f2", "f3"]
    assert [one["demand"] for one in data["findings"]] == ["", "d5", "d2"]
    linked = {one["id"]: one["findings"] for one in data["demands"] if one["findings"]}
    assert linked == {"d5": ["f2"], "d2": ["f3"]}


def test_the_summary_counts_demands_by_status():
    assert parsed(rich_result())["summary"] == {"demands": 6, "playable": 4, "doubtful": 1, "unplayable": 1}


def test_several_flutes_have_summaries_and_each_demand_once_per_flute():
    data = parsed(two_flutes())
    assert list(data["summaries"]) == ["open-hole-b", "vented-b"]
    assert data["summary"] == data["summaries"]["open-hole-b"]
    assert [(one["id"], one["flute"]) for one in data["demands"]] == [
        ("d1", "open-hole-b"), ("d1", "vented-b"), ("d2", "open-hole-b"), ("d2", "vented-b"),
    ]  # fmt: skip


def test_names_follow_the_spelling_of_the_score():
    flat = demand(1, place("1"), "Bb4+50 Db6", kind="multiphonic")
    sounds = (Sound(466.2, Pitch("A", 1, 4, 3.0), 0.9), Sound(1108.7, Pitch("C", 1, 6, 0.0), 0.9))
    told = parsed(Result("x", ("f",), (playable(flat, sounds=sounds),)))["demands"][0]
    assert told["written"] == ["Bb4+50", "Db6"]
    assert [one["name"] for one in told["sounds"]] == ["Bb4", "Db6"]
    assert told["pitches"][0] == {"name": "Bb4", "cents": 50, "hz": round(440 * 2 ** (1.5 / 12), 2)}


def test_a_transposing_flute_shows_written_names_and_sounding_frequencies():
    piccolo = demand(1, place("1"), "C5 D6", sounding=pitches("C6 D7"))
    result = Result("x", ("piccolo",), (playable(piccolo),), a4_hz=442.0)
    told = parsed(result)["demands"][0]
    assert told["written"] == ["C5", "D6"]
    assert told["pitches"][0] == {"name": "C6", "cents": 0, "hz": round(442 * 2 ** (15 / 12), 2)}


def test_what_could_not_be_computed_is_null_and_the_text_stays_valid_json():
    broken = playable(demand(1, place("1"), "C5 D6"), deviation_cents=(math.nan, -0.2), confidence=math.inf)
    told = parsed(Result("x", ("f",), (broken,)))["demands"][0]
    assert told["deviation_cents"] == [None, 0]
    assert told["confidence"] is None


def test_a_file_name_that_is_no_text_survives():
    name = "sc\udce9ne \x1b[31m \u266f.xml"
    assert parsed(replace(rich_result(), score=name))["score"] == name
