"""Invented flute solos with many demands, always the same ones, for timing."""

import random

_STEPS = "CDEFGAB"
_MULT = "<direction><direction-type><words>mult.</words></direction-type></direction>"


def solo(bars: int, demands: int, distinct: int, seed: int = 11) -> str:
    """MusicXML text of a flute part of 4/4 bars: `demands` demands spread over them, of `distinct` kinds that come again in turn;
    three of five multiphonics of two or three pitches, one microtone, one glissando."""
    chance = random.Random(seed)
    kinds = [_demand(chance, number) for number in range(distinct)]
    counts = [demands * (bar + 1) // bars - demands * bar // bars for bar in range(bars)]
    written, body = 0, []
    for bar, count in enumerate(counts, start=1):
        inside = "".join(kinds[(written + n) % distinct] for n in range(count))
        written += count
        quarters = sum(2 if "slide" in kinds[(written - count + n) % distinct] else 1 for n in range(count))
        time = f"<time><beats>{max(quarters, 1)}</beats><beat-type>4</beat-type></time>"
        first = "<divisions>1</divisions><key><fifths>0</fifths></key>" if bar == 1 else ""
        inside = inside or _note("C", 5)
        body.append(f'<measure number="{bar}"><attributes>{first}{time}</attributes>{inside}</measure>\n')
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list><score-part id="P1">'
        "<part-name>Flute</part-name></score-part></part-list>\n"
        f'<part id="P1">\n{"".join(body)}</part></score-partwise>\n'
    )


def _demand(chance: random.Random, number: int) -> str:
    step, octave = chance.choice(_STEPS), chance.choice([4, 4, 5, 5, 5])
    if number % 5 == 3:
        return _note(step, octave, alter=0.5)
    if number % 5 == 4:
        last = _STEPS[(_STEPS.index(step) + 1) % 7]
        slide = '<notations><slide type="{}" number="1" line-type="solid"/></notations>'
        up = octave + (last == "C")
        return _note(step, octave, inside=slide.format("start")) + _note(last, up, inside=slide.format("stop"))
    others = [(chance.choice(_STEPS), octave + 1)] + ([(chance.choice(_STEPS), octave + 2)] if number % 5 == 2 else [])
    chord = "".join(_note(*one, chord=True) for one in others if one[1] < 7)
    return _MULT + _note(step, octave) + chord


def _note(step: str, octave: int, alter: float = 0.0, chord: bool = False, inside: str = "") -> str:
    altered = f"<alter>{alter:g}</alter>" if alter else ""
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{step}</step>{altered}<octave>{octave}</octave></pitch>"
        f"<duration>1</duration><voice>1</voice><type>quarter</type>{inside}</note>"
    )
