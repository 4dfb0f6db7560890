"""Multiphonics: one player's chords, and single notes that a technique word or a written fingering opens."""

from collections.abc import Container
from dataclasses import dataclass

from annotate.demand import Demand, Kind
from annotate.detecting.fingering_text import read_fingering
from annotate.detecting.microtone import is_microtone
from annotate.detecting.players import stem_word
from annotate.detecting.scene import Scene, demand
from annotate.detecting.sonority import Sonority, ornament
from annotate.detecting.words import MULTIPHONIC
from fingering_db.alternatives import holds


@dataclass(frozen=True, slots=True)
class Opened:
    """Why a note or chord is a multiphonic: a technique word, or (word empty) just a written fingering."""

    word: str
    fingering: str


def opening(scene: Scene, sonority: Sonority) -> Opened | None:
    """Why a single note is read as a multiphonic with open pitches; None where it is not."""
    word = _word(scene, sonority)
    fingering = scene.fingerings.at(sonority)
    if word:
        return Opened(word, fingering)
    if not fingering or scene.holding.techniques_at(sonority) or ornament(sonority, "trill"):
        return None
    # A microtone's fingering, or that of a harmonic, tells how to play that one note.
    note = sonority.notes[0]
    special = any(kind != "fingering" for kind, _ in note.technical)
    if special or is_microtone(note) or note.microtonal_as_printed:
        return None
    own = read_fingering(fingering)
    if own is not None and holds(own, note.written.midi):
        return None  # an ordinary note, held as the score says
    return Opened("", fingering)


def _word(scene: Scene, sonority: Sonority) -> str:
    said = scene.multiphonic_word(sonority)
    return said.hit.word if said else stem_word(sonority)


def find_multiphonics(scene: Scene, used: Container[int]) -> tuple[Demand, ...]:
    """One demand for each multiphonic; tied ones are one. `used`: offsets of notes that glissandi took."""
    found = []
    for index, sonority in enumerate(scene.sonorities):
        if any(note.start in used for note in sonority.notes) or not scene.ties.is_head(sonority):
            continue
        if not sonority.is_chord:
            opened = opening(scene, sonority)
        elif scene.verdicts[index].outcome == MULTIPHONIC:
            opened = Opened(_word(scene, sonority), scene.fingerings.at(sonority))
        else:
            opened = None
        if opened is not None:
            told, links = opened.fingering, scene.ties.chain(sonority)
            single = not sonority.is_chord
            found.append(demand(scene, Kind.MULTIPHONIC, links, fingering=told, open_pitches=single, word=opened.word))
    return tuple(found)
