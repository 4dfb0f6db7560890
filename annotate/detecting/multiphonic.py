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
class OpenNote:
    """Why a single note is a multiphonic: a technique word, or (word empty) just a written fingering."""

    word: str
    fingering: str


def opening(scene: Scene, sonority: Sonority) -> OpenNote | None:
    """Why a single note is read as a multiphonic with open pitches; None where it is not."""
    said = scene.multiphonic_word(sonority)
    word = said.hit.word if said else stem_word(sonority)
    fingering = scene.fingerings.at(sonority)
    if word:
        return OpenNote(word, fingering)
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
    return OpenNote("", fingering)


def find_multiphonics(scene: Scene, used: Container[int]) -> tuple[Demand, ...]:
    """One demand for each multiphonic; tied ones are one. `used`: offsets of notes that glissandi took."""
    found = []
    for index, sonority in enumerate(scene.sonorities):
        if any(note.start in used for note in sonority.notes) or not scene.ties.is_head(sonority):
            continue
        links = scene.ties.chain(sonority)
        if sonority.is_chord:
            if scene.verdicts[index].outcome == MULTIPHONIC:
                said = scene.multiphonic_word(sonority)
                word = said.hit.word if said else stem_word(sonority)
                text = scene.fingerings.at(sonority)
                found.append(demand(scene, Kind.MULTIPHONIC, links, fingering=text, word=word))
            continue
        opened = opening(scene, sonority)
        if opened is not None:
            found.append(
                demand(
                    scene,
                    Kind.MULTIPHONIC,
                    links,
                    fingering=opened.fingering,
                    open_pitches=True,
                    word=opened.word,
                )
            )
    return tuple(found)
