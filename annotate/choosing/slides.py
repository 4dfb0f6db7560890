"""Deciding glissandi: what slide, fingers and lip can do without a jump, and what a run of semitones offers instead."""

import math
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from annotate.choosing.desk import Desk, decided, ranked, shown, status_of, transposition
from annotate.choosing.single import compass
from annotate.decision import Alternative, Decision, Instead, PathPoint, Sound, Status
from annotate.decisions.kept import NO_RULING, Ruling
from annotate.demand import Demand
from annotate.findings import Finding
from fingering_db.at_once import EASY
from fingering_db.chart import chart
from fingering_db.fingering import Fingering
from fingering_db.glide import HALF_HOLE, KEY_LIFT, SLIDE, Glide, of_chords
from fingering_db.glide_by_fingers import finger_glides
from fingering_db.glide_by_slide import slide_glides
from fingering_db.instrument import SLIDE_SUFFIX, load, shipped
from fingering_db.message import Message
from fingering_db.model import Model, model
from fingering_db.pitch import Pitch
from fingering_db.playability import DOUBTFUL_CONFIDENCE, PLAYABLE_CONFIDENCE
from fingering_db.ranking import sounds
from fingering_db.touches import FINGERS

_FOOT = FINGERS.index("R4")


def where_it_breaks(desk: Desk, start: tuple[Pitch, ...], end: tuple[Pitch, ...]) -> Message | None:
    """One sentence for single notes of the standard chart; None for others."""
    if len(start) != 1 or len(end) != 1:
        return None
    first, last = _standard(desk, start[0]), _standard(desk, end[0])
    if first is None or last is None:
        return None
    moving = [one for one, *touches in zip(FINGERS, first.touches, last.touches, strict=True) if len(set(touches)) > 1]
    if FINGERS[_FOOT] in moving:
        return Message("glide.breaks_at_the_foot", before=_touch(first), after=_touch(last))
    fingers = tuple(Message(f"finger.{one}") for one in moving)
    return Message("glide.breaks_at", fingers=fingers) if fingers else Message("glide.breaks_between_registers")


def _standard(desk: Desk, pitch: Pitch) -> Fingering | None:
    """The chart's fingering for a sounding pitch to the nearest semitone."""
    instrument = desk.model.instrument
    written = round(pitch.midi) - instrument.transposition_semitones
    return next((note.fingering for note in chart(instrument.chart) if note.pitch.midi == written), None)


def _touch(fingering: Fingering) -> str | Message:
    return fingering.touches[_FOOT] or Message("glide.no_foot_key")


LIP = "lip"
_WIDEST_QUARTERS = 15  # quarters of a semitone: beyond every slide of the shipped travel
_REACH_CENTS = 15.0
JUMP_CENTS = 35.0
"""A step on the way beyond this is a jump: ours, between a third of a semitone and a quarter-tone."""
STEP_SHARE = 0.8
"""Of the way of a glissando: a jump beyond it is a step between two notes. Ours."""
FASTEST_SLIDE_MM_S = 150.0  # a hand draws a joint evenly up to about this speed: ours


def decide_glissando(
    demand: Demand, desk: Desk, ruling: Ruling = NO_RULING, begin_mm: float | None = None
) -> tuple[Decision, tuple[Finding, ...]]:
    """As the player decided where a way on that fingering is found, else the best. begin_mm: where the head joint is when it
    begins, None for wherever is best."""
    decision = _decided(demand, desk, ruling, begin_mm)
    if ruling.fix is None:
        return decision, ()
    if decision.fingering == ruling.fix:
        return replace(decision, why=Message("decisions.fixed") + decision.why, ruled=True), ()
    message = Message("decisions.no_way_on", fingering=str(ruling.fix))
    finding = Finding.of("R304", demand.place, demand.id, message=message)
    return _decided(demand, desk, replace(ruling, fix=None), begin_mm), (finding,)


def _decided(demand: Demand, desk: Desk, ruling: Ruling, begin_mm: float | None = None) -> Decision:
    """Lip, slide and fingers, then (where the notation leaves it open) a run of semitones."""
    if demand.continuous is False:
        return _run(demand, desk)
    if len(demand.sounding) != len(demand.to_sounding) or not demand.to_sounding:
        why = Message("glide.unequal", start=len(demand.sounding), end=len(demand.to_sounding))
        return Decision(demand, desk.name, Status.UNPLAYABLE, why)
    means = demand.instruction.means if demand.instruction else ""
    found = _by_lip(demand, desk, ruling) if means in ("", LIP) and begin_mm is None else None
    if found is not None:
        return found
    if means == LIP and (rolled := _rolled_in(demand, desk, ruling)) is not None:
        return rolled
    every = ways(desk, demand.sounding, demand.to_sounding, desk.tolerance(demand), means, begin_mm)
    glides = tuple(glide for glide in every if ruling.allows(glide.path[0].fingering))
    in_vain = [] if ruling.fix else [glide for glide in glides if failed_before(desk, glide, demand)]
    glides = tuple(glide for glide in glides if glide not in in_vain)
    seconds = max(demand.seconds_end - demand.place.seconds, 0.0)
    rated = [(glide_status(glide, desk.tolerance(demand), seconds), glide) for glide in glides]
    usable = [pair for pair in rated if pair[0] != Status.UNPLAYABLE]
    if not usable:
        found = _not_as_written(demand, desk, ruling) if means else _not_continuous(demand, desk)
        return replace(found, why=found.why + _left_out(in_vain))

    def place(pair: tuple[Status, Glide]) -> tuple[bool, int, bool, int]:
        glide = pair[1]
        return is_a_jump(glide), pair[0].rank, glide.one_note, ruling.liking(glide.path[0].fingering)

    status, best = min(usable, key=place)
    why = glide_reason(best, status, desk.tolerance(demand), seconds, desk.a4_hz, transposition(demand))
    why += _not_on_the_best(demand, desk, glides)
    why += _left_out(in_vain)
    others = tuple(
        Alternative(glide.path[0].fingering, glide.start_cents, glide.start_bands, glide.confidence)
        for other, glide in usable
        if (other, is_a_jump(glide)) == (status, is_a_jump(best)) and glide.path[0].fingering != best.path[0].fingering
    )
    return Decision(
        demand=demand,
        flute=desk.name,
        status=status,
        why=why,
        fingering=best.path[0].fingering,
        deviation_cents=best.start_cents + best.end_cents,
        band_cents=best.band_cents,
        confidence=best.confidence,
        together=best.together,
        one_note=best.one_note,
        sounds=path_sounds(best, desk.a4_hz)[0],
        alternatives=others[:3],
        instead=_without_a_jump(demand, desk) if is_a_step(best) else (),
        path=path_points(best, desk.a4_hz),
        jump_cents=best.jump_cents,
    )


def failed_before(desk: Desk, glide: Glide, demand: Demand) -> bool:
    """Whether the player tried the fingering of one end in vain for what is asked there."""
    ends = (glide.path[0], demand.sounding), (glide.path[-1], demand.to_sounding)
    tried = (desk.experience.of(point.fingering, pitches, desk.model.instrument) for point, pitches in ends)
    return any(one is not None and one.fails for one in tried)


def _left_out(in_vain: list[Glide]) -> Message | None:
    """What is not proposed because the player tried it in vain, None for nothing."""
    named = dict.fromkeys(str(glide.path[0].fingering) for glide in in_vain)
    return Message("log.left_out", fingerings=tuple(named)) if named else None


def _not_as_written(demand: Demand, desk: Desk, ruling: Ruling) -> Decision:
    """Not by the means that the composer writes: by which others it could be done is told, and not put in its place."""
    told = demand.instruction
    assert told is not None
    other = _decided(replace(demand, instruction=None), desk, ruling)
    why = Message("glide.not_as_written", word=told.word)
    if other.status == Status.UNPLAYABLE:
        return replace(other, demand=demand, why=why + other.why)
    if not other.path:
        return Decision(demand, desk.name, Status.UNPLAYABLE, why + other.why, instead=other.instead)
    by = Instead(demand.pitches, other.fingering, Message("glide.by_other_means", how=other.why), demand.to)
    return Decision(demand, desk.name, Status.UNPLAYABLE, why, instead=(by,))


def _not_on_the_best(demand: Demand, desk: Desk, glides: tuple[Glide, ...]) -> Message | None:
    """For a multiphonic: that the best fingering for its first chord is not one that glides; None where it is."""
    if len(demand.sounding) == 1:
        return None
    tolerance = desk.tolerance(demand)
    chords = [one for one in desk.find(demand.sounding, tolerance).best if status_of(one, tolerance) == Status.PLAYABLE]
    hands = {glide.path[0].fingering.touches[:-1] for glide in glides}
    if not chords or chords[0].fingering.touches[:-1] in hands:
        return None
    return Message("glide.best_chord_does_not_glide", fingering=str(chords[0].fingering))


def ways(
    desk: Desk,
    start: tuple[Pitch, ...],
    end: tuple[Pitch, ...],
    tolerance_cents: float,
    means: str = "",
    begin_mm: float | None = None,
) -> tuple[Glide, ...]:
    """Glides between sounding pitches, those that jump on their way after all others, the playable ones first, of these those
    that move one finger; of those that differ by the little finger only, one. means: the only one that is wanted, '' for any.
    begin_mm: where the head joint must be at the beginning, None for anywhere."""
    found: tuple[Glide, ...] = ()
    for tolerance in (tolerance_cents, 2.0 * tolerance_cents):
        if begin_mm is None:
            every = _ways(desk.model, start, end, tolerance, desk.a4_hz)
        else:
            every = _by_slide(desk.model, start, end, tolerance, desk.a4_hz, begin_mm)
        found += tuple(_in_tune(glide, desk, tolerance_cents) for glide in every if means in ("", glide.means))
        good = (glide for glide in found if glide.means != KEY_LIFT and not glide.one_note)
        if any(glide.confidence >= PLAYABLE_CONFIDENCE and len(glide.moving) <= 1 for glide in good):
            break
    one_each: dict[object, Glide] = {}
    for glide in found:
        first, last = glide.path[0], glide.path[-1]
        hands = first.fingering.touches[:-1], last.fingering.touches[:-1], glide.moving
        one_each.setdefault((glide.means, hands, round(first.slide_mm), round(last.slide_mm)), glide)

    def place(glide: Glide) -> tuple[bool, int, bool, bool]:
        return is_a_jump(glide), glide_status(glide, tolerance_cents).rank, glide.one_note, len(glide.moving) > 1

    return tuple(sorted(one_each.values(), key=place))


def _in_tune(glide: Glide, desk: Desk, tolerance_cents: float) -> Glide:
    """A glide of one note that is too narrow or off at one end, with the lip making up for it where that is enough."""
    if glide.means == KEY_LIFT or glide.worst_cents <= tolerance_cents:
        return glide
    centred = glide.centred(desk.model.instrument.lip.bend_cents)
    return centred if centred.worst_cents <= tolerance_cents else glide


def is_a_jump(glide: Glide) -> bool:
    """Whether a key that leaves its seat makes a step that is heard as one: no glissando, whatever lies around it."""
    return glide.jump_cents > JUMP_CENTS


def is_a_step(glide: Glide) -> bool:
    """Whether a key that leaves its seat makes nearly the whole way at once."""
    return glide.jump_cents > STEP_SHARE * max(map(abs, glide.moved_cents))


@lru_cache(maxsize=256)
def _ways(
    model: Model, start: tuple[Pitch, ...], end: tuple[Pitch, ...], tolerance_cents: float, a4_hz: float
) -> tuple[Glide, ...]:
    by_slide = _by_slide(model, start, end, tolerance_cents, a4_hz)
    by_fingers = finger_glides(model, start, end, tolerance_cents, a4_hz)
    return by_slide + tuple(of_chords(model, glide) for glide in by_fingers)


@lru_cache(maxsize=1024)
def _by_slide(
    model: Model,
    start: tuple[Pitch, ...],
    end: tuple[Pitch, ...],
    tolerance_cents: float,
    a4_hz: float,
    begin_mm: float | None = None,
) -> tuple[Glide, ...]:
    found = slide_glides(model, start, end, tolerance_cents, a4_hz, begin_mm)
    return tuple(of_chords(model, glide) for glide in found)


def glide_status(glide: Glide, tolerance_cents: float, seconds: float = 0.0) -> Status:
    """playable: both ends within the tolerance, no jump, sure enough all the way, slow enough for a hand."""
    if glide.confidence < DOUBTFUL_CONFIDENCE:
        return Status.UNPLAYABLE
    even = (
        glide.means != KEY_LIFT
        and not glide.one_note
        and glide.worst_cents <= tolerance_cents
        and _speed(glide, seconds) <= FASTEST_SLIDE_MM_S
    )
    return Status.PLAYABLE if even and glide.confidence >= PLAYABLE_CONFIDENCE else Status.DOUBTFUL


def _speed(glide: Glide, seconds: float) -> float:
    """How fast the slide moves [mm/s]; 0 where the score tells no time."""
    return abs(glide.path[-1].slide_mm - glide.path[0].slide_mm) / seconds if seconds > 0.0 else 0.0


def glide_reason(
    glide: Glide, status: Status, tolerance_cents: float, seconds: float, a4_hz: float, semitones: float = 0.0
) -> Message:
    """How it is done, with figures, and what makes it doubtful. semitones: that its notes are told below where they sound."""
    first, last = glide.path[0], glide.path[-1]
    moved = tuple(
        Message("glide.moved", pitch=Pitch.from_hz(sound.hz, a4_hz).transposed(-semitones), cents=cents)
        for sound, cents in zip(first.sounds, glide.moved_cents, strict=False)
    )
    how = {
        SLIDE: Message("glide.by_slide", start=first.slide_mm, end=last.slide_mm, fingering=str(first.fingering)),
        HALF_HOLE: Message(
            "glide.by_half_hole", keys=glide.moving, first=str(first.fingering), last=str(last.fingering)
        ),
        KEY_LIFT: Message("glide.by_key", keys=glide.moving, first=str(first.fingering), last=str(last.fingering)),
    }[glide.means]
    text = Message("glide.figures", how=how, moved=moved, worst=glide.worst_cents, tolerance=tolerance_cents)
    if glide.means == KEY_LIFT:
        text += Message("glide.jumps", cents=glide.jump_cents)
        text += Message("glide.a_step") if is_a_step(glide) else None
    speed = _speed(glide, seconds)
    if glide.means == SLIDE and seconds > 0.0:
        text += Message("glide.speed", speed=speed)
    if glide.lip_cents:
        text += Message("glide.lip_helps", cents=glide.lip_cents)
    if status == Status.DOUBTFUL and glide.confidence < PLAYABLE_CONFIDENCE:
        text += Message("glide.weakest", confidence=glide.confidence)
    if glide.one_note:
        return text + Message("glide.one_note")
    if glide.together < EASY:
        text += (
            Message("glide.few_at_once", percent=100.0 * glide.together)
            if glide.together
            else Message("glide.none_at_once")
        )
    return text


def path_points(glide: Glide, a4_hz: float) -> tuple[PathPoint, ...]:
    """The path as it stands in the report; lip in cents of the lowest component, from the start of the glide."""
    sounds = path_sounds(glide, a4_hz)
    return tuple(
        PathPoint(point.t, point.slide_mm, point.open, glide.lip_cents, point.fingering, sounds[number])
        for number, point in enumerate(glide.path)
    )


def path_sounds(glide: Glide, a4_hz: float) -> list[tuple[Sound, ...]]:
    return [_bent(shown(point.sounds, a4_hz), glide.lip_cents, a4_hz) for point in glide.path]


def _asked_cents(demand: Demand) -> float:
    pairs = zip(demand.sounding, demand.to_sounding, strict=True)
    return max(abs(to.midi - start.midi) * 100.0 for start, to in pairs)


def _by_lip(demand: Demand, desk: Desk, ruling: Ruling) -> Decision | None:
    """Both ends within the lip's bend of one fingering half-way."""
    bend = desk.model.instrument.lip.bend_cents
    asked = _asked_cents(demand)
    if asked > 2.0 * bend:
        return None
    middle = tuple(
        Pitch.from_midi((start.midi + to.midi) / 2.0)
        for start, to in zip(demand.sounding, demand.to_sounding, strict=True)
    )
    tolerance = desk.tolerance(demand)
    every = (one for one in desk.find(middle, tolerance).best if ruling.allows(one.fingering))
    best = next((one for one in every if status_of(one, tolerance) == Status.PLAYABLE), None)
    if best is None:
        return None
    best = desk.with_jets(best, middle)
    sounds = shown(best.sounds, desk.a4_hz)
    asked_for = tuple(min(sounds, key=lambda one: abs(one.pitch.midi - pitch.midi)) for pitch in middle)
    up = 1.0 if demand.to_sounding[0].midi > demand.sounding[0].midi else -1.0
    ends = ((0.0, -up * asked / 2.0), (1.0, up * asked / 2.0))
    why = Message("glide.lip_alone", asked=asked, bend=bend, fingering=str(best.fingering))
    out_mm = desk.model.flute.slide_mm
    path = tuple(PathPoint(t, out_mm, (), lip, best.fingering, _bent(asked_for, lip, desk.a4_hz)) for t, lip in ends)
    return replace(decided(demand, desk, Status.PLAYABLE, why, best), path=path)


_ROLLED_IN_CENTS, _ROLLED_IN_MM = 110.0, 40
"""Down to a semitone, where so much more of lip length does it by the model and the tone holds: on short tubes, A4 to C#5,
C6. That players roll the flute in so far is from memory of published guides to such techniques; we know of no measurement."""


def _rolled_in(demand: Demand, desk: Desk, ruling: Ruling) -> Decision | None:
    """A fall by rolling the flute in, where the lip alone is written and a semitone asked: doubtful. None for others, and where
    the player will not have the standard fingering."""
    asked, (start, *more), (end, *_) = _asked_cents(demand), demand.sounding, demand.to_sounding
    standard = _standard(desk, start)
    if more or standard is None or end.midi > start.midi or asked > _ROLLED_IN_CENTS or not ruling.allows(standard):
        return None
    tried = desk.experience.of(standard, demand.sounding, desk.model.instrument)
    if tried is not None and tried.fails and ruling.fix is None:
        return None
    law_mm = float(desk.model.flute.lip_law_m(np.array(start.hz(desk.a4_hz)))) * 1e3
    every = (one for mm in range(_ROLLED_IN_MM) for one in sounds(desk.model, standard, law_mm + mm))
    there = [one.strength for one in every if abs(1200.0 * math.log2(one.hz / end.hz(desk.a4_hz))) < _REACH_CENTS]
    if max(there, default=0.0) < PLAYABLE_CONFIDENCE:
        return None
    why = Message("glide.rolled_in", asked=asked, bend=desk.model.instrument.lip.bend_cents, fingering=str(standard))
    heard = shown(sounds(desk.model, standard), desk.a4_hz)
    tone = (min(heard, key=lambda one: abs(one.pitch.midi - start.midi)),)
    path = tuple(PathPoint(t, 0.0, (), -t * asked, standard, _bent(tone, -t * asked, desk.a4_hz)) for t in (0.0, 1.0))
    told: dict[str, Any] = {"fingering": standard, "sounds": tone, "path": path, "confidence": max(there)}
    return Decision(demand, desk.name, Status.DOUBTFUL, why, **told)


def _bent(sounds: tuple[Sound, ...], cents: float, a4_hz: float) -> tuple[Sound, ...]:
    """The same sounds moved by the lip."""
    if not cents:
        return sounds
    moved = [(one, one.hz * 2.0 ** (cents / 1200.0)) for one in sounds]
    return tuple(replace(one, hz=hz, pitch=Pitch.from_hz(hz, a4_hz)) for one, hz in moved)


def _not_continuous(demand: Demand, desk: Desk) -> Decision:
    why = Message(
        "glide.not_continuous", asked=_asked_cents(demand), reason=no_way(desk, demand.sounding, demand.to_sounding)
    )
    open_to_a_run = len(demand.sounding) == 1 and _inside_compass(demand, desk) and demand.continuous is None
    if open_to_a_run:
        why += Message("glide.run_possible")
    status = Status.DOUBTFUL if open_to_a_run else Status.UNPLAYABLE
    return Decision(demand, desk.name, status, why, instead=_without_a_jump(demand, desk))


def _without_a_jump(demand: Demand, desk: Desk) -> tuple[Instead, ...]:
    """What could be played in the place of a glissando that no fingers give."""
    run = Instead(demand.pitches, None, Message("glide.run_instead"), demand.to)
    runs = (run,) if len(demand.sounding) == 1 and _inside_compass(demand, desk) else ()
    return (*runs, *_telescoping(demand, desk), *_one_after_the_other(demand, desk))


def _one_after_the_other(demand: Demand, desk: Desk) -> tuple[Instead, ...]:
    """Two multiphonics without the glide between them, where both can be played; () for single notes."""
    if len(demand.sounding) < 2:
        return ()
    tolerance = desk.tolerance(demand)
    best = [ranked(desk.find(chord, tolerance), tolerance)[:1] for chord in (demand.sounding, demand.to_sounding)]
    if not all(one and status_of(one[0], tolerance) == Status.PLAYABLE for one in best):
        return ()
    (first,), (last,) = best
    why = Message("glide.one_after_the_other", fingering=str(last.fingering))
    return (Instead(demand.pitches, first.fingering, why, demand.to),)


def _telescoping(demand: Demand, desk: Desk) -> tuple[Instead, ...]:
    """What the same flute with a telescoping head joint could do; () where it has one or could not either."""
    instrument = desk.model.instrument
    if instrument.slide is not None or instrument.name not in shipped():
        return ()
    drawn = model(load(f"{instrument.name}{SLIDE_SUFFIX}"))
    found = _by_slide(drawn, demand.sounding, demand.to_sounding, desk.tolerance(demand), desk.a4_hz)
    fitting = [glide for glide in found if glide_status(glide, desk.tolerance(demand)) == Status.PLAYABLE][:1]
    return tuple(
        Instead(
            demand.pitches,
            glide.path[0].fingering,
            Message("glide.on_slide", flute=drawn.instrument.name),
            demand.to,
        )
        for glide in fitting
    )


def no_way(desk: Desk, start: tuple[Pitch, ...], end: tuple[Pitch, ...]) -> Message:
    """Why no glide was found, with figures: what lip, slide and fingers give here, and where the keys break."""
    instrument = desk.model.instrument
    given = [Message("glide.lip_gives", cents=2 * instrument.lip.bend_cents)]
    if instrument.slide is not None:
        reach = _slide_reach(desk, start)
        given.append(Message("glide.slide_gives", cents=reach) if reach else Message("glide.slide_gives_nothing"))
    given.append(Message("glide.no_fingers"))
    return Message("glide.no_way", given=tuple(given)) + where_it_breaks(desk, start, end)


def _slide_reach(desk: Desk, start: tuple[Pitch, ...]) -> float:
    """How far the slide can lower these pitches together [cents], on the fingering where it moves them most; 0 for none."""
    possible, too_far = 0, _WIDEST_QUARTERS + 1
    while too_far - possible > 1:
        middle = (possible + too_far) // 2
        end = tuple(Pitch.from_midi(pitch.midi - 0.25 * middle) for pitch in start)
        if _by_slide(desk.model, start, end, _REACH_CENTS, desk.a4_hz):
            possible = middle
        else:
            too_far = middle
    return 25.0 * possible


def _run(demand: Demand, desk: Desk) -> Decision:
    if len(demand.sounding) == 1 and _inside_compass(demand, desk):
        why = Message("glide.run")
        return Decision(demand, desk.name, Status.PLAYABLE, why, confidence=1.0)
    why = Message("glide.run_impossible")
    return Decision(demand, desk.name, Status.UNPLAYABLE, why)


def _inside_compass(demand: Demand, desk: Desk) -> bool:
    low, high = compass(desk)
    return all(low.midi <= pitch.midi <= high.midi for pitch in (*demand.sounding, *demand.to_sounding))
