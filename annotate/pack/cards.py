"""A demand as a card of the practice sheet: the same card is shown beside the music when a note of it is chosen."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from annotate.decision import Decision
from annotate.demand import Kind
from annotate.drawing import picture
from annotate.drawing.path_picture import path_svg
from annotate.language import Words
from annotate.output import clean
from annotate.pack import speech
from annotate.pack.charts import chart, numbers
from annotate.pack.entries import Answer, Entry, Ways
from annotate.pack.markup import Html, joined, tag
from annotate.pack.svg_out import Store, recoloured
from annotate.report.phrases import Page
from fingering_db.fingering import Fingering


@dataclass(slots=True)
class Diagrams:
    """Diagrams of a page: each is drawn once, of parts, and shown wherever it is used."""

    parts: Store
    names: dict[picture.Drawing, str] = field(default_factory=dict)

    def use(self, fingering: Fingering | None, size: str = "diagram") -> Html:
        """A diagram; nothing without a fingering."""
        if fingering is None:
            return Html("")
        drawing = picture.drawing(fingering)
        name = self.names.setdefault(drawing, f"g{len(self.names)}")
        box = {"viewBox": _box(drawing), "class": size, "role": "img", "aria-label": drawing.title}
        return tag("svg", box, tag("use", {"href": f"#{name}"}))

    def symbols(self) -> Html:
        """What every use refers to."""
        found = []
        for drawing, name in self.names.items():
            inner = self.parts.uses("\n".join(map("".join, picture.rows(drawing))))
            found.append(tag("symbol", {"id": name, "viewBox": _box(drawing)}, Html(inner)))
        return joined(*found)


def _box(drawing: picture.Drawing) -> str:
    width, height = picture.size(drawing)
    return f"0 0 {width:.2f} {height:.2f}"


@dataclass(frozen=True, slots=True)
class Shown:
    """What cards draw on. ways: by demand; sounds: names of sounds by (entry, flute);
    charts: numbers of the pictures so far;
    decide: a line of a decisions file by demand id."""

    page: Page
    diagrams: Diagrams
    ways: Mapping[str, Ways]
    sounds: Mapping[tuple[str, str], str]
    charts: list[dict[str, object]]
    decide: Mapping[str, str]

    @property
    def words(self) -> Words:
        return self.page.words


def card(entry: Entry, shown: Shown) -> Html:
    """One demand. Its sections, one for each flute, are told apart by `data-flute`."""
    demand = entry.group.demand
    first = entry.answers[0].decision
    places = [_place(one, shown) for one in zip((demand.place, *entry.group.also), entry.group.ids, strict=True)]
    sections = [_answer(entry, answer, shown, first=number == 0) for number, answer in enumerate(entry.answers)]
    attributes: dict[str, str | bool] = {
        "id": entry.key,
        "class": "card",
        "tabindex": "-1",
    }
    head = tag(
        "h3", {},
        tag("span", {"class": "number"}, str(entry.number)),
        f" {speech.asked(shown.page, first)} ",
        tag("span", {"class": "kind"}, shown.words.text(f"kind.{demand.kind}")),
    )  # fmt: skip
    where = tag("p", {"class": "places"}, f"{shown.words.text('pack.places')} ", *places)
    return tag("article", attributes, head, where, *sections)


def bar_number(bar: str) -> int:
    """The number in the name of a bar, 0 without one."""
    digits = "".join(char for char in bar if char in "0123456789")[:9]
    return int(digits) if digits else 0


def _place(one: tuple[object, str], shown: Shown) -> Html:
    place, demand = one
    text = speech.where(shown.page, place)  # type: ignore[arg-type]
    return joined(tag("button", {"type": "button", "class": "place", "data-go": demand}, text), " ")


def _answer(entry: Entry, answer: Answer, shown: Shown, *, first: bool) -> Html:
    decision, words = answer.decision, shown.words
    key = entry.key, decision.flute
    parts = [
        tag("p", {"class": f"status {decision.status}"}, tag("strong", {}, words.text(f"status.{decision.status}")),
            f" · {clean(decision.flute)}"),
    ]  # fmt: skip
    if answer.blown is not None:
        held = [
            joined(shown.diagrams.use(one, "diagram large"), " ", tag("code", {}, str(one)))
            for one in answer.fingerings
        ]
        parts += [tag("p", {"class": "fingering"}, "→ " * bool(number), one) for number, one in enumerate(held)]
        seek = speech.seek(words, answer)
        parts += [tag("p", {"class": "seek"}, " ".join(seek))] if seek else []
        parts.append(_tuner(answer, shown))
        sound = shown.sounds.get(key)
        if sound:
            parts.append(tag("p", {}, tag("button", {"type": "button", "class": "play", "data-play": sound},
                                          words.text("pack.listen"))))  # fmt: skip
    if decision.own_note:
        parts.append(tag("p", {"class": "own"}, clean(words.text("decisions.own_note", note=decision.own_note))))
    parts.append(_why(decision, shown))
    if first:
        parts.append(_warnings(entry, decision, shown))
    parts += _others(answer, shown)
    if first:
        parts.append(_hand(entry, shown))
    parts.append(_pictures(answer, shown))
    parts.append(_decide(entry, shown) if first else Html(""))
    return tag("section", {"class": "answer", "data-flute": clean(decision.flute)}, *parts)


def _tuner(answer: Answer, shown: Shown) -> Html:
    rows = speech.tuner(shown.words, answer)
    if not rows:
        return Html("")
    heads = [shown.words.text(f"pack.{name}") for name in ("written", "shows", "held", "speed")]
    first = answer.first_tone
    marks = [one is first and len(answer.tones) > 1 for one in (*answer.tones, *answer.ending)]
    body = [
        tag(
            "tr",
            {"class": "first" if mark else ""},
            tag("th", {"scope": "row"}, row[0]),
            *(tag("td", {}, cell) for cell in row[1:]),
        )
        for row, mark in zip(rows, marks, strict=True)
    ]
    return tag(
        "table", {"class": "tuner"}, tag("caption", {}, shown.words.text("pack.tuner")),
        tag("thead", {}, tag("tr", {}, *(tag("th", {"scope": "col"}, head) for head in heads))),
        tag("tbody", {}, *body),
    )  # fmt: skip


def _why(decision: Decision, shown: Shown) -> Html:
    sure = speech.confidence(shown.words, decision) if decision.fingering else ""
    lines = [tag("p", {}, tag("b", {}, shown.words.text("pack.confidence")), f" {sure}.")] if sure else []
    lines.append(tag("p", {"class": "why"}, clean(shown.words.say(decision.why))))
    reading = decision.demand.reading
    if reading:
        lines.append(tag("p", {"class": "quiet"}, clean(shown.words.text("report.reading", reading=reading))))
    return joined(*lines)


def _warnings(entry: Entry, decision: Decision, shown: Shown) -> Html:
    """Findings at its places, but for what its reason says already."""
    items = [
        tag("li", {"class": severity}, tag("b", {}, f"{code} "), text)
        for code, severity, text in speech.warnings(shown.page, entry, decision)
    ]
    return tag("ul", {"class": "findings"}, *items) if items else Html("")


def _others(answer: Answer, shown: Shown) -> list[Html]:
    """Lists of other fingerings."""
    made = []
    for heading, items in speech.others(shown.page, answer):
        listed = [
            tag("li", {}, shown.diagrams.use(fingering), " ", tag("code", {}, name), " ", told)
            for fingering, name, told in items
        ]
        made.append(joined(tag("h4", {}, heading), tag("ul", {"class": "others"}, *listed)))
    return made


def _hand(entry: Entry, shown: Shown) -> Html:
    """The moves beside its places, each once with the places where it is so."""
    blocks = []
    for one in speech.hand(shown.page, entry, shown.ways):
        where = [tag("b", {}, one.where), " "] if one.where else []
        told = tag("p", {}, shown.diagrams.use(one.fingering), tag("span", {}, *where, one.told))
        blocks.append(tag("li", {"data-of": " ".join(one.demands)}, told))
    if not blocks:
        return Html("")
    return joined(tag("h4", {}, shown.words.text("pack.moves")), tag("ul", {"class": "hand"}, *blocks))


def _pictures(answer: Answer, shown: Shown) -> Html:
    words, found = shown.words, []
    if answer.blown:
        number = len(shown.charts)
        shown.charts.append(numbers(answer.blown, [words.pitch(one.asked) for one in answer.tones]))
        label = words.text("pack.curve")
        found.append(tag("figure", {}, chart("curve", number, label), tag("figcaption", {}, label)))
        there = set(answer.blown.jets.sounds.ravel().tolist())
        named = [(n + 1, f"tone{n + 1}", words.pitch(one.asked)) for n, one in enumerate(answer.tones)]
        named += [(-1, "pair", words.text("pack.map_pair")), (-2, "other", words.text("pack.map_other"))]
        names = [(name, text) for value, name, text in named if value in there]
        label = words.text("pack.map", list=", ".join(text for _, text in names) or "–")
        ends = [", "] * (len(names) - 1) + [". "]
        key_of = [
            joined(tag("span", {"class": f"key {name}"}), text, end)
            for (name, text), end in zip(names, ends, strict=False)
        ]
        found.append(tag("figure", {}, chart("map", number, label), tag("figcaption", {}, *key_of, label)))
    path = answer.decision.path
    if answer.decision.demand.kind == Kind.GLISSANDO and len(path) > 1 and path[0].sounds and answer.blown is not None:
        drawn = recoloured(path_svg(answer.decision, words.language))
        drawn = drawn.replace("<svg ", '<svg class="chart" role="img" ', 1)
        found.append(tag("figure", {}, Html(drawn), tag("figcaption", {}, words.text("pack.path"))))
    return tag("div", {"class": "figures"}, *found) if found else Html("")


def _decide(entry: Entry, shown: Shown) -> Html:
    lines = [shown.decide[one] for one in entry.group.ids if one in shown.decide]
    if not lines:
        return Html("")
    copy = tag(
        "button",
        {"type": "button", "class": "copy", "data-done": shown.words.text("pack.copied")},
        shown.words.text("pack.copy"),
    )
    return joined(
        tag("h4", {"class": "decide-head"}, shown.words.text("pack.decide")),
        tag("div", {"class": "decide"}, tag("pre", {"tabindex": "0"}, "\n".join(map(clean, lines))), copy),
    )
