"""Lists of the text report: fingerings by number, what the signs mean, and what has changed since an earlier report."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from annotate.decision import Decision
from annotate.demand import Kind
from annotate.drawing.diagram import letter_keys
from annotate.numbering import fingerings_of, numbered
from annotate.output import display_width, pad, side_by_side, together, wrap
from annotate.place import Place
from annotate.report.phrases import Page
from annotate.wording import key_names, legend, number_row
from fingering_db.fingering import Fingering, text_of

if TYPE_CHECKING:
    from annotate.since import Entry, Pair, Since

_DIAGRAM_COLUMN = 14  # as wide as the widest diagram
_FEWEST_BESIDE = 30  # columns; with fewer, texts stand below the diagrams
_GAP = 2
_INDENT = 2


def number_lines(decisions: Iterable[Decision], page: Page) -> list[str]:
    """For each numbered fingering its number, its diagram, and beside it what it is for and where."""
    judged = tuple(decisions)
    uses: dict[Fingering, dict[str, list[Place]]] = {}
    for decision in judged:
        start, end = fingerings_of(decision)
        for fingering, place in ((start, decision.demand.place), (end, _end_place(decision))):
            if fingering:
                uses.setdefault(fingering, {}).setdefault(page.asked(decision.demand), []).append(place)
    lines: list[str] = []
    for fingering, number in numbered(judged).items():
        head = page.clean(number_row(number, page.words.language))
        number_width = max(len(head), len(page.clean(number_row(99, page.words.language))))
        left = _INDENT + number_width + _GAP + _DIAGRAM_COLUMN + _GAP
        beside = page.width - left >= _FEWEST_BESIDE
        left = left if beside else 2 * _INDENT
        texts = [
            page.say("numbers.use", asked=asked, bars=page.places(tuple(at))) for asked, at in uses[fingering].items()
        ]
        told = [
            line for text in (together(str(fingering)), *texts) for line in wrap(text, page.width - left, hanging=2)
        ]
        columns = [(["", ""], 0), ([head], number_width), (list(page.rows(fingering)), _DIAGRAM_COLUMN)]
        columns += [(told, page.width - left)] if beside else []
        lines += ([""] if lines else []) + side_by_side(columns, _GAP)
        lines += [] if beside else [" " * left + line for line in told]
    return lines


def sign_lines(decisions: Iterable[Decision], page: Page) -> list[str]:
    """What the signs and letters of the fingerings shown mean; none where no fingering is shown."""
    shown = tuple(dict.fromkeys(one for decision in decisions for one in _shown(decision) if one))
    if not shown:
        return []
    signs = dict.fromkeys(legend(shown, language=page.words.language, plain=page.ascii))
    for suffix, key in (("o", "legend.letter_hole"), ("v", "legend.letter_vent")):
        signs |= {page.say(key): None} if any(suffix in held.suffix for one in shown for held in one.held) else {}
    texts = [
        page.say("signs.text"),
        page.words.value(tuple(signs), "semicolon"),
        key_names(letter_keys(shown), page.words.language),
    ]
    return [line for text in texts if text for line in wrap(page.clean(text), page.width, hanging=2)]


def _shown(decision: Decision) -> tuple[Fingering | None, ...]:
    """Every fingering that the report names at a demand."""
    others = [one.fingering for one in decision.alternatives] + [one.fingering for one in decision.instead]
    return *fingerings_of(decision), *others, *(point.fingering for point in decision.path)


def _end_place(decision: Decision) -> Place:
    event, place = decision.demand.events[-1] if decision.demand.events else None, decision.demand.place
    return replace(place, bar=event.bar, beat=event.beat) if event else place


def change_lines(since: Since, page: Page) -> list[str]:
    """A headline of counts, then a line or two for each demand that is new, solved, changed or gone."""
    figures = {key: len(getattr(since, key)) for key in ("new", "solved", "changed", "gone")}
    head = page.say("since.heading", report=since.earlier.path, unchanged=since.unchanged, **figures)
    rows = [("new", _where(entry, None, page), _state(entry, page)) for entry in since.new]
    rows += [("solved", _where(pair.now or pair.was, pair, page), _was_and_is(pair, page)) for pair in since.solved]
    rows += [("changed", _where(pair.now or pair.was, pair, page), _was_and_is(pair, page)) for pair in since.changed]
    rows += [("gone", _where(entry, None, page), _state(entry, page)) for entry in since.gone]
    words = {key: page.say(f"since.{key}") for key in figures}
    width = max(display_width(word) for word in words.values()) + _GAP
    lines = wrap(head, page.width, hanging=2)
    told, own = (re.split(r"[/\\]", path)[-1] for path in (since.earlier.score, page.report.result.score))
    if told and told != own:
        lines += wrap(page.say("since.other_score", told=told, own=own), page.width, hanging=2)
    for key, where, what in rows:
        text = page.say("since.line", place=where, what=what)
        body = wrap(text, page.width - _INDENT - width, hanging=2)
        firsts = [words[key], *[""] * (len(body) - 1)]
        lines += [" " * _INDENT + pad(first, width) + line for first, line in zip(firsts, body, strict=True)]
    return lines


def _where(entry: Entry, pair: Pair | None, page: Page) -> str:
    place = together(page.say("place.bar_beat", bar=entry.bar, beat=page.words.beat(entry.place)))
    if pair and pair.now and pair.was.bar != pair.now.bar:
        place = page.say("since.moved", place=place, bar=pair.was.bar)
    return page.clean(f"{page.words.part(entry.place)}, {place}") if page.several_parts else place


def _state(entry: Entry, page: Page) -> str:
    """`C5 & D6 playable`."""
    return page.say("since.state", asked=_asked(entry, page), status=page.say(f"status.{entry.status}"))


def _was_and_is(pair: Pair, page: Page) -> str:
    """`C♯5 & C6 unplayable → C5 & C♯6 playable`; what stays is told once, a fingering only where nothing else differs."""
    was, now = pair.was, pair.now
    if now is None:
        return page.say("since.to", was=_state(was, page), now=page.say("since.not_asked"))
    if was.content != now.content:
        return page.say("since.to", was=_state(was, page), now=_state(now, page))
    asked = _asked(now, page)
    if was.status != now.status:
        status = page.say(f"status.{now.status}")
        return page.say("since.to", was=_state(was, page), now=status)
    told = [together(text_of(one.fingering)) or page.say("since.no_fingering") for one in (was, now)]
    return page.say("since.state", asked=asked, status=page.say("since.to", was=told[0], now=told[1]))


def _asked(entry: Entry, page: Page) -> str:
    asked = page.chord(entry.pitches)
    glides = entry.to and entry.kind != Kind.TIMBRAL_TRILL
    return page.say("since.to", was=asked, now=page.chord(entry.to)) if glides else asked
