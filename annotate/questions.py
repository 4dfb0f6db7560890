"""Answers to questions without a score: `find` and `sounds`, as text and as JSON."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from annotate import output
from annotate.choosing.desk import Desk
from annotate.diagram import ascii_rows, rows
from annotate.findings import InputError
from fingering_db.finding import Resonance
from fingering_db.finding import sounds as resonances_of
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.nearby import nearby
from fingering_db.pitch import Pitch, PitchError
from fingering_db.playability import PLAYABLE_CONFIDENCE

_WIDTH = 80


@dataclass(frozen=True, slots=True)
class Answer:
    """What one flute answers. results: rows as they stand in the JSON; heading, lines: the same as text (a line and,
    beside it, an optional fingering to draw)."""

    flute: str
    heading: str
    results: tuple[dict[str, Any], ...]
    lines: tuple[tuple[str, str], ...]
    instead: tuple[dict[str, Any], ...] = field(default=())


def find(desk: Desk, texts: tuple[str, ...], tolerance_cents: float, limit: int) -> Answer:
    """Ranked fingerings for pitches (sounding pitch). Raises InputError for a text that is no pitch."""
    try:
        targets = tuple(sorted((Pitch.parse(text) for text in texts), key=lambda pitch: pitch.midi))
    except PitchError as error:
        raise InputError(str(error)) from error
    if len({pitch.midi for pitch in targets}) < len(targets):
        raise InputError(f"find {' '.join(texts)}: the same pitch twice; expected different ones")
    asked = " + ".join(map(str, targets))
    found = desk.search(targets, tolerance_cents, limit)
    if not found.best:
        return _nothing(desk, targets, asked, tolerance_cents)
    results, lines = [], []
    for candidate in found.best:
        results.append(
            {
                "flute": desk.name,
                "fingering": str(candidate.fingering),
                "deviation_cents": [round(cents) for cents in candidate.deviation_cents],
                "confidence": round(candidate.confidence, 2),
                "lip_mm": round(candidate.lip_mm, 1),
                "sounds": _sounds(candidate.sounds, desk.a4_hz),
            }
        )
        off = ", ".join(f"{cents:+.0f}" for cents in candidate.deviation_cents)
        lines.append((f"{off} cents", f"confidence {candidate.confidence:.2f}", str(candidate.fingering)))
    heading = (
        f"{desk.name}: {found.count} different sounds give {asked} within {tolerance_cents:.0f} cents "
        f"(each ±{desk.band_cents():.0f}); the best {len(found.best)}:"
    )
    width = max(len(line[0]) for line in lines) + 2
    text = tuple((f"{one:<{width}}{two:<17}{three}", three) for one, two, three in lines)
    return Answer(desk.name, heading, tuple(results), text)


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
            "",
        )
        for one in near
    )
    return Answer(desk.name, heading, (), lines, rows_)


def sounds(desk: Desk, text: str) -> Answer:
    """Resonances of a fingering. Raises InputError for a text that is no fingering of this flute."""
    try:
        fingering = Fingering.parse(text)
        resonances = resonances_of(desk.model, fingering)
    except FingeringError as error:
        raise InputError(str(error)) from error
    result = {"flute": desk.name, "fingering": str(fingering), "sounds": _sounds(resonances, desk.a4_hz)}
    lines = tuple((_sound_line(sound, desk.a4_hz), "") for sound in resonances)
    heading = f"{desk.name}: {fingering} sounds (each ±{desk.band_cents():.0f} cents; under 0.5: not expected to):"
    return Answer(desk.name, heading, (result,), lines)


def _sound_line(sound: Resonance, a4_hz: float) -> str:
    pitch = Pitch.from_hz(sound.hz, a4_hz)
    weak = "" if sound.strength >= PLAYABLE_CONFIDENCE else "  weak"
    return f"{pitch.name:<5}{pitch.cents:+4.0f} cents {sound.hz:9.1f} Hz   strength {sound.strength:.2f}{weak}"


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
    return json.dumps(data, indent=1)


def as_text(answers: list[Answer], ascii_only: bool = False) -> str:
    """Text within 80 columns; a diagram stands beside the first line of `find`."""
    blocks = []
    for answer in answers:
        lines = output.wrap(answer.heading, _WIDTH)
        lines += [f"  {text}" for text, _ in answer.lines]
        if answer.lines and answer.lines[0][1]:
            drawing = ascii_rows(answer.lines[0][1]) if ascii_only else rows(answer.lines[0][1])
            lines += ["", "The first of them, left hand above:", *(f"  {row}" for row in drawing)]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks)
