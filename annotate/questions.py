"""Answers to questions without a score: `find`, `sounds`, `glide` and `shifts`, as text and as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from annotate import output
from annotate.choosing.desk import Desk
from annotate.choosing.multiphonics import MOST_PITCHES
from annotate.choosing.slides import glide_reason, glide_status, no_way, ways
from annotate.decision import Status
from annotate.drawing.diagram import plain_rows, rows
from annotate.findings import InputError
from annotate.language import words
from fingering_db.fingering import Fingering, FingeringError, text_of
from fingering_db.glide import Point
from fingering_db.motion import against_the_ear, as_fingering
from fingering_db.nearby import nearby
from fingering_db.pitch import Pitch, PitchError
from fingering_db.playability import PLAYABLE_CONFIDENCE
from fingering_db.ranking import Resonance
from fingering_db.ranking import sounds as resonances_of
from fingering_db.shifts import NO_OPENING, Pattern, PatternError, Shift, set_size, spread_cents
from fingering_db.shifts import shifts as places_for

_WIDTH = 80
_SAY = words().say
_GLIDES = 5  # ways shown
LOWEST, HIGHEST = Pitch("C", 0, 0), Pitch("B", 0, 9)
"""Pitches between which a question makes sense; the flutes' own compasses are far within."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one flute answers. results: rows as they stand in the JSON; heading, lines: the same as text (a line and,
    beside it, an optional fingering to draw). instead, sets: further rows of the JSON. remark: on the flute."""

    flute: str
    heading: str
    results: tuple[dict[str, Any], ...]
    lines: tuple[tuple[str, Fingering | None], ...]
    instead: tuple[dict[str, Any], ...] = field(default=())
    sets: tuple[dict[str, Any], ...] = field(default=())
    remark: str = ""


def find(desk: Desk, texts: tuple[str, ...], tolerance_cents: float, limit: int) -> Answer:
    """Ranked fingerings for pitches (sounding pitch). Raises InputError for a text that is no pitch."""
    targets = _pitches(texts)
    asked = _named(desk, targets)
    found = desk.search(targets, tolerance_cents, limit)
    if not found.best:
        return _nothing(desk, targets, asked, tolerance_cents)
    results, lines = [], []
    for candidate in found.best:
        places = set_size(desk.model, candidate.fingering)
        results.append(
            {
                "flute": desk.name,
                "fingering": str(candidate.fingering),
                "deviation_cents": [round(cents) for cents in candidate.deviation_cents],
                "band_cents": [round(cents) for cents in candidate.band_cents],
                "confidence": round(candidate.confidence, 2),
                "lip_mm": round(candidate.lip_mm, 1),
                "set_size": places,
                "sounds": _sounds(candidate.sounds, desk.a4_hz),
            }
        )
        pairs = zip(candidate.deviation_cents, candidate.band_cents, strict=True)
        off = ", ".join(f"{cents:+.0f} ±{band:.0f}" for cents, band in pairs)
        stands = f"{places} place{'s' if places != 1 else ''}"
        lines.append((f"{off} cents", f"confidence {candidate.confidence:.2f}", stands, candidate.fingering))
    heading = (
        f"{desk.name}: {found.count} different sounds give {asked} within {tolerance_cents:.0f} cents; "
        f"the best {len(found.best)}, with the number of places along the tube where each can stand (see shifts):"
    )
    width = max(len(line[0]) for line in lines) + 2
    text = tuple((f"{off:<{width}}{sure:<17}{stands:<11}{one!s}", one) for off, sure, stands, one in lines)
    return _answer(desk, heading, tuple(results), text)


def _answer(
    desk: Desk,
    heading: str,
    results: tuple[dict[str, Any], ...],
    lines: tuple[tuple[str, Fingering | None], ...],
    instead: tuple[dict[str, Any], ...] = (),
    sets: tuple[dict[str, Any], ...] = (),
) -> Answer:
    return Answer(desk.name, heading, results, lines, instead, sets, desk.model.instrument.remark)


def _named(desk: Desk, sounding: tuple[Pitch, ...]) -> str:
    """Pitches asked for, and on a transposing flute how its part writes them."""
    shift = desk.model.instrument.transposition_semitones
    written = " + ".join(str(pitch.transposed(-shift)) for pitch in sounding)
    return " + ".join(map(str, sounding)) + (f" (sounding; written {written})" if shift else "")


def _nothing(desk: Desk, targets: tuple[Pitch, ...], asked: str, tolerance_cents: float) -> Answer:
    near = nearby(desk.model, targets, tolerance_cents, desk.a4_hz)
    tried = len(desk.model.reach.placements)
    heading = f"{desk.name}: nothing sounds {asked}: none of {tried:,} fingerings within {tolerance_cents:.0f} cents."
    if near:
        heading += " Near it:"
    rows_ = tuple(
        {"pitches": [str(pitch) for pitch in one.pitches], "fingering": str(one.candidate.fingering)} for one in near
    )
    lines = tuple(
        (
            f"{' + '.join(map(str, one.pitches)):<18}confidence {one.candidate.confidence:<6.2f}"
            f"{one.candidate.fingering}",
            None,
        )
        for one in near
    )
    return _answer(desk, heading, (), lines, rows_)


def sounds(desk: Desk, text: str, slide_mm: float = 0.0) -> Answer:
    """Resonances of a fingering, the head joint drawn out by slide_mm. Raises InputError for a text that is no fingering of
    this flute."""
    try:
        fingering = Fingering.parse(text)
        resonances = resonances_of(desk.model, fingering, slide_mm=slide_mm)
    except FingeringError as error:
        raise InputError(str(error)) from error
    result = {
        "flute": desk.name,
        "fingering": str(fingering),
        "sounds": _sounds(resonances, desk.a4_hz),
        "band_cents": [round(one.band_cents) for one in resonances],
    }
    lines = tuple((_sound_line(sound, desk.a4_hz), None) for sound in resonances)
    drawn = f", drawn out {slide_mm:g} mm," if slide_mm else ""
    heading = f"{desk.name}: {fingering}{drawn} sounds (under 0.5: not expected to):"
    return _answer(desk, heading, (result,), lines)


def glide(desk: Desk, start: str, end: str, tolerance_cents: float) -> Answer:
    """Ways to slide from one set of sounding pitches to another. Raises InputError for a text that names no pitches."""
    first, last = _pitches(start.split()), _pitches(end.split())
    if len(first) != len(last):
        raise InputError(
            f"glide from {len(first)} to {len(last)} pitches: expected as many to slide to as to slide from"
        )
    if [pitch.midi for pitch in first] == [pitch.midi for pitch in last]:
        raise InputError(f"glide from {start} to {end}: nothing moves; expected another pitch to slide to")
    asked = f"{' + '.join(map(str, first))} to {' + '.join(map(str, last))}"
    found = [
        one
        for one in ways(desk, first, last, tolerance_cents)
        if glide_status(one, tolerance_cents) != Status.UNPLAYABLE
    ]
    if not found:
        heading = f"{desk.name}: no glide from {asked}: {_SAY(no_way(desk, first, last))}"
        return _answer(desk, heading, (), ())
    heading = f"{desk.name}: {asked}, the best first:"
    results, lines = [], []
    for one in found[:_GLIDES]:
        status = glide_status(one, tolerance_cents)
        why = _SAY(glide_reason(one, status, tolerance_cents, 0.0, desk.a4_hz))
        results.append(
            {
                "flute": desk.name,
                "status": status,
                "why": why,
                "means": one.means,
                "fingering": str(one.path[0].fingering),
                "deviation_cents": [round(cents) for cents in (*one.start_cents, *one.end_cents)],
                "band_cents": [round(cents) for cents in one.band_cents],
                "confidence": round(one.confidence, 2),
                "path": [_glide_point(point, desk.a4_hz) for point in one.path],
            }
        )
        lines += [
            (text, None) for text in output.wrap(f"{status}: {why} Confidence {one.confidence:.2f}.", _WIDTH - 2, 2)
        ]
    return _answer(desk, heading, tuple(results), tuple(lines))


def _pitches(texts: Sequence[str]) -> tuple[Pitch, ...]:
    """Different pitches, from the lowest up. Raises InputError for texts that are none, or none that a flute could sound."""
    if not texts:
        raise InputError("no pitch: expected pitches such as C5, or 'C5 D6' for a multiphonic")
    if len(texts) > MOST_PITCHES:
        raise InputError(
            f"{len(texts)} pitches at once: expected at most {MOST_PITCHES}, a flute has no more resonances"
        )
    found = tuple(sorted(map(_pitch, texts), key=lambda pitch: pitch.midi))
    twice = next((low for low, high in pairwise(found) if low.midi == high.midi), None)
    if twice:
        raise InputError(f"{' '.join(texts)}: the same pitch twice ({twice}); expected different ones")
    return found


def _pitch(text: str) -> Pitch:
    try:
        pitch = Pitch.parse(text)
    except PitchError as error:
        raise InputError(str(error)) from error
    if not LOWEST.midi <= pitch.midi <= HIGHEST.midi:
        raise InputError(f"'{text}' is beyond every flute: expected a pitch from {LOWEST} to {HIGHEST}")
    return pitch


def _glide_point(point: Point, a4_hz: float) -> dict[str, Any]:
    return {
        "t": round(point.t, 3),
        "slide_mm": round(point.slide_mm, 1),
        "open": {touch: round(share, 2) for touch, share in point.open},
        "lip_mm": round(point.lip_mm, 1),
        "fingering": str(point.fingering),
        "sounds": _sounds(point.sounds, a4_hz),
    }


def shifts(desks: list[Desk], text: str) -> list[Answer]:
    """Every place that a pattern (`small 4`), or the pattern of a fingering, can be moved to on each flute, and what each
    flute after the first adds to it. Raises InputError for a text that is neither, or a fingering without a pattern."""
    found = [(desk, *_moved(desk, text)) for desk in desks]
    answers = [_shift_answer(desk, pattern, rows_) for desk, pattern, rows_ in found]
    (first, _, before), *others = found
    for desk, _, rows_ in others:
        here, there = ([one.hole for one in places if one.reachable] for places in (rows_, before))
        told = []
        for word, own, other in (("adds", here, there), ("lacks", there, here)):
            names = [hole for hole in own if hole not in other]
            told += [f"{word} {', '.join(names)}"] if names else []
        what = " and ".join(told) or "has the same places"
        answers.append(Answer(desk.name, f"Beside {first.name}, {desk.name} {what}.", (), ()))
    return answers


def _moved(desk: Desk, text: str) -> tuple[Pattern, tuple[Shift, ...]]:
    try:
        pattern = Pattern.of(Fingering.parse(text), desk.model.instrument) if "|" in text else Pattern.parse(text)
    except PatternError as error:
        hint = "" if "|" in text else ", or a fingering such as T 2 3 | Eb"
        raise InputError(f"{error}{hint}") from error
    except FingeringError as error:
        raise InputError(str(error)) from error
    return pattern, places_for(desk.model, pattern)


def _shift_answer(desk: Desk, pattern: Pattern, found: tuple[Shift, ...]) -> Answer:
    reached = [one for one in found if one.reachable]
    spread = [round(spread_cents(found, number)) for number in (0, 1)]
    heading = f"{desk.name}: {pattern} has {len(reached)} place{'s' if len(reached) != 1 else ''} here"
    if len(reached) > 1:
        heading += f"; its intervals spread over {spread[0]} cents (to the 2nd resonance) and {spread[1]} (to the 3rd)"
    others = tuple(one for one in found if one.hole != found[0].hole)
    if len(reached) > 2 and found[0].reachable:
        without = [round(spread_cents(others, number)) for number in (0, 1)]
        heading += f"; without {found[0].hole}, a hole of its own, {without[0]} and {without[1]}"
    against = _against_on_the_way(reached, desk)
    lines = [line for one in reached for line in _shift_lines(one, desk.a4_hz, against[one.hole])]
    for why in dict.fromkeys(one.why for one in found if not one.reachable):
        there = ", ".join(one.hole for one in found if one.why == why)
        lines += output.wrap(f"{'not' if why == NO_OPENING else 'near miss'} at {there}: {why}", _WIDTH - 2, 2)
    one_set = {"flute": desk.name, "pattern": str(pattern), "set_size": len(reached), "spread_cents": spread}
    results = tuple(_shift_row(one, desk) | {"contrary": text_of(against.get(one.hole))} for one in found)
    return _answer(desk, f"{heading}.", results, tuple((line, None) for line in lines), sets=(one_set,))


def _against_on_the_way(reached: list[Shift], desk: Desk) -> dict[str, Fingering | None]:
    """For each place the fingers that move against the ear on the way from the place before it."""
    found: dict[str, Fingering | None] = {one.hole: None for one in reached}
    for before, after in pairwise(reached):
        heard = tuple(sound.hz for sound in before.sounds[: len(before.intervals) + 1])
        if before.fingering and after.fingering and heard:
            against = against_the_ear(desk.model, before.fingering, after.fingering, heard)
            found[after.hole] = as_fingering(tuple(one.move for one in against))
    return found


def _shift_lines(one: Shift, a4_hz: float, against: Fingering | None) -> list[str]:
    """A place in text: its fingering, the first resonances with strengths, their intervals."""
    heard = []
    for sound in one.sounds[: len(one.intervals) + 1]:
        heard.append(f"{Pitch.from_hz(sound.hz, a4_hz)} ({sound.strength:.2f})")
    keys = f"{one.keys} key{'s' if one.keys != 1 else ''} on its shut places"
    names = ", ".join(interval.name for interval in one.intervals)
    below = output.wrap(f"{', '.join(heard)}: {names}", _WIDTH - 9)
    below += [f"contrary on the way here: {against}"] if against else []
    return [f"{one.hole:<7}{one.fingering!s:<26}{keys}", *(f"       {line}" for line in below)]


def _shift_row(one: Shift, desk: Desk) -> dict[str, Any]:
    return {
        "flute": desk.name,
        "hole": one.hole,
        "reachable": one.reachable,
        "why": one.why,
        "fingering": text_of(one.fingering),
        "keys": one.keys,
        "lip_mm": round(one.lip_mm, 1),
        "sounds": _sounds(one.sounds, desk.a4_hz),
        "intervals": [{"cents": round(each.cents), "name": each.name} for each in one.intervals],
    }


def _sound_line(sound: Resonance, a4_hz: float) -> str:
    pitch = Pitch.from_hz(sound.hz, a4_hz)
    weak = "" if sound.strength >= PLAYABLE_CONFIDENCE else "  weak"
    off = f"{pitch.name:<5}{pitch.cents:+4.0f} ±{sound.band_cents:<2.0f} cents"
    return f"{off} {sound.hz:9.1f} Hz   strength {sound.strength:.2f}{weak}"


def _sounds(resonances: tuple[Resonance, ...], a4_hz: float) -> list[dict[str, Any]]:
    found = []
    for sound in resonances:
        pitch = Pitch.from_hz(sound.hz, a4_hz)
        strength = round(sound.strength, 2)
        found.append({"hz": round(sound.hz, 2), "name": pitch.name, "cents": round(pitch.cents), "strength": strength})
    return found


def as_json(answers: list[Answer]) -> str:
    """Version 1 of the JSON of questions."""
    data: dict[str, Any] = {"version": 1, "results": [row for answer in answers for row in answer.results]}
    near = [row for answer in answers for row in answer.instead]
    if near:
        data["instead"] = near
    sets = [row for answer in answers for row in answer.sets]
    if sets:
        data["sets"] = sets
    remarks = {answer.flute: answer.remark for answer in answers if answer.remark}
    if remarks:
        data["remarks"] = remarks
    return json.dumps(data, indent=1)


def as_text(answers: list[Answer], ascii_only: bool = False) -> str:
    """Text within 80 columns; a diagram stands beside the first line of `find`."""
    blocks = []
    for answer in answers:
        lines = output.wrap(answer.heading, _WIDTH)
        lines += [f"  {text}" for text, _ in answer.lines]
        if answer.lines and answer.lines[0][1]:
            drawing = plain_rows(answer.lines[0][1]) if ascii_only else rows(answer.lines[0][1])
            lines += ["", "The first of them, left hand above:", *(f"  {row}" for row in drawing)]
        if answer.remark:
            lines += ["", *output.wrap(f"{answer.flute} is {answer.remark}.", _WIDTH)]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks)
