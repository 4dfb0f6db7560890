"""The first screen of the text report: every place that is not simply playable, in one line each."""

from collections.abc import Sequence
from dataclasses import replace

from annotate.decision import Decision, Instead, Status, weak_tones
from annotate.demand import Demand, Kind
from annotate.output import cut, display_width, pad, together, wrap
from annotate.report.content import Group, Report, deviations
from annotate.report.phrases import Page
from fingering_db.pitch import Pitch
from fingering_db.playability import PLAYABLE_CONFIDENCE

MARGIN = {Status.DOUBTFUL: "?", Status.UNPLAYABLE: "!"}
_MOST = 13  # lines: with the heading they fill a terminal of 24
_NARROW = 60  # below this many columns a place takes more than a line
_WHERE, _ASKED, _WHY = 26, 18, 27  # columns, at most
_PART = 12  # columns, at least, of the name of a part
_CUT = 12  # columns, at least, of a table that is too wide
_WORTH_TELLING = 20.0  # cents beyond which a doubt is told by how far off it is
_REASONS = ("P1", "P4", "P5", "P9", "G1", "P3", "P2")
"""Codes of findings whose reason is said in a few words (`short.CODE`), the most telling first."""

_IN_PLACE = {"choice.plain_note": "alone", "choice.other_octave": "octave"}
"""What is called other than other notes, by why it is offered."""
_SAME_NOTES = {
    "joint.after_a_rest": "short.after_a_rest",
    "glide.by_other_means": "short.other_means",
    "glide.one_after_the_other": "short.no_gliss",
    "glide.on_slide": "short.on_slide",
}
"""Ways out that keep the notes of a glissando, by why they are offered."""


def problems(groups: Sequence[Group], by_severity: bool) -> tuple[Group, ...]:
    """Groups that are doubtful or unplayable on the first flute, in order of place, or the worst first."""
    found = [group for group in groups if group.decisions[0].status != Status.PLAYABLE]
    return tuple(sorted(found, key=lambda group: -group.decisions[0].status.rank) if by_severity else found)


def problem_lines(report: Report, found: Sequence[Group], page: Page) -> list[str]:
    """A line for each: margin sign, place, what is asked, why not in a few words, what instead."""
    narrow = page.width < _NARROW
    parts = ["" if narrow else _part(group, page) for group in found[:_MOST]]  # each told once, above its rows
    rows = [
        (MARGIN[group.decisions[0].status], *_cells(report, group, page, bool(part)))
        for group, part in zip(found, parts, strict=False)
    ]
    titles = [page.say(f"short.{name}") for name in ("where", "asked", "why", "instead")]
    more = ["  " + page.say("report.and_more", n=len(found) - _MOST)] if len(found) > _MOST else []
    if narrow:
        texts = [f"{sign} {', '.join(cell for cell in cells if cell)}" for sign, *cells in rows]
        return [line for text in texts for line in wrap(text, page.width, hanging=4)] + more
    rows = [(" ", titles[0], titles[1], titles[2], titles[3]), *rows] if rows else []
    widths = [max((display_width(row[n]) for row in rows), default=0) for n in range(1, 4)]
    widths = [widths[0], min(widths[1], _ASKED), min(widths[2], _WHY)]
    lines = []
    for part, before, (sign, *cells) in zip(["", *parts], ["", "", *parts], rows, strict=False):
        lines += [f"  {cut(part, page.width - 2)}"] if part != before and part else []
        told = [pad(cut(cell, width), width + 2) for cell, width in zip(cells, widths, strict=False)]
        line = f"{sign} {''.join(told)}"
        if display_width(line + cells[-1]) <= page.width:
            lines.append((line + cells[-1]).rstrip())
        else:  # what to write instead, the use of it all, is never cut
            last = wrap(page.say("report.instead", pitches=cells[-1]), page.width - 4)
            lines += [cut(line.rstrip(), page.width), *(f"    {text}" for text in last)]
    return lines + more


def comparison_lines(report: Report, page: Page) -> list[str]:
    """Several flutes beside each other: a line for each demand that one of them does not simply play, with the answer of the
    first flute, and of each other one whether it is better, worse or the same; then how many all of them play."""
    told = [group for group in report.groups if any(one.status != Status.PLAYABLE for one in group.decisions)]
    if not told:
        return []
    flutes = list(dict.fromkeys(one.flute for group in told for one in group.decisions))
    count = sum(1 + len(group.also) for group in report.groups if group not in told)
    last = [page.count("report.all_play", count)] if count else []
    # In words with nothing cut; then by status alone, cutting names of flutes; then without beats; then cutting what is asked.
    ways = ((True, True, len(flutes) + 2), (False, True, 2), (False, False, 2), (False, False, 1))
    for in_words, beats, first in ways if page.width >= _NARROW else ():
        rows = _compared(report, told, flutes, page, in_words, beats)
        widths = _widths(rows, page.width, first)
        if sum(widths) + 2 * (len(widths) - 1) <= page.width:
            break
    else:
        texts = [", ".join(cell for cell in row if cell) for row in _compared(report, told, flutes, page, True, True)]
        return [line for text in [*texts, *last] for line in wrap(text, page.width, hanging=4)]
    lines = ["".join(pad(cut(cell, width), width + 2) for cell, width in zip(row, widths, strict=True)) for row in rows]
    return [line.rstrip() for line in lines] + last


def _compared(
    report: Report, told: Sequence[Group], flutes: Sequence[str], page: Page, in_words: bool, beats: bool
) -> list[list[str]]:
    """Rows of the table of flutes, its heads first."""
    rows = [["", "", *flutes]]
    for group in told:
        where = f"{MARGIN.get(group.decisions[0].status, ' ')} {_where(group, page, beats=beats)}"
        rows.append([where, page.asked(group.demand), *_beside(report, group, flutes, page, in_words)])
    return rows


def _widths(rows: Sequence[Sequence[str]], room: int, first: int) -> list[int]:
    """Columns of a table; where it is too wide for the room, the widest of those from `first` on gives way, as far as it may."""
    widths = [max(map(display_width, column)) for column in zip(*rows, strict=True)]
    while sum(widths) + 2 * (len(widths) - 1) > room and max(widths[first:], default=0) > _CUT:
        widths[widths.index(max(widths[first:]), first)] -= 1
    return widths


def _beside(report: Report, group: Group, flutes: Sequence[str], page: Page, in_words: bool) -> list[str]:
    """The answer of each flute: of the first why it is not simply playable, of others their status beside it; where there is no
    room for these words, the status alone."""
    answers = {one.flute: one.status for one in group.decisions}
    first = group.decisions[0].status
    told = []
    for flute in flutes:
        status = answers.get(flute)
        if status is None:
            told.append("")
        elif not in_words:
            told.append(page.say(f"status.{status}"))
        elif flute == group.decisions[0].flute:
            playable = status == Status.PLAYABLE
            told.append(page.say(f"status.{status}") if playable else _why(report, group, group.decisions[0], page))
        else:
            word = "same" if status == first else "better" if status.rank < first.rank else "worse"
            told.append(page.say("report.beside", word=page.say(f"report.{word}"), status=page.say(f"status.{status}")))
    return told


def _part(group: Group, page: Page) -> str:
    """The part that all places of a group are in, where there are several parts; '' else."""
    parts = {page.clean(page.words.part(place)) for place in (group.demand.place, *group.also)}
    return parts.pop() if page.several_parts and len(parts) == 1 else ""


def _cells(report: Report, group: Group, page: Page, in_part: bool) -> tuple[str, str, str, str]:
    """in_part: its part is told above."""
    demand, decision = group.demand, group.decisions[0]
    instead = next((_instead(one, demand, page) for one in decision.instead), "")
    if not instead and demand.kind == Kind.GLISSANDO and decision.status == Status.DOUBTFUL:
        instead = page.say("short.narrow" if decision.confidence >= PLAYABLE_CONFIDENCE else "short.no_gliss")
    return _where(group, page, in_part), page.asked(demand), _why(report, group, decision, page), instead


def _where(group: Group, page: Page, in_part: bool = False, beats: bool = True) -> str:
    """Its places, or the first of them and how many more there are; a long name of a part is cut, not its bar. beats: tells
    the beat of a single one."""
    places = (group.demand.place, *group.also)
    if len(places) == 1 and in_part:
        return page.say("place.bar_beat", bar=places[0].bar, beat=page.words.beat(places[0]))
    if len(places) == 1:
        part = page.words.part(places[0])
        own = replace(places[0], part=cut(page.clean(part), _PART), number=0)
        shown = own if display_width(page.where(places[0])) > _WHERE else places[0]
        return page.where(shown) if beats else page.places((shown,))
    for kept in range(min(len(places), _WHERE), 0, -1):
        told = page.bars(places[:kept]) if in_part else page.places(places[:kept])
        more = len(places) - kept
        told = f"{told} {page.say('report.more', n=more)}" if more else told
        if display_width(told) <= _WHERE:
            break
    return told


def _instead(one: Instead, demand: Demand, page: Page) -> str:
    """What to write: a glissando between the same notes is one in semitones, and what is lost by other notes is said."""
    if (one.pitches, one.to) == (demand.pitches, demand.to):
        return page.say(_SAME_NOTES.get(one.why.key, "short.run"))
    key = "plain" if demand.kind == Kind.MICROTONE else _IN_PLACE.get(one.why.key, "others")
    return page.say(f"short.{key}", pitches=_said(one.pitches, one.to, page))


def _said(pitches: tuple[Pitch, ...], to: tuple[Pitch, ...], page: Page) -> str:
    return together(" → ".join(page.chord(one) for one in (pitches, to) if one))


def _why(report: Report, group: Group, decision: Decision, page: Page) -> str:
    """The reason in a few words: that of a finding, else by figures."""
    codes = {one.finding.code for one in report.findings if one.finding.demand in group.ids}
    demand, told = decision.demand, decision.demand.instruction
    if decision.status == Status.UNPLAYABLE and told and (told.means or not decision.instead):
        return page.say("short.instruction")
    if decision.status == Status.UNPLAYABLE:
        code = next((code for code in _REASONS if code in codes), "fails")
        return page.say(f"short.{code}")
    weak = demand.kind == Kind.GLISSANDO and decision.confidence < PLAYABLE_CONFIDENCE
    off = "" if weak or decision.one_note else _off(decision, page)
    if off:
        return off
    return page.say("short.slow") if "H3" in codes else _doubt(decision, page)


def _doubt(decision: Decision, page: Page) -> str:
    """What makes doubtful that is in tune: nothing that slides, a step on the way, one note heard, hardly another colour, or what
    may not sound."""
    demand, likely = decision.demand, decision.confidence >= PLAYABLE_CONFIDENCE
    if decision.jump_cents:
        return page.say("short.jump", cents=round(decision.jump_cents))
    if decision.one_note:
        return page.say("short.one_note")
    if likely and demand.kind in (Kind.MULTIPHONIC, Kind.MICROTONE):
        return page.say("short.known_badly", band=round(max(decision.band_cents, default=0.0)))
    if demand.kind in (Kind.GLISSANDO, Kind.TIMBRAL_TRILL):
        good, none = ("glide", "G1") if demand.kind == Kind.GLISSANDO else ("no_colour", "weak")
        return page.say(f"short.{good if likely else 'weak' if decision.fingering else none}")
    tones = weak_tones(demand, decision.deviation_cents, decision.sounds, page.report.result.a4_hz)
    if not tones and demand.kind == Kind.MULTIPHONIC:
        return page.say("short.weak_together")
    return page.say("short.weak_tone", pitches=tuple(tones) or demand.pitches)


def _off(decision: Decision, page: Page) -> str:
    """By how much the pitch is off, '' where that is not what is doubtful."""
    demand = decision.demand
    off = [cents for _, cents, _ in deviations(decision)]
    worst = max(off, key=abs, default=0.0)
    if abs(worst) <= _WORTH_TELLING:
        return ""
    if demand.kind == Kind.GLISSANDO:
        asked, reached = _way(demand, off, off.index(worst))
        if abs(asked - reached) > _WORTH_TELLING:
            return page.say("short.slides", cents=round(reached), asked=round(asked))
    both = min(off) < -_WORTH_TELLING and max(off) > _WORTH_TELLING
    return page.say(f"short.{'off' if both else 'low' if worst < 0.0 else 'high'}", cents=round(abs(worst)))


def _way(demand: Demand, off: Sequence[float], worst: int) -> tuple[float, float]:
    """How far a glissando is to go and how far it goes, in cents, by the voice that has the worst end."""
    voices = len(demand.pitches)
    voice = min(worst % voices, len(off) - voices - 1)
    asked = 100.0 * (demand.to[voice].midi - demand.pitches[voice].midi)
    return abs(asked), abs(asked + off[voices + voice] - off[voice])
