"""What players found when they tried a fingering, and what that makes of the model's confidence.

The model's confidence c is taken as the mean of a Beta distribution of the chance that the sound comes, worth MODEL_TRIALS
trials: Beta(c m, (1 - c) m). After trials of which w worked and f failed the mean is (c m + w) / (m + w + f) (Bayes with a Beta
prior, from memory). A trial of one's own on the same flute counts 1, one of another player or flute OTHERS. With the model worth
one trial, one success of one's own makes at least an even chance, and two failures leave a third of what the model said: ours."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from fingering_db.acoustics.arrays import StateArray
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import Instrument
from fingering_db.mechanism import hole_states
from fingering_db.pitch import Pitch

MODEL_TRIALS = 1.0
OTHERS = 1.0 / 3.0
_SAME_CENTS = 50.0  # pitches nearer than this are the same to a player: half a semitone (ours)


@dataclass(frozen=True, slots=True)
class Trial:
    """A fingering that was tried. pitches: sounding, () for whatever it sounds; worked: whether they came. flute: its name;
    flute_id: what it can sound depends on nothing else (`model.acoustic_fingerprint`), '' where not known. time: UTC, ISO 8601.
    player: '' for whoever keeps the log; source: the file that it was imported from, '' for none. id: its own, for good."""

    id: str
    time: str
    player: str
    flute: str
    flute_id: str
    fingering: Fingering
    pitches: tuple[Pitch, ...]
    worked: bool
    remark: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Tried:
    """Trials of one fingering for the same pitches, counted: this player's on this flute, and all others."""

    worked: int = 0
    failed: int = 0
    others_worked: int = 0
    others_failed: int = 0

    @property
    def works(self) -> bool:
        """Whether it worked more often than not for this player on this flute."""
        return self.worked > self.failed

    @property
    def fails(self) -> bool:
        """Whether it failed more often than not for this player on this flute."""
        return self.failed > self.worked

    def confidence(self, by_model: float) -> float:
        """The model's confidence after these trials."""
        good = self.worked + OTHERS * self.others_worked
        bad = self.failed + OTHERS * self.others_failed
        return (MODEL_TRIALS * by_model + good) / (MODEL_TRIALS + good + bad)


@dataclass(frozen=True, slots=True, eq=False)
class Experience:
    """All trials that a log holds, for a player ('' for whoever keeps it) who asks about one flute."""

    trials: tuple[Trial, ...] = ()
    player: str = ""
    flute: str = ""
    flute_id: str = ""
    _by_lowest: dict[int | None, list[Trial]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        for one in self.trials:
            self._by_lowest.setdefault(_lowest(one.pitches), []).append(one)

    def about(self, pitches: tuple[Pitch, ...], instrument: Instrument) -> dict[bytes, tuple[Fingering, Tried]]:
        """Trials for these sounding pitches on this instrument, by what the holes do (`key`): the fingering tried last, and how
        it went. What cannot be held on this instrument tells nothing."""
        found: dict[bytes, tuple[Fingering, Tried]] = {}
        lowest = _lowest(pitches) or 0
        near = [one for at in (None, lowest - 1, lowest, lowest + 1) for one in self._by_lowest.get(at, ())]
        for one in near:
            if not same_pitches(one.pitches, pitches):
                continue
            try:
                place = key(hole_states(instrument, one.fingering))
            except FingeringError:
                continue
            before = found.get(place, (one.fingering, Tried()))[1]
            found[place] = (one.fingering, self._counted(before, one))
        return found

    def of(self, fingering: Fingering, pitches: tuple[Pitch, ...], instrument: Instrument) -> Tried | None:
        """How a fingering went for these pitches, None where nobody tried."""
        about = self.about(pitches, instrument)
        found = about.get(key(hole_states(instrument, fingering))) if about else None
        return found[1] if found else None

    def _counted(self, before: Tried, one: Trial) -> Tried:
        flute = one.flute == self.flute or (one.flute_id and one.flute_id == self.flute_id)
        kind = ("" if flute and one.player == self.player else "others_") + ("worked" if one.worked else "failed")
        return replace(before, **{kind: getattr(before, kind) + 1})


def _lowest(pitches: tuple[Pitch, ...]) -> int | None:
    return round(min(pitch.midi for pitch in pitches)) if pitches else None


NO_EXPERIENCE = Experience()


def key(states: StateArray) -> bytes:
    """What tells whether two fingerings sound alike: their hole states."""
    return states.tobytes()


def same_pitches(tried: Iterable[Pitch], asked: Iterable[Pitch]) -> bool:
    """Whether pitches that were tried are those asked for; none tried stand for all."""
    one, other = sorted(pitch.midi for pitch in tried), sorted(pitch.midi for pitch in asked)
    if not one:
        return True
    near = (math.fabs(a - b) * 100.0 < _SAME_CENTS for a, b in zip(one, other, strict=False))
    return len(one) == len(other) and all(near)
