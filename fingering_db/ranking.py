"""From pitches to ranked fingerings, and from a fingering to what it sounds."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, IndexArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.atlas import Atlas, ragged
from fingering_db.bands import WIDEST_CENTS
from fingering_db.fingering import Fingering
from fingering_db.idle import told_apart
from fingering_db.mechanism import hole_states
from fingering_db.model import Model, highest_hz, sound_of
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, Holding, holding, pairs, strength
from fingering_db.search import matching, nothing
from fingering_db.setting import atlas, giving
from fingering_db.store import Arrays, let_go
from fingering_db.survey import of_one_sound
from fingering_db.trials import Tried
from fingering_db.uncertainty import common_cents

EFFORT_WEIGHT = 0.02  # of confidence per pressed key: between equals, the easier hand
_OFF_WEIGHT = 0.003  # of confidence per cent that an answer may be off: ten cents outweigh one finger saved. Ours


@dataclass(frozen=True, slots=True)
class Resonance:
    """One resonance. hz [Hz]; strength 0..1: how surely it sounds alone (playability.py); band_cents: how far the played one
    may lie from it, ± (bands.py). holds: share of players' jets that hold it, speed_m_s: their air speeds from and to [m/s]
    (acoustics/jet.py), NaN where not known or none does."""

    hz: float
    strength: float
    band_cents: float
    holds: float = math.nan
    speed_m_s: tuple[float, float] = (math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A fingering that answers. deviation_cents: sounding minus asked, per target; band_cents: ± of each. lip_mm: the one lip
    for all of them (equivalent length). confidence 0..1. together: how easily its pitches sound at once (the least over its
    pairs, 0..1), NaN for one pitch; one_note: they are heard as one note and its harmonics. heard: gives `sounds`, which most
    candidates are never asked for. tried: how players' trials went, None for none (`experienced`); by_model: the
    confidence before them."""

    fingering: Fingering
    deviation_cents: tuple[float, ...]
    band_cents: tuple[float, ...]
    confidence: float
    together: float
    one_note: bool
    lip_mm: float
    effort: float
    heard: Callable[[], tuple[Resonance, ...]] = field(compare=False)
    tried: Tried | None = None
    by_model: float = math.nan

    @property
    def sounds(self) -> tuple[Resonance, ...]:
        """All its resonances up to 2.6 kHz with that lip."""
        return self.heard()

    @property
    def worth(self) -> float:
        """How good it is, as `score` reckons."""
        off = may_be_off(np.array([self.deviation_cents]), np.array([self.band_cents]))
        return float(score(np.array([self.confidence]), off, np.array([self.effort]))[0])

    @property
    def worst_cents(self) -> float:
        """Largest deviation, without sign [cents]."""
        return max(map(abs, self.deviation_cents))

    @property
    def worst_band(self) -> float:
        """± of the pitch that deviates most [cents]."""
        return max(zip(map(abs, self.deviation_cents), self.band_cents, strict=True))[1]

    @property
    def inside_band(self) -> bool:
        """Whether every deviation lies inside its band: it cannot be told from none."""
        pairs = zip(self.deviation_cents, self.band_cents, strict=True)
        return all(abs(cents) <= band for cents, band in pairs)


@dataclass(frozen=True, slots=True)
class Found:
    """What a search gave: how many distinct sounds answer and may sound (playability.py), and the best of all that answer,
    ranked, those that are not expected to sound behind the others. failed: left out of these, for a player has tried them in
    vain."""

    count: int
    best: tuple[Candidate, ...]
    failed: tuple[Candidate, ...] = ()


def sounds(
    model: Model, fingering: Fingering, lip_mm: float | None = None, slide_mm: float = 0.0
) -> tuple[Resonance, ...]:
    """Every resonance of a fingering up to 2.6 kHz, lowest first; lip by the law, note for note, unless one is given
    [mm]; the head joint drawn out by slide_mm.

    Raises FingeringError when the flute has no such touch."""
    sound, lips = sound_of(model, fingering), None if lip_mm is None else np.array([lip_mm * 1e-3])
    if slide_mm:
        states = model.reach.states[[sound]]
        crossings = model.drawn_out(states, model.flute.slide_mm + slide_mm, lips)
    else:
        crossings = model.resonances(model.bore(np.array([sound])), lips)
    # The n-th resonance stays the n-th while the joint is drawn: its band is that of the joint at rest.
    own = bands_of_modes(model, sound, np.arange(len(crossings.hz)))
    listed = _resonances(model, crossings.hz, strength(crossings, model.curve), own)
    return _with_holding(listed, np.arange(len(crossings.hz)), holding(model.curve.size.likened(crossings)))


def bands_of_modes(model: Model, sound: int, modes: IndexArray, every: Atlas | None = None) -> RealArray:
    """Bands of resonances of one sound by their numbers, 0 for the lowest, shape (n,) [cents]; a number beyond the last has
    the last one's. Lip by the law. every: the atlas of the flute where that is at hand, else the sound's own is made."""
    one, number = (of_one_sound(model, sound), 0) if every is None else (every, sound)
    own = one.by_law(number)
    return bands_of(model, one, own[np.minimum(modes, len(own) - 1)])


def bands_of(
    model: Model, every: Atlas, branches: IndexArray, lips_m: RealArray | None = None, places: RealArray | None = None
) -> RealArray:
    """± of branches, same shape [cents]: one standard deviation, all errors together.

    lips_m: same shape, where several notes share one lip [m]; places: with it, where they are known [cents]. How much of the
    law's growth with pitch is the player's lip and how much would be there with any lip is not known, so half of what the
    one lip moves each note from where the law has it counts as one standard deviation (ours; the published pairs do not
    decide it: SOURCES.md)."""
    squares = every.own_band[branches].astype(float) ** 2 + common_cents(model.instrument) ** 2
    if lips_m is None:
        return np.asarray(np.sqrt(squares))
    by_law = every.law_cents[branches].astype(float)  # none: the branch's end that is nearest to it, hence far off
    moved = (every.places(branches, lips_m)[0] if places is None else places) - by_law
    moved = np.where(np.isnan(moved), WIDEST_CENTS, moved)
    return np.asarray(np.minimum(np.sqrt(squares + 0.25 * moved**2), WIDEST_CENTS))


@dataclass(frozen=True, slots=True)
class Answers:
    """All sounds that answer, unranked: rows of `reach.states`, lips [m], confidence, score, each of shape (n,); cents and
    bands, shape (n, k), deviations and ± of each; branches, shape (n, k), those of the atlas that answer. together: shape (n,),
    how easily they sound at once, NaN where that was not looked at; confidence and score are without it there."""

    rows: IndexArray
    lips: RealArray
    confidence: RealArray
    cents: RealArray
    bands: RealArray
    branches: IndexArray
    score: RealArray
    together: RealArray


def answers(model: Model, targets: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float = 440.0) -> Answers:
    """Every distinct sound within the tolerance of all targets with one lip.

    targets: sounding pitches, any order. Lips lie between the law's values at the lowest and the highest target,
    widened by the player's range."""
    hz = np.array([pitch.hz(a4_hz) for pitch in targets])
    law = model.flute.lip_law_m(hz)
    spare = model.instrument.lip.spare_mm * 1e-3 if len(hz) > 1 else 0.0
    bounds = (float(law.min()) - spare, float(law.max()) + spare)
    if not model.grid[0] <= hz.min() <= hz.max() <= model.grid[-1]:  # nothing sounds there
        hits = nothing(len(hz))
    else:
        hits = matching(atlas(model), hz, tolerance_cents, bounds)
    every, lips = atlas(model), np.broadcast_to(hits.lips[:, None], hits.branches.shape)
    places = every.curves.cents_of(hz) + hits.cents
    bands = bands_of(model, every, hits.branches, lips if len(hz) > 1 else None, places)
    scores = score(hits.strengths, may_be_off(hits.cents, bands), model.effort[model.easiest[hits.sounds]])
    unknown = np.full(len(scores), np.nan)
    return Answers(hits.sounds, hits.lips, hits.strengths, hits.cents, bands, hits.branches, scores, unknown)


def modes(model: Model, found: Answers) -> IndexArray:
    """Number of the resonance that answers each pitch, 0 for the lowest of its sound with that lip: shape (n, k)."""
    every = atlas(model)
    columns = []
    for branch in found.branches.T:
        number, below = ragged(every.starts[found.rows], branch)
        columns.append(np.bincount(number, every.exists(below, found.lips[number]), len(branch)).astype(np.intp))
    return np.stack(columns, axis=1)


def likely_within(cents: Sequence[float], band_cents: Sequence[float], tolerance_cents: float) -> bool:
    """Whether each pitch is more likely than not within the tolerance, its error normal about the deviation with the band as
    standard deviation: so none of a quarter-tone (tolerance 20) that is known to 30 cents only."""
    if max(map(abs, cents), default=0.0) > tolerance_cents:  # less than half lies on the other side of the nearer bound
        return False
    return all(_share_within(*one, tolerance_cents) >= 0.5 for one in zip(cents, band_cents, strict=True))


def _share_within(cents: float, band: float, tolerance: float) -> float:
    """cents: at most the tolerance."""
    if band <= 0.0:
        return 1.0
    above, below = ((end - cents) / (band * math.sqrt(2.0)) for end in (tolerance, -tolerance))
    return 0.5 * (math.erf(above) - math.erf(below))


def may_be_off(cents: RealArray, band_cents: RealArray) -> RealArray:
    """How far an answer may be off, shape (n,) [cents]: the largest of deviation and band together over its pitches, both
    of shape (n, k)."""
    return np.asarray((np.abs(cents) + band_cents).max(axis=1))


def score(confidence: RealArray, off_cents: RealArray, effort: RealArray) -> RealArray:
    """How good an answer is, all of shape (n,): its confidence, less what it may be off (`may_be_off`), less what it costs
    the hand (effort in pressed keys). Weights: ours."""
    return np.asarray(confidence - _OFF_WEIGHT * off_cents - EFFORT_WEIGHT * effort)


def find(
    model: Model,
    targets: tuple[Pitch, ...],
    tolerance_cents: float,
    a4_hz: float = 440.0,
    limit: int = 100,
    *,
    least: float = 0.0,
) -> Found:
    """Every distinct sound that answers, best first, each by its easiest fingering; the best `limit` listed in full, those
    left out that differ from a better one by an idle key. Of several pitches, what one jet sounds more easily at once comes
    before what is as good otherwise, and one note and its harmonics last. What the jets make of them is not told (`with_jets`).
    least: where no answer can have this confidence none is told."""
    model, left_out = giving(model, (targets,), tolerance_cents, a4_hz)
    count, found, best, one_note = _ranked(model, targets, tolerance_cents, a4_hz, limit, least)
    return Found(count + left_out, _candidates(model, found, best, one_note))


def _ranked(
    model: Model, targets: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float, limit: int, least: float = 0.0
) -> tuple[int, Answers, IndexArray, BoolArray]:
    """How many may sound; all that answer; and the best, as `find` tells them: their numbers, and which are one note."""
    found = answers(model, targets, tolerance_cents, a4_hz)
    if not (found.confidence >= least).any():
        return 0, found, np.empty(0, dtype=np.intp), np.empty(0, dtype=bool)
    most = limit if len(targets) == 1 else max(limit, _RERANKED)
    best = told_apart(model, found.rows, found.cents, found.confidence, _order(found, _BEST), most)
    if len(best) < most and len(found.rows) > _BEST:
        best = told_apart(model, found.rows, found.cents, found.confidence, _order(found, len(found.rows)), most)
    one_note = np.zeros(len(best), dtype=bool)
    if len(targets) > 1:
        found, one_note = looked_at(model, found, best, np.array([pitch.hz(a4_hz) for pitch in targets]))
        again = np.lexsort((-found.score[best], one_note, _unlikely(found)[best]))
        best, one_note = best[again], one_note[again]
    return int(np.count_nonzero(~_unlikely(found))), found, best[:limit], one_note[:limit]


def first_of_each(model: Model, sets: Sequence[tuple[Pitch, ...]], tolerance_cents: float, a4_hz: float) -> Arrays:
    """What `find` tells first for each of some sets of as many pitches, to be kept (`told_first`); nothing for those without."""
    every = [_ranked(model, pitches, tolerance_cents, a4_hz, 1) for pitches in sets]
    of = np.array([number for number, (_, _, best, _) in enumerate(every) if len(best)], dtype=np.intp)
    kept = {"set": of, "one_note": np.concatenate([one_note for *_, one_note in every])}
    for name in (one.name for one in fields(Answers)):
        kept[name] = np.concatenate([getattr(found, name)[best] for _, found, best, _ in every])
    return kept


def told_first(model: Model, kept: Arrays, number: int) -> Candidate:
    """One of those kept, by its number among them."""
    found = Answers(*(kept[one.name] for one in fields(Answers)))
    which = np.array([number])
    return _candidates(model, found, which, kept["one_note"][which])[0]


_BEST = 2048  # answers: more are hardly ever needed, and sorting tens of thousands takes long


def _order(found: Answers, count: int) -> IndexArray:
    """Numbers of the answers, best first, those not expected to sound last; of many so many at least of the best."""
    key = np.where(_unlikely(found), 8.0, 0.0) - found.score
    some = np.arange(len(key)) if len(key) <= count else np.flatnonzero(key <= np.partition(key, count)[count])
    return np.asarray(some[np.argsort(key[some], kind="stable")])


def _unlikely(found: Answers) -> BoolArray:
    """Which are not expected to sound, shape (n,)."""
    return np.asarray(found.confidence < DOUBTFUL_CONFIDENCE)


_SAME_RESONANCE = 3e-3  # 5 cents in ln f: atlas and grid place a resonance within far less
_RERANKED = 24  # at least so many are looked at for being one note only, and for how easily they sound at once
_EASY = 0.15  # share of broad jets from which on a pair is easy: C5+D6 of `T 2 3 | Eb`, published, has it. Ours
_UNEASY = 1.0 / 3.0  # of its confidence lost by a set that hardly a broad jet sounds at once. Ours
_NONE = 0.5  # lost where no jet does: at best a doubt, for guides have such chords. Ours


def eased(confidence: RealArray, together: RealArray) -> RealArray:
    """Confidence of sets whose weakest pitch has this one, by how easily they sound at once; any same shape. NaN: not known,
    the confidence stays."""
    lost = _UNEASY * (1.0 - np.minimum(np.nan_to_num(together, nan=_EASY) / _EASY, 1.0))
    return np.asarray(confidence * (1.0 - np.where(together == 0.0, _NONE, lost)))


def looked_at(model: Model, found: Answers, which: IndexArray, targets_hz: RealArray) -> tuple[Answers, BoolArray]:
    """The same with `together` of some entries, and the confidence and the score that these have then (`eased`); and which of
    these are heard as one note and its harmonics."""
    if not len(which):
        return found, np.zeros(0, dtype=bool)
    rows, branches = found.rows[which], found.branches[which]
    asked_hz = targets_hz * 2.0 ** (found.cents[which] / 1200.0)
    number, branch, hz = _resonances_of(model, rows, found.lips[which])
    seen, crossings = model.crossings_at(rows, found.lips[which], number, hz)
    asked = (branch == branches.T[:, number]).any(axis=0)[seen]
    together = found.together.copy()
    together[which] = pairs(model.curve.size.likened(crossings), asked, len(which))
    confidence = eased(found.confidence, together)
    scores = found.score + confidence - found.confidence
    return replace(found, together=together, confidence=confidence, score=scores), _one_notes(
        model, asked_hz, number, hz
    )


def together_of(model: Model, fingering: Fingering, hz: tuple[float, ...]) -> float:
    """How easily resonances of a fingering, each with the lip of the law [Hz], sound at once, 0..1; NaN for a single one."""
    if len(hz) < 2:
        return math.nan
    states = hole_states(model.instrument, fingering)[None, :]
    crossings = model.drawn_out(states, model.flute.slide_mm)
    return float(together_in(model, crossings, np.array([hz]))[0])


def together_in(model: Model, crossings: Crossings, asked_hz: RealArray) -> RealArray:
    """How easily those asked for of each row, shape (n, k) [Hz], sound at once: shape (n,)."""
    asked = (np.abs(np.log(crossings.hz[:, None] / asked_hz[crossings.row])) < _SAME_RESONANCE).any(axis=1)
    return pairs(model.curve.size.likened(crossings), np.asarray(asked), len(asked_hz))


def candidates(model: Model, found: Answers, order: IndexArray) -> tuple[Candidate, ...]:
    """Entries of `found` in the order given, in full but for what the jets make of them (`with_jets`)."""
    asked = found.branches.shape[1]
    one_note = np.zeros(len(order), dtype=bool)
    if asked > 1 and len(order):
        lips, every = found.lips[order], atlas(model)
        number, _, hz = _resonances_of(model, found.rows[order], lips)
        asked_hz = every.hz(every.places(found.branches[order].T, lips)[0]).T
        one_note = _one_notes(model, asked_hz, number, hz)
    return _candidates(model, found, order, one_note)


def _candidates(model: Model, found: Answers, order: IndexArray, one_note: BoolArray) -> tuple[Candidate, ...]:
    rows, one_lip = found.rows[order], found.cents.shape[1] > 1
    easiest = model.easiest[rows]
    parts = (found.cents, found.bands, found.confidence, found.together, found.lips)
    touches = [[option.touch for option in options] for options in model.reach.choices]
    told = zip(
        model.reach.placements[easiest].tolist(), rows.tolist(), model.effort[easiest].tolist(), one_note[: len(rows)].tolist(),
        *(part[order].tolist() for part in parts), strict=True,
    )  # fmt: skip
    return tuple(
        Candidate(
            fingering=Fingering(tuple(own[number] for own, number in zip(touches, hand, strict=True))),
            deviation_cents=tuple(cents),
            band_cents=tuple(bands),
            confidence=confidence,
            together=math.nan if math.isnan(together) else together,  # equal answers are equal: one NaN for all
            one_note=one,
            lip_mm=lip * 1e3,
            effort=effort,
            heard=_Heard(model, row, lip, one_lip),
        )
        for hand, row, effort, one, cents, bands, confidence, together, lip in told
    )


@dataclass(frozen=True, slots=True)
class _Heard:
    """What a row of `reach.states` sounds with one lip [m], computed when it is looked at. one_lip: for several notes, so that
    bands tell of it; jets: with what the jets make of each resonance."""

    model: Model
    row: int
    lip_m: float
    one_lip: bool
    jets: bool = False

    def __call__(self) -> tuple[Resonance, ...]:
        return _heard(self)


@lru_cache(maxsize=4096)
def _heard(of: _Heard) -> tuple[Resonance, ...]:
    model, every, row = of.model, atlas(of.model), np.array([of.row])
    number, branch, hz = _resonances_of(model, row, np.array([of.lip_m]))
    lips = np.full(len(branch), of.lip_m)
    bands = bands_of(model, every, branch, lips if of.one_lip else None)
    listed = _resonances(model, hz, every.strengths(branch, lips), bands)
    if not of.jets:
        return listed
    seen, crossings = model.crossings_at(row, lips[:1], number, hz)
    return _with_holding(listed, seen, holding(model.curve.size.likened(crossings)))


def _one_notes(model: Model, asked_hz: RealArray, number: IndexArray, hz: RealArray) -> BoolArray:
    """Which rows of pitches, shape (n, k), are heard as one note and its harmonics (`heard_as_one`). number, hz: row and
    frequency of every resonance of theirs."""
    harmonic = heard_as_one(asked_hz[number], hz) & (hz <= highest_hz(model.instrument))
    return np.asarray(np.bincount(number, harmonic, len(asked_hz)) > 0.0)


def _resonances_of(model: Model, rows: IndexArray, lips: RealArray) -> tuple[IndexArray, IndexArray, RealArray]:
    """(number in rows, branch, frequency [Hz]) of all resonances of rows of `reach.states`, each with its lip [m]."""
    every, parts = atlas(model), []
    for start in range(0, max(len(rows), 1), _FAR_APART):
        let_go()
        some = slice(start, start + _FAR_APART)
        number, branch = every.all_of(rows[some])
        line, lip = every.shelf.line[branch], lips[some][number]
        there = np.flatnonzero(every.curves.exists(line, lip))
        place, _ = every.curves.places(line[there], lip[there])
        parts.append((number[there] + start, branch[there], every.hz(place)))
    number, branch, hz = (np.concatenate(part) for part in zip(*parts, strict=True))
    return number, branch, hz


_FAR_APART = 32  # sounds: each is looked at in places of its own of a file, which may be large


def with_jets(model: Model, one: Candidate, targets_hz: tuple[float, ...]) -> Candidate:
    """A candidate with what the jets make of each resonance, and how easily those asked for [Hz] sound at once where that is not
    known yet."""
    if isinstance(one.heard, _Heard):
        one = replace(one, heard=replace(one.heard, jets=True))
    if len(targets_hz) < 2 or not math.isnan(one.together):
        return one
    hz = np.array([targets_hz]) * 2.0 ** (np.array([one.deviation_cents]) / 1200.0)
    row = np.array([sound_of(model, one.fingering)])
    crossings = model.resonances(model.bore(row), np.array([one.lip_mm * 1e-3]))
    return replace(one, together=float(together_in(model, crossings, hz)[0]))


# Ours: a chord asked for by the names of harmonics, each within 30 cents, and the 14 cents between a tempered third and that of
# the fifth harmonic: so none of a plain fingering passes for two tones (a test, in-sample).
LOCKED_CENTS = 75.0
_FUNDAMENTAL_CENTS = 100.0  # how far the passive resonance may lie from the fundamental they have in common: ours
_HIGHEST_MULTIPLE = 10  # of the fundamental, E7 on C4. Above, every pitch is near some multiple


def heard_as_one(hz: RealArray, resonance: RealArray) -> BoolArray:
    """Whether frequencies, shape (n, k), are heard as one note and its harmonics: within LOCKED_CENTS of ratios of whole
    numbers up to 10, and a resonance of the fingering, shape (n,), near the fundamental that they have in common. So an octave,
    a twelfth, and a fifth or fourth between harmonics of one plain note; no fifth on a tube without that fundamental."""
    multiple = np.maximum(np.round(hz.T / resonance), 1.0)
    cents = 1200.0 * np.log2(hz.T / multiple)
    apart = cents.max(axis=0) - cents.min(axis=0)
    off = np.abs(cents.mean(axis=0) - 1200.0 * np.log2(resonance))
    highest = multiple.max(axis=0)
    return np.asarray(
        (highest <= _HIGHEST_MULTIPLE)
        & (highest > multiple.min(axis=0))
        & (apart <= LOCKED_CENTS)
        & (off <= _FUNDAMENTAL_CENTS)
    )


def fundamental_of(hz: tuple[float, ...], sounds: tuple[Resonance, ...]) -> float | None:
    """The resonance [Hz] as whose harmonics these of the same fingering are heard (`heard_as_one`), None for none."""
    return common_fundamental(hz, np.array([one.hz for one in sounds]))


def common_fundamental(hz: Sequence[float], every: RealArray) -> float | None:
    """The same among the fingering's resonances, shape (n,) [Hz]."""
    if len(hz) < 2:
        return None
    harmonic = heard_as_one(np.broadcast_to(np.array(hz), (len(every), len(hz))), every)
    return float(every[harmonic][0]) if harmonic.any() else None


def _resonances(model: Model, hz: RealArray, strengths: RealArray, bands_cents: RealArray) -> tuple[Resonance, ...]:
    told = zip(hz.tolist(), strengths.tolist(), bands_cents.tolist(), strict=True)
    highest = highest_hz(model.instrument)
    return tuple(Resonance(*one) for one in told if one[0] <= highest)


def _with_holding(listed: tuple[Resonance, ...], which: IndexArray, held: Holding) -> tuple[Resonance, ...]:
    """Resonances with what the jets make of those numbered `which`."""
    told = zip(held.share.tolist(), held.speed_low.tolist(), held.speed_high.tolist(), strict=True)
    known = dict(zip(which.tolist(), told, strict=True))
    return tuple(
        replace(one, holds=known[at][0], speed_m_s=known[at][1:]) if at in known else one
        for at, one in enumerate(listed)
    )
