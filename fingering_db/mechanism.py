"""From fingers to holes: what each placement moves, and every fingering that hands can form."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import IndexArray, StateArray
from fingering_db.chart import ChartNote, chart
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import Instrument, Placement
from fingering_db.message import Message
from fingering_db.touches import FINGERS

# States of a hole. The small openings count only while the key is down.
OPEN, SHUT, PERFORATION, VENT, PERFORATION_AND_VENT = range(5)

_UP = Placement(touch="")


@dataclass(frozen=True, slots=True)
class Reach:
    """Every fingering of an instrument, and the distinct states of its holes.

    placements: shape (n_fingerings, n_fingers), index into `choices` of each finger. states: shape (n_sounds, n_holes),
    distinct hole states (what sounds), values OPEN..PERFORATION_AND_VENT. sound: shape (n_fingerings,), row of `states`
    for each fingering.
    """

    choices: tuple[tuple[Placement, ...], ...]
    placements: StateArray
    states: StateArray
    sound: IndexArray

    def fingering(self, index: int) -> Fingering:
        """The fingering in row `index` of `placements`."""
        return Fingering(
            tuple(choices[number].touch for choices, number in zip(self.choices, self.placements[index], strict=True))
        )


def choices(instrument: Instrument) -> tuple[tuple[Placement, ...], ...]:
    """Placements of each finger in the order of FINGERS, 'up' first."""
    by_name = {finger.name: finger.placements for finger in instrument.fingers}
    return tuple((_UP, *by_name.get(name, ())) for name in FINGERS)


def hole_states(instrument: Instrument, fingering: Fingering) -> StateArray:
    """States of all holes, shape (n_holes,). Raises FingeringError when the instrument lacks a touch."""
    numbers = []
    for finger, options, touch in zip(FINGERS, choices(instrument), fingering.touches, strict=True):
        known = [placement.touch for placement in options]
        if touch not in known:
            told = {"text": str(fingering), "flute": instrument.name, "touch": touch, "finger": finger}
            lacks = Message("error.lacks_touch", **told, touches=tuple(known[1:]))
            raise FingeringError(lacks if known[1:] else Message("error.no_key", **told))
        numbers.append(known.index(touch))
    return np.asarray(_states(instrument, np.array([numbers], dtype=np.uint8))[0])


@lru_cache(maxsize=32)  # asked for every note of a score
def chart_of(instrument: Instrument) -> tuple[ChartNote, ...]:
    """The standard fingerings that this flute's fingers can form (a lever may be missing or out of reach)."""
    return tuple(note for note in chart(instrument.chart) if has_touches(instrument, note.fingering))


def has_touches(instrument: Instrument, fingering: Fingering) -> bool:
    """Whether this flute has every key that the fingering touches, under the finger that touches it."""
    has = ({option.touch for option in options} for options in choices(instrument))
    return all(touch in own for touch, own in zip(fingering.touches, has, strict=True))


def reach(instrument: Instrument) -> Reach:
    """Enumerate one placement for each finger, every combination."""
    options = choices(instrument)
    axes = np.meshgrid(*(np.arange(len(option), dtype=np.uint8) for option in options), indexing="ij")
    placements = np.stack([axis.ravel() for axis in axes], axis=1)
    all_states = _states(instrument, placements)
    _, first, sound = np.unique(keys(all_states), return_index=True, return_inverse=True)
    return Reach(options, placements, all_states[first], sound.astype(np.intp))


def keys(states: StateArray) -> IndexArray:
    """One number for each row of states, shape (n,): sorts faster than rows. Those of `Reach.states` grow."""
    return np.asarray(states.astype(np.int64) @ (5 ** np.arange(states.shape[1], dtype=np.int64)))


def _states(instrument: Instrument, placements: StateArray) -> StateArray:
    """Hole states, shape (n, n_holes), of rows of placement numbers, shape (n, n_fingers)."""
    index = {hole.name: column for column, hole in enumerate(instrument.holes)}
    shape = (len(placements), len(instrument.holes))
    shut = np.tile([hole.rest == "shut" for hole in instrument.holes], (shape[0], 1))
    held, perforation, vent = (np.zeros(shape, dtype=bool) for _ in range(3))
    for finger, options in enumerate(choices(instrument)):
        for number, placement in enumerate(options):
            rows = placements[:, finger] == number
            for names, target, value in [
                (placement.opens, shut, False),
                (placement.shuts, held, True),
                (placement.uncovers, perforation, True),
                (placement.vents, vent, True),
            ]:
                for name in names:
                    target[rows, index[name]] = value
    down = shut | held
    states = np.where(down, SHUT, OPEN).astype(np.uint8)
    states[down & perforation] = PERFORATION
    states[down & vent] = VENT
    states[down & perforation & vent] = PERFORATION_AND_VENT
    return states
