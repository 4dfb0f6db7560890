"""What a flute part asks: the driver of this stage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from annotate.decisions.address import READINGS, Addresses
from annotate.demand import Demand, NotJudged, Undecided
from annotate.detecting.company import Company
from annotate.detecting.glissando import find_glissandi
from annotate.detecting.microtone import find_microtones
from annotate.detecting.multiphonic import find_multiphonics
from annotate.detecting.reading_findings import (
    chord_remarks,
    fingering_remarks,
    overlap_remarks,
    undecided_chords,
    undecided_remarks,
    word_remarks,
)
from annotate.detecting.scene import Scene
from annotate.detecting.tremolo import find_tremolos
from annotate.detecting.unjudged import find_bends, find_unjudged
from annotate.findings import Finding
from annotate.score import Event, Part


@dataclass(frozen=True, slots=True)
class Detected:
    """All that one part asks. Demands are in order of time, with ids d1, d2, .. within the part."""

    demands: tuple[Demand, ...]
    findings: tuple[Finding, ...]
    not_judged: tuple[NotJudged, ...]
    undecided: tuple[Undecided, ...] = ()

    def renumbered(self, first: int) -> Detected:
        """The same with demands numbered from `first` on; findings follow their demands."""
        ids = {demand.id: f"d{first + offset}" for offset, demand in enumerate(self.demands)}
        return Detected(
            tuple(replace(demand, id=ids[demand.id]) for demand in self.demands),
            tuple(replace(finding, demand=ids.get(finding.demand, "")) for finding in self.findings),
            self.not_judged,
            self.undecided,
        )


def detect(
    part: Part, chords: str = "auto", company: Company | None = None, readings: Mapping[int, str] | None = None
) -> Detected:
    """Find multiphonics, glissandi and microtones of a part, and what is doubtful or not judged.

    chords: 'auto', or how every chord is to be read: 'multiphonic', 'players', 'voice'. company: the other parts of the
    score, evidence for or against a second player; None for unknown. readings: of single chords, by the byte offset of
    their event, before everything else.
    Raises ValueError for another value of `chords`.
    """
    if chords not in ("auto", *READINGS):
        raise ValueError(f"chords is '{chords}': expected auto, multiphonic, players or voice")
    scene = Scene.of(part, chords, company or Company(), readings or {})
    glissandi = find_glissandi(scene)
    used = set(glissandi.used)
    tremolos = find_tremolos(scene, used)
    used |= tremolos.used
    multiphonics = find_multiphonics(scene, used)
    used.update(note.start for demand in multiphonics for event in demand.events for note in event.notes)
    bends = find_bends(scene, used)
    used.update(note.start for demand in bends for event in demand.events for note in event.notes)
    found = [*glissandi.demands, *tremolos.demands, *multiphonics, *bends, *find_microtones(scene, used)]
    found.sort(key=lambda d: (d.events[0].onset, not d.events[0].grace, d.events[0].start))
    demands = tuple(replace(demand, id=f"d{number}") for number, demand in enumerate(found, start=1))
    ids: dict[int, str] = {}
    for demand in demands:
        for event in demand.events:
            for note in event.notes:
                ids.setdefault(note.start, demand.id)
    undecided = undecided_chords(scene)
    findings = [
        *undecided_remarks(scene, undecided),
        *chord_remarks(scene, ids),
        *word_remarks(scene, demands),
        *fingering_remarks(demands),
        *overlap_remarks(scene),
        *glissandi.findings,
    ]
    not_judged = (*find_unjudged(scene, demands), *tremolos.not_judged)
    return Detected(demands, tuple(findings), not_judged, undecided)


def addressed(part: Part, detected: Detected) -> Detected:
    """The same with addresses."""
    if not detected.demands and not detected.undecided:
        return detected
    addresses = Addresses(part)

    def of(event: Event) -> str:
        return str(addresses.of(event) or "")

    return replace(
        detected,
        demands=tuple(replace(one, address=of(one.events[0])) for one in detected.demands),
        undecided=tuple(replace(one, address=of(one.events[0])) for one in detected.undecided),
    )
