"""What each printed accidental means, in semitones.

Names: MusicXML 4.0, data type accidental-value. Its documentation says: quarter and three-quarters are the
quarter-tone accidentals of Tartini's form, names with -up and -down are quarter-tone accidentals with arrows;
slash- names and the numbered ones are Turkish (numbers: Holdrian commas, 53 to the octave), sori and koron
Persian. Those have no size that all agree on; the quarter-tone nearest to their look in western music is
taken where the file stores no exact pitch.
"""

import math
import tomllib
from dataclasses import dataclass
from importlib.resources import files

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


_TABLES = tomllib.loads(files("annotate.reading").joinpath("accidentals.toml").read_text(encoding="utf-8"))
ACCIDENTALS = {name: Accidental(*size) for name, size in _TABLES["names"].items()}
ACCIDENTALS |= {name: Accidental(alter, cents, False) for name, (alter, cents) in _TABLES["no_agreed_size"].items()}
for _name, (_alter, _commas) in _TABLES["holdrian_commas"].items():
    ACCIDENTALS[_name] = Accidental(_alter, _commas * _COMMA_CENTS - 100.0 * _alter, agreed=False)

SMUFL_ACCIDENTALS = {name: Accidental(*size) for name, size in _TABLES["smufl"].items()}
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
for _base, _semitones in (("Natural", 0), ("Sharp", 1), ("Flat", -1), ("DoubleSharp", 2), ("DoubleFlat", -2)):
    for _arrows, _commas in (("OneArrow", 1), ("TwoArrows", 2), ("ThreeArrows", 3)):
        SMUFL_ACCIDENTALS[f"accidental{_base}{_arrows}Up"] = Accidental(_semitones, _commas * _SYNTONIC_CENTS)
        SMUFL_ACCIDENTALS[f"accidental{_base}{_arrows}Down"] = Accidental(_semitones, -_commas * _SYNTONIC_CENTS)
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
