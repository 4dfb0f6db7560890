"""Ways to hold an ordinary note: the chart's fingering, common alternatives (`data/alternatives.toml`), and fingerings that shut
and open the very same holes as one of these."""

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import zip_longest

import msgspec

from fingering_db.chart import chart
from fingering_db.fingering import Fingering
from fingering_db.hand import effort_of
from fingering_db.instrument import Instrument, Placement
from fingering_db.mechanism import chart_of, choices, has_touches
from fingering_db.pitch import Pitch

_PLAIN_CENTS = 10.0  # a note this near to a semitone has its standard fingering
_EFFORT_MORE = 1.5  # pressed keys by which the same holes may be harder to hold than as the chart has them: ours
_ANOTHER = 3  # fingers that differ make another fingering, not a change of one that is known: ours
_MOST = 8  # ways of one note: ours


class _Alternative(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    notes: tuple[str, ...]
    name: str
    fingering: str
    cost: float
    mark: str
    why: str
    trill: bool = False
    to: tuple[str, ...] = ()


class _Alternatives(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    fingerings: tuple[_Alternative, ...]


_TOLD = msgspec.toml.decode(
    (resources.files("fingering_db") / "data/alternatives.toml").read_bytes(), type=_Alternatives
).fingerings


Holes = tuple[frozenset[str], frozenset[str], frozenset[str]]


@dataclass(frozen=True, slots=True)
class WayToHold:
    """One way to hold an ordinary note. cost: of tone and pitch, beside the effort of holding [pressed keys]."""

    fingering: Fingering
    cost: float = 0.0


@lru_cache(maxsize=1024)  # asked for every note of a score
def ways_of(instrument: Instrument, written_midi: float) -> tuple[WayToHold, ...]:
    """The ways this flute's fingers can hold a note, written pitch, the chart's first; none beside the semitones and outside
    the chart."""
    standard = [one.fingering for one in chart_of(instrument) if _near(one.pitch.midi, written_midi)]
    costs = {Fingering.parse(one.fingering): one.cost for one in _told_for(written_midi) if not one.trill}
    if not standard:
        return ()
    found = {fingering: costs.get(fingering, 0.0) for fingering in (*standard, *costs)}
    for fingering, cost in list(found.items()):
        if has_touches(instrument, fingering):
            for same in _same_holes(instrument, fingering):
                found.setdefault(same, cost)
    held = [WayToHold(fingering, cost) for fingering, cost in found.items() if has_touches(instrument, fingering)]
    return tuple(held[:_MOST])


@lru_cache(maxsize=1024)
def trills_of(
    instrument: Instrument, written_midi: float, upper_midi: float
) -> tuple[tuple[WayToHold, WayToHold], ...]:
    """Pairs of ways to trill from one note to another: every way of the one with every way of the other, and the trill keys."""
    upper = list(ways_of(instrument, upper_midi))
    for one in _TOLD:
        pairs = zip_longest(one.notes, one.to)
        told = [(Pitch.parse(note).midi, Pitch.parse(to).midi) for note, to in pairs if note and to]
        fingering = Fingering.parse(one.fingering)
        wanted = any(_near(note, written_midi) and _near(to, upper_midi) for note, to in told)
        if one.trill and wanted and has_touches(instrument, fingering):
            upper.append(WayToHold(fingering, one.cost))
    return tuple((low, high) for low in ways_of(instrument, written_midi) for high in upper)


@lru_cache(maxsize=1024)
def holds(fingering: Fingering, written_midi: float) -> bool:
    """Whether a fingering is a way to hold a note of the flute (written pitch), on any flute: one of the chart or a common
    alternative, the right little finger and the two keys of the thumb left aside."""
    told = [one.fingering for one in chart("flute") if _near(one.pitch.midi, written_midi)]
    told += [Fingering.parse(one.fingering) for one in _told_for(written_midi)]
    own = _without_details(fingering)
    return any(_without_details(one) == own for one in told)


@lru_cache(maxsize=1 << 14)
def fingers_from_chart(instrument: Instrument, fingering: Fingering, written_midi: float) -> int:
    """By how many fingers a fingering of a pitch beside the semitones differs from that of a chart's note less than a semitone
    away, the nearest to it, at most _ANOTHER; 0 where there is no such note."""
    near = (one.fingering for one in chart_of(instrument) if abs(one.pitch.midi - written_midi) < 1.0)
    return min((min(sum(map(str.__ne__, fingering.touches, one.touches)), _ANOTHER) for one in near), default=0)


def _without_details(fingering: Fingering) -> tuple[str, ...]:
    thumb, *others, little = fingering.touches
    low = little if little in ("C#", "C", "B", "gz") else ""
    return ("T" if thumb == "Tb" else thumb, *others, low)


def _told_for(written_midi: float) -> list[_Alternative]:
    return [one for one in _TOLD if any(_near(Pitch.parse(name).midi, written_midi) for name in one.notes)]


def _near(one: float, other: float) -> bool:
    return abs(one - other) * 100.0 < _PLAIN_CENTS


def _same_holes(instrument: Instrument, fingering: Fingering) -> list[Fingering]:
    """Fingerings with one finger elsewhere that leave every hole as it is, and are not much harder to hold."""
    held, effort = holes_held(instrument, fingering), effort_of(fingering)
    placed = _placed(instrument, fingering)
    at_rest = _at_rest(instrument)
    found = []
    for finger, options in enumerate(choices(instrument)):
        others = placed[:finger] + placed[finger + 1 :]
        for option in options:
            if option == placed[finger] or _holes(at_rest, (*others, option)) != held:
                continue
            other = Fingering((*fingering.touches[:finger], option.touch, *fingering.touches[finger + 1 :]))
            if effort_of(other) <= effort + _EFFORT_MORE:
                found.append(other)
    return found


def holes_held(instrument: Instrument, fingering: Fingering) -> Holes:
    """What is down, and in what of it the perforation and the vent are open: the same for two fingerings just where
    `mechanism.hole_states` is, without arrays."""
    return _holes(_at_rest(instrument), _placed(instrument, fingering))


def _placed(instrument: Instrument, fingering: Fingering) -> tuple[Placement, ...]:
    pairs = zip(choices(instrument), fingering.touches, strict=True)
    return tuple(next(option for option in options if option.touch == touch) for options, touch in pairs)


def _at_rest(instrument: Instrument) -> frozenset[str]:
    """Holes that are shut where nothing is touched."""
    return frozenset(hole.name for hole in instrument.holes if hole.rest == "shut")


def _holes(at_rest: frozenset[str], placed: tuple[Placement, ...]) -> Holes:
    opened, shut, uncovered, vented = (
        frozenset().union(*told)
        for told in zip(*((one.opens, one.shuts, one.uncovers, one.vents) for one in placed), strict=True)
    )
    down = (at_rest - opened) | shut
    return down, down & uncovered, down & vented
