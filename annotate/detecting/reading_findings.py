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
from fingering_db.message import Message

_SEVERITY = {"R201": "warning", "R202": "warning", "R203": "warning", "R204": "info", "R205": "info"}
_ADVICE = {
    "R201": Message("reading.advice_R201"),
    "R202": Message("reading.advice_R202"),
    "R203": Message("reading.advice_R203"),
    "R204": Message("reading.advice_R204"),
    "R205": Message("reading.advice_R205"),
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


def _bars(first: str, last: str) -> Message:
    return Message("reading.bar", bar=first) if first == last else Message("reading.bars", first=first, last=last)


def _reading(outcome: str, run: list[Sonority]) -> Message:
    if outcome == PLAYERS:
        two = max(len(sonority.notes) for sonority in run) == 2
        return Message("reading.two_players" if two else "reading.several_players")
    if outcome == MULTIPHONIC_ROLE:
        return Message("reading.multiphonics", n=len(run))
    return Message("technique.voice")


def _texts(verdicts: list[Verdict], pro: bool) -> tuple[Message, ...]:
    """The strongest reasons of a run for its reading, or against it."""
    reasons = {}
    for verdict in verdicts:
        favourable = verdict.reasons_for(verdict.outcome)
        for reason in verdict.reasons:
            if (reason in favourable) == pro:
                reasons[reason.text] = reason.weight
    return tuple(sorted(reasons, key=lambda text: -reasons[text])[:_MAX_REASONS])


def _message(code: str, run: list[Sonority], verdicts: list[Verdict]) -> Message:
    head = Message(
        "reading.chords_read",
        bars=_bars(run[0].first.bar, run[-1].first.bar),
        n=len(run),
        reading=_reading(verdicts[0].outcome, run),
    )
    pro, contra = _texts(verdicts, True), _texts(verdicts, False)
    if code in ("R204", "R205"):
        return Message("reading.because", head=head, pro=pro)
    if code == "R203":
        return Message("reading.contested", head=head, pro=pro, contra=contra)
    if pro and contra:
        return Message("reading.undecided", head=head, pro=pro, contra=contra)
    if pro or contra:
        return Message("reading.undecided_for", head=head, pro=pro or contra)
    return Message("reading.undecided_bare", head=head)


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
                    Message("reading.word_without_end", bars=bars, word=said.hit.word, n=len(held)),
                    Message("reading.word_without_end_advice"),
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
            Message("reading.written_fingerings", bars=bars, n=len(opened)),
            Message("reading.written_fingerings_advice"),
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
            Message("reading.overlap", bars=bars, n=number),
            Message("reading.overlap_advice"),
        )
    ]
