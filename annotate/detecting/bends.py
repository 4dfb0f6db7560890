"""Bends with a written size: a glissando from the note to as far as the bend says."""

from collections.abc import Container
from dataclasses import replace

from annotate.demand import Demand, Kind
from annotate.detecting.scene import Scene, demand
from annotate.score import Event, Note
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
