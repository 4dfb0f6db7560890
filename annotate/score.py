"""What reading yields: the flute's music with its place in the bytes of the file.

Every value here is plain and frozen; `start` and `end` are byte offsets into the score's XML bytes as they came
(`end` exclusive), so that writing can splice and nothing else is touched. Times are exact fractions of a quarter note.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from annotate.findings import Finding
from annotate.place import Place
from fingering_db.message import Message
from fingering_db.pitch import Pitch


@dataclass(frozen=True, slots=True)
class SlideMark:
    """A `<glissando>` or `<slide>` end on a note. kind: 'glissando' or 'slide'; role: 'start' or 'stop'."""

    kind: str
    role: str
    number: int
    text: str


@dataclass(frozen=True, slots=True)
class Ornament:
    """A tremolo or trill at a note. kind: 'tremolo' or 'trill'; role: of a tremolo, 'single', 'start', 'stop' or 'unmeasured';
    strokes: of a tremolo, 0 for none or a number that cannot be read; accidental: that of a trill's upper note, '' for none."""

    kind: str
    role: str = ""
    strokes: int = 0
    accidental: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """One sounding `<note>` of the file (rests are left out).

    written: as printed on the staff; sounding: after transposition. Both carry quarter-tones as cents.
    technical: texts of `<fingering>` and similar under `<technical>`, as ("fingering", "text") pairs.
    articulations: names of articulation elements ("scoop", "falloff", "doit", "plop").
    """

    start: int
    end: int
    written: Pitch
    sounding: Pitch
    tie_start: bool = False
    tie_stop: bool = False
    slides: tuple[SlideMark, ...] = ()
    notehead: str = ""
    notehead_open: bool = False
    technical: tuple[tuple[str, str], ...] = ()
    articulations: tuple[str, ...] = ()
    bend_alters: tuple[float, ...] = ()
    accidental: str = ""
    stem: str = ""
    microtonal_as_printed: bool = False
    """The accidental (this note's own, or one holding through bar or tie) was microtonal."""
    slur_starts: tuple[str, ...] = ()
    slur_stops: tuple[str, ...] = ()
    """Numbers of the slurs that begin and end at the note."""
    ornaments: tuple[Ornament, ...] = ()
    parenthesised: bool = False
    """Its head stands in parentheses: after a trill, the note that it alternates with."""


@dataclass(frozen=True, slots=True)
class Event:
    """One note or chord: the notes that a `<note>` without `<chord/>` and its followers make.

    bar: measure number as printed; bar_index: 0-based measure position in the part; beat: from 1, in units of
    the time signature's denominator; onset and duration: quarters from the start of the piece (0 for grace);
    seconds: from the tempo marks of the whole score. cue, hidden, ossia: such notes make no demands.
    """

    notes: tuple[Note, ...]
    bar: str
    bar_index: int
    beat: Fraction
    onset: Fraction
    duration: Fraction
    seconds: float
    seconds_end: float
    voice: str
    staff: int
    grace: bool = False
    cue: bool = False
    hidden: bool = False
    rehearsal: str = ""
    """Rehearsal letter and bars since: 'C+3'; '' before the first."""
    instrument: str = ""
    """id of the `<score-instrument>` in force, '' when the part has just one or none is told."""
    ossia: bool = False
    """It stands on an ossia (or cue) staff."""
    in_bar: Fraction = Fraction(0)
    """Quarters from the beginning of its bar in the file; a pick-up bar begins at 0 too."""
    chord_start: int = -1
    """Byte offset of the chord's first `<note>`, where that is not among `notes` (hidden ones are left out of a
    chord that is partly visible); -1 where it is `notes[0]`."""

    @property
    def start(self) -> int:
        """Byte offset of the first `<note>` of the chord: where marks are spliced in, and what tells this event from every other
        of its part."""
        return self.notes[0].start if self.chord_start < 0 else self.chord_start


@dataclass(frozen=True, slots=True)
class Direction:
    """Words (or a rehearsal mark, or words-like symbols) standing at a moment of a part.

    ours: the text carries this program's invisible signature (an earlier annotation).
    """

    text: str
    onset: Fraction
    bar: str
    bar_index: int
    beat: Fraction
    staff: int
    voice: str
    start: int
    end: int
    ours: bool = False
    kind: str = "words"
    """'words', 'rehearsal', 'symbol' (a SMuFL glyph name) or 'other' (`<other-direction>`)."""


@dataclass(frozen=True, slots=True)
class LineOverStaff:
    """A line or bracket over the staff (`<dashes>`, `<bracket>`), from one onset [quarters] to another; it prolongs the words at
    its beginning. staff: 0 where the part has one staff."""

    start: Fraction
    stop: Fraction
    staff: int


@dataclass(frozen=True, slots=True)
class ScoreInstrument:
    """A `<score-instrument>`: its id, name, and sound id (`wind.flutes.flute`), '' where missing."""

    id: str
    name: str
    sound: str


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the score. `events` is empty for a part that was not asked for (only its heading is read)."""

    id: str
    number: int
    name: str
    abbreviation: str
    instruments: tuple[ScoreInstrument, ...] = ()
    events: tuple[Event, ...] = ()
    directions: tuple[Direction, ...] = ()
    double_bars: tuple[Fraction, ...] = ()
    """Onsets [quarters] of light-light, light-heavy and heavy bar lines: a technique word ends there."""
    lines: tuple[LineOverStaff, ...] = ()
    dynamics: tuple[tuple[Fraction, int, str], ...] = ()
    """(onset, staff, sign such as 'pp'), in order."""
    keys: tuple[tuple[int, int], ...] = ()
    """(bar index, sharps, or below 0 flats, from there on)."""
    played: tuple[int, ...] = ()
    """Indices of the bars in the order in which they are played, repeats and endings followed; empty for as written."""
    staves: int = 1
    multiple_voices: bool = False
    octaves_transposed: bool = False
    """A `<transpose>` of whole octaves is in force somewhere (piccolo, bass flute)."""
    group: str = ""
    """Name of the innermost `<part-group>` that has one: 'Flutes' over parts named '1' and '2'."""

    @property
    def label(self) -> str:
        """How the part is called wherever it is told of: its name, else its abbreviation, else its number."""
        return self.name or self.abbreviation or f"Part {self.number}"

    @property
    def title(self) -> Message | str:
        """The same as it is said: a part without a name has one in every language."""
        return Message("place.part", number=self.number) if self._unnamed else self.label

    @property
    def _unnamed(self) -> int:
        return 0 if self.name or self.abbreviation else self.number

    @property
    def whole(self) -> Place:
        """The place of what holds for the whole part."""
        return Place(self.label, self.id, number=self._unnamed)

    def place(self, event: Event) -> Place:
        return Place(
            self.label, self.id, event.bar, event.beat, event.voice, event.rehearsal, event.seconds, self._unnamed
        )

    def place_of_word(self, direction: Direction) -> Place:
        at = direction.bar, direction.beat, direction.voice
        return Place(self.label, self.id, *at, number=self._unnamed)


@dataclass(frozen=True, slots=True)
class Score:
    """A whole file, read. `parts` in file order, all headings; only the chosen parts hold events."""

    parts: tuple[Part, ...]
    version: str
    title: str = ""
    findings: tuple[Finding, ...] = field(default=())
