"""Findings about how chords and words were read: one for each run of like chords, not one for each chord."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby

from annotate.demand import Demand, Kind
from annotate.detecting.players import PLAYERS, Verdict
from annotate.detecting.scene import Scene
from annotate.detecting.sonority import Sonority, overlapping
from annotate.detecting.words import MULTIPHONIC as MULTIPHONIC_ROLE
from annotate.findings import Finding

_SEVERITY = {"R201": "warning", "R202": "warning", "R203": "warning", "R204": "info", "R205": "info"}
_ADVICE = {
    "R201": "say --chords multiphonic, --chords players or --chords voice",
    "R202": "say --chords multiphonic if one flute is to sound them, else --chords players",
    "R203": "say --chords players if each note has a player of its own",
    "R204": "say --chords multiphonic if one flute is to sound them",
    "R205": "say --chords multiphonic if nothing is sung",
}
_MAX_REASONS = 3


def _code(verdict: Verdict) -> str:
    """The finding that a verdict calls for; '' where the user's option decided, or nothing is doubtful."""
    if not verdict.decided:
        return "R202" if verdict.outcome == PLAYERS else "R201"
    if not verdict.reasons:
        return ""
    if verdict.outcome == MULTIPHONIC_ROLE:
        return "R203" if verdict.contested else ""
    return "R204" if verdict.outcome == PLAYERS else "R205"


def _bars(first: str, last: str) -> str:
    return f"bar {first}" if first == last else f"bars {first}-{last}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _reading(outcome: str, run: list[Sonority]) -> str:
    if outcome == PLAYERS:
        return "two players" if max(len(sonority.notes) for sonority in run) == 2 else "several players"
    if outcome == MULTIPHONIC_ROLE:
        return "a multiphonic" if len(run) == 1 else "multiphonics"
    return "sing and play"


def _texts(verdicts: list[Verdict], pro: bool) -> str:
    """The strongest reasons of a run for its reading, or against it."""
    reasons = {}
    for verdict in verdicts:
        favourable = verdict.reasons_for(verdict.outcome)
        for reason in verdict.reasons:
            if (reason in favourable) == pro:
                reasons[reason.text] = reason.weight
    strongest = sorted(reasons, key=lambda text: -reasons[text])[:_MAX_REASONS]
    return " and ".join(part for part in (", ".join(strongest[:-1]), *strongest[-1:]) if part)


def _message(code: str, run: list[Sonority], verdicts: list[Verdict]) -> str:
    where = _bars(run[0].first.bar, run[-1].first.bar)
    head = f"{where}: {_count(len(run), 'chord')} read as {_reading(verdicts[0].outcome, run)}"
    pro, contra = _texts(verdicts, True), _texts(verdicts, False)
    if code in ("R204", "R205"):
        return f"{head} because {pro}"
    if code == "R203":
        return f"{head} of one player because {pro}, though {contra}"
    if pro and contra:
        return f"{head}, which the score does not decide: {pro}, but {contra}"
    return f"{head}, which the score does not decide" + (f": {pro or contra}" if pro or contra else "")


def chord_remarks(scene: Scene, ids: Mapping[int, str]) -> list[Finding]:
    """How the chords were read. ids: demand by offset of a note; a run names its first chord's demand."""
    heads = [index for index in scene.verdicts if scene.ties.is_head(scene.sonorities[index])]
    found = []
    for code, group in groupby(heads, key=lambda index: _code(scene.verdicts[index])):
        if not code:
            continue
        indices = list(group)
        run = [scene.sonorities[index] for index in indices]
        outcome = scene.verdicts[indices[0]].outcome
        found.append(
            Finding(
                code=code,
                severity=_SEVERITY[code],
                place=scene.part.place(run[0].first),
                message=_message(code, run, [scene.verdicts[index] for index in indices]),
                advice=_ADVICE[code],
                demand=ids.get(run[0].notes[0].start, "") if outcome == MULTIPHONIC_ROLE else "",
            )
        )
    return found


def word_remarks(scene: Scene, demands: tuple[Demand, ...]) -> list[Finding]:
    """Technique words that hold over several single notes without anything that ends them."""
    spans: dict[int, list[Demand]] = {}
    words = {}
    for demand in demands:
        said = scene.multiphonic_word(scene.sonority_of(demand.events[0])) if demand.open_pitches else None
        if said is not None:
            spans.setdefault(said.direction.start, []).append(demand)
            words[said.direction.start] = said
    found = []
    for start, held in spans.items():
        said = words[start]
        if len(held) > 1 and not scene.spans.is_closed(said):
            bars = _bars(held[0].place.bar, held[-1].place.bar)
            found.append(
                Finding(
                    "R206",
                    "warning",
                    scene.part.place_of_word(said.direction),
                    f"{bars}: '{said.hit.word}' makes multiphonics of {len(held)} single notes, for nothing ends it",
                    "write 'ord.' where ordinary notes begin",
                    held[0].id,
                )
            )
    return found


def fingering_remarks(scene: Scene, demands: tuple[Demand, ...]) -> list[Finding]:
    """Single notes that are multiphonics for their written fingering alone."""
    opened = [d for d in demands if d.kind == Kind.MULTIPHONIC and d.open_pitches and not d.word]
    if not opened:
        return []
    bars = _bars(opened[0].place.bar, opened[-1].place.bar)
    return [
        Finding(
            "R207",
            "info",
            opened[0].place,
            f"{bars}: {_count(len(opened), 'note')} with a written fingering read as a multiphonic with open pitches",
            "write the other pitches or 'mult.' if so; else 'ord.'",
            opened[0].id,
        )
    ]


def overlap_remarks(scene: Scene) -> list[Finding]:
    """Two voices that sound together without being a chord."""
    overlaps = overlapping(scene.sonorities)
    if not overlaps:
        return []
    bars = _bars(overlaps[0].first.bar, overlaps[-1].first.bar)
    number = len({sonority.first.bar_index for sonority in overlaps})
    return [
        Finding(
            "R208",
            "info",
            scene.part.place(overlaps[0].first),
            f"{bars}: notes of two voices overlap in {_count(number, 'bar')}; read as several players",
            "write them as chords if one flute is to sound them",
        )
    ]
