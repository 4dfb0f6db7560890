"""Techniques that are recognised and not judged: bends without a size, whistle tones, tongue rams, singing while playing"""

from collections.abc import Container, Iterable

from annotate.demand import Demand, Kind, NotJudged
from annotate.detecting.bends import is_sized_bend
from annotate.detecting.players import HARMONIC
from annotate.detecting.scene import Scene
from annotate.detecting.words import BEND, TIMBRAL, UNJUDGED, VOICE
from fingering_db.message import Message

_CHORDS = {
    VOICE: (VOICE, "voice"),
    HARMONIC: (UNJUDGED, "harmonics"),
}  # role of the word that says so, and what
_MARKS = {"scoop", "falloff", "doit", "plop"}


def _words(scene: Scene, answered: Container[int]) -> list[NotJudged]:
    return [
        NotJudged(scene.part.place_of_word(said.direction), Message(f"technique.{said.hit.technique.id}"))
        for said in scene.spans.of_role(UNJUDGED, BEND, VOICE, TIMBRAL)
        if said.direction.start not in answered or said.hit.technique.role != TIMBRAL
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


def find_unjudged(scene: Scene, demands: Iterable[Demand]) -> tuple[NotJudged, ...]:
    """All that is recognised and not judged, each place once, in the order of words, marks, chords. demands: of the part."""
    timbral = [scene.sonority_of(one.events[0]) for one in demands if one.kind == Kind.TIMBRAL_TRILL]
    said = (scene.holding.technique_at(each, TIMBRAL) for each in timbral)
    answered = {each.direction.start for each in said if each}
    return tuple(_words(scene, answered) + _marks(scene) + _chords(scene))
