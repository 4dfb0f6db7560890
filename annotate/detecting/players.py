"""A chord on a flute staff: one player's multiphonic, several players, singing while playing, or undecided?

Evidence is weighed (`evidence.toml`, common practice, no source). What the score does not decide stays undecided.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from annotate.detecting.chord_evidence import (
    PartEvidence,
    Reason,
    evidence_table,
    marked_as_harmonic,
    odd_head,
    reason_for,
)
from annotate.detecting.company import Company
from annotate.detecting.fingering_text import WrittenFingerings
from annotate.detecting.holding import HoldingWords
from annotate.detecting.sonority import Sonority, overlapping
from annotate.detecting.words import MULTIPHONIC, ONE, VOICE, Spans, find_words
from annotate.score import Part
from fingering_db.message import Message

PLAYERS, HARMONIC, UNDECIDED = "players", "harmonic", "undecided"


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a chord is read. outcome: 'multiphonic', 'players', 'voice', 'harmonic' or 'undecided'.

    contested: read as one player's in a part for several. reasons: strongest first; none where the user's option decided.
    """

    outcome: str
    reasons: tuple[Reason, ...] = ()
    contested: bool = False

    def reasons_for(self, outcome: str) -> tuple[Reason, ...]:
        sides = {outcome} if outcome == PLAYERS else {outcome, ONE}
        return tuple(each for each in self.reasons if each.speaks_for in sides)


def stem_word(sonority: Sonority) -> str:
    """A technique letter written at a note of the chord (on its stem), '' if none."""
    for note in sonority.all_notes:
        for kind, text in note.technical:
            if kind != "fingering" and any(hit.technique.role == MULTIPHONIC for hit in find_words(text)):
                return text
    return ""


def is_artificial_harmonic(sonority: Sonority) -> bool:
    """The fingered note and the one that sounds, one of them with a diamond for a head, and the sign of a harmonic."""
    notes = sonority.all_notes
    diamonds = sum(note.notehead == "diamond" for note in notes)
    return any(map(marked_as_harmonic, notes)) and 0 < diamonds < len(notes)


def _word_reasons(sonority: Sonority, spans: Spans, holding: HoldingWords) -> list[Reason]:
    reasons = []
    players = holding.players_at(sonority)
    if players is not None:
        key = "one_word" if players.hit.technique.id == ONE else "several_word"
        reasons.append(reason_for(key, what=players.hit.word))
    elif spans.several is not None:
        reasons.append(reason_for("several_word_elsewhere", what=spans.several.hit.word))
    elif spans.desk is not None:
        reasons.append(reason_for("desk_word_elsewhere", what=spans.desk.hit.word))
    said = holding.technique_at(sonority, MULTIPHONIC)
    if said is not None:
        # "a 2" after "mult." may end it, or not; at the word itself it tells of two players with a multiphonic each.
        later = (
            players is not None and players.hit.technique.id != ONE and players.direction.onset > said.direction.onset
        )
        reasons.append(reason_for("multiphonic_word_before" if later else "multiphonic_word", what=said.hit.word))
    sung = holding.technique_at(sonority, VOICE)
    if sung is not None:
        reasons.append(reason_for("voice_word", what=sung.hit.word))
    return reasons


def _head_reasons(sonority: Sonority) -> list[Reason]:
    notes = sonority.all_notes
    odd = [odd_head(note) for note in notes if odd_head(note)]
    if not odd or len(odd) == len(notes) or any(map(marked_as_harmonic, notes)):
        return []
    return [reason_for("odd_head", what=Message(f"notehead.{odd[0]}"))]


def _chord_reasons(sonority: Sonority, fingering: str, company: Company) -> list[Reason]:
    reasons = _head_reasons(sonority)
    stem = stem_word(sonority)
    if stem:
        reasons.append(reason_for("multiphonic_word", what=stem))
    if fingering:
        reasons.append(reason_for("fingering"))
    if len(sonority.notes) > 2:
        reasons.append(reason_for("three_notes"))
    if sonority.first.grace:
        reasons.append(reason_for("grace"))
    name, index = company.doubles(sonority.onset, tuple(pitch.midi for pitch in sonority.sounding))
    if name:
        reasons.append(reason_for("neighbour", part=name, pitch=sonority.notes[index].written))
    return reasons


class _Voices:
    """What several voices on one staff tell: notes of theirs that sound together, apart, in unison."""

    def __init__(self, sonorities: tuple[Sonority, ...]) -> None:
        apart = overlapping(sonorities)
        self._apart = bool(apart)
        self._bars = {(each.first.staff, each.first.bar_index) for each in apart}
        self._unisons = any(len(each.events) > 1 and not each.is_chord for each in sonorities)

    def reasons(self, sonority: Sonority) -> list[Reason]:
        found = []
        if len(sonority.events) > 1:
            found.append(reason_for("independent_voices" if self._apart else "two_voices"))
            if len({event.instrument for event in sonority.events}) > 1:
                found.append(reason_for("two_instruments"))
        elif (sonority.first.staff, sonority.first.bar_index) in self._bars:
            found.append(reason_for("voices_in_bar"))
        if self._unisons:
            found.append(reason_for("unisons"))
        return found


def quick_runs(sonorities: tuple[Sonority, ...]) -> frozenset[int]:
    """Indices of chords that belong to a long run of quick ones without a single note between."""
    most_seconds, fewest = evidence_table()["quick_chord_seconds"], evidence_table()["quick_run_chords"]
    quick = [each.is_chord and not each.first.grace and each.seconds < most_seconds for each in sonorities]
    runs = (list(run) for _, run in groupby(range(len(quick)), key=quick.__getitem__))
    return frozenset(index for run in runs if quick[run[0]] and len(run) >= fewest for index in run)


def weigh(reasons: list[Reason]) -> Verdict:
    """The outcome of a heap of evidence: undecided unless a reading that something leads to leads all others."""
    if any(r.speaks_for == VOICE for r in reasons):
        # Where a chord itself is marked as sung, what stands elsewhere does not make it a multiphonic.
        reasons = [r for r in reasons if r.key not in ("technique_elsewhere", "habit")]
    one = sum(r.weight for r in reasons if r.speaks_for == ONE)
    voice = sum(r.weight for r in reasons if r.speaks_for == VOICE)
    scores = {
        MULTIPHONIC: one + sum(r.weight for r in reasons if r.speaks_for == MULTIPHONIC),
        PLAYERS: sum(r.weight for r in reasons if r.speaks_for == PLAYERS),
        VOICE: one + voice if voice else 0,
    }
    ordered = tuple(sorted(reasons, key=lambda r: -r.weight))
    several = any(r.key in ("plural_name", "several_word", "several_word_elsewhere") for r in reasons)
    certain = next((r.speaks_for for r in reasons if r.certain), "")
    if certain:
        return Verdict(certain, ordered, contested=several and certain == MULTIPHONIC)
    first, second, *_ = sorted(scores, key=lambda outcome: -scores[outcome])
    leading = {r.key for r in reasons if r.decides and r.speaks_for == first}
    if leading == {"neighbour"} and any(r.decides and r.speaks_for == MULTIPHONIC for r in reasons):
        leading = set()  # two flutes may well meet on a note: that alone does not gainsay techniques or a habit
    if not leading or scores[first] - scores[second] < evidence_table()["margin"]:
        return Verdict(UNDECIDED, ordered)
    return Verdict(first, ordered, contested=several and first == MULTIPHONIC)


def judge_chords(
    part: Part,
    sonorities: tuple[Sonority, ...],
    spans: Spans,
    holding: HoldingWords,
    fingerings: WrittenFingerings,
    *,
    chords: str,
    company: Company,
) -> dict[int, Verdict]:
    """A verdict for every chord, by its index. `chords` other than 'auto' decides all of them."""
    indices = [index for index, sonority in enumerate(sonorities) if sonority.is_chord]
    if not indices:
        return {}
    if chords != "auto":
        return {index: Verdict(chords) for index in indices}
    common = PartEvidence(part, sonorities, spans, fingerings, company)
    quick, voices = quick_runs(sonorities), _Voices(sonorities)
    verdicts = {}
    for index in indices:
        sonority = sonorities[index]
        if is_artificial_harmonic(sonority) and holding.technique_at(sonority, MULTIPHONIC) is None:
            verdicts[index] = Verdict(HARMONIC)
            continue
        reasons = common.reasons + _word_reasons(sonority, spans, holding) + voices.reasons(sonority)
        reasons += _chord_reasons(sonority, fingerings.at(sonority), company)
        if not common.several and any(note.microtonal_as_printed for note in sonority.notes):
            reasons.append(reason_for("microtone"))
        if index in quick:
            reasons.append(reason_for("quick_run"))
        verdicts[index] = weigh(reasons)
    return verdicts


_MAX_REASONS = 3


def because(verdicts: Sequence[Verdict], outcome: str, pro: bool) -> tuple[Message, ...]:
    """The strongest reasons of a run for a reading, or against it."""
    reasons: dict[Message, int] = {}
    for verdict in verdicts:
        favourable = verdict.reasons_for(outcome)
        reasons |= {one.text: one.weight for one in verdict.reasons if (one in favourable) == pro}
    weighty = any(weight > 1 for weight in reasons.values())
    told = [text for text, weight in reasons.items() if weight > 1 or not weighty]
    return tuple(sorted(told, key=lambda text: -reasons[text])[:_MAX_REASONS])


def reading_of(verdict: Verdict) -> Message:
    """How a chord that is a multiphonic was read, and why, in one phrase."""
    if not verdict.reasons:
        return Message("reading.why_option")
    pro, contra = (because([verdict], MULTIPHONIC, side) for side in (True, False))
    # What stands at the chord itself needs no other reason.
    pro = tuple(dict.fromkeys(one.text for one in verdict.reasons if one.certain)) or pro
    # Little against it is no news where a word or a fingering stands at the chord.
    if contra and (verdict.contested or not any(one.certain for one in verdict.reasons)):
        return Message("reading.why_contested", pro=pro, contra=contra)
    return Message("reading.why", pro=pro)


def reading_of_note(word: str) -> Message:
    """Why a single note was read as a multiphonic with open pitches: for a word, or (word empty) a fingering."""
    pro = Message("evidence.multiphonic_word", what=word) if word else Message("evidence.fingering")
    return Message("reading.why_open", pro=pro)
