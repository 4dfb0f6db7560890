"""Moving a multiphonic along the tube: every place where a pattern of small, shut and open places can stand.

Places are the note names of the tone holes from C sharp down, then the open end; holes of one name (G sharp has two) are
one place. A place is *shut* when all its holes are, *open* when one of them is fully open, *small* when a cup is down with
a perforation or vent open in it; the C sharp hole is small by itself. A pattern is small, shut, .. and then open: all places
above it are shut, and the trill holes too; what lies below is free."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray, StateArray
from fingering_db.fingering import Fingering
from fingering_db.instrument import Instrument
from fingering_db.mechanism import OPEN, SHUT, choices, hole_states
from fingering_db.message import Message, MessageError
from fingering_db.model import Model, sound_of
from fingering_db.ranking import Resonance, sounds
from fingering_db.touches import FINGERS

SHUT_PLACE, SMALL_PLACE, OPEN_PLACE = range(3)
SMALL_BY_ITSELF = "C#5"
_TEXT = re.compile(r"\s*small\s+(\d{1,2})\s*\Z", re.IGNORECASE)
_COUNTED = 3  # resonances whose intervals are told
NO_OPENING = Message("pattern.no_opening")
_SAID = (Message("pattern.shut"), Message("pattern.small"), Message("pattern.open"))  # of a place, by its state


class PatternError(MessageError):
    """A text that is no pattern, or a fingering that holds none."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """Places from the first small one down to the last before an open one: SMALL_PLACE and SHUT_PLACE, the first small."""

    places: tuple[int, ...]

    @classmethod
    def parse(cls, text: str) -> Pattern:
        """Read `small N`. Raises PatternError."""
        found = _TEXT.match(text)
        if not found:
            raise PatternError(Message("error.pattern", text=text))
        return cls((SMALL_PLACE, *[SHUT_PLACE] * int(found[1])))

    @classmethod
    def of(cls, fingering: Fingering, instrument: Instrument) -> Pattern:
        """The pattern of a fingering. Raises PatternError where it has none, FingeringError for a touch that the flute
        lacks."""
        states = hole_states(instrument, fingering)[None, :]
        if not _trills_shut(instrument, states)[0]:
            raise PatternError(Message("error.trill_open", text=str(fingering)))
        row = _place_states(instrument, states)[0].tolist()
        until_open = row[: row.index(OPEN_PLACE)] if OPEN_PLACE in row else row
        if SMALL_PLACE not in until_open:
            raise PatternError(Message("error.nothing_small", text=str(fingering)))
        return cls(tuple(until_open[until_open.index(SMALL_PLACE) :]))

    def __str__(self) -> str:
        starts = [index for index, state in enumerate(self.places) if state == SMALL_PLACE]
        lengths = np.diff([*starts, len(self.places)]) - 1
        return ", ".join(f"small {length}" for length in lengths)


def stands_at(fingering: Fingering, instrument: Instrument) -> tuple[str, str]:
    """The pattern of a fingering as text, and the name of the place of its first small opening; '' and '' where it has none."""
    try:
        pattern = Pattern.of(fingering, instrument)
    except PatternError:
        return "", ""
    row = _place_states(instrument, hole_states(instrument, fingering)[None, :])[0].tolist()
    return str(pattern), place_names(instrument)[row.index(SMALL_PLACE)]


@dataclass(frozen=True, slots=True)
class Interval:
    """From the lowest resonance up to another one [cents]; name to the nearest semitone, with the rest: minor ninth +15."""

    cents: float
    name: str


@dataclass(frozen=True, slots=True)
class Shift:
    """A pattern at one place. hole: name of its (first) small place. reachable: some fingering forms it; else `why` says
    what is in the way and the rest is empty. keys: how many touches hold the shut places of the pattern. lip_mm: the one lip
    of all sounds (equivalent length). sounds: all resonances. intervals: from the first to the second and to the third."""

    hole: str
    reachable: bool
    why: Message | None = None
    fingering: Fingering | None = None
    keys: int = 0
    lip_mm: float = 0.0
    sounds: tuple[Resonance, ...] = ()
    intervals: tuple[Interval, ...] = ()


def places(instrument: Instrument) -> tuple[tuple[str, ...], ...]:
    """Holes of each place, from the top down to the last before the end."""
    found: dict[str, list[str]] = {}
    for hole in instrument.holes:
        if not hole.name.endswith("trill"):
            found.setdefault(hole.name.removesuffix("side"), []).append(hole.name)
    return tuple(tuple(names) for names in found.values())


def place_names(instrument: Instrument) -> tuple[str, ...]:
    """Names of the places without octave; a name that comes again lower down is called low: C#, C, .., low C#."""
    names: list[str] = []
    for holes in places(instrument):
        name = holes[0].removesuffix("side").rstrip("0123456789")
        names.append(f"low {name}" if name in names else name)
    return tuple(names)


def shifts(model: Model, pattern: Pattern) -> tuple[Shift, ...]:
    """The pattern at every place, from the top. Where a small place of it can never be small that is the reason told, so that
    what only lacks room before the open end stands out as a near miss."""
    instrument = model.instrument
    names = place_names(instrument)
    every = _every(model)
    found = []
    for start in range(len(names)):
        why = _never_small(instrument, names, start, pattern) or _too_long(names, start, pattern)
        if not why and not every.count(start, pattern):
            why = _in_the_way(every, instrument, names, start, pattern)
        found.append(Shift(names[start], False, why) if why else _at(model, every, start, pattern, names[start]))
    return tuple(found)


def set_size(model: Model, fingering: Fingering) -> int:
    """At how many places the pattern of a fingering can be formed; 1 for one without a pattern: it stands where it is."""
    try:
        pattern = Pattern.of(fingering, model.instrument)
    except PatternError:
        return 1
    every = _every(model)
    return sum(every.count(start, pattern) > 0 for start in range(every.depth))


@dataclass(frozen=True, slots=True, eq=False)
class _Every:
    """All distinct sounds with shut trill holes, as numbers to base 3 whose digits are the states of the places, the
    topmost first, in growing order. keys, sounds: shape (n,), sounds rows of `reach.states`. depth: number of places."""

    keys: IndexArray
    sounds: IndexArray
    depth: int

    def span(self, start: int, pattern: Pattern) -> tuple[int, int]:
        """First and one past the last entry that shows the pattern with its first small place at `start`."""
        return self.beginning_with(_digits(start, pattern, self.depth))

    def beginning_with(self, digits: list[int]) -> tuple[int, int]:
        """First and one past the last entry whose topmost places have these states."""
        if len(digits) > self.depth:
            return 0, 0
        weight = 3 ** (self.depth - len(digits))
        lowest = sum(digit * 3 ** (len(digits) - 1 - at) for at, digit in enumerate(digits)) * weight
        first, past = np.searchsorted(self.keys, [lowest, lowest + weight])
        return int(first), int(past)

    def count(self, start: int, pattern: Pattern) -> int:
        """How many distinct sounds show the pattern there."""
        first, past = self.span(start, pattern)
        return past - first


def _digits(start: int, pattern: Pattern, depth: int) -> list[int]:
    """States of the places from the top with the pattern's first small place at `start`, down to the open one below it."""
    return [*[SHUT_PLACE] * start, *pattern.places, *[OPEN_PLACE] * (start + len(pattern.places) < depth)]


@lru_cache(maxsize=8)
def _every(model: Model) -> _Every:
    states = model.reach.states
    rows = np.flatnonzero(_trills_shut(model.instrument, states))
    digits = _place_states(model.instrument, states[rows])
    depth = digits.shape[1]
    keys = digits.astype(np.int64) @ (3 ** np.arange(depth - 1, -1, -1, dtype=np.int64))
    order = np.argsort(keys, kind="stable")
    return _Every(keys[order], rows[order], depth)


def _trills_shut(instrument: Instrument, states: StateArray) -> BoolArray:
    trills = [index for index, hole in enumerate(instrument.holes) if hole.name.endswith("trill")]
    return np.asarray((states[:, trills] == SHUT).all(axis=1))


def _place_states(instrument: Instrument, states: StateArray) -> StateArray:
    """States of the places, shape (n, n_places), of rows of hole states, shape (n, n_holes)."""
    index = {hole.name: column for column, hole in enumerate(instrument.holes)}
    columns = []
    for names in places(instrument):
        own = states[:, [index[name] for name in names]]
        is_open = (own == OPEN).any(axis=1)
        is_small = ((own != OPEN) & (own != SHUT)).any(axis=1)
        if names == (SMALL_BY_ITSELF,):
            is_small, is_open = is_small | is_open, np.zeros_like(is_open)
        columns.append(np.where(is_open, OPEN_PLACE, np.where(is_small, SMALL_PLACE, SHUT_PLACE)))
    return np.stack(columns, axis=1).astype(np.uint8)


def _at(model: Model, every: _Every, start: int, pattern: Pattern, hole: str) -> Shift:
    fingering = _easiest(model, every, start, pattern)
    by_law = model.resonances(model.bore(np.array([sound_of(model, fingering)]))).hz[:_COUNTED]
    # Notes that sound together have one lip: half-way between what the law gives for the lowest and the highest told.
    lip_mm = float(model.flute.lip_law_m(np.array([by_law[0], by_law[-1]])).mean() * 1e3)
    heard = sounds(model, fingering, lip_mm)
    intervals = tuple(interval(heard[0].hz, sound.hz) for sound in heard[1:_COUNTED])
    keys = _keys_holding(model.instrument, fingering, start, pattern)
    return Shift(hole, True, None, fingering, keys, lip_mm, heard, intervals)


def _easiest(model: Model, every: _Every, start: int, pattern: Pattern) -> Fingering:
    """Most places open below, then fewest fingers, then least effort."""
    first, past = every.span(start, pattern)
    sounding = every.sounds[first:past]
    below = _place_states(model.instrument, model.reach.states[sounding])[:, start + len(pattern.places) :]
    opened = (below == OPEN_PLACE).sum(axis=1)
    best = np.sort(sounding[opened == opened.max()])
    rows = np.flatnonzero(np.isin(model.reach.sound, best))
    fingers = (model.reach.placements[rows] > 0).sum(axis=1)
    return model.reach.fingering(int(rows[np.lexsort((model.effort[rows], fingers))[0]]))


def _keys_holding(instrument: Instrument, fingering: Fingering, start: int, pattern: Pattern) -> int:
    """How many touches hold a shut place of the pattern: players count keys, not holes."""
    own = zip(pattern.places, places(instrument)[start:], strict=False)
    shut = {name for state, names in own if state == SHUT_PLACE for name in names}
    held = zip(choices(instrument), fingering.touches, strict=True)
    return sum(any(shut & {*one.shuts} for one in options if touch and one.touch == touch) for options, touch in held)


# --- what is in the way


def _too_long(names: tuple[str, ...], start: int, pattern: Pattern) -> Message | None:
    wanted, there = len(pattern.places) - 1, len(names) - start - 1
    if wanted <= there:
        return None
    values = {"n": wanted, "place": names[start], "there": there}
    if there:
        return Message("pattern.too_long", listed=tuple(names[start + 1 :]), **values)
    return Message("pattern.too_long_at_the_end", **values)


def _never_small(instrument: Instrument, names: tuple[str, ...], start: int, pattern: Pattern) -> Message | None:
    """Which small place of the pattern no touch can make small."""
    touched = {name for options in choices(instrument) for one in options for name in (*one.uncovers, *one.vents)}
    for at, state in enumerate(pattern.places):
        if state != SMALL_PLACE or start + at >= len(names):
            continue
        holes = places(instrument)[start + at]
        if holes != (SMALL_BY_ITSELF,) and not touched & {*holes}:
            return Message("pattern.no_opening_at", place=names[start + at]) if at else NO_OPENING
    return None


def _in_the_way(every: _Every, instrument: Instrument, names: tuple[str, ...], start: int, pattern: Pattern) -> Message:
    """The first place, from the top, that no fingering brings into its state while those above it are in theirs."""
    digits = _digits(start, pattern, len(names))
    spans = (every.beginning_with(digits[: n + 1]) for n in range(len(digits)))
    at = next(n for n, (first, past) in enumerate(spans) if first == past)
    moved = [
        Message("pattern.moved_by", finger=finger, touches=tuple(own))
        for finger, options in zip(FINGERS, choices(instrument), strict=True)
        if (own := [one.touch for one in options if {*places(instrument)[at]} & {*one.shuts, *one.opens}])
    ]
    values = {"place": names[at], "state": _SAID[digits[at]], "above": _above(names, digits[:at])}
    return Message("pattern.moved", moved=tuple(moved), **values) if moved else Message("pattern.cannot", **values)


def _above(names: tuple[str, ...], digits: list[int]) -> Message:
    """`A# is small and all else above it shut`."""
    small = [name for name, state in zip(names, digits, strict=False) if state == SMALL_PLACE]
    if not small:
        return Message("pattern.all_shut")
    return Message("pattern.small_above", names=tuple(small), n=len(small))


# --- intervals

_SIMPLE = (
    "unison", "minor second", "major second", "minor third", "major third", "perfect fourth", "diminished fifth",
    "perfect fifth", "minor sixth", "major sixth", "minor seventh", "major seventh",
)  # fmt: skip
_NUMBERS = (
    "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth", "tenth", "eleventh", "twelfth",
    "thirteenth", "fourteenth", "double octave", "sixteenth", "seventeenth", "eighteenth", "nineteenth", "twentieth",
    "twenty-first", "triple octave", "twenty-third", "twenty-fourth", "twenty-fifth", "twenty-sixth", "twenty-seventh",
    "twenty-eighth",
)  # fmt: skip


def interval(lower_hz: float, upper_hz: float) -> Interval:
    """The interval between two frequencies [Hz], upper at least the lower, up to four octaves."""
    cents = float(1200.0 * np.log2(upper_hz / lower_hz))
    semitones = int(np.floor(cents / 100.0 + 0.5))
    rest = round(cents - 100.0 * semitones)
    return Interval(cents, interval_name(semitones) + (f" {rest:+d}" if rest else ""))


def interval_name(semitones: int) -> str:
    """Name of a tempered interval of 0 to 47 semitones: 13 is a minor ninth."""
    octaves, within = divmod(semitones, 12)
    quality, _, number = _SIMPLE[within].rpartition(" ")
    name = _NUMBERS[7 * octaves + _NUMBERS.index(number)]
    return name if not within else f"{quality} {name}"


def spread_cents(found: tuple[Shift, ...], number: int) -> float:
    """Largest minus smallest of the intervals of that number (0: first to second, 1: first to third) [cents]; 0 for none."""
    values: RealArray = np.array([one.intervals[number].cents for one in found if len(one.intervals) > number])
    return float(np.ptp(values)) if len(values) else 0.0
