"""Answers to questions as text within 80 columns."""

from __future__ import annotations

from collections.abc import Sequence

from annotate.answers import Answer, Gliding, Search, Shifted, Shifts, Sounding
from annotate.decision import Sound
from annotate.drawing.diagram import plain_rows, rows
from annotate.language import words
from annotate.output import wrap
from fingering_db.fingering import Fingering
from fingering_db.pitch import Pitch
from fingering_db.playability import PLAYABLE_CONFIDENCE
from fingering_db.shifts import NO_OPENING

_WIDTH = 80
_SAY = words().say


def render(answers: Sequence[Answer], ascii_only: bool = False) -> str:
    """All answers, one below the other; what a flute adds to the first one stands at the end."""
    blocks = ["\n".join([*_lines(answer, ascii_only), *_remark(answer)]) for answer in answers]
    blocks += [_beside(answer) for answer in answers if isinstance(answer, Shifts) and answer.first]
    return "\n\n".join(blocks)


def _lines(answer: Answer, ascii_only: bool) -> list[str]:
    match answer:
        case Search():
            return _found(answer, ascii_only) if answer.found else _nothing(answer)
        case Sounding():
            return _sounding(answer)
        case Gliding():
            return _gliding(answer)
        case Shifts():
            return _shifts(answer)


def _remark(answer: Answer) -> list[str]:
    return ["", *wrap(f"{answer.flute} is {answer.remark}.", _WIDTH)] if answer.remark else []


def _headed(heading: str, lines: Sequence[str]) -> list[str]:
    return [*wrap(heading, _WIDTH), *(f"  {line}" for line in lines)]


def _joined(pitches: tuple[Pitch, ...]) -> str:
    return " + ".join(map(str, pitches))


def _asked(answer: Search) -> str:
    """Pitches asked for, and on a transposing flute how its part writes them."""
    asked, written = _joined(answer.asked), _joined(answer.written)
    return f"{asked} (sounding; written {written})" if written != asked else asked


def _found(answer: Search, ascii_only: bool) -> list[str]:
    table = []
    for one in answer.found:
        pairs = zip(one.deviation_cents, one.band_cents, strict=True)
        off = ", ".join(f"{cents:+.0f} ±{band:.0f}" for cents, band in pairs)
        stands = f"{one.set_size} place{'s' if one.set_size != 1 else ''}"
        table.append((f"{off} cents", f"confidence {one.confidence:.2f}", stands, one.fingering))
    heading = (
        f"{answer.flute}: {answer.sounds_found} different sounds give {_asked(answer)} within "
        f"{answer.tolerance_cents:.0f} cents; "
        f"the best {len(table)}, with the number of places along the tube where each can stand (see shifts):"
    )
    width = max(len(off) for off, *_ in table) + 2
    lines = _headed(heading, [f"{off:<{width}}{sure:<17}{stands:<11}{held!s}" for off, sure, stands, held in table])
    return [*lines, "", "The first of them, left hand above:", *_drawn(answer.found[0].fingering, ascii_only)]


def _drawn(fingering: Fingering, ascii_only: bool) -> list[str]:
    return [f"  {row}" for row in (plain_rows(fingering) if ascii_only else rows(fingering))]


def _nothing(answer: Search) -> list[str]:
    heading = (
        f"{answer.flute}: nothing sounds {_asked(answer)}: none of {answer.tried:,} fingerings within "
        f"{answer.tolerance_cents:.0f} cents." + " Near it:" * bool(answer.near)
    )
    lines = [f"{_joined(one.pitches):<18}confidence {one.confidence:<6.2f}{one.fingering}" for one in answer.near]
    return _headed(heading, lines)


def _sounding(answer: Sounding) -> list[str]:
    drawn = f", drawn out {answer.slide_mm:g} mm," if answer.slide_mm else ""
    heading = f"{answer.flute}: {answer.fingering}{drawn} sounds (under 0.5: not expected to):"
    return _headed(heading, [_sound(sound) for sound in answer.sounds])


def _sound(sound: Sound) -> str:
    weak = "" if sound.strength >= PLAYABLE_CONFIDENCE else "  weak"
    off = f"{sound.pitch.name:<5}{sound.pitch.cents:+4.0f} ±{sound.band_cents:<2.0f} cents"
    return f"{off} {sound.hz:9.1f} Hz   strength {sound.strength:.2f}{weak}"


def _gliding(answer: Gliding) -> list[str]:
    asked = f"{_joined(answer.start)} to {_joined(answer.end)}"
    if answer.why_none is not None:
        return wrap(f"{answer.flute}: no glide from {asked}: {_SAY(answer.why_none)}", _WIDTH)
    told = (f"{one.status}: {_SAY(one.why)} Confidence {one.confidence:.2f}." for one in answer.ways)
    return _headed(
        f"{answer.flute}: {asked}, the best first:", [line for text in told for line in wrap(text, _WIDTH - 2, 2)]
    )


def _shifts(answer: Shifts) -> list[str]:
    reached, spread = answer.reached, answer.spread_cents
    heading = f"{answer.flute}: {answer.pattern} has {len(reached)} place{'s' if len(reached) != 1 else ''} here"
    if len(reached) > 1:
        heading += (
            f"; its intervals spread over {spread[0]:.0f} cents (to the 2nd resonance) and {spread[1]:.0f} (to the 3rd)"
        )
    if answer.spread_below_cents is not None:
        below = answer.spread_below_cents
        heading += f"; without {answer.places[0].hole}, a hole of its own, {below[0]:.0f} and {below[1]:.0f}"
    lines = [line for one in reached for line in _shifted(one)]
    missing = [one for one in answer.places if not one.reachable]
    for why in dict.fromkeys(one.why for one in missing):
        there = ", ".join(one.hole for one in missing if one.why == why)
        lines += wrap(f"{'not' if why == NO_OPENING else 'near miss'} at {there}: {why}", _WIDTH - 2, 2)
    return _headed(f"{heading}.", lines)


def _shifted(one: Shifted) -> list[str]:
    """A place: its fingering, the first resonances with strengths, their intervals."""
    heard = ", ".join(f"{sound.pitch} ({sound.strength:.2f})" for sound in one.sounds[: len(one.intervals) + 1])
    keys = f"{one.keys} key{'s' if one.keys != 1 else ''} on its shut places"
    below = wrap(f"{heard}: {', '.join(interval.name for interval in one.intervals)}", _WIDTH - 9)
    below += [f"contrary on the way here: {one.contrary}"] if one.contrary else []
    return [f"{one.hole:<7}{one.fingering!s:<26}{keys}", *(f"       {line}" for line in below)]


def _beside(answer: Shifts) -> str:
    """What a flute adds to the one asked first."""
    differing = (("adds", answer.adds), ("lacks", answer.lacks))
    told = [f"{word} {', '.join(holes)}" for word, holes in differing if holes]
    return "\n".join(
        wrap(f"Beside {answer.first}, {answer.flute} {' and '.join(told) or 'has the same places'}.", _WIDTH)
    )
