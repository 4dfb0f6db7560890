"""Microtones: single notes that lie between the keys of the piano."""

from collections.abc import Container

from annotate.demand import Demand, Kind
from annotate.detecting.chord_evidence import odd_head
from annotate.detecting.players import HARMONIC, UNDECIDED
from annotate.detecting.scene import Scene, demand
from annotate.detecting.sonority import Sonority
from annotate.detecting.words import MULTIPHONIC, VOICE
from annotate.score import Note

PRINTED_CENTS = 10.0
"""A printed microtonal accidental asks for a microtone from this far off a tempered note [cents]."""
UNPRINTED_CENTS = 20.0
"""Without one, smaller deviations are a program's playback tuning; nobody can read them [cents]."""


def is_microtone(note: Note) -> bool:
    """Whether a note's sounding pitch is a microtone that the player is asked for."""
    midi = note.sounding.midi
    # Alters are written with two or three decimals: 0.1 means 10 cents, whatever binary fractions make of it.
    off = round(abs(midi - round(midi)) * 100.0, 3)
    return off >= UNPRINTED_CENTS or (note.microtonal_as_printed and off > PRINTED_CENTS)


def played_notes(scene: Scene, sonority: Sonority) -> tuple[Note, ...]:
    """The notes of a sonority that are each played as a note of their own."""
    verdict = scene.verdict_of(sonority)
    if verdict and verdict.outcome in (MULTIPHONIC, HARMONIC, UNDECIDED):
        return ()
    if verdict and verdict.outcome == VOICE:
        return tuple(note for note in sonority.notes if not odd_head(note))
    return sonority.notes


def find_microtones(scene: Scene, used: Container[int]) -> tuple[Demand, ...]:
    """One demand for each microtone; tied ones are one. `used`: byte offsets of notes of other demands."""
    found = []
    for sonority in scene.sonorities:
        for note in played_notes(scene, sonority):
            if note.start in used or not is_microtone(note):
                continue
            if scene.ties.before(sonority, (note,)) is None:
                text = scene.fingerings.at(sonority)
                links = scene.ties.chain(sonority, (note,))
                found.append(demand(scene, Kind.MICROTONE, links, fingering=text))
    return tuple(found)
