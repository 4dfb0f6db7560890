"""What each printed accidental means, in semitones.

Names: MusicXML 4.0, data type accidental-value. Its documentation says: quarter and three-quarters are the
quarter-tone accidentals of Tartini's form, names with -up and -down are quarter-tone accidentals with arrows;
slash- names and the numbered ones are Turkish (numbers: Holdrian commas, 53 to the octave), sori and koron
Persian. Those have no size that all agree on; the quarter-tone nearest to their look in western music is
taken where the file stores no exact pitch.
"""

import math
from dataclasses import dataclass

_COMMA_CENTS = 1200.0 / 53.0
_SYNTONIC_CENTS = 1200.0 * math.log2(81.0 / 80.0)
_TWELFTH_CENTS = 200.0 / 12.0
"""A twelfth of a whole tone."""
LEAST_OF_AN_ARROW, MOST_OF_AN_ARROW = 0.1, 0.6
"""Semitones between which an arrow may mean what the file stores: composers write eighth-, sixth- and quarter-tones with them."""


@dataclass(frozen=True, slots=True)
class Accidental:
    """alter: whole semitones of the spelling. cents: what is added. agreed: the size is the same for
    everybody."""

    alter: int
    cents: float = 0.0
    agreed: bool = True

    @property
    def microtonal(self) -> bool:
        return self.cents != 0.0

    @property
    def semitones(self) -> float:
        return self.alter + self.cents / 100.0


ACCIDENTALS: dict[str, Accidental | None] = {
    "sharp": Accidental(1),
    "natural": Accidental(0),
    "flat": Accidental(-1),
    "double-sharp": Accidental(2),
    "sharp-sharp": Accidental(2),
    "flat-flat": Accidental(-2),
    "natural-sharp": Accidental(1),
    "natural-flat": Accidental(-1),
    "quarter-flat": Accidental(0, -50.0),
    "quarter-sharp": Accidental(0, 50.0),
    "three-quarters-flat": Accidental(-1, -50.0),
    "three-quarters-sharp": Accidental(1, 50.0),
    "sharp-down": Accidental(1, -50.0),
    "sharp-up": Accidental(1, 50.0),
    "natural-down": Accidental(0, -50.0),
    "natural-up": Accidental(0, 50.0),
    "flat-down": Accidental(-1, -50.0),
    "flat-up": Accidental(-1, 50.0),
    "double-sharp-down": Accidental(2, -50.0),
    "double-sharp-up": Accidental(2, 50.0),
    "flat-flat-down": Accidental(-2, -50.0),
    "flat-flat-up": Accidental(-2, 50.0),
    "arrow-down": Accidental(0, -50.0),
    "arrow-up": Accidental(0, 50.0),
    "triple-sharp": Accidental(3),
    "triple-flat": Accidental(-3),
    "slash-quarter-sharp": Accidental(0, 50.0, agreed=False),
    "slash-sharp": Accidental(1, 50.0, agreed=False),
    "slash-flat": Accidental(0, -50.0, agreed=False),
    "double-slash-flat": Accidental(-1, -50.0, agreed=False),
    "sharp-1": Accidental(0, _COMMA_CENTS, agreed=False),
    "sharp-2": Accidental(0, 2 * _COMMA_CENTS, agreed=False),
    "sharp-3": Accidental(1, 3 * _COMMA_CENTS - 100.0, agreed=False),
    "sharp-5": Accidental(1, 5 * _COMMA_CENTS - 100.0, agreed=False),
    "flat-1": Accidental(0, -_COMMA_CENTS, agreed=False),
    "flat-2": Accidental(0, -2 * _COMMA_CENTS, agreed=False),
    "flat-3": Accidental(-1, 100.0 - 3 * _COMMA_CENTS, agreed=False),
    "flat-4": Accidental(-1, 100.0 - 4 * _COMMA_CENTS, agreed=False),
    "sori": Accidental(0, 50.0, agreed=False),
    "koron": Accidental(0, -50.0, agreed=False),
    "other": None,
}

SMUFL_ACCIDENTALS: dict[str, Accidental] = {
    "accidentalQuarterToneSharpStein": Accidental(0, 50.0),
    "accidentalThreeQuarterTonesSharpStein": Accidental(1, 50.0),
    "accidentalQuarterToneFlatStein": Accidental(0, -50.0),
    "accidentalNarrowReversedFlat": Accidental(0, -50.0),
    "accidentalThreeQuarterTonesFlatZimmermann": Accidental(-1, -50.0),
    "accidentalQuarterToneSharpNaturalArrowUp": Accidental(0, 50.0),
    "accidentalQuarterToneFlatNaturalArrowDown": Accidental(0, -50.0),
    "accidentalThreeQuarterTonesSharpArrowUp": Accidental(1, 50.0),
    "accidentalQuarterToneSharpArrowDown": Accidental(1, -50.0),
    "accidentalQuarterToneFlatArrowUp": Accidental(-1, 50.0),
    "accidentalThreeQuarterTonesFlatArrowDown": Accidental(-1, -50.0),
    "accidentalArrowUp": Accidental(0, 50.0),
    "accidentalArrowDown": Accidental(0, -50.0),
}
"""For `<accidental smufl="...">other</accidental>`: glyph names of SMuFL 1.4, chapter on accidentals; the sizes as their
descriptions there say ("1/6 tone low", "natural raised by one syntonic comma")."""
for _name, _part in (("12", 12), ("6", 6), ("4", 4)):
    SMUFL_ACCIDENTALS[f"accidentalSims{_name}Up"] = Accidental(0, 200.0 / _part)
    SMUFL_ACCIDENTALS[f"accidentalSims{_name}Down"] = Accidental(0, -200.0 / _part)
for _count in range(1, 12):
    _whole = round(_count / 6)
    _rest = (_count - 6 * _whole) * _TWELFTH_CENTS
    SMUFL_ACCIDENTALS[f"accidentalWyschnegradsky{_count}TwelfthsSharp"] = Accidental(_whole, _rest)
    SMUFL_ACCIDENTALS[f"accidentalWyschnegradsky{_count}TwelfthsFlat"] = Accidental(-_whole, -_rest)
for _base, _alter in (("Natural", 0), ("Sharp", 1), ("Flat", -1), ("DoubleSharp", 2), ("DoubleFlat", -2)):
    for _arrows, _commas in (("OneArrow", 1), ("TwoArrows", 2), ("ThreeArrows", 3)):
        SMUFL_ACCIDENTALS[f"accidental{_base}{_arrows}Up"] = Accidental(_alter, _commas * _SYNTONIC_CENTS)
        SMUFL_ACCIDENTALS[f"accidental{_base}{_arrows}Down"] = Accidental(_alter, -_commas * _SYNTONIC_CENTS)
_ARROWS = frozenset(name for name in ACCIDENTALS if name.endswith(("-up", "-down")))


def arrow_means(name: str, alter: float) -> bool:
    """Whether an arrow on that accidental may mean the alteration that the file stores [semitones]: it points there, and no
    farther than arrows are used for."""
    known = ACCIDENTALS.get(name) if name in _ARROWS else None
    if known is None:
        return False
    way = alter - known.alter
    return LEAST_OF_AN_ARROW <= math.copysign(way, way * known.cents) <= MOST_OF_AN_ARROW


def accidental_of(name: str, glyph: str) -> Accidental | None:
    """The accidental with a MusicXML name, or by its SMuFL glyph where the name is 'other'. None: unknown."""
    known = ACCIDENTALS.get(name)
    return SMUFL_ACCIDENTALS.get(glyph) if known is None else known
