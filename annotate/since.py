"""What has changed since an earlier report of the same piece: demands that are new, solved, changed or gone.

Bars are inserted and cut between drafts, so demands are aligned in their order: by what they ask first, then by beat
and by their distance in bars from their neighbours; bar numbers tell apart what asks the same.
"""

import json
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from annotate.decision import Decision, Result, Status
from annotate.demand import Kind
from annotate.files.errors import bytes_of, unfit
from annotate.place import Place
from fingering_db.acoustics.arrays import IndexArray, RealArray
from fingering_db.fingering import Fingering
from fingering_db.message import Message, MessageError
from fingering_db.pitch import Pitch

VERSION = 1  # of the report that can be read

_EXPECTED = Message("since_error.expected")
_MOST_BYTES = 256 << 20
_MOST_PAIRS = 20_000_000  # weighed one by one
_SAME_BEAT = 0.01
_UNNAMED = re.compile(r"Part (\d{1,9})")  # a part without a name, as reports call it
# Worth of a pair: asking the same, at the same beat; or standing at the same place alone. Each gets one more for the
# same bar number, the same distance from the one before, and to the one after. Two chords rewritten where they stand
# are worth more than one that moved.
_CONTENT, _BEAT, _PLACE = 12, 2, 5


@dataclass(frozen=True, slots=True)
class Entry:
    """One demand of a report on the flute named first. pitches, to: written pitch; beat: NaN where it has none."""

    id: str
    kind: Kind
    part: str
    part_id: str
    bar: str
    beat: float
    pitches: tuple[Pitch, ...]
    to: tuple[Pitch, ...]
    status: Status
    fingering: Fingering | None
    number: int = 0
    """As in `Place`."""

    @property
    def place(self) -> Place:
        """Where it stands (beat to three decimals)."""
        beat = Fraction(self.beat).limit_denominator(1000) if self.beat == self.beat else Fraction(0)
        return Place(self.part, self.part_id, self.bar, beat, number=self.number)

    @property
    def content(self) -> object:
        """What it asks, whatever the spelling."""
        return self.kind, tuple(one.midi for one in self.pitches), tuple(one.midi for one in self.to)


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier report. path: as given; flutes: those it was made for; score: the one it tells of, as it names it."""

    path: str
    flutes: tuple[str, ...]
    entries: tuple[Entry, ...]
    score: str = ""


@dataclass(frozen=True, slots=True)
class Pair:
    """A demand then and now; now is None where the score does not ask it any more."""

    was: Entry
    now: Entry | None


@dataclass(frozen=True, slots=True)
class Since:
    """What has changed. solved: was unplayable or doubtful, now better or not asked any more; changed: other status,
    pitches or fingering, not solved; gone: was playable and is not asked any more."""

    earlier: Earlier
    new: tuple[Entry, ...]
    solved: tuple[Pair, ...]
    changed: tuple[Pair, ...]
    gone: tuple[Entry, ...]
    unchanged: int


class _Demand(msgspec.Struct):
    """What is read of a demand in a report."""

    id: str
    kind: Kind
    part: str
    part_id: str
    bar: str
    beat: float | None
    written: list[str]
    to: list[str]
    status: Status
    fingering: str


class _Report(msgspec.Struct):
    flutes: list[str]
    demands: list[_Demand]
    score: str = ""


class _Version(msgspec.Struct):
    version: Any = None


def load(path: Path) -> Earlier:
    """Read an earlier report. Raises InputError, one line, for anything but a JSON report of version 1."""
    return read(_text(path), path)


def read(text: str | bytes | msgspec.Raw, path: Path) -> Earlier:
    """A JSON report as text; `path` is for messages and to be told. Raises InputError as `load` does."""
    try:
        version = msgspec.json.decode(text, type=_Version).version
        if version != VERSION or isinstance(version, bool):
            told = (
                Message("since_error.no_version")
                if version is None
                else Message("since_error.version", told=str(version)[:20], known=VERSION)
            )
            raise unfit(path, told, _EXPECTED)
        report = msgspec.json.decode(text, type=_Report)
        entries = tuple(_entry(demand) for demand in report.demands)
    except (msgspec.ValidationError, MessageError) as error:
        reason = error.message if isinstance(error, MessageError) else str(error)
        raise unfit(path, Message("since_error.no_report", reason=reason), _EXPECTED) from error
    except (msgspec.DecodeError, RecursionError) as error:
        raise unfit(path, Message("since_error.no_json", reason=str(error)), _EXPECTED) from error
    first = {entry.id: entry for entry in reversed(entries)}  # of several flutes the one named first
    kept = tuple(first[name] for name in dict.fromkeys(e.id for e in entries))
    return Earlier(str(path), tuple(report.flutes), kept, report.score)


def _text(path: Path) -> str:
    raw = bytes_of(path, _MOST_BYTES, _EXPECTED)
    try:
        # Some shells write what is sent to a file as UTF-16.
        return raw.decode(json.detect_encoding(raw))
    except UnicodeDecodeError as error:
        raise unfit(path, Message("since_error.no_text"), _EXPECTED) from error


def _entry(demand: _Demand) -> Entry:
    beat = math.nan if demand.beat is None else demand.beat
    pitches, to = (tuple(Pitch.parse(name) for name in names) for names in (demand.written, demand.to))
    fingering = Fingering.parse(demand.fingering) if demand.fingering else None
    where = demand.part, demand.part_id, demand.bar, beat
    return Entry(demand.id, demand.kind, *where, pitches, to, demand.status, fingering)


def _entry_now(decision: Decision) -> Entry:
    demand, place = decision.demand, decision.demand.place
    # As a report tells it: a comparison must not see what is lost in printing.
    pitches, to = (tuple(Pitch.parse(str(pitch)) for pitch in each) for each in (demand.pitches, demand.to))
    beat = round(float(place.beat), 3)
    where = place.part, place.part_id, place.bar, beat
    return Entry(demand.id, demand.kind, *where, pitches, to, decision.status, decision.fingering, place.number)


def earlier(result: Result) -> Earlier:
    """A result as one to compare later ones with."""
    entries = tuple(_entry_now(decision) for decision in result.first_flute())
    return Earlier(result.score, result.flutes, entries, result.score)


def compare(earlier: Earlier, result: Result) -> Since:
    """What has changed in `result` since the earlier report, on the flute named first in each."""
    now = [_entry_now(decision) for decision in result.first_flute()]
    then = _with_parts_of(earlier.entries, now)
    pairs: list[Pair] = []
    partners: set[str] = set()
    for part in dict.fromkeys(entry.part_id for entry in then):
        own = [entry for entry in then if entry.part_id == part]
        for was, found in _aligned(own, [entry for entry in now if entry.part_id == part]):
            pairs.append(Pair(was, found))
            partners |= {found.id} if found else set()
    rest = [pair for pair in pairs if not _is_solved(pair)]
    kept = [pair for pair in rest if pair.now]
    changed = tuple(pair for pair in kept if _differs(pair))
    return Since(
        earlier=earlier,
        new=tuple(entry for entry in now if entry.id not in partners),
        solved=tuple(pair for pair in pairs if _is_solved(pair)),
        changed=changed,
        gone=tuple(pair.was for pair in rest if pair.now is None),
        unchanged=len(kept) - len(changed),
    )


def _is_solved(pair: Pair) -> bool:
    return pair.was.status != Status.PLAYABLE and (pair.now is None or pair.now.status.rank < pair.was.status.rank)


def _differs(pair: Pair) -> bool:
    was, now = pair.was, pair.now
    return now is not None and (was.status, was.content, was.fingering) != (now.status, now.content, now.fingering)


def _with_parts_of(then: Iterable[Entry], now: Sequence[Entry]) -> list[Entry]:
    """Earlier entries with the part ids of today: the same id and name, else the same name, else the same id; and with the
    number of a part that had no name, which an earlier report tells in the name alone."""
    old = dict.fromkeys((entry.part_id, entry.part) for entry in then)
    free = dict.fromkeys((entry.part_id, entry.part) for entry in now)
    ids: dict[tuple[str, str], str] = {}
    for compared in (slice(0, 2), slice(1, 2), slice(0, 1)):
        for part in old:
            match = next((one for one in free if one[compared] == part[compared]), None)
            if match and part not in ids:
                ids[part] = match[0]
                del free[match]
    named = {entry.part for entry in now if not entry.number}
    # One without a counterpart must not meet another part that took over its id.
    return [
        replace(
            e,
            part_id=ids.get((e.part_id, e.part), f"{e.part_id} {e.part}, gone"),
            number=0 if e.part in named or not (found := _UNNAMED.fullmatch(e.part)) else int(found[1]),
        )
        for e in then
    ]


def _aligned(then: list[Entry], now: list[Entry]) -> list[tuple[Entry, Entry | None]]:
    """Each entry of one part with its counterpart of today, None for none, in order."""
    head, tail = _alike(then, now), 0
    if head < min(len(then), len(now)):
        tail = _alike(then[head:][::-1], now[head:][::-1])
    end, new_end = len(then) - tail, len(now) - tail
    found = {n: n for n in range(head)} | {end + n: new_end + n for n in range(tail)}
    if (end - head) * (new_end - head) > _MOST_PAIRS:
        between = _by_place(then[head:end], now[head:new_end])
    else:
        worth = _worth(_traits(then), _traits(now))[head:end, head:new_end]
        between = _dearest(worth)
    found |= {head + i: head + j for i, j in between}
    return [(was, now[found[index]] if index in found else None) for index, was in enumerate(then)]


def _alike(then: list[Entry], now: list[Entry]) -> int:
    """How many entries from the first on ask the same at the same place."""
    for number, (was, one) in enumerate(zip(then, now, strict=False)):
        if (was.content, was.bar, was.beat) != (one.content, one.bar, one.beat):
            return number
    return min(len(then), len(now))


def _by_place(then: list[Entry], now: list[Entry]) -> list[tuple[int, int]]:
    """Pairs of one kind at one place, for what is too long to weigh every pair."""
    old, new = ([(one.bar, one.beat, one.kind) for one in each] for each in (then, now))
    blocks = SequenceMatcher(None, old, new, autojunk=False).get_matching_blocks()
    return [(a + n, b + n) for a, b, size in blocks for n in range(size)]


@dataclass(frozen=True, slots=True)
class _Traits:
    """Of a part's entries, each shape (n,): number of the content, of the kind and of the bar as printed (hashes),
    beat, and how many bars it stands after the one before and before the one after (NaN where there is none)."""

    content: IndexArray
    kind: IndexArray
    bar: IndexArray
    beat: RealArray
    before: RealArray
    after: RealArray


def _traits(entries: list[Entry]) -> _Traits:
    bars = [_bar(entry) for entry in entries]
    gaps = [math.nan if a is None or b is None else float(b - a) for a, b in pairwise(bars)]
    content, kind, bar = (
        np.array([hash(getattr(entry, name)) for entry in entries], dtype=np.int64)
        for name in ("content", "kind", "bar")
    )
    beat = np.array([entry.beat for entry in entries])
    return _Traits(content, kind, bar, beat, np.array([math.nan, *gaps]), np.array([*gaps, math.nan]))


def _bar(entry: Entry) -> int | None:
    found = re.match(r"\d{1,9}", entry.bar)
    return int(found[0]) if found else None


def _worth(then: _Traits, now: _Traits) -> IndexArray:
    """Worth of each pair, shape (n_then, n_now), 0 for what is none."""
    same_bar = then.bar[:, None] == now.bar
    same_before, same_after = then.before[:, None] == now.before, then.after[:, None] == now.after
    same_beat = np.abs(then.beat[:, None] - now.beat) < _SAME_BEAT
    same_place = same_beat & (same_bar | same_before | same_after) & (then.kind[:, None] == now.kind)
    place = same_bar.astype(np.int32) + same_before + same_after
    same_content = then.content[:, None] == now.content
    content, other = _CONTENT + _BEAT * same_beat + place, (_PLACE + place) * same_place
    return np.asarray(np.where(same_content, content, other), dtype=np.int32)


def _dearest(worth: IndexArray) -> list[tuple[int, int]]:
    """Pairs (index, index), in order on both sides, with the greatest worth together: dynamic programming from the end,
    a row at a time."""
    rows, columns = worth.shape
    best = np.zeros((rows + 1, columns + 1), dtype=np.int32)
    for i in reversed(range(rows)):
        paired = np.maximum(worth[i] + best[i + 1, 1:], best[i + 1, :-1])
        best[i, :-1] = np.maximum.accumulate(paired[::-1])[::-1]
    pairs = []
    i = j = 0
    while i < rows and j < columns:
        if worth[i, j] and best[i, j] == worth[i, j] + best[i + 1, j + 1]:
            pairs.append((i, j))
            i, j = i + 1, j + 1
        elif best[i, j] == best[i + 1, j]:
            i += 1
        else:
            j += 1
    return pairs
