"""What one place in the score asks of the flute."""

import math
from dataclasses import dataclass
from enum import StrEnum

from annotate.place import Place
from annotate.score import Event
from fingering_db.message import Message
from fingering_db.pitch import Pitch


class Kind(StrEnum):
    """What a demand asks for."""

    MULTIPHONIC = "multiphonic"
    GLISSANDO = "glissando"
    TREMOLO = "tremolo"
    """To and fro between two sounds of which a multiphonic or a microtone is one, as tremolo or trill."""
    TIMBRAL_TRILL = "timbral-trill"
    """Two fingerings of one sound, to and fro."""
    MICROTONE = "microtone"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Instruction:
    """What the composer writes on how it is to be made; it wins over the search. word: as written; means: of a glissando, as
    in `glide.Glide`, or 'lip'; '' for none. slide_mm: how far out the head joint is, NaN where it is told as slide_share, 0..1
    of its travel, or not at all (then both are NaN)."""

    word: str
    means: str = ""
    slide_mm: float = math.nan
    slide_share: float = math.nan


@dataclass(frozen=True, slots=True)
class Demand:
    """One demand.

    events: the events of the score it stands on (first one carries the marks); several for a glissando or ties.
    pitches: as read on the staff, in the score's spelling, written pitch, low to high. sounding: the same after
    transposition. to / to_sounding: where a glissando goes, what a tremolo alternates with. fingering: text the composer wrote,
    '' if none; to_fingering: the same for `to`. strokes: of a tremolo, 0 for a trill or as fast as it goes.
    open_pitches: a multiphonic written as one note; its other pitches are left to the player.
    continuous: for a glissando, True smooth, False chromatic run, None not told by the notation.
    word: the technique word that made it a demand, as written. reading: why a chord, or a note with open pitches, was read
    as a multiphonic, one phrase; None for other demands. address: how a decisions file names its place, '' where no decision
    can be about it.
    """

    id: str
    kind: Kind
    place: Place
    events: tuple[Event, ...]
    pitches: tuple[Pitch, ...]
    sounding: tuple[Pitch, ...]
    to: tuple[Pitch, ...] = ()
    to_sounding: tuple[Pitch, ...] = ()
    fingering: str = ""
    open_pitches: bool = False
    continuous: bool | None = None
    word: str = ""
    seconds_end: float = 0.0
    reading: Message | None = None
    to_fingering: str = ""
    instruction: Instruction | None = None
    strokes: int = 0
    address: str = ""

    @property
    def is_to_and_fro(self) -> bool:
        """Whether it alternates between two fingerings."""
        return self.kind in (Kind.TREMOLO, Kind.TIMBRAL_TRILL)


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A technique that was recognised and is not judged (whistle tone, tongue ram, ..)."""

    place: Place
    what: Message


@dataclass(frozen=True, slots=True)
class Undecided:
    """A chord that the score does not tell how to read: nothing is asked, nothing written. events: those it stands on, tied
    ones included; pitches: as written, low to high; evidence: what speaks for one reading or another, strongest first;
    address: as in `Demand`."""

    place: Place
    events: tuple[Event, ...]
    pitches: tuple[Pitch, ...]
    evidence: tuple[Message, ...]
    address: str = ""
