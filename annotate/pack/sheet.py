"""The practice sheet on paper: every demand once, in the order to learn them."""

from typing import Any

from annotate.decision import Status
from annotate.drawing import picture
from annotate.language import Words
from annotate.output import clean
from annotate.pack import speech
from annotate.pack.cards import Shown
from annotate.pack.entries import Entry
from annotate.pack.look import look
from annotate.pack.typeset import pdf, sheets
from annotate.report.content import Report
from fingering_db.fingering import Fingering

_MOST_PLACES = 12  # of a demand; all of them are on the page
_SPEED = "m\N{WORD JOINER}/\N{WORD JOINER}s"
"""Metres a second, at whose stroke no line is broken."""


class _Pictures:
    """Diagrams as files, each once."""

    def __init__(self) -> None:
        self.files: dict[str, str] = {}
        self._names: dict[Fingering, str] = {}

    def name(self, fingering: Fingering | None) -> str:
        """Of the file of a diagram; '' without a fingering."""
        if fingering is None:
            return ""
        name = self._names.setdefault(fingering, f"diagram-{len(self._names)}.svg")
        if name not in self.files:
            self.files[name] = picture.svg(picture.drawing(fingering))
        return name


def sheet_pdf(
    entries: tuple[Entry, ...],
    report: Report,
    shown: Shown,
    paper: str,
    heading: str,
    title: str,
    composer: str,
    flute: str,
) -> bytes:
    """The sheet. heading: what it is called."""
    words = shown.words
    pictures = _Pictures()
    data = {
        "title": clean(title),
        "heading": heading,
        "composer": clean(composer),
        "flute": clean(flute),
        "summary": shown.page.tally(report.total),
        "tuner": [words.text(f"pack.{name}") for name in ("written", "shows", "held", "speed")],
        "hand": words.text("pack.moves"),
        "cards": [_card(entry, shown, pictures) for entry in entries],
        "findings_heading": words.text("findings.heading"),
        "findings": _findings(report, words),
        "notes": [
            {"heading": words.text(f"{name}.heading"), "lines": list(words.lines(f"{name}.lines"))}
            for name in ("confidence_note", "cautions")
        ],
    }
    colours = {name: look().light(name) for name in ("line", "tide", *map(str, Status))}
    return pdf("sheet.typ", sheets(paper, words.language) | data | colours, pictures.files)


def _card(entry: Entry, shown: Shown, pictures: _Pictures) -> dict[str, Any]:
    words, answer = shown.words, entry.answers[0]
    decision = answer.decision
    played = answer.blown is not None
    places = (entry.group.demand.place, *entry.group.also)
    return {
        "number": entry.number,
        "asked": speech.asked(shown.page, decision),
        "kind": words.text(f"kind.{decision.demand.kind}"),
        "status": str(decision.status),
        "status_word": words.text(f"status.{decision.status}"),
        "places": speech.listed(shown.page, places, _MOST_PLACES),
        "held": [{"picture": pictures.name(one), "text": str(one)} for one in answer.fingerings],
        "seek": " ".join(speech.seek(words, answer)).replace("m/s", _SPEED) if played else "",
        "tuner": [list(row) for row in speech.tuner(words, answer)],
        "sure": f"{words.text('pack.confidence')} {speech.confidence(words, decision)}." if played else "",
        "own": clean(words.text("decisions.own_note", note=decision.own_note)) if decision.own_note else "",
        "why": clean(words.say(decision.why)),
        "warnings": [f"{code} {text}" for code, _, text in speech.warnings(shown.page, entry, decision)],
        "others": [
            {
                "heading": heading,
                "items": [{"picture": pictures.name(one), "text": f"{name}  {told}"} for one, name, told in items],
            }
            for heading, items in speech.others(shown.page, answer)
        ],
        "hand": [
            f"{one.where}: {one.told}" if one.where else one.told for one in speech.hand(shown.page, entry, shown.ways)
        ],
    }


def _findings(report: Report, words: Words) -> list[str]:
    told = []
    for one in report.finding_groups:
        where = "; ".join(clean(words.place(place)) for place in one.places)
        said = speech.finding(words, one.message, one.advice)
        told.append(f"{one.code} {words.text(f'findings.{one.severity}')}: {f'{where}. ' if where else ''}{said}")
    return told
