"""To and fro between two sounds of one flute: tremolos and trills with a multiphonic or a microtone, and timbral trills.

What is read: a tremolo from one note or chord to the next (`<tremolo type="start">`, `"stop"`); a trill whose other sound
stands in parentheses behind it, or whose upper note has a microtonal accidental; a trill with a fingering written at it; a
word for two fingerings of one sound ("bisb."), or a tremolo that leads to its own pitch. Trills and tremolos of ordinary
notes ask for no fingering.
"""

from collections.abc import Container
from dataclasses import dataclass, replace

from annotate.demand import Demand, Kind, NotJudged
from annotate.detecting.microtone import is_microtone
from annotate.detecting.multiphonic import opening
from annotate.detecting.scene import Scene, demand
from annotate.detecting.sonority import Link, Sonority, ornament
from annotate.detecting.words import MULTIPHONIC, TIMBRAL
from annotate.reading.accidentals import ACCIDENTALS
from annotate.score import Note
from fingering_db.message import Message
from fingering_db.pitch import Pitch

_STEPS = "CDEFGAB"


@dataclass(frozen=True, slots=True)
class Tremolos:
    """Demands of this technique, the byte offsets of the notes that they use, and trills whose other sound is not told."""

    demands: tuple[Demand, ...]
    used: frozenset[int]
    not_judged: tuple[NotJudged, ...]


def find_tremolos(scene: Scene, taken: Container[int]) -> Tremolos:
    """One demand for each. taken: byte offsets of notes of other demands."""
    found: list[Demand] = []
    used: set[int] = set()
    not_judged: list[NotJudged] = []
    for index, sonority in enumerate(scene.sonorities):
        if any(note.start in taken or note.start in used for note in sonority.all_notes):
            continue
        other = scene.alternations.get(index)
        one = _timbral(scene, sonority) or (other and _pair(scene, sonority, other)) or _trill(scene, sonority)
        if one:
            found.append(one)
            used.update(note.start for event in one.events for note in event.notes)
            used.update(note.start for note in (other.all_notes if other and one.to else ()))
        elif _is_multiphonic(scene, sonority) and (what := _not_told(sonority)):
            not_judged.append(NotJudged(scene.part.place(sonority.first), Message(f"technique.{what}")))
    return Tremolos(tuple(found), frozenset(used), tuple(not_judged))


def _not_told(sonority: Sonority) -> str:
    """The ornament of a multiphonic that leads to no other sound: 'trill', 'repeated' for strokes on one note; '' for none."""
    tremolo = ornament(sonority, "tremolo")
    if tremolo and tremolo.role == "single":
        return "repeated"
    return "trill" if ornament(sonority, "trill") else ""


def _is_multiphonic(scene: Scene, sonority: Sonority) -> bool:
    verdict = scene.verdict_of(sonority)
    return verdict is not None and verdict.outcome == MULTIPHONIC


def _one_player(scene: Scene, sonority: Sonority) -> bool:
    """A chord of one flute, or a single note without others left open."""
    return _is_multiphonic(scene, sonority) if sonority.is_chord else opening(scene, sonority) is None


def _pair(scene: Scene, first: Sonority, second: Sonority) -> Demand | None:
    """To and fro between two sonorities, where one of them is a multiphonic or a microtone, or both are one pitch."""
    if not (_one_player(scene, first) and _one_player(scene, second)):
        return None
    asks = any(each.is_chord or is_microtone(each.notes[0]) for each in (first, second))
    same = [p.midi for p in first.sounding] == [p.midi for p in second.sounding]
    if not asks and not same:
        return None
    # What stands in parentheses after a trill carries no mark of its own.
    beside = second.first.cue or second.first.grace
    links = (Link(first, first.notes),) if beside else (Link(first, first.notes), Link(second, second.notes))
    word = scene.multiphonic_word(first) or scene.multiphonic_word(second)
    tremolo = ornament(first, "tremolo")
    one = demand(
        scene,
        Kind.TIMBRAL_TRILL if same else Kind.TREMOLO,
        links,
        to=Link(second, second.notes),
        fingering=scene.fingerings.at(first),
        word=word.hit.word if word else "",
    )
    other = "" if beside and not second.first.grace else scene.fingerings.at(second)
    reading = one.reading
    if reading is None and second.is_chord:
        reading = demand(scene, Kind.MULTIPHONIC, (Link(second, second.notes),)).reading
    return replace(one, to_fingering=other, strokes=tremolo.strokes if tremolo else 0, reading=reading)


def _timbral(scene: Scene, sonority: Sonority) -> Demand | None:
    """Two fingerings of one sound, where a word asks for them."""
    said = scene.holding.technique_at(sonority, TIMBRAL)
    if said is None or not _one_player(scene, sonority) or not scene.ties.is_head(sonority):
        return None
    return replace(_with_itself(scene, sonority), word=said.hit.word)


def _with_itself(scene: Scene, sonority: Sonority) -> Demand:
    """A fingering written at it is that of the second."""
    links = scene.ties.chain(sonority)
    one = demand(scene, Kind.TIMBRAL_TRILL, links, to=Link(sonority, sonority.notes))
    return replace(one, to_fingering=scene.fingerings.at(sonority))


def _trill(scene: Scene, sonority: Sonority) -> Demand | None:
    """A trill of a single note with a fingering written at it, or with a microtone."""
    trill = ornament(sonority, "trill")
    if trill is None or sonority.is_chord or scene.multiphonic_word(sonority):
        return None
    upper = _upper(sonority.notes[0], trill.accidental)
    text = scene.fingerings.at(sonority)
    if upper is None:
        return _with_itself(scene, sonority) if text else None
    one = demand(scene, Kind.TREMOLO, scene.ties.chain(sonority))
    moved = sonority.sounding[0].midi - sonority.written[0].midi
    return replace(one, to=(upper,), to_sounding=(upper.transposed(moved),), to_fingering=text)


def _upper(note: Note, accidental: str) -> Pitch | None:
    """The next step above, as the accidental of a trill tells it, where that is a microtone."""
    told = ACCIDENTALS.get(accidental)
    if told is None or not told.microtonal:
        return None
    written = note.written
    step = _STEPS[(_STEPS.index(written.step) + 1) % len(_STEPS)]
    return Pitch(step, told.alter, written.octave + (written.step == "B"), told.cents)
