"""Found fingerings in the light of what players tried: what worked comes first, what failed is left out, and said."""

import math
from dataclasses import replace

import numpy as np

from fingering_db.fingering import Fingering
from fingering_db.hand import effort_of
from fingering_db.mechanism import hole_states
from fingering_db.model import Model
from fingering_db.pitch import Pitch
from fingering_db.ranking import Candidate, Found, fundamental_of, sounds
from fingering_db.trials import Experience, Tried, key

_ANOTHER_CENTS = 100.0  # a resonance farther off than this is not what the model means by the pitch: ours


def experienced(model: Model, found: Found, targets: tuple[Pitch, ...], a4_hz: float, experience: Experience) -> Found:
    """What was found, each confidence after the trials (`trials.py`), best first, what worked for this player on this flute
    before all else, whether the model had found it or not; what failed there is in `failed` instead. Unchanged where nothing was
    tried.

    targets: sounding pitches, in the order in which the candidates' deviations are."""
    about = experience.about(targets, model.instrument)
    if not about:
        return found
    best, seen = [], set()
    for one in found.best:
        place = key(hole_states(model.instrument, one.fingering))
        seen.add(place)
        best.append(_after(one, about[place][1]) if place in about else one)
    missing = [(fingering, tried) for place, (fingering, tried) in about.items() if place not in seen and tried.works]
    best += [_after(as_tried(model, fingering, targets, a4_hz), tried) for fingering, tried in missing]
    works = [one for one in best if one.tried and one.tried.works]
    untried = [one for one in best if not one.tried]
    for one in best:
        if one.tried and not one.tried.works and not one.tried.fails:
            untried.insert(next((at for at, other in enumerate(untried) if _worse(other, one)), len(untried)), one)
    failed = tuple(one for one in best if one.tried and one.tried.fails)
    return replace(found, best=(*sorted(works, key=lambda one: one.worth, reverse=True), *untried), failed=failed)


def _worse(one: Candidate, other: Candidate) -> bool:
    return (one.one_note, -one.worth) > (other.one_note, -other.worth)


def _after(one: Candidate, tried: Tried) -> Candidate:
    return replace(one, tried=tried, by_model=one.confidence, confidence=tried.confidence(one.confidence))


def as_tried(model: Model, fingering: Fingering, targets: tuple[Pitch, ...], a4_hz: float) -> Candidate:
    """A fingering that a player had these pitches from, with the model's resonances nearest to them, however far off; the lip
    half-way between what the law has for them."""
    asked = [pitch.hz(a4_hz) for pitch in targets]
    lip_mm = float(model.flute.lip_law_m(np.array(asked)).mean()) * 1e3
    resonances = sounds(model, fingering, lip_mm)
    near = [resonances[int(np.argmin([abs(math.log(one.hz / hz)) for one in resonances]))] for hz in asked]
    off = tuple(1200.0 * math.log2(one.hz / hz) for one, hz in zip(near, asked, strict=True))
    hz = tuple(one.hz for one in near)
    there = len(set(hz)) == len(hz) and max(map(abs, off)) <= _ANOTHER_CENTS
    return Candidate(
        fingering=fingering,
        deviation_cents=off,
        band_cents=tuple(one.band_cents for one in near),
        confidence=min(one.strength for one in near) if there else 0.0,
        together=math.nan,
        one_note=there and len(hz) > 1 and fundamental_of(hz, resonances) is not None,
        lip_mm=lip_mm,
        effort=effort_of(fingering),
        heard=lambda: resonances,
    )
