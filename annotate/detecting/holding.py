"""How long a word holds.

A technique word holds for its note or chord and what is tied or slurred to it, and on while the next events are of the
kind it names (for "mult.": chords); a bar of rest, a double bar, "ord.", another technique word end it, and an event of
another kind. "sempre", a line or a bracket hold it as written. A number of players holds until the next one, a chord on
a staff of several players, a bar of rest or a double bar.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from fractions import Fraction
from itertools import pairwise

from annotate.detecting.sonority import Sonority, Ties, slurred_on
from annotate.detecting.words import (
    ALL,
    CANCEL,
    MULTIPHONIC,
    ONE,
    PLAYERS,
    SEVERAL,
    TIMBRAL,
    Hit,
    Said,
    Spans,
    Technique,
)
from annotate.score import Part


class HoldingWords:
    """Which words hold at which sonority."""

    def __init__(self, part: Part, sonorities: Iterable[Sonority], spans: Spans, ties: Ties, several: bool) -> None:
        """sonorities: in order of time; several: the part is one of several players."""
        self._double_bars = tuple(sorted(part.double_bars))
        self._lines = part.lines
        self._ties = ties
        self._by_staff = part.staves > 1
        self._several = several
        self._techniques: dict[int, tuple[Said, ...]] = {}
        self._players: dict[int, Said] = {}
        self._open: set[int] = set()
        staves: dict[int, list[Sonority]] = {}
        for sonority in sonorities:
            staves.setdefault(sonority.first.staff if self._by_staff else 0, []).append(sonority)
        self._slurred: set[int] = set()
        for staff, found in staves.items():
            self._slurred.update(found[index].first.start for index in slurred_on(found))
            said = [each for each in spans.said if not self._by_staff or each.direction.staff == staff]
            moments = _moments(each for each in said if each.hit.technique.role != PLAYERS and each.hit.technique.holds)
            self._hold_techniques(moments, found)
            self._hold_players(_moments(each for each in said if each.hit.technique.role == PLAYERS), found)

    def techniques_at(self, sonority: Sonority) -> tuple[Said, ...]:
        """The technique words that hold at a sonority."""
        return self._techniques.get(sonority.first.start, ())

    def technique_at(self, sonority: Sonority, role: str) -> Said | None:
        """The word of one role that holds at a sonority."""
        return next((said for said in self.techniques_at(sonority) if said.hit.technique.role == role), None)

    def players_at(self, sonority: Sonority) -> Said | None:
        """The number of players in force at a sonority: 'several' or 'one'; None where nothing is said."""
        return self._players.get(sonority.first.start)

    def is_closed(self, said: Said) -> bool:
        """Whether something written ends a technique word that holds on ("sempre"): a later one, 'ord.', a line."""
        return said.direction.start not in self._open

    # -- techniques

    def _hold_techniques(self, moments: list[tuple[Fraction, list[Said]]], staff: list[Sonority]) -> None:
        for number, (onset, said) in enumerate(moments):
            until = moments[number + 1][0] if number + 1 < len(moments) else None
            # "ord." and a new word at one moment: the new word stands.
            words = tuple(each for each in said if each.hit.technique.role != CANCEL)
            if not words:
                continue
            first = bisect_left(staff, onset, key=lambda each: each.onset)
            last = len(staff) if until is None else bisect_left(staff, until, key=lambda each: each.onset)
            reach = staff[first:last]
            for word in words:
                for sonority in self._reach(word, reach, closed=until is not None):
                    key = sonority.first.start
                    self._techniques[key] = (*self._techniques.get(key, ()), word)

    def _reach(self, word: Said, reach: list[Sonority], *, closed: bool) -> Iterator[Sonority]:
        """The sonorities that a word holds for, of those up to the next technique word."""
        onset = word.direction.onset
        line = next((one for one in self._lines if one.start == onset and one.staff in (0, word.direction.staff)), None)
        if line is not None:
            yield from (each for each in reach if each.onset < line.stop)
        elif word.always:
            end = self._next_double_bar(onset)
            if not closed and end is None:
                self._open.add(word.direction.start)
            yield from (each for each in reach if end is None or each.onset < end)
        elif word.hit.technique.role in (MULTIPHONIC, TIMBRAL):
            chords_follow = word.hit.technique.role == MULTIPHONIC
            yield from self._gesture(self._unbroken(word, reach), chords_follow=chords_follow)
        else:
            yield from self._unbroken(word, reach)

    def _next_double_bar(self, onset: Fraction) -> Fraction | None:
        index = bisect_right(self._double_bars, onset)
        return self._double_bars[index] if index < len(self._double_bars) else None

    def _unbroken(self, word: Said, reach: list[Sonority]) -> list[Sonority]:
        """The sonorities up to the first bar of rest or double bar."""
        end = self._next_double_bar(word.direction.onset)
        bar = word.direction.bar_index
        found = []
        for sonority in reach:
            if sonority.first.bar_index > bar + 1 or (end is not None and sonority.onset >= end):
                break
            found.append(sonority)
            bar = sonority.first.bar_index
        return found

    def _gesture(self, reach: list[Sonority], *, chords_follow: bool) -> Iterator[Sonority]:
        """The note or chord at the word, what is tied or slurred to it, and the chords that follow."""
        if not reach:
            return
        here = [each for each in reach if each.onset == reach[0].onset]
        chords = [each for each in here if each.is_chord]
        main = [each for each in here if not each.first.grace]
        # Over a grace note and its main note the word speaks of the chord among them, else of the main note.
        start = chords or main or here[:1]
        yield from start
        slurred = not (chords and chords_follow)
        for before, sonority in pairwise((start[-1], *reach[len(here) :])):
            slurred = slurred and (before.first.start in self._slurred or self._ties.before(sonority) is before)
            if not ((sonority.is_chord and chords_follow) or slurred):
                return
            yield sonority

    # -- players

    def _hold_players(self, moments: list[tuple[Fraction, list[Said]]], staff: list[Sonority]) -> None:
        number, bar, now, since = 0, 0, None, Fraction(0)
        for sonority in staff:
            while number < len(moments) and moments[number][0] <= sonority.onset:
                since, said = moments[number]
                now, bar = _players(said), max(said[0].direction.bar_index, bar)
                number += 1
            ended = bisect_right(self._double_bars, sonority.onset) > bisect_right(self._double_bars, since)
            if now is not None and (ended or sonority.first.bar_index > bar + 1):
                now = None
            bar = max(bar, sonority.first.bar_index)
            if now is None:
                continue
            divided = now.hit.technique.id == ONE and self._several and sonority.is_chord
            if not divided or since == sonority.onset:
                self._players[sonority.first.start] = now
            if divided:
                now = None


def _players(said: list[Said]) -> Said | None:
    """What the words of one moment tell of the number of players."""
    if said[-1].hit.technique.id == ALL:
        return None
    # "1. solo / 2. solo", "1." over "2.": the words of one moment that differ tell of several players.
    words = {each.hit.word.casefold() for each in said if each.hit.technique.id == ONE}
    several = next((each for each in said if each.hit.technique.id == SEVERAL), None)
    if several is None and len(words) > 1 and {"1.", "2."} <= words:
        return Said(Hit(Technique(SEVERAL, PLAYERS), "1. and 2."), said[0].direction)
    return several or said[-1]


def _moments(said: Iterable[Said]) -> list[tuple[Fraction, list[Said]]]:
    """Words grouped by moment, in order of time; one said again at the same moment says no more, and then stands last."""
    at_once: dict[Fraction, dict[tuple[str, str], Said]] = {}
    for word in said:
        group = at_once.setdefault(word.direction.onset, {})
        key = word.hit.technique.id, word.hit.word
        group.pop(key, None)
        group[key] = word
    return [(onset, list(group.values())) for onset, group in sorted(at_once.items())]
