"""Why a chord was read as it was, in a phrase."""

from collections.abc import Sequence

from annotate.detecting.players import Verdict
from annotate.detecting.words import MULTIPHONIC
from fingering_db.message import Message

_MAX_REASONS = 3


def because(verdicts: Sequence[Verdict], outcome: str, pro: bool) -> tuple[Message, ...]:
    """The strongest reasons of a run for a reading, or against it."""
    reasons = {}
    for verdict in verdicts:
        favourable = verdict.reasons_for(outcome)
        for reason in verdict.reasons:
            if (reason in favourable) == pro:
                reasons[reason.text] = reason.weight
    weighty = any(weight > 1 for weight in reasons.values())
    told = [text for text, weight in reasons.items() if weight > 1 or not weighty]
    return tuple(sorted(told, key=lambda text: -reasons[text])[:_MAX_REASONS])


def reading_of(verdict: Verdict) -> Message:
    """How a chord that is a multiphonic was read, and why, in one phrase."""
    if not verdict.reasons:
        return Message("reading.why_option")
    pro, contra = (because([verdict], MULTIPHONIC, side) for side in (True, False))
    # What stands at the chord itself needs no other reason.
    pro = tuple(dict.fromkeys(reason.text for reason in verdict.reasons if reason.certain)) or pro
    # Little against it is no news where a word or a fingering stands at the chord.
    if contra and (verdict.contested or not any(reason.certain for reason in verdict.reasons)):
        return Message("reading.why_contested", pro=pro, contra=contra)
    return Message("reading.why", pro=pro)


def reading_of_note(word: str) -> Message:
    """Why a single note was read as a multiphonic with open pitches: for a word, or (word empty) a fingering."""
    pro = Message("evidence.multiphonic_word", what=word) if word else Message("evidence.fingering")
    return Message("reading.why_open", pro=pro)
