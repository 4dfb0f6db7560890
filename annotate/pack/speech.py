"""What the pack says of a demand, in the words of a language."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from annotate.answers import Shifted
from annotate.decision import Alternative, Decision, Instead
from annotate.language import Words
from annotate.language import words as words_of
from annotate.output import clean
from annotate.pack.entries import Answer, Entry, Way, Ways
from annotate.place import Place
from annotate.report.content import EXPECTED_STRENGTH, confidence_word, spelled_as_asked
from annotate.report.phrases import Page, signed_cents
from annotate.wording import unseen_moves
from fingering_db.fingering import Fingering, text_of
from fingering_db.hand import effort_of
from fingering_db.message import Message
from fingering_db.motion import ACROSS, DOWN, FingerMove

_MOST_SOUNDS = 4
_MOST_PLACES = 4  # where a move is so
_USUAL_BEND = 3.0  # cents of the lip that nobody tells from none


def asked(page: Page, decision: Decision) -> str:
    """`C5 & D6`."""
    return page.asked(decision.demand)


def seek(words: Words, answer: Answer) -> list[str]:
    """What moves in a glissando and no diagram shows; which tone first, then which; at what air and lip. Sentences; none for a
    plain tone without figures. Of several tones the air is only told as the report tells it: that of one by itself may sound no
    other."""
    moves = [finding(words, one) for one in unseen_moves(answer.decision, words.language)]
    return [*moves, *_blowing(words, answer)]


def _blowing(words: Words, answer: Answer) -> list[str]:
    first, lip = answer.first_tone, _lip(words, answer)
    if answer.decision.at_once:
        return [finding(words, answer.decision.at_once), *lip]
    if first is None:
        return []
    others = tuple(one.asked for one in answer.tones if one is not first)
    if others:
        return [words.text("pack.seek", tone=first.asked), *lip, words.text("pack.then", tones=others)]
    if not math.isfinite(first.sound.speed_m_s[0]):
        return lip
    return [words.text("pack.air", low=first.sound.speed_m_s[0], high=first.sound.speed_m_s[1]), *lip]


def _lip(words: Words, answer: Answer) -> list[str]:
    cents = answer.blown.bend_cents if answer.blown else math.nan
    if not math.isfinite(cents):
        return []
    tone = answer.tones[0].asked
    if abs(cents) < _USUAL_BEND:
        return [words.text("pack.lip_usual", tone=tone)]
    return [words.text("pack.lip_higher" if cents > 0 else "pack.lip_lower", tone=tone, cents=abs(cents))]


def confidence(words: Words, decision: Decision) -> str:
    """How surely it sounds."""
    figure = words.number(decision.confidence, "sure")
    return words.text(f"confidence.{confidence_word(decision)}", figure=figure)


@dataclass(frozen=True, slots=True)
class Move:
    """A move of the hand. told: `From D5: left 2 up, right 1 down`; fingering: at its other end; where: at which places of an
    entry, the first few, '' for all of them; demands: those of these places."""

    told: str
    fingering: Fingering
    where: str
    demands: tuple[str, ...]


def hand(page: Page, entry: Entry, ways: Mapping[str, Ways]) -> list[Move]:
    """The moves to an entry and on from it."""
    found: dict[tuple[object, ...], tuple[Way, bool, list[int]]] = {}
    for number, demand in enumerate(entry.group.ids):
        own = ways.get(demand)
        for one, onward in ((own.to, False), (own.on, True)) if own else ():
            if one is not None:
                asks = one.other and (one.other.demand.pitches, one.other.demand.to)
                key = onward, asks, tuple(note.written for note in one.event.notes), one.before, one.after
                found.setdefault(key, (one, onward, []))[2].append(number)
    places, told = (entry.group.demand.place, *entry.group.also), []
    for one, onward, numbers in sorted(found.values(), key=lambda each: each[1]):
        some = "" if len(numbers) == len(places) else listed(page, [places[n] for n in numbers], _MOST_PLACES)
        demands = tuple(entry.group.ids[n] for n in numbers)
        told.append(Move(_way(page, one, onward), one.after if onward else one.before, some, demands))
    return told


def listed(page: Page, places: Sequence[Place], most: int) -> str:
    """`bar 12, beat 2; bar 14, beat 1; and 3 more`."""
    told = [where(page, place) for place in places[:most]]
    more = [page.words.text("report.more", n=len(places) - most)] if len(places) > most else []
    return "; ".join([*told, *more])


def _way(page: Page, one: Way, onward: bool) -> str:
    words = page.words
    what = asked(page, one.other) if one.other else clean(words.chord(tuple(note.written for note in one.event.notes)))
    moved = ", ".join(_finger(words, move) for move in one.moved) or words.text("pack.still")
    return words.text("pack.on" if onward else "pack.from", what=what, moves=moved)


def _finger(words: Words, move: FingerMove) -> str:
    finger = words.text(f"finger.{move.finger}")
    if move.way == ACROSS:
        return words.text("pack.across", finger=finger, touch=str(move.after or ""))
    return words.text("pack.down" if move.way == DOWN else "pack.up", finger=finger)


def where(page: Page, place: Place) -> str:
    """Bar and beat; before them the part, where there are several."""
    told = bar_beat(page.words, place)
    part = page.words.part(place) if page.several_parts else ""
    return clean(page.words.text("place.in_part", part=part, bars=told)) if part else told


def bar_beat(words: Words, place: Place) -> str:
    """`bar 12, beat 2`."""
    return _bar_beat(words.language, place.bar, words.beat(place))


@lru_cache(maxsize=4096)  # each place is told a dozen times
def _bar_beat(language: str, bar: str, beat: str) -> str:
    return clean(words_of(language).text("place.bar_beat", bar=bar, beat=beat))


def tuner(words: Words, answer: Answer) -> list[tuple[str, str, str, str]]:
    """For each tone: written name, what a tuner shows, share of jets that hold it, air speeds."""
    rows = []
    for tone in (*answer.tones, *answer.ending):
        sound = tone.sound
        heard = spelled_as_asked(sound.pitch, (tone.asked,))
        shown = f"{words.note_name(heard)} {signed_cents(sound.pitch.cents)} ±{tone.band_cents:.0f}"
        holds = f"{sound.holds * 100:.0f} %" if math.isfinite(sound.holds) else "–"
        low, high = sound.speed_m_s
        speed = f"{low:.0f}–{high:.0f}" if math.isfinite(low) else "–"
        rows.append((words.pitch(tone.asked), shown, holds, speed))
    return rows


def warnings(page: Page, entry: Entry, decision: Decision) -> list[tuple[str, str, str]]:
    """Code, severity and sentences of each finding at the places of an entry, but for what the reason says already."""
    told = []
    for one in page.report.finding_groups:
        if set(one.demands) & set(entry.group.ids) and one.message != decision.why:
            places = "; ".join(where(page, place) for place in one.places if place.bar)
            told.append((one.code, one.severity, f"{places}: {finding(page.words, one.message, one.advice)}"))
    return told


def finding(words: Words, *texts: Message | str) -> str:
    """A finding and its advice, each a sentence."""
    told = [clean(words.say(text)) for text in texts]
    return " ".join(
        f"{text[0].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}" for text in told if text
    )


def others(page: Page, answer: Answer) -> list[tuple[str, list[tuple[Fingering | None, str, str]]]]:
    """Other fingerings, the easiest for the hand first; what may be played instead; the same hand shape elsewhere: heading and
    (fingering, its name, what is told of it), those that are not empty."""
    words, decision = page.words, answer.decision
    by_ease = sorted(decision.alternatives, key=lambda one: (effort_of(one.fingering), -one.confidence))
    found: dict[str, list[tuple[Fingering | None, str, str]]] = {
        "alternatives": [(one.fingering, str(one.fingering), _alternative(words, one)) for one in by_ease],
        "instead": [
            (one.fingering, f"{_instead(page, one)}  {text_of(one.fingering)}", clean(words.say(one.why)))
            for one in decision.instead
        ],
        "shifted": [
            (one.fingering, str(one.fingering), _shifted(words, one)) for one in answer.shifted if one.fingering
        ],
    }
    return [(words.text(f"pack.{name}"), items) for name, items in found.items() if items]


def _alternative(words: Words, one: Alternative) -> str:
    """`-6, +11 cents (0.9)`."""
    figure = words.number(one.confidence, "sure")
    told = ", ".join(signed_cents(value) for value in one.deviation_cents if math.isfinite(value))
    return words.text("report.alternative", cents=told, figure=figure)


def _instead(page: Page, one: Instead) -> str:
    """`C4`, `C5 & D6 → B4 & C♯6`."""
    return " → ".join(page.chord(chord) for chord in (one.pitches, one.to) if chord)


def _shifted(words: Words, one: Shifted) -> str:
    """What a hand shape sounds at another place, from its lowest resonance up, as far as each is expected alone."""
    heard = [sound.pitch for sound in one.sounds if sound.strength >= EXPECTED_STRENGTH][:_MOST_SOUNDS]
    return f"{one.hole.replace(chr(35), chr(0x266F))}: {', '.join(map(words.pitch, heard))}"
