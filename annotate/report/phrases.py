"""What a text report says, phrase by phrase, in one language: no layout but the width that it is for."""

import math
from collections import Counter
from dataclasses import dataclass

from annotate.decision import Decision, PathPoint, Status
from annotate.demand import Demand, Kind
from annotate.drawing import diagram
from annotate.language import Words
from annotate.output import clean, together, wrap
from annotate.place import Place
from annotate.report.content import Counts, Group, Report, deviations
from fingering_db.fingering import Fingering, text_of
from fingering_db.message import Message
from fingering_db.pitch import Pitch

_FEW_BARS = 8  # with chords, that a headline may list


@dataclass(frozen=True, slots=True)
class Page:
    """A report on a page of some width, and how it is worded there."""

    report: Report
    width: int
    ascii: bool
    words: Words
    shown: tuple[Group, ...] = ()

    def clean(self, text: str) -> str:
        return clean(text, self.ascii)

    def say(self, key: str, **values: object) -> str:
        return self.clean(self.words.text(key, **values))

    def count(self, key: str, number: int, **values: object) -> str:
        return self.clean(self.words.text(key, n=number, **values))

    def sentence(self, said: Message | str) -> str:
        return self.clean(self.words.say(said))

    def pitch(self, pitch: Pitch) -> str:
        return self.clean(self.words.pitch(pitch))

    def chord(self, pitches: tuple[Pitch, ...]) -> str:
        return together(self.clean(self.words.chord(pitches)))

    def asked(self, demand: Demand) -> str:
        """What the demand asks: `C5 & D6`, `C5 & D6 → B4 & C♯6`."""
        asked = self.chord(demand.pitches)
        if demand.open_pitches:
            asked = self.say("report.open_pitches", asked=asked)
        other = demand.kind != Kind.TIMBRAL_TRILL and demand.to
        return self.clean(f"{asked} → {self.chord(demand.to)}") if other else asked

    def bars(self, places: tuple[Place, ...], bar_above: str = "") -> str:
        """`bars 14, 18 (beats 1, 3), 22`; beats where a bar occurs twice or is the one told above."""
        by_bar: dict[str, list[str]] = {}
        for place in places:
            by_bar.setdefault(place.bar, []).append(self.words.beat(place))
        texts = [
            self.count("place.with_beats", len(beats), bar=bar, list=", ".join(beats))
            if len(beats) > 1 or bar == bar_above
            else bar
            for bar, beats in by_bar.items()
        ]
        return self.count("place.bars", len(by_bar), list=", ".join(texts))

    def places(self, places: tuple[Place, ...], bar_above: str = "") -> str:
        """Bars, part by part where there are several parts."""
        by_part: dict[str, list[Place]] = {}
        for place in places:
            by_part.setdefault(self.words.part(place), []).append(place)
        if len(by_part) == 1 and not self.several_parts:
            return self.bars(places, bar_above)
        texts = [
            self.say("place.in_part", part=part, bars=self.bars(tuple(same), bar_above))
            for part, same in by_part.items()
        ]
        return self.clean(self.words.value(tuple(texts), "semicolon"))

    @property
    def several_parts(self) -> bool:
        return self.report.several_parts

    def asked_for(self) -> list[str]:
        """How many of each kind, and how the chords were read where that is the same for all."""
        kinds = Counter(one.demand.kind for one in self.report.result.first_flute())
        told = [together(self.say("report.kinds", kind=self.say(f"kind.{kind}"), n=n)) for kind, n in kinds.items()]
        lines = wrap(self.say("report.asked", list=", ".join(told)), self.width, hanging=2)
        if self.one_reading:
            lines += wrap(self.chords_read(self.one_reading), self.width, hanging=2)
        if any(one.demand.pitches != one.demand.sounding for one in self.report.result.first_flute()):
            lines += wrap(self.say("report.as_written"), self.width, hanging=2)
        return lines

    def in_cents(self) -> list[str]:
        """What a figure after a note is, where one stands there."""
        demands = [one.demand for one in self.report.result.first_flute()]
        odd = any(round(pitch.cents) for one in demands for pitch in (*one.pitches, *one.to))
        return wrap(self.say("report.in_cents"), self.width, hanging=2) if odd else []

    def chords_read(self, reading: Message) -> str:
        """Where and how the chords were read; the bars only where they are few."""
        read = [one.demand.place for one in self.report.result.first_flute() if one.demand.reading]
        places = {(place.part_id, place.bar): place for place in read}
        if len(places) > _FEW_BARS:
            return self.say("report.chords", reading=reading)
        return self.say("report.chords_in", bars=self.places(tuple(places.values())), reading=reading)

    @property
    def one_reading(self) -> Message | None:
        """Why the chords were read as they were, if it is one reason for several."""
        found = {group.demand.reading for group in self.report.groups if group.demand.reading}
        return next(iter(found)) if len(found) == 1 and len(self.report.groups) > 1 else None

    def where(self, place: Place) -> str:
        """Bar and beat; before them the part, where there are several."""
        if self.several_parts:
            return self.full_place(place)
        return self.say("place.bar_beat", bar=place.bar, beat=self.words.beat(place))

    def tally(self, counts: Counts) -> str:
        figures = {status: getattr(counts, status) for status in Status}
        return self.count("report.summary", counts.demands, **figures)

    def cents_beside(self, worst: float, first_worst: float, first: str) -> str:
        """`22 cents off, 11 on vented-b`; '' where both are as near or a figure is missing."""
        if not math.isfinite(worst + first_worst) or round(worst) == round(first_worst):
            return ""
        return self.say("report.off", cents=f"{worst:.0f}", first_cents=f"{first_worst:.0f}", first=first)

    def short_list(self, places: tuple[Place, ...]) -> str:
        """One place with its beat; several by their bars, if all of them are places in a part."""
        if len(places) > 1 and not any(place.is_whole_part for place in places):
            return self.places(places)
        return self.clean(self.words.value(tuple(map(self.full_place, places)), "semicolon"))

    def full_place(self, place: Place) -> str:
        """`Flute, bar 12, beat 2`."""
        return self.clean(self.words.place(place))

    def rows(self, fingering: Fingering) -> tuple[str, str]:
        """A fingering as its two rows of signs."""
        upper, lower = diagram.plain_rows(fingering) if self.ascii else diagram.rows(fingering)
        return self.clean(upper), self.clean(lower)

    def deviations(self, decision: Decision) -> str:
        """`C5 -6 ±11, D6 +11 ±14 cents`."""
        figures = [
            f"{self.asked_name(pitch)} {signed_cents(cents)} ±{band:.0f}" for pitch, cents, band in deviations(decision)
        ]
        return self.say("report.cents", list=", ".join(map(together, figures))) if figures else ""

    def asked_name(self, pitch: Pitch) -> str:
        """A pitch before a figure in cents: `C5`, `C5(+50)`."""
        name = self.clean(self.words.note_name(pitch))
        return f"{name}({pitch.cents:+.0f})" if round(pitch.cents) else name

    def instead(self, decision: Decision) -> list[str]:
        texts = []
        for one in decision.instead:
            if not one.fingering and (one.pitches, one.to) == (decision.demand.pitches, decision.demand.to):
                texts.append(self.say("report.instead_so", why=one.why))
                continue
            key = "report.instead_with" if one.fingering else "report.instead"
            pitches = " → ".join(self.chord(chord) for chord in (one.pitches, one.to) if chord)
            what = self.say(key, pitches=pitches, fingering=together(text_of(one.fingering)))
            why = self.sentence(one.why)
            texts.append(self.say("report.reason", what=what, why=why) if why else what)
        return texts

    def path(self, decision: Decision) -> list[str]:
        """What the reason does not tell of the way: fingerings between the first and the last, a hole that is never wholly shut
        or open at an end, and the lip."""
        path = decision.path
        if not path:
            return []
        texts = []
        fingerings = [point.fingering for point in path]
        passed = [one for n, one in enumerate(fingerings) if not n or one != fingerings[n - 1]]
        if len(passed) > 2:
            texts.append(self.say("report.fingerings", list=" → ".join(together(str(one)) for one in passed)))
        moves = []
        for key, touch, start, end in _moves(path, self.words, lifted=decision.jump_cents > 0.0):
            moves.append(self.say(key, touch=touch, start=start, end=end))
        if moves:
            texts.append(self.say("report.means", list=", ".join(moves)))
        return texts


def signed_cents(cents: float) -> str:
    """Signed whole cents; plain 0 for none."""
    return f"{cents:+.0f}" if round(cents) else "0"


def _moves(path: tuple[PathPoint, ...], words: Words, *, lifted: bool) -> list[tuple[str, str, str, str]]:
    """(key of the words, touch, from, to) of holes and lip that change along the path; lifted: a key leaves its seat on it,
    which is told elsewhere."""
    first, last = path[0], path[-1]
    moves = []
    for touch in dict.fromkeys(touch for point in path for touch, _ in point.open):
        shares = [dict(point.open).get(touch, 0.0) for point in path]
        if len(set(shares)) > 1 and not lifted and {shares[0], shares[-1]} != {0.0, 1.0}:
            moves.append(
                ("report.hole", touch, words.number(round(shares[0], 1), "g"), words.number(round(shares[-1], 1), "g"))
            )
    if len({point.lip_cents for point in path}) > 1:
        moves.append(("report.lip", "", signed_cents(first.lip_cents), signed_cents(last.lip_cents)))
    return moves
