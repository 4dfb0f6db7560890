"""How chords and words were read: the sentence at each demand, findings for runs of like chords, chords left undecided."""

from collections.abc import Mapping
from itertools import groupby

from annotate.demand import Demand, Kind, Undecided
from annotate.detecting.players import PLAYERS, UNDECIDED, Verdict, because
from annotate.detecting.scene import Scene
from annotate.detecting.sonority import Sonority, overlapping
from annotate.detecting.words import MULTIPHONIC, VOICE
from annotate.findings import Finding
from fingering_db.message import Message

_MAX_PLACES = 8


def _code(verdict: Verdict) -> str:
    """The finding that a verdict calls for; '' where the user's option decided, or nothing is doubtful."""
    if not verdict.reasons:
        return ""
    if verdict.outcome == MULTIPHONIC:
        return "R203" if verdict.contested else ""
    return {PLAYERS: "R204", VOICE: "R205"}.get(verdict.outcome, "")


def _for_each(verdict: Verdict) -> bool:
    """Whether "a 2" or "div." stands where a multiphonic is asked for: each player has it."""
    return verdict.outcome == MULTIPHONIC and any(each.key == "several_word" for each in verdict.reasons)


def _bars(first: str, last: str) -> Message:
    return Message("reading.bar", bar=first) if first == last else Message("reading.bars", first=first, last=last)


def _reading(outcome: str, run: list[Sonority]) -> Message:
    if outcome == PLAYERS:
        two = max(len(sonority.notes) for sonority in run) == 2
        return Message("reading.two_players" if two else "reading.several_players")
    if outcome == MULTIPHONIC:
        return Message("reading.multiphonics", n=len(run))
    return Message("technique.voice")


def _message(code: str, run: list[Sonority], verdicts: list[Verdict]) -> Message:
    outcome = verdicts[0].outcome
    head = Message(
        "reading.chords_read",
        bars=_bars(run[0].first.bar, run[-1].first.bar),
        n=len(run),
        reading=_reading(outcome, run),
    )
    pro = because(verdicts, outcome, True)
    if code == "R203":
        key = "reading.contested_each" if _for_each(verdicts[0]) else "reading.contested"
        return Message(key, head=head, pro=pro, contra=because(verdicts, outcome, False))
    return Message("reading.because", head=head, pro=pro)


def undecided_chords(scene: Scene) -> tuple[Undecided, ...]:
    """The chords that the score does not tell how to read, in order of time, tied ones once."""
    found = []
    for index, verdict in scene.verdicts.items():
        sonority = scene.sonorities[index]
        if verdict.outcome == UNDECIDED and scene.ties.is_head(sonority):
            events = tuple(event for link in scene.ties.chain(sonority) for event in link.sonority.events)
            evidence = tuple(reason.text for reason in verdict.reasons)
            found.append(Undecided(scene.part.place(sonority.first), events, sonority.written, evidence))
    return tuple(found)


def undecided_remarks(scene: Scene, undecided: tuple[Undecided, ...]) -> list[Finding]:
    """One warning for all undecided chords of a part."""
    if not undecided:
        return []
    bars: dict[str, list[str]] = {}
    for one in undecided:
        bars.setdefault(one.place.bar, []).append(one.place.beat_text)
    told = [Message("reading.bar_beats", bar=bar, n=len(at), list=", ".join(at)) for bar, at in bars.items()]
    if len(told) > _MAX_PLACES:
        told[_MAX_PLACES:] = [Message("reading.more_bars", n=len(told) - _MAX_PLACES)]
    verdicts = [each for each in scene.verdicts.values() if each.outcome == UNDECIDED]
    pro, contra = because(verdicts, MULTIPHONIC, True), because(verdicts, MULTIPHONIC, False)
    where, count = tuple(told), len(undecided)
    if pro and contra:
        message = Message("reading.undecided", n=count, bars=where, pro=pro, contra=contra)
    else:
        message = Message("reading.undecided_for", n=count, bars=where, pro=pro or contra)
    return [Finding.of("R201", undecided[0].place, message=message)]


def chord_remarks(scene: Scene, ids: Mapping[int, str]) -> list[Finding]:
    """How the chords were read. ids: demand by offset of a note; a run names its first chord's demand."""
    heads = [index for index in scene.verdicts if scene.ties.is_head(scene.sonorities[index])]
    found = []
    kinds = {index: (_code(scene.verdicts[index]), _for_each(scene.verdicts[index])) for index in heads}
    for (code, _), group in groupby(heads, key=kinds.__getitem__):
        if not code:
            continue
        indices = list(group)
        run = [scene.sonorities[index] for index in indices]
        outcome = scene.verdicts[indices[0]].outcome
        message = _message(code, run, [scene.verdicts[index] for index in indices])
        demand = ids.get(run[0].notes[0].start, "") if outcome == MULTIPHONIC else ""
        found.append(Finding.of(code, scene.part.place(run[0].first), demand, message=message))
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
        if len(held) > 1 and not scene.holding.is_closed(said):
            bars = _bars(held[0].place.bar, held[-1].place.bar)
            place = scene.part.place_of_word(said.direction)
            found.append(Finding.of("R206", place, held[0].id, bars=bars, word=said.hit.word, n=len(held)))
    return found


def fingering_remarks(demands: tuple[Demand, ...]) -> list[Finding]:
    """Single notes that are multiphonics for their written fingering alone."""
    opened = [d for d in demands if d.kind == Kind.MULTIPHONIC and d.open_pitches and not d.word]
    if not opened:
        return []
    bars = _bars(opened[0].place.bar, opened[-1].place.bar)
    return [Finding.of("R207", opened[0].place, opened[0].id, bars=bars, n=len(opened))]


def overlap_remarks(scene: Scene) -> list[Finding]:
    """Two voices that sound together without being a chord."""
    overlaps = overlapping(scene.sonorities)
    if not overlaps:
        return []
    bars = _bars(overlaps[0].first.bar, overlaps[-1].first.bar)
    number = len({sonority.first.bar_index for sonority in overlaps})
    return [Finding.of("R208", scene.part.place(overlaps[0].first), bars=bars, n=number)]
