"""Answers to questions as text within 80 columns."""

import math
from collections.abc import Sequence

from annotate.answers import Answer, FoundFingering, Gliding, Search, Shifted, Shifts, Sounding
from annotate.choosing.desk import told_of_trials
from annotate.decision import Sound
from annotate.drawing.diagram import plain_rows, rows
from annotate.language import Words, known_remark, words
from annotate.output import display_width, pad, wrap
from fingering_db.message import Message
from fingering_db.playability import PLAYABLE_CONFIDENCE
from fingering_db.shifts import NO_OPENING

_WIDTH = 80
_EXPECTED = 0.5  # strength under which a resonance is not expected to sound alone


def render(answers: Sequence[Answer], ascii_only: bool = False, language: str = "en") -> str:
    """All answers, one below the other; what a flute adds to the first one stands at the end."""
    say = words(language)
    blocks = ["\n".join([*_lines(answer, ascii_only, say), *_remark(answer, say)]) for answer in answers]
    blocks += [_beside(answer, say) for answer in answers if isinstance(answer, Shifts) and answer.first]
    return "\n\n".join(blocks)


def _lines(answer: Answer, ascii_only: bool, say: Words) -> list[str]:
    match answer:
        case Search():
            return _found(answer, ascii_only, say) if answer.found else _nothing(answer, say)
        case Sounding():
            return _sounding(answer, say)
        case Gliding():
            return _gliding(answer, say)
        case Shifts():
            return _shifts(answer, say)


def _remark(answer: Answer, say: Words) -> list[str]:
    told = say.text("answer.remark", flute=answer.flute, remark=known_remark(answer.remark))
    return ["", *wrap(told, _WIDTH)] if answer.remark else []


def _headed(heading: str, lines: Sequence[str]) -> list[str]:
    return [*wrap(heading, _WIDTH), *(f"  {line}" for line in lines)]


def _asked(answer: Search) -> Message:
    """Pitches asked for, and on a transposing flute how its part writes them."""
    if answer.written == answer.asked:
        return Message("answer.asked", asked=answer.asked)
    return Message("answer.asked_written", asked=answer.asked, written=answer.written)


def _columns(table: Sequence[Sequence[str]], gap: int = 2) -> list[str]:
    """Rows with each column but the last as wide as its widest cell."""
    widths = [max(map(display_width, column)) + gap for column in zip(*table, strict=True)]
    return ["".join(map(pad, row[:-1], widths)) + row[-1] for row in table]


def _found(answer: Search, ascii_only: bool, say: Words) -> list[str]:
    table = []
    for one in answer.found:
        pairs = zip(one.deviation_cents, one.band_cents, strict=True)
        off = ", ".join(f"{cents:+.0f} ±{band:.0f}" for cents, band in pairs)
        sure = say.text("answer.one_note") if one.one_note else say.text("answer.confidence", confidence=one.confidence)
        stands = say.text("answer.places", n=one.set_size)
        table.append((say.text("answer.off", list=off), sure, stands, str(one.fingering)))
    heading = say.text(
        "answer.found",
        flute=answer.flute,
        count=answer.sounds_found,
        asked=_asked(answer),
        tolerance=answer.tolerance_cents,
        best=len(table),
    )
    lines = _headed(heading, _columns(table))
    lines += [line for one in answer.found if one.tried for line in _tried(one, say)]
    lines += _failed(answer, say)
    drawn = (plain_rows if ascii_only else rows)(answer.found[0].fingering)
    lines += ["", say.text("answer.first_drawn"), *(f"  {row}" for row in drawn)]
    return [*lines, "", *wrap(say.say(answer.at_once), _WIDTH)] if answer.at_once else lines


def _tried(one: FoundFingering, say: Words) -> list[str]:
    told = told_of_trials(one.tried, one.by_model)
    return wrap(f"{one.fingering}: {say.say(told)}", _WIDTH, hanging=2) if told else []


def _failed(answer: Search, say: Words) -> list[str]:
    if not answer.failed:
        return []
    told = say.text("log.left_out", fingerings=tuple(str(one.fingering) for one in answer.failed))
    return wrap(told, _WIDTH, hanging=2)


def _nothing(answer: Search, say: Words) -> list[str]:
    values = {
        "flute": answer.flute,
        "asked": _asked(answer),
        "tried": answer.tried,
        "tolerance": answer.tolerance_cents,
    }
    if math.isnan(answer.surest):
        heading = say.text("answer.nothing", **values)
    else:
        heading = say.text("answer.none_expected", surest=answer.surest, **values)
    table = [
        (say.value(one.pitches, "chord"), say.text("answer.confidence", confidence=one.confidence), str(one.fingering))
        for one in answer.near
    ]
    near = _headed(f"{heading} {say.text('answer.near')}" if table else heading, _columns(table) if table else [])
    return [*near, *_failed(answer, say)]


def _sounding(answer: Sounding, say: Words) -> list[str]:
    values = {"flute": answer.flute, "fingering": answer.fingering, "least": _EXPECTED}
    if answer.slide_mm:
        heading = say.text("answer.sounds_drawn", slide=answer.slide_mm, **values)
    else:
        heading = say.text("answer.sounds", **values)
    names = [say.note_name(sound.pitch) for sound in answer.sounds]
    width = max(map(display_width, names), default=0) + 1
    lines = [_sound(pad(name, width), sound, say) for name, sound in zip(names, answer.sounds, strict=True)]
    return _headed(heading, lines)


def _sound(name: str, sound: Sound, say: Words) -> str:
    weak = "" if sound.strength >= PLAYABLE_CONFIDENCE else f"  {say.text('answer.weak')}"
    off = say.text("answer.off", list=f"{name}{sound.pitch.cents:+4.0f} ±{sound.band_cents:<2.0f}")
    strength = say.text("answer.strength", strength=sound.strength)
    return f"{off} {say.number(sound.hz, '9.1f')} Hz   {strength}{weak}"


def _gliding(answer: Gliding, say: Words) -> list[str]:
    asked = Message("answer.from_to", start=answer.start, end=answer.end)
    if answer.why_none is not None:
        return wrap(say.text("answer.no_glide", flute=answer.flute, asked=asked, why=answer.why_none), _WIDTH)
    told = (
        say.text("answer.glide", status=Message(f"status.{one.status}"), why=one.why, confidence=one.confidence)
        for one in answer.ways
    )
    heading = say.text("answer.glides", flute=answer.flute, asked=asked)
    return _headed(heading, [line for text in told for line in wrap(text, _WIDTH - 2, 2)])


def _shifts(answer: Shifts, say: Words) -> list[str]:
    reached, spread = answer.reached, answer.spread_cents
    heading = [say.text("answer.shifts", flute=answer.flute, pattern=answer.pattern, n=len(reached))]
    if len(reached) > 1:
        heading.append(say.text("answer.spread", second=spread[0], third=spread[1]))
    if answer.spread_below_cents is not None:
        second, third = answer.spread_below_cents
        heading.append(say.text("answer.spread_without", hole=answer.places[0].hole, second=second, third=third))
    lines = [line for one in reached for line in _shifted(one, say)]
    missing = [one for one in answer.places if not one.reachable]
    for why in dict.fromkeys(one.why for one in missing):
        there = tuple(one.hole for one in missing if one.why == why)
        key = "answer.not_at" if why == NO_OPENING else "answer.near_miss_at"
        lines += wrap(say.text(key, holes=there, why=why), _WIDTH - 2, 2)
    return _headed(say.value(tuple(heading), "semicolon") + ".", lines)


def _shifted(one: Shifted, say: Words) -> list[str]:
    """A place: its fingering, the first resonances with strengths, their intervals."""
    heard = ", ".join(
        f"{say.pitch(sound.pitch)} ({say.value(sound.strength, 'sure')})"
        for sound in one.sounds[: len(one.intervals) + 1]
    )
    keys = say.text("answer.keys", n=one.keys)
    names = ", ".join(_interval(interval.cents, say) for interval in one.intervals)
    below = wrap(f"{heard}: {names}", _WIDTH - 9)
    below += [say.text("answer.contrary", touches=one.contrary)] if one.contrary else []
    return [f"{one.hole:<7}{one.fingering!s:<26}{keys}", *(f"       {line}" for line in below)]


def _interval(cents: float, say: Words) -> str:
    """Name of the nearest tempered interval, and the cents beside it."""
    semitones = int(cents / 100.0 + 0.5)
    rest = round(cents - 100.0 * semitones)
    return say.lines("interval.names")[semitones] + (f" {rest:+d}" if rest else "")


def _beside(answer: Shifts, say: Words) -> str:
    """What a flute adds to the one asked first."""
    told = [Message("answer.adds", holes=answer.adds)] if answer.adds else []
    told += [Message("answer.lacks", holes=answer.lacks)] if answer.lacks else []
    what = say.value(tuple(told), "and") if told else say.text("answer.same")
    return "\n".join(wrap(say.text("answer.beside", first=answer.first, flute=answer.flute, what=what), _WIDTH))
