"""A chord on a flute staff: two players, one player's multiphonic, or singing while playing?

Evidence is weighed (`evidence.toml`, common practice, no source). What the score does not decide is said so.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Hashable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from annotate.detecting.fingering_text import WrittenFingerings
from annotate.detecting.sonority import Sonority, overlapping
from annotate.detecting.words import MULTIPHONIC, ONE, SEVERAL, VOICE, Spans, find_words, word_tables
from annotate.score import Note, Part
from fingering_db.message import Message
from fingering_db.pitch import Pitch

PLAYERS, HARMONIC = "players", "harmonic"
READINGS = (MULTIPHONIC, PLAYERS, VOICE)

_NUMBER = r"(?:\d{1,2}|i{1,3}|iv|v)"
_TWO_NUMBERS = re.compile(rf"(?<!\w){_NUMBER}\.?\s*(?:[,&+/.\-–]|\bet\b|\band\b|\bund\b|\be\b|\s)\s*{_NUMBER}(?!\w)")
_ONE_NUMBER = re.compile(rf"(?<!\w){_NUMBER}(?!\w)")
_COUNT_BEFORE = re.compile(r"^\s*[2-9]\s+\w")
_COUNT_AFTER = re.compile(r"[(\[]\s*(?:x\s*)?[2-9]\s*[)\]]|\bx\s*[2-9]\s*$")
_ODD_HEADS = {"diamond", "x", "cross", "circle-x", "circled", "circle dot", "triangle", "square"}


@dataclass(frozen=True, slots=True)
class Reason:
    """One row of evidence that holds for a chord. text: in words."""

    key: str
    speaks_for: str
    weight: int
    text: Message


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a chord is read. outcome: 'multiphonic', 'players', 'voice' or 'harmonic'; decided: by the margin.

    contested: read as one player's in a part for several. reasons: strongest first.
    """

    outcome: str
    decided: bool
    reasons: tuple[Reason, ...] = ()
    contested: bool = False

    def reasons_for(self, outcome: str) -> tuple[Reason, ...]:
        """The reasons that speak for an outcome."""
        sides = {outcome} if outcome == PLAYERS else {outcome, ONE}
        return tuple(reason for reason in self.reasons if reason.speaks_for in sides)


@cache
def evidence_table() -> dict[str, Any]:
    """The weights file as plain tables."""
    return tomllib.loads(files("annotate.detecting").joinpath("evidence.toml").read_text("utf-8"))


def _reason(key: str, **what: Hashable) -> Reason:
    row = evidence_table()["evidence"][key]
    return Reason(key, row["speaks_for"], row["weight"], Message(f"evidence.{key}", **what))


def name_tells(name: str) -> str:
    """What a part's name tells: 'several' players, 'numbered' or 'plain' for one, '' for no name."""
    text = " ".join(unicodedata.normalize("NFC", name).casefold().split())
    if not text:
        return ""
    names = word_tables()["names"]
    tokens = re.findall(r"\w+", text)
    if any(token.endswith(tuple(names["plural"])) for token in tokens) or set(tokens[:1]) & set(names["counts"]):
        return SEVERAL
    if _TWO_NUMBERS.search(text) or _COUNT_BEFORE.search(text) or _COUNT_AFTER.search(text):
        return SEVERAL
    return "numbered" if _ONE_NUMBER.search(text) else "plain"


def _name_reasons(part: Part, parts_in_score: int) -> list[Reason]:
    names = [name for name in (part.name, part.abbreviation) if name.strip()]
    names = names or [instrument.name for instrument in part.instruments if instrument.name.strip()]
    told = {name_tells(name): name for name in reversed(names)}
    reasons = []
    if SEVERAL in told:
        reasons.append(_reason("plural_name", what=told[SEVERAL]))
    elif "numbered" in told:
        reasons.append(_reason("numbered_name", what=told["numbered"]))
    elif "plain" in told:
        reasons.append(_reason("plain_name", what=told["plain"]))
        if parts_in_score >= evidence_table()["many_parts"]:
            reasons.append(_reason("many_parts", what=str(parts_in_score)))
    # A part taken out of an orchestra's score is alone too.
    if parts_in_score == 1 and SEVERAL not in told:
        reasons.append(_reason("only_part"))
    return reasons


def _word_reasons(sonority: Sonority, spans: Spans) -> list[Reason]:
    reasons = []
    players = spans.players_at(sonority.first)
    if players is not None:
        key = "one_word" if players.hit.technique.id == ONE else "several_word"
        reasons.append(_reason(key, what=players.hit.word))
    else:
        elsewhere = spans.several_anywhere()
        if elsewhere is not None:
            reasons.append(_reason("several_word_elsewhere", what=elsewhere.hit.word))
    for role, key in ((MULTIPHONIC, "multiphonic_word"), (VOICE, "voice_word")):
        said = spans.technique_at(sonority.first, role)
        if said is not None:
            reasons.append(_reason(key, what=said.hit.word))
    return reasons


def stem_word(sonority: Sonority) -> str:
    """A technique letter written at a note of the chord (on its stem), '' if none."""
    for note in sonority.all_notes:
        for kind, text in note.technical:
            if kind != "fingering" and any(hit.technique.role == MULTIPHONIC for hit in find_words(text)):
                return text
    return ""


def is_odd_head(note: Note) -> bool:
    """A head that marks a sung (or otherwise special) note; a diamond of a harmonic is not one."""
    return not _marked_as_harmonic(note) and (note.notehead in _ODD_HEADS or note.notehead_open)


def _marked_as_harmonic(note: Note) -> bool:
    """The circle of a harmonic; some programs write it as that of an open string."""
    return any(kind in ("harmonic", "open-string") for kind, _ in note.technical)


def is_artificial_harmonic(sonority: Sonority) -> bool:
    """The fingered note and the one that sounds, one of them with a diamond for a head, and the sign of a harmonic."""
    notes = sonority.all_notes
    diamonds = sum(note.notehead == "diamond" for note in notes)
    return any(map(_marked_as_harmonic, notes)) and 0 < diamonds < len(notes)


def _head_reasons(sonority: Sonority) -> list[Reason]:
    notes = sonority.all_notes
    odd = [note for note in notes if is_odd_head(note)]
    if not odd or len(odd) == len(notes) or any(map(_marked_as_harmonic, notes)):
        return []
    return [
        _reason("odd_head", what=Message(f"notehead.{odd[0].notehead if odd[0].notehead in _ODD_HEADS else 'hollow'}"))
    ]


def _chord_reasons(sonority: Sonority, fingering: str, overlaps: bool) -> list[Reason]:
    reasons = _head_reasons(sonority)
    stem = stem_word(sonority)
    if stem and not any(r.key == "multiphonic_word" for r in reasons):
        reasons.append(_reason("multiphonic_word", what=stem))
    if fingering:
        reasons.append(_reason("fingering"))
    if any(note.microtonal_as_printed for note in sonority.notes):
        reasons.append(_reason("microtone"))
    if len(sonority.notes) > 2:
        reasons.append(_reason("three_notes"))
    if len(sonority.events) > 1:
        reasons.append(_reason("independent_voices" if overlaps else "two_voices"))
        if len({event.instrument for event in sonority.events}) > 1:
            reasons.append(_reason("two_instruments"))
    return reasons


def _low_reasons(chords: list[Sonority]) -> list[Reason]:
    """One chord that no tube can sound is a slip of the composer; many are a habit of writing two lines."""
    table = evidence_table()
    lowest = Pitch.parse(table["lowest_upper_note"]).midi
    # Half a semitone: a microtone flat of it may still be meant.
    low = sum(max(pitch.midi for pitch in chord.written) < lowest - 0.5 for chord in chords)
    if low < 2 or low < table["low_chords"] * len(chords):
        return []
    return [_reason("low_notes", low=_share(low, len(chords)))]


def _share(part: int, whole: int) -> Message:
    return Message("reading.some_of", part=part, whole=whole) if part < whole else Message("reading.all_of")


def quick_runs(sonorities: tuple[Sonority, ...]) -> frozenset[int]:
    """Indices of chords that belong to a long run of quick ones without a single note between."""
    table = evidence_table()
    found: set[int] = set()
    run: list[int] = []
    for index, sonority in enumerate(sonorities):
        if sonority.is_chord and not sonority.first.grace and sonority.seconds < table["quick_chord_seconds"]:
            run.append(index)
            continue
        if len(run) >= table["quick_run_chords"]:
            found.update(run)
        run = []
    if len(run) >= table["quick_run_chords"]:
        found.update(run)
    return frozenset(found)


def weigh(reasons: list[Reason]) -> Verdict:
    """The outcome of a heap of evidence.

    Undecided chords get the less harmful reading: several players where a name or word tells of several, else
    the better of the other two (a plain flute part's chord is a multiphonic).
    """
    one = sum(r.weight for r in reasons if r.speaks_for == ONE)
    voice = sum(r.weight for r in reasons if r.speaks_for == VOICE)
    scores = {
        MULTIPHONIC: one + sum(r.weight for r in reasons if r.speaks_for == MULTIPHONIC),
        PLAYERS: sum(r.weight for r in reasons if r.speaks_for == PLAYERS),
        VOICE: one + voice if voice else 0,
    }
    first, second, *_ = sorted(scores, key=lambda outcome: -scores[outcome])
    decided = scores[first] - scores[second] >= evidence_table()["margin"]
    told_several = any(r.key in ("plural_name", "several_word", "several_word_elsewhere") for r in reasons)
    if not decided:
        first = PLAYERS if told_several else MULTIPHONIC
    ordered = tuple(sorted(reasons, key=lambda r: -r.weight))
    return Verdict(first, decided, ordered, contested=told_several and decided and first == MULTIPHONIC)


def judge_chords(
    part: Part,
    sonorities: tuple[Sonority, ...],
    spans: Spans,
    fingerings: WrittenFingerings,
    *,
    chords: str,
    parts_in_score: int,
) -> dict[int, Verdict]:
    """A verdict for every chord, by its index. `chords` other than 'auto' decides all of them."""
    indices = [index for index, sonority in enumerate(sonorities) if sonority.is_chord]
    if chords != "auto":
        return {index: Verdict(chords, decided=True) for index in indices}
    common = _name_reasons(part, parts_in_score) + _low_reasons([sonorities[index] for index in indices])
    quick = quick_runs(sonorities)
    overlaps = bool(overlapping(sonorities))
    verdicts = {}
    for index in indices:
        sonority = sonorities[index]
        if is_artificial_harmonic(sonority) and spans.technique_at(sonority.first, MULTIPHONIC) is None:
            verdicts[index] = Verdict(HARMONIC, decided=True)
            continue
        reasons = common + _word_reasons(sonority, spans) + _chord_reasons(sonority, fingerings.at(sonority), overlaps)
        if index in quick:
            reasons.append(_reason("quick_run"))
        verdicts[index] = weigh(reasons)
    return verdicts
