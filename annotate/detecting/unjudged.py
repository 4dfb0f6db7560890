"""Techniques that are recognised and not judged: bends without a size, whistle tones, tongue rams, singing while playing"""

from __future__ import annotations

from annotate.demand import NotJudged
from annotate.detecting.bends import is_sized_bend
from annotate.detecting.scene import Scene
from annotate.detecting.sonority import place_of, place_of_word
from annotate.detecting.words import BEND, UNJUDGED, VOICE

_MARKS = {"scoop", "falloff", "doit", "plop"}


def _words(scene: Scene) -> list[NotJudged]:
    return [
        NotJudged(place_of_word(scene.part, said.direction), said.hit.technique.name)
        for said in scene.spans.of_role(UNJUDGED, BEND, VOICE)
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
        found += [NotJudged(place_of(scene.part, sonority.first), kind) for kind in kinds]
    return found


def _sung(scene: Scene) -> list[NotJudged]:
    """Runs of chords read as singing while playing where no word says so (that word is listed itself)."""
    found = []
    before = ""
    for index, verdict in scene.verdicts.items():
        sonority = scene.sonorities[index]
        said = scene.spans.technique_at(sonority.first, VOICE)
        if verdict.outcome == VOICE and before != VOICE and said is None:
            found.append(NotJudged(place_of(scene.part, sonority.first), "sing and play"))
        before = verdict.outcome
    return found


def find_unjudged(scene: Scene) -> tuple[NotJudged, ...]:
    """All that is recognised and not judged, each place once, in the order of words, marks, sung chords."""
    return tuple(_words(scene) + _marks(scene) + _sung(scene))
