"""Techniques that are recognised and not judged: bends without a size, whistle tones, tongue rams, singing while playing"""

from collections.abc import Container, Iterable
from dataclasses import replace

from annotate.demand import Demand, Instruction, Kind, NotJudged
from annotate.detecting.instructions import means_told
from annotate.detecting.players import HARMONIC
from annotate.detecting.scene import Scene, demand
from annotate.detecting.words import BEND, TIMBRAL, UNJUDGED, VOICE
from annotate.score import Direction, Event, Note
from fingering_db.message import Message
from fingering_db.pitch import Pitch


def is_sized_bend(event: Event) -> bool:
    """Whether an event is one note with a bend of a size other than zero."""
    return len(event.notes) == 1 and any(event.notes[0].bend_alters)


def find_bends(scene: Scene, used: Container[int]) -> tuple[Demand, ...]:
    """One demand for each bent note; `used`: byte offsets of notes of other demands."""
    found = []
    for sonority in scene.sonorities:
        event = sonority.first
        if event.notes and is_sized_bend(event) and event.notes[0].start not in used:
            note = event.notes[0]
            plain = demand(scene, Kind.GLISSANDO, scene.ties.chain(sonority, (note,)), continuous=True, word="bend")
            found.append(replace(plain, to=(_bent(note, note.written),), to_sounding=(_bent(note, note.sounding),)))
    return tuple(found)


def _bent(note: Note, pitch: Pitch) -> Pitch:
    """Where the bend leads: its largest alter, in semitones."""
    return Pitch.from_midi(pitch.midi + max(note.bend_alters, key=abs))


_CHORDS = {VOICE: (VOICE, "voice"), HARMONIC: (UNJUDGED, "harmonics")}  # role of the word that says so, and what
_MARKS = {"scoop", "falloff", "doit", "plop"}


def _words(scene: Scene, answered: Container[int]) -> list[NotJudged]:
    return [
        NotJudged(scene.part.place_of_word(said.direction), Message(f"technique.{said.hit.technique.id}"))
        for said in scene.spans.of_role(UNJUDGED, BEND, VOICE, TIMBRAL)
        if said.direction.start not in answered
    ]


def _marks(scene: Scene) -> list[NotJudged]:
    """Bend, scoop, falloff, doit and plop marks, once per sonority and kind."""
    found = []
    for sonority in scene.sonorities:
        names = [name for note in sonority.all_notes for name in note.articulations]
        kinds = dict.fromkeys(name for name in names if name in _MARKS)
        bent = any(note.bend_alters for note in sonority.all_notes)
        if bent and not is_sized_bend(sonority.first):
            kinds["bend"] = None
        found += [NotJudged(scene.part.place(sonority.first), Message(f"technique.{kind}")) for kind in kinds]
    return found


def _chords(scene: Scene) -> list[NotJudged]:
    """Runs of chords read as singing while playing or as harmonics where no word says so (that word is listed itself)."""
    found = []
    before = ""
    for index, verdict in scene.verdicts.items():
        sonority = scene.sonorities[index]
        role, what = _CHORDS.get(verdict.outcome, ("", ""))
        if what and verdict.outcome != before and scene.holding.technique_at(sonority, role) is None:
            found.append(NotJudged(scene.part.place(sonority.first), Message(f"technique.{what}")))
        before = verdict.outcome
    return found


def _tells(word: Direction, told: Instruction, glissando: Demand) -> bool:
    """Whether a word is what is written on the means of a glissando."""
    last = glissando.events[-1]
    return told == glissando.instruction and glissando.events[0].onset <= word.onset < last.onset + last.duration


def find_unjudged(scene: Scene, demands: Iterable[Demand]) -> tuple[NotJudged, ...]:
    """All that is recognised and not judged, each place once, in the order of words, marks, chords. demands: of the part."""
    demands = tuple(demands)
    glissandi = [one for one in demands if one.kind == Kind.GLISSANDO and one.instruction]
    timbral = [scene.sonority_of(one.events[0]) for one in demands if one.kind == Kind.TIMBRAL_TRILL]
    said = (scene.holding.technique_at(each, TIMBRAL) for each in timbral)
    answered = {each.direction.start for each in said if each}
    of_means = ((one.direction, means_told(one.direction.text)) for one in scene.spans.of_role(UNJUDGED))
    answered |= {word.start for word, told in of_means if told and any(_tells(word, told, one) for one in glissandi)}
    return tuple(_words(scene, answered) + _marks(scene) + _chords(scene))
