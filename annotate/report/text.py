"""The report as text for a terminal or printer: places at the left as in a cue sheet, answers beside them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from annotate.choosing.desks import DEFAULT_FLUTE
from annotate.decision import Decision, Result, Status
from annotate.decisions.address import FIX_TO, READ, READINGS, choice_line, place_line
from annotate.decisions.kept import beside
from annotate.language import words
from annotate.output import display_width, pad, side_by_side, together, with_blanks, wrap
from annotate.place import Place
from annotate.report.content import (
    FindingGroup,
    Group,
    build,
    changes,
    compared,
    confidence_word,
    other_fingerings,
    other_sounds,
)
from annotate.report.phrases import Page, signed_cents
from annotate.report.problems import MARGIN, comparison_lines, problem_lines, problems
from annotate.report.tables import change_lines, number_lines, sign_lines
from fingering_db.fingering import text_of
from fingering_db.message import Message

if TYPE_CHECKING:
    from annotate.since import Since

BRIEF, FULL = "brief", "full"
PLACE, SEVERITY = "place", "severity"
_PLACE_COLUMN = 18  # 'bar 112, beat 3.33'
_RIGHT_COLUMN = 14  # the widest diagram: '○○○ tr1 tr2 C♯'
_GAP = 2
_NARROW = 60  # below this many columns places stand above their answers
_ALTERNATIVES = 3
_OTHER_FINGERINGS = 8  # of another flute, told at the head of the report
_ALSO = 8  # further places of one answer; JSON has them all
_SAME_KIND = 3  # findings of one code shown in full
_USUAL_A4_HZ = 440.0


def render(
    result: Result,
    *,
    width: int = 80,
    ascii: bool = False,
    language: str = "en",
    numbered: bool = False,
    since: Since | None = None,
    detail: str = FULL,
    sort: str = PLACE,
) -> str:
    """The whole report, no line wider than `width` columns (at least 40), ending in a line feed.

    ascii: only ASCII characters, whatever stands in the score. numbered: with the table of numbered fingerings.
    since: what has changed, to be told first. detail: 'brief' leaves out the details of what is simply playable; sort: by
    'place', or by 'severity', the worst first. Raises InputError for an unknown language.
    """
    report = build(result)
    bad = problems(report.groups, sort == SEVERITY)
    shown = bad if detail == BRIEF else report.groups
    if sort == SEVERITY:
        shown = tuple(sorted(shown, key=lambda group: -group.decisions[0].status.rank))
    page = _Layout(report, max(width, 40), ascii, words(language), shown)
    sections = [page.heading(), page.changes(since), page.problems(bad)]
    sections += [page.comparison() if detail == FULL else [], page.demands()]
    sections += [page.numbers(numbered), page.findings(), page.not_judged(), page.signs()]
    sections += [page.plan(), page.decisions()] if detail == FULL else []
    if result.decisions:
        sections += [page.notices()]
    text = with_blanks("\n\n".join("\n".join(section) for section in sections if section))
    return "\n".join(line.rstrip() for line in text.split("\n")) + "\n"


def render_changes(result: Result, since: Since, *, width: int = 80, ascii: bool = False, language: str = "en") -> str:
    """What has changed alone, as `render` tells it at its head."""
    page = _Layout(build(result), max(width, 40), ascii, words(language))
    return with_blanks("\n".join(line.rstrip() for line in page.changes(since))) + "\n"


@dataclass(frozen=True, slots=True)
class _Layout(Page):
    """One report on one page width. Methods return lines."""

    """What is told in detail."""

    # --- sections

    def heading(self) -> list[str]:
        """What was read, for which flutes, and the headline in figures."""
        result, total = self.report.result, self.report.total
        flutes, parts = ", ".join(result.flutes), ", ".join(map(self.words.say, result.parts_read))
        if result.a4_hz != _USUAL_A4_HZ:
            flutes = self.say("report.tuning", flutes=flutes, hz=self.words.number(result.a4_hz, "g"))
        read = self.count("report.parts", len(result.parts_read), list=parts)
        told = [
            self.clean(result.score),
            self.say("report.flute_default", flute=flutes)
            if flutes == DEFAULT_FLUTE
            else self.count("report.flute", len(result.flutes), list=flutes),
            read if parts else self.say("report.no_parts"),
        ]
        if result.decisions_file:
            ruled = sum(one.ruled or bool(one.own_note) for one in result.first_flute())
            told.append(self.count("decisions.honoured", ruled, path=self.clean(result.decisions_file)))
        lines = list(chain.from_iterable(wrap(text, self.width, hanging=2) for text in told))
        if not result.decisions:
            return [*lines, "", *(wrap(self.say("report.no_demands"), self.width) if parts else [])]
        # Several flutes that answer the same demands are compared in a table instead.
        if not self.compared:
            lines += ["", *wrap(self.tally(total), self.width), *self.asked_for()]
        if self.report.per_flute[1:]:
            lines += ["", *self.table(), ""]
        if total.doubtful or total.unplayable:
            key = "report.margin_first" if self.compared else "report.margin"
            firsts = dict.fromkeys(decision.flute for decision in result.first_flute())
            lines += wrap(self.say(key, flute=", ".join(firsts)), self.width)
        elif not result.undecided:
            looks = {str(one.place) for one in result.findings if one.place and one.severity != "info"}
            key = "report.look" if looks else "report.nothing_to_change"
            lines += wrap(self.count(key, len(looks)), self.width)
        lines += self.in_cents()
        return lines if lines[-1] else lines[:-1]

    def problems(self, found: tuple[Group, ...]) -> list[str]:
        """The places to look at, in a line each; and where the others are told, if they are left out."""
        lines = comparison_lines(self.report, self) if self.compared else problem_lines(self.report, found, self)
        hidden = len(self.shown) < len(self.report.groups)
        return [*lines, *(wrap(self.say("report.playable_hidden"), self.width) if hidden else [])]

    def table(self) -> list[str]:
        """Counts for each flute: a name, then four columns of figures; on a narrow page in words."""
        if self.width < _NARROW:
            told = [(flute, self.tally(counts)) for flute, counts in self.report.per_flute]
            texts = [self.say("report.tally", flute=flute, counts=counts) for flute, counts in told]
            return [line for text in texts for line in wrap(text, self.width, hanging=4)]
        heads = [self.say("report.demands"), *(self.say(f"status.{status}") for status in Status)]
        widths = [display_width(head) + _GAP for head in heads]
        room = self.width - sum(widths)
        names = [wrap(self.clean(flute), room) or [""] for flute, _ in self.report.per_flute]
        name_width = max(display_width(line) for name in names for line in name)
        rows = [([""], heads)]
        for name, (_, counts) in zip(names, self.report.per_flute, strict=True):
            rows.append((name, [str(counts.demands), *(str(getattr(counts, status)) for status in Status)]))
        lines = []
        for name, figures in rows:
            line = pad(name[-1], name_width)
            for text, width in zip(figures, widths, strict=True):
                line += " " * (width - display_width(text)) + text
            lines += [*name[:-1], line]
        return lines

    @property
    def compared(self) -> bool:
        """Several flutes answer the same demands (rather than each part having its own)."""
        return any(len(group.decisions) > 1 for group in self.report.groups)

    def comparison(self) -> list[str]:
        """What each further flute adds to the first, and what it lacks."""
        if not self.compared:
            return []
        pairs = compared(self.report)
        return [line for pair in pairs for line in (*self.changed(*pair), *self.by_other_fingerings(*pair))]

    def changed(self, flute: str, first: str) -> list[str]:
        found = changes(self.report, flute, first)
        lines = []
        for better, key in ((True, "report.adds"), (False, "report.lacks")):
            told: dict[tuple[str, str], list[Place]] = {}
            for change in found:
                if change.better == better:
                    asked = self.asked(change.demand), self.say(f"status.{change.status}")
                    told.setdefault(asked, []).append(change.demand.place)
            texts = [
                self.say("report.change", asked=asked, bars=self.places(tuple(at)), status=status)
                for (asked, status), at in told.items()
            ]
            text = self.say(key, flute=flute, first=first, list=", ".join(texts)) if texts else ""
            if better and not texts:
                text = self.say("report.adds_nothing", flute=flute, first=first)
            lines += wrap(text, self.width, hanging=4)
        return lines

    def by_other_fingerings(self, flute: str, first: str) -> list[str]:
        """What both flutes play, but not alike."""
        told: dict[tuple[str, str], list[Place]] = {}
        for one in other_fingerings(self.report, flute, first):
            cents = self.cents_beside(one.worst_cents, one.first_worst_cents, first)
            told.setdefault((self.asked(one.demand), cents), []).append(one.demand.place)
        texts = [
            self.say("report.change", asked=asked, bars=self.places(tuple(at)), status=cents)
            if cents
            else self.say("report.other", asked=asked, bars=self.places(tuple(at)))
            for (asked, cents), at in list(told.items())[:_OTHER_FINGERINGS]
        ]
        texts += [self.say("report.more", n=len(told) - len(texts))] if len(told) > len(texts) else []
        text = self.say("report.other_fingering", flute=flute, first=first, list=", ".join(texts)) if texts else ""
        return wrap(text, self.width, hanging=4)

    def changes(self, since: Since | None) -> list[str]:
        """What has changed since an earlier report."""
        return change_lines(since, self) if since else []

    def numbers(self, wanted: bool) -> list[str]:
        """The table of numbered fingerings."""
        lines = number_lines(self.report.result.first_flute(), self) if wanted else []
        return [self.rule(), self.say("numbers.heading"), "", *lines] if lines else []

    def signs(self) -> list[str]:
        """How the fingerings above are to be read."""
        lines = sign_lines([one for group in self.shown for one in group.decisions], self)
        return [self.rule(), self.say("signs.heading"), "", *lines] if lines else []

    def plan(self) -> list[str]:
        """What the plan of each part costs beside choosing each note alone."""
        lines = []
        for one in self.report.result.plan_costs:
            figures = [self.words.number(cost, ".1f") for cost in (one.cost, one.alone)]
            told = self.say("plan.costs", part=self.clean(self.words.part(one.part)), plan=figures[0], alone=figures[1])
            lines += wrap(told, self.width, hanging=2)
        return [self.rule(), *lines] if lines else []

    def decisions(self) -> list[str]:
        """A line to paste into the decisions file for each choice, whole: longer than the page where it must be."""
        lines = []
        for one in self.report.result.first_flute():
            if one.demand.address and one.fingering and not one.ruled:
                others = (other.fingering for other in one.alternatives[:_ALTERNATIVES])
                lines.append(self.clean(choice_line(one.demand.address, one.fingering, others)))
                if one.demand.is_to_and_fro:
                    lines.append(self.clean(place_line(one.demand.address, FIX_TO, one.path[-1].fingering)))
        for each in self.report.result.undecided:
            lines += [self.clean(place_line(each.address, READ, how)) for how in READINGS if each.address]
        name = self.clean(beside(Path(self.report.result.score)).name)
        head = wrap(self.say("decisions.paste", name=name), self.width)
        return [self.rule(), *head, "", *lines] if lines else []

    def demands(self) -> list[str]:
        lines: list[str] = []
        for group in self.shown:
            lines += ([""] if lines else [self.rule(), ""]) + self.demand(group)
        return lines

    def rule(self) -> str:
        return "-" * self.width if self.ascii else "─" * self.width

    def findings(self) -> list[str]:
        by_code: dict[str, list[FindingGroup]] = {}
        for group in self.report.finding_groups:
            if self.told_at_demand(group):
                continue
            by_code.setdefault(f"{group.code} {group.severity}", []).append(group)
        lines: list[str] = []
        for groups in by_code.values():
            for group in groups[:_SAME_KIND]:
                lines += self.finding(group)
            rest = groups[_SAME_KIND:]
            if rest:
                places = tuple({str(place): place for group in rest for place in group.places}.values())
                number = sum(len(group.demands) for group in rest)
                more = self.say("findings.more", n=number, places=self.short_list(places))
                lines += [self.indented(line, 4) for line in wrap(more, self.width - 4)]
        return [self.rule(), self.say("findings.heading"), "", *lines] if lines else []

    def told_at_demand(self, group: FindingGroup) -> bool:
        """Whether all places of a finding are told in detail: then it stands there."""
        return bool(group.demands) and set(group.demands) <= {one for shown in self.shown for one in shown.ids}

    def findings_at(self, group: Group, width: int) -> list[str]:
        """Findings that belong to the demands of a group, at the first of them that is told."""
        why = {self.sentence(decision.why) for decision in group.decisions}
        lines = []
        for one in self.report.finding_groups:
            if one.demands and one.demands[0] in group.ids and self.told_at_demand(one):
                message, advice = self.sentence(one.message), self.sentence(one.advice)
                known = message in why
                if known and any(decision.instead for decision in group.decisions):
                    advice = ""  # what to write instead stands above
                told = " ".join(_ended(text) for text in ("" if known else message, advice) if text)
                told = told or f"ventwise explain {one.code}"
                others = set(one.demands) - set(group.ids)
                where = f" ({self.short_list(one.places)})" if others else ""
                lines += wrap(f"{one.code}{where}: {told}", width, hanging=2) if told else []
        return lines

    def notices(self) -> list[str]:
        """How far to trust the figures, and care for the player, in a line each."""
        texts = [self.say("confidence_note.short"), self.say("cautions.short")]
        return [self.rule(), *(line for text in texts for line in wrap(text, self.width, hanging=2))]

    def finding(self, group: FindingGroup) -> list[str]:
        severity = self.say(f"findings.{group.severity}")
        head = f"{group.code} {severity}" + (f": {self.short_list(group.places)}" if group.places else "")
        why = {one.demand.id: one.why for one in self.report.result.decisions}
        # The reason already stands at the demand itself.
        told_above = bool(group.demands) and all(why.get(demand) == group.message for demand in group.demands)
        body = self.say("findings.reason_above") if told_above else self.sentence(group.message)
        lines = wrap(self.clean(head), self.width, hanging=4)
        text = f"{_ended(body)} {_ended(self.sentence(group.advice))}"
        return lines + [self.indented(line, 4) for line in wrap(text, self.width - 4)]

    def not_judged(self) -> list[str]:
        by_what: dict[Message, list[Place]] = {}
        for one in self.report.result.not_judged:
            by_what.setdefault(one.what, []).append(one.place)
        lines = []
        for what, places in by_what.items():
            text = self.say("not_judged.line", what=what, places=self.places(tuple(places)))
            lines += wrap(text, self.width, hanging=4)
        return [self.rule(), self.say("not_judged.heading"), "", *lines] if lines else []

    @staticmethod
    def indented(line: str, columns: int) -> str:
        return " " * columns + line

    # --- one demand

    def demand(self, group: Group) -> list[str]:
        """One group of equal demands: margin sign, place, answer."""
        sign = MARGIN.get(group.decisions[0].status, "")
        narrow = self.width < _NARROW
        left = _GAP if narrow else _GAP + _PLACE_COLUMN + _GAP
        body_width = self.width - left
        body = self.answers(group, body_width)
        if group.also:
            told = self.places(group.also[:_ALSO], group.demand.place.bar)
            more = len(group.also) - _ALSO
            told += f" {self.say('report.more', n=more)}" if more > 0 else ""
            body += wrap(self.say("report.also", bars=told), body_width, hanging=2)
        body += self.findings_at(group, body_width)
        if narrow:
            where = wrap(", ".join(self.place(group.demand.place)), body_width)
            return [pad(sign, _GAP) + where[0]] + [self.indented(line, _GAP) for line in [*where[1:], *body]]
        where = [line for text in self.place(group.demand.place) for line in wrap(text, _PLACE_COLUMN)]
        return side_by_side([([sign], _GAP - 1), (where, _PLACE_COLUMN + 1), (body, body_width)], gap=1)

    def place(self, place: Place) -> list[str]:
        """Lines for the place column: bar and beat, rehearsal mark and time, part."""
        lines = [
            self.say("place.bar_beat", bar=place.bar, beat=self.words.beat(place)),
            self.after_mark(place.rehearsal),
            f"{int(place.seconds) // 60}:{int(place.seconds) % 60:02d}",
            self.clean(self.words.part(place)) if self.several_parts else "",
        ]
        return [line for line in lines if line]

    def after_mark(self, rehearsal: str) -> str:
        """`3 bars after C`, of what a place calls 'C+3'; '' for none."""
        mark, _, bars = rehearsal.rpartition("+")
        if mark and bars.isdecimal():
            return self.count("place.after_mark", int(bars), mark=mark)
        return self.say("place.at_mark", mark=rehearsal) if rehearsal else ""

    def answers(self, group: Group, width: int) -> list[str]:
        demand = group.demand
        title = f"{self.asked(demand)}, {self.say(f'kind.{demand.kind}')}"
        titles = [title]
        if demand.fingering:
            titles.append(self.say("report.asked_fingering", fingering=together(demand.fingering)))
        if demand.reading and group.tells_reading and not self.one_reading:
            titles.append(self.say("report.reading", reading=demand.reading))
        if len(group.decisions) == 1:
            return self.single(group.decisions[0], titles, width)
        lines = [line for text in titles for line in wrap(text, width, hanging=2)]
        across = 2 if width >= 2 * _PLACE_COLUMN + _GAP else 1
        column = (width - _GAP * (across - 1)) // across
        for start in range(0, len(group.decisions), across):
            row = group.decisions[start : start + across]
            lines += ["", *side_by_side([(self.column(one, column), column) for one in row], _GAP)]
        return lines

    def single(self, decision: Decision, titles: list[str], width: int) -> list[str]:
        """The answer on one flute: status and diagram in a column at the right."""
        right = [self.say(f"status.{decision.status}"), *self.diagram(decision)]
        left_width = width - _RIGHT_COLUMN - _GAP
        if len(self.report.result.flutes) > 1:
            titles = [*titles, self.say("report.on_flute", flute=decision.flute)]
        texts = [*titles, together(text_of(decision.fingering)), self.deviations(decision)]
        left = [line for text in texts for line in wrap(self.clean(text), left_width, hanging=2)]
        top = side_by_side([(left, left_width), (right, _RIGHT_COLUMN)], _GAP)
        return [*top, *self.reasons(decision, width), *self.alternatives(decision, width)]

    def column(self, decision: Decision, width: int) -> list[str]:
        """The answer on one of several flutes, as a narrow column."""
        lines = [*wrap(self.clean(decision.flute), width), self.say(f"status.{decision.status}")]
        lines += wrap(self.clean(together(text_of(decision.fingering))), width)
        lines += [*self.diagram(decision), *wrap(self.deviations(decision), width, hanging=2)]
        return [*lines, *self.reasons(decision, width)]

    def diagram(self, decision: Decision) -> tuple[str, ...]:
        return self.rows(decision.fingering) if decision.fingering else ()

    def reasons(self, decision: Decision, width: int) -> list[str]:
        """Confidence, why, the path, what else sounds, what to play instead."""
        texts = [self.sentence(decision.why)]
        if decision.at_once:
            texts.append(self.sentence(decision.at_once))
        if decision.own_note:
            texts.append(self.say("decisions.own_note", note=self.clean(decision.own_note)))
        if decision.fingering:
            word = confidence_word(decision)
            sure = self.words.value(decision.confidence, "sure")
            texts.insert(0, self.say(f"confidence.{word}", figure=sure))
        texts += self.path(decision)
        others = [
            self.say("report.sound", pitch=self.pitch(sound.pitch), strength=self.words.value(sound.strength, "sure"))
            for sound in other_sounds(decision)
        ]
        if others:
            texts.append(self.say("report.else", list=", ".join(together(text) for text in others)))
        texts += self.instead(decision)
        return [line for text in texts for line in wrap(text, width, hanging=2)]

    def alternatives(self, decision: Decision, width: int) -> list[str]:
        """`or T 2 3 G# | Eb  -9, +14 cents (0.71)`, one below the other."""
        shown = decision.alternatives[:_ALTERNATIVES]
        lead = self.say("report.or")
        widest = max((display_width(str(one.fingering)) for one in shown), default=0)
        lines = []
        for one in shown:
            cents = ", ".join(signed_cents(cents) for cents in one.deviation_cents)
            sure = self.words.value(one.confidence, "sure")
            figures = self.say("report.alternative", cents=cents, figure=sure)
            # A no-break text: the figures go to a line of their own where both do not fit on one.
            text = f"{lead} {together(pad(str(one.fingering), widest))} {together(figures)}"
            lines += wrap(text, width, hanging=display_width(lead) + 1)
        return lines


def _ended(text: str) -> str:
    """A finding's words as a sentence: a capital, unless it begins with the name of a file, and a full stop where nothing ends
    it."""
    is_name = "." in text.partition(" ")[0].rstrip(".,:")
    whole = text if is_name else text[:1].upper() + text[1:]
    return whole if not whole or whole.endswith((".", "!", "?")) else f"{whole}."
