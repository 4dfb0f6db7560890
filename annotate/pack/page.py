"""One page with everything: no network, no file beside it, nothing of the score taken for markup."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files

from annotate.decision import Decision, Status
from annotate.decisions.address import READ, READINGS, place_line
from annotate.demand import Undecided
from annotate.language import Words
from annotate.output import clean
from annotate.pack import fonts, speech
from annotate.pack.cards import Shown, bar_number, card
from annotate.pack.engraving import UNIT
from annotate.pack.entries import Entry
from annotate.pack.look import look
from annotate.pack.markup import Html, data, digest, joined, tag
from annotate.pack.sounds import PAGE_RATE
from annotate.pack.svg_out import Store, recoloured
from annotate.report.content import FindingGroup, Report

_SEVERITIES = ("error", "warning", "info")


@dataclass(frozen=True, slots=True)
class MusicPart:
    """The music of a part as SVG texts: pages as on paper, and one for a narrow screen."""

    name: str
    wide: tuple[str, ...]
    narrow: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PageContent:
    """What a page shows. heading: what it is called; title: the piece; instead: for each of several flutes what stands
    above the notes; glyphs, drawings: what the music refers to; legend:
    (SVG text, words); sounds: mu-law by name."""

    heading: str
    title: str
    composer: str
    report: Report
    entries: tuple[Entry, ...]
    music: tuple[MusicPart, ...]
    instead: Mapping[str, Mapping[str, object]]
    glyphs: Store
    drawings: Store
    legend: tuple[tuple[str, str], ...]
    sounds: Mapping[str, str]
    shown: Shown

    @property
    def words(self) -> Words:
        return self.shown.words


def render(content: PageContent) -> bytes:
    words = content.words
    cards = [card(entry, content.shown) for entry in content.entries]
    body = joined(
        tag("a", {"class": "skip", "href": "#practice"}, words.text("pack.to_music")),
        tag("svg", {"class": "store", "aria-hidden": "true", "focusable": "false"}, _drawings(content)),
        _header(content),
        tag(
            "main",
            {},
            _filters(content),
            _music(content),
            _practice(content, cards),
            _flutes(content),
            _findings(content),
        ),
        _footer(content),
    )
    told = data(_data(content))
    style = look().css() + fonts.css() + files("annotate.pack").joinpath("page.css").read_text(encoding="utf-8")
    script = files("annotate.pack").joinpath("page.js").read_text(encoding="utf-8")
    policy = (
        f"default-src 'none'; style-src {digest(style)}; script-src {digest(script)}; font-src data:; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    head = tag(
        "head", {},
        tag("meta", {"charset": "utf-8"}),
        tag("meta", {"http-equiv": "Content-Security-Policy", "content": policy}),
        tag("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}),
        tag("meta", {"name": "generator", "content": "ventwise"}),
        tag("title", {}, f"{clean(content.title)} – {content.heading}"),
        tag("style", {}, Html(style)),
    )  # fmt: skip
    scripts = joined(tag("script", {"type": "application/json", "id": "data"}, told), tag("script", {}, Html(script)))
    page = tag("html", {"lang": words.language}, head, tag("body", {}, body, scripts))
    return f"<!DOCTYPE html>\n{page}\n".encode()


def _drawings(content: PageContent) -> Html:
    """What music and cards refer to."""
    shared = content.shown.diagrams.parts
    diagrams, music = content.shown.diagrams.symbols(), content.drawings.shared(shared)
    return Html(content.glyphs.symbols() + music + diagrams + recoloured(shared.symbols()))


def _header(content: PageContent) -> Html:
    words, report = content.words, content.report
    flutes = ", ".join(clean(name) for name, _ in report.per_flute)
    counts = [
        tag("li", {"class": str(status)}, f"{getattr(report.total, status)} {words.text(f'status.{status}')}")
        for status in Status
    ]
    tools = [
        tag("button", {"type": "button", "id": name}, words.text(key))
        for name, key in (("theme", "pack.theme"), ("print", "pack.print"))
    ]
    title = tag("h1", {}, clean(content.title))
    about = " · ".join(part for part in (content.heading, clean(content.composer), flutes) if part)
    left = tag("div", {}, title, tag("p", {"class": "quiet"}, about), tag("ul", {"class": "counts"}, *counts))
    return tag("header", {}, left, tag("div", {"class": "tools"}, *tools))


def _filters(content: PageContent) -> Html:
    words, report = content.words, content.report
    boxes = [
        tag("label", {}, tag("input", {"type": "checkbox", "name": "status", "value": str(status), "checked": True}),
            words.text(f"status.{status}"))
        for status in Status
    ]  # fmt: skip
    numbers = [
        tag(
            "label",
            {},
            words.text(key),
            " ",
            tag("input", {"type": "number", "id": name, "min": "0", "inputmode": "numeric"}),
        )
        for name, key in (("from", "pack.bar_from"), ("to", "pack.bar_to"))
    ]
    chosen = []
    parts = {one.demand.place.part_id: words.part(one.demand.place) for one in report.result.first_flute()}
    if len(parts) > 1:
        options = [tag("option", {"value": ""}, words.text("pack.every_part"))]
        options += [tag("option", {"value": part}, clean(name)) for part, name in parts.items()]
        chosen.append(tag("label", {}, words.text("pack.part"), " ", tag("select", {"id": "part"}, *options)))
    flutes = [clean(name) for name, counts in report.per_flute if counts.demands]
    if any(len(entry.answers) > 1 for entry in content.entries):
        options = [tag("option", {"value": name}, name) for name in flutes]
        chosen.append(tag("label", {}, words.text("pack.flute"), " ", tag("select", {"id": "flute"}, *options)))
    status = tag("fieldset", {}, tag("legend", {}, words.text("pack.filter")), *boxes)
    count = tag("output", {"id": "count", "aria-live": "polite", "class": "quiet"})
    inner = tag("form", {"class": "filters", "aria-label": words.text("pack.filter")}, status, *numbers, *chosen, count)
    fold = tag("details", {"id": "fold", "open": True}, tag("summary", {}, words.text("pack.filter")), inner)
    return tag("section", {"aria-label": words.text("pack.filter")}, fold)


def _music(content: PageContent) -> Html:
    words = content.words
    blocks: list[Html] = []
    for part in content.music:
        if len(content.music) > 1:
            blocks.append(tag("h3", {}, clean(part.name)))
        blocks += [tag("div", {"class": "music wide"}, Html(svg)) for svg in part.wide]
        blocks += [tag("div", {"class": "music narrow"}, Html(svg)) for svg in part.narrow]
    names = dict.fromkeys(one.flute for one in content.report.result.first_flute())
    flute = words.text("pack.diagrams_for", flute=", ".join(clean(name) for name in names))
    hint = tag("p", {"class": "hint"}, f"{words.text('pack.hint')} ", tag("span", {"id": "above-for"}, flute))
    signs = [tag("li", {}, Html(picture), " ", text) for picture, text in content.legend]
    legend = (
        tag("details", {}, tag("summary", {}, words.text("signs.heading")), tag("ul", {"class": "legend"}, *signs))
        if signs
        else Html("")
    )
    buttons = [
        tag("button", {"type": "button", "id": name, "aria-label": words.text(key)}, sign)
        for name, key, sign in (
            ("previous", "pack.previous", "←"),
            ("next", "pack.next", "→"),
            ("close", "pack.close", "✕"),
        )
    ]
    where = tag("strong", {"class": "where", "tabindex": "-1"}, "")
    bar = tag("div", {"class": "bar"}, where, tag("span", {}, *buttons))
    panel = tag(
        "aside",
        {"id": "panel", "hidden": True, "aria-label": words.text("pack.place_of")},
        bar,
        tag("div", {"class": "body"}),
    )
    stage = tag("div", {"class": "stage"}, tag("div", {}, *blocks), panel)
    heading = tag("h2", {"id": "music"}, words.text("pack.music"))
    return tag("section", {"aria-labelledby": "music"}, heading, hint, legend, stage)


def _practice(content: PageContent, cards: Sequence[Html]) -> Html:
    if not cards:
        return tag("section", {"id": "practice"}, tag("p", {}, content.words.text("report.no_demands")))
    heading = tag("h2", {"id": "practice"}, content.words.text("pack.practice"))
    note = tag("p", {"class": "quiet"}, content.words.text("pack.listen_note")) if content.sounds else Html("")
    return tag("section", {"aria-labelledby": "practice"}, heading, note, tag("div", {"class": "cards"}, *cards))


def _flutes(content: PageContent) -> Html:
    """One row for each demand, one column for each flute, where there are several that answer the same."""
    words, report = content.words, content.report
    by_demand: dict[str, dict[str, Decision]] = {}
    for one in report.result.decisions:
        by_demand.setdefault(one.demand.id, {})[one.flute] = one
    if not any(len(answers) > 1 for answers in by_demand.values()):
        return Html("")
    names = [name for name, counts in report.per_flute if counts.demands]
    heads = [words.text("pack.place_of"), *map(clean, names)]
    rows = []
    for demand, answers in by_demand.items():
        first = next(iter(answers.values()))
        where = f"{speech.where(content.shown.page, first.demand.place)} "
        button = tag("button", {"type": "button", "class": "place", "data-go": demand}, where)
        cells = [_cell(answers.get(name), content) for name in names]
        rows.append(
            tag(
                "tr",
                {"data-row": demand},
                tag("th", {"scope": "row"}, button, " ", speech.asked(content.shown.page, first)),
                *cells,
            )
        )
    head = tag("thead", {}, tag("tr", {}, *(tag("th", {"scope": "col"}, text) for text in heads)))
    table = tag("table", {}, head, tag("tbody", {}, *rows))
    heading = tag("h2", {"id": "flutes"}, words.text("pack.flutes"))
    scroll = tag("div", {"class": "scroll", "tabindex": "0", "role": "region", "aria-labelledby": "flutes"}, table)
    return tag("section", {"aria-labelledby": "flutes"}, heading, scroll)


def _cell(decision: Decision | None, content: PageContent) -> Html:
    if decision is None:
        return tag("td", {}, "–")
    status = tag("span", {"class": str(decision.status)}, content.words.text(f"status.{decision.status}"))
    shown = decision.fingering if decision.status != Status.UNPLAYABLE else None
    return tag("td", {}, status, " ", content.shown.diagrams.use(shown))


def _findings(content: PageContent) -> Html:
    words = content.words
    items = [_finding(group, words) for group in content.report.finding_groups]
    items += [
        tag(
            "li",
            {},
            tag("b", {}, clean(words.say(one.what))),
            f": {clean(words.place(one.place))} – {words.text('not_judged.heading')}",
        )
        for one in content.report.result.not_judged
    ]
    items += [_undecided(one, words) for one in content.report.result.undecided]
    if not items:
        return Html("")
    heading = tag("h2", {"id": "findings"}, words.text("findings.heading"))
    return tag("section", {"aria-labelledby": "findings"}, heading, tag("ul", {"class": "findings"}, *items))


def _undecided(one: Undecided, words: Words) -> Html:
    """A chord that nobody can tell how to read, with the lines that settle it."""
    lines = [clean(place_line(one.address, READ, how)) for how in READINGS if one.address]
    evidence = "; ".join(clean(words.say(each)) for each in one.evidence)
    told = f"{clean(words.chord(one.pitches))} – {evidence}"
    head = tag("b", {}, f"{clean(words.place(one.place))}: ")
    return tag("li", {"class": "warning"}, head, told, tag("pre", {"tabindex": "0"}, "\n".join(lines)))


def _finding(group: FindingGroup, words: Words) -> Html:
    where: list[str] = []
    for number, place in enumerate(group.places):
        text = clean(words.place(place))
        demand = group.demands[number] if number < len(group.demands) else ""
        where += [tag("button", {"type": "button", "class": "place", "data-go": demand}, text) if demand else text, " "]
    head = tag("b", {}, f"{group.code} {words.text(f'findings.{group.severity}')}: ")
    told = tag("p", {}, speech.finding(words, group.message, group.advice))
    return tag("li", {"class": group.severity if group.severity in _SEVERITIES else ""}, head, *where, told)


def _footer(content: PageContent) -> Html:
    words = content.words
    blocks = [
        joined(
            tag("h2", {}, words.text(f"{name}.heading")), *(tag("p", {}, line) for line in words.lines(f"{name}.lines"))
        )
        for name in ("confidence_note", "cautions")
    ]
    return tag("footer", {}, *blocks)


def _data(content: PageContent) -> dict[str, object]:
    words, report = content.words, content.report
    entry_of = {demand: entry.key for entry in content.entries for demand in entry.group.ids}
    on: dict[str, dict[str, str]] = {}
    for one in report.result.decisions:
        on.setdefault(one.demand.id, {})[clean(one.flute)] = str(one.status)
    demands = {}
    for one in report.result.first_flute():
        place = one.demand.place
        demands[one.demand.id] = {
            "entry": entry_of[one.demand.id],
            "bar": bar_number(place.bar),
            "part": place.part_id,
            "status": str(one.status),
            "on": on[one.demand.id],
            "place": f"{speech.where(content.shown.page, place)}: {speech.asked(content.shown.page, one)}",
        }
    total = len(demands)
    return {
        "demands": demands,
        "order": list(demands),
        "sounds": {name: {"rate": PAGE_RATE, "mulaw": text} for name, text in content.sounds.items()},
        "above": {
            "told": {name: words.text("pack.diagrams_for", flute=name) for name in content.instead},
            "flutes": content.instead,
            "size": look().printed.note_text * UNIT,
            "unit": UNIT,
        },
        "charts": content.shown.charts,
        "stop": words.text("pack.stop"),
        "shown": [
            words.text("pack.shown", n=1, total=total),
            words.text("pack.shown", n=98765, total=total).replace("98765", "{n}"),
        ],
    }
