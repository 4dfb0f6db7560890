"""All stages of a pack: a score that was looked at -> music, figures, sounds -> files by name."""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lxml import etree

from annotate.decisions.line import choice_line
from annotate.drawing.picture_files import place_name
from annotate.language import Words, words
from annotate.marking import Stand, Style, stands_of
from annotate.pack import legends, sounds
from annotate.pack.cards import Diagrams, Shown
from annotate.pack.engraving import Sheet, mei_of
from annotate.pack.entries import Entry, entries, ways
from annotate.pack.look import look
from annotate.pack.page import MusicPart, PageContent, render
from annotate.pack.paper import PaperPart, drawn, part_pdf, sheet_for
from annotate.pack.part_copy import part_copies
from annotate.pack.part_pages import pages
from annotate.pack.sheet import sheet_pdf
from annotate.pack.speech import asked, bar_beat
from annotate.pack.svg_out import Marked, Store, in_page, on_paper, recoloured
from annotate.pipeline import Looked
from annotate.report.content import Report, build
from annotate.report.phrases import Page
from fingering_db.survey import Progress

INDEX, PART, SHEET = "index.html", "part.pdf", "practice.pdf"
_WIDTH = 80
_SOUND_ROOM = 2_000_000
"""Characters of a page that sounds may take: with the rest of it under 5 MB for a piece of 150 different demands."""
_AT_ONCE = 64  # sounds that are stepped side by side, then progress is told
_REPORT_PAPER = "a4"


@dataclass(frozen=True, slots=True)
class Prepared:
    """What is worked out once for page and paper."""

    looked: Looked
    report: Report
    entries: tuple[Entry, ...]
    parts: tuple[PaperPart, ...]
    title: str
    composer: str
    words: Words


def prepared(looked: Looked) -> Prepared:
    """Everything but drawings. Raises InputError where the music cannot be drawn."""
    report = build(looked.result)
    copies = part_copies(looked.data, tuple(part.id for part in looked.parts))
    style = Style(language=looked.language)
    parts = []
    for part in looked.parts:
        own = [one for one in looked.result.first_flute() if one.demand.place.part_id == part.id]
        mei = mei_of(copies[part.id].data)
        statuses = frozenset(one.status for one in own)
        flute = ", ".join(dict.fromkeys(one.flute for one in own))
        names = copies[part.id].names
        ends = ((one.demand.events[0].start, one.demand.events[-1].start) for one in own)
        glides = tuple((names[one], names[two]) for one, two in ends if one != two and one in names and two in names)
        parts.append(PaperPart(part, tuple(stands_of(part, own, style)), statuses, flute, mei, names, glides))
    composer = next((one.composer for one in copies.values()), "")
    title = looked.score.title or looked.file.path.stem
    return Prepared(looked, report, entries(looked, report), tuple(parts), title, composer, words(looked.language))


def pack(looked: Looked, paper: str, progress: Progress | None = None) -> dict[str, bytes]:
    """The files of a practice pack by their names, folders parted by '/'."""
    made = prepared(looked)
    heard = _heard(made.entries, progress)
    shown = shown_on(made, {key: f"s{number}" for number, key in enumerate(_embedded(heard), start=1)})
    heading = made.words.text("pack.title")
    music = [drawn(part, paper, made.words) for part in made.parts]
    files = {
        INDEX: page(made, music, shown, heading, heard),
        PART: _part_pdf(made, music, paper),
        SHEET: sheet_pdf(made.entries, made.report, shown, paper, made.words.text("pack.practice"), *_named(made)),
    }
    for part, svgs in zip(made.parts, music, strict=True):
        for number, svg in enumerate(svgs, start=1):
            files[f"pages/part-{part.part.number}-page-{number}.svg"] = on_paper(copy.deepcopy(svg)).encode()
    places = {entry.key: (entry.number, entry.group.demand.place) for entry in made.entries}
    for (entry, _), one in heard.items():
        number, place = places[entry]
        files[f"sounds/{number:02d}-{place_name(place)}.wav"] = one.wav
    return files


def _embedded(heard: Mapping[tuple[str, str], sounds.Heard]) -> list[tuple[str, str]]:
    """Those whose sounds find room in the page, in the order to learn; the others are files alone."""
    found, room = [], _SOUND_ROOM
    for key, one in heard.items():
        room -= len(one.mulaw)
        if room >= 0:
            found.append(key)
    return found


def report_file(looked: Looked, ending: str) -> bytes:
    """The report for those who write the music. ending: '.html' or '.pdf'."""
    return report_page(looked) if ending == ".html" else report_pdf(looked)


def report_page(looked: Looked) -> bytes:
    """One page for those who write the music: as that of a pack, without sounds, which take a while."""
    made = prepared(looked)
    music = [drawn(part, _REPORT_PAPER, made.words) for part in made.parts]
    return page(made, music, shown_on(made, {}), made.words.text("pack.report"), {})


def report_pdf(looked: Looked) -> bytes:
    """The same to print: every demand once, and the findings."""
    made = prepared(looked)
    heading = made.words.text("pack.report")
    return sheet_pdf(made.entries, made.report, shown_on(made, {}), _REPORT_PAPER, heading, *_named(made))


def _part_pdf(made: Prepared, music: Sequence[Sequence[etree._Element]], paper: str) -> bytes:
    return part_pdf(list(zip(made.parts, music, strict=True)), paper, made.title, made.composer, made.words)


def _named(made: Prepared) -> tuple[str, str, str]:
    """Title, composer and flutes."""
    flutes = dict.fromkeys(one.flute for one in made.looked.result.first_flute())
    return made.title, made.composer, ", ".join(flutes)


def shown_on(made: Prepared, names: Mapping[tuple[str, str], str]) -> Shown:
    """What cards draw on. names: of sounds, by (entry, flute)."""
    return Shown(
        page=Page(made.report, _WIDTH, False, made.words),
        diagrams=Diagrams(),
        ways=ways(made.looked),
        sounds=names,
        decide={
            one.demand.id: choice_line(
                one.demand.address, one.fingering, (other.fingering for other in one.alternatives)
            )
            for one in made.looked.result.first_flute()
            if one.demand.address and one.fingering
        },
    )


def page(
    made: Prepared,
    music: Sequence[Sequence[etree._Element]],
    shown: Shown,
    heading: str,
    heard: Mapping[tuple[str, str], sounds.Heard],
) -> bytes:
    """The one page. music: pages of each part as on paper; shown: what its cards draw on; heard: sounds by (entry, flute)."""
    store = Store()
    drawings = tuple(
        _music(made, part, number, svgs, shown.page, store)
        for number, (part, svgs) in enumerate(zip(made.parts, music, strict=True))
    )
    content = PageContent(
        heading=heading,
        title=made.title,
        composer=made.composer,
        report=made.report,
        entries=made.entries,
        music=drawings,
        drawn=store.symbols(),
        legend=_legend(made),
        sounds={shown.sounds[key]: one.mulaw for key, one in heard.items() if key in shown.sounds},
        shown=shown,
    )
    return render(content)


def _legend(made: Prepared) -> tuple[tuple[str, str], ...]:
    stands: list[Stand] = [stand for part in made.parts for stand in part.stands]
    statuses = {status for part in made.parts for status in part.statuses}
    listed = legends.entries(stands, statuses, made.words)
    return tuple((recoloured(picture), text) for picture, text in listed)


def _music(
    made: Prepared, part: PaperPart, number: int, svgs: Sequence[etree._Element], page: Page, store: Store
) -> MusicPart:
    marked = {}
    for one in made.looked.result.first_flute():
        name = part.names.get(one.demand.events[0].start)
        if one.demand.place.part_id == part.part.id and name:
            status = made.words.text(f"status.{one.status}")
            label = f"{bar_beat(made.words, one.demand.place)}: {asked(page, one)}, {status}"
            marked[name] = Marked(one.demand.id, str(one.status), label)
    phone = look().phone
    narrow = pages(part.mei, part.stands, part.names, Sheet(phone.width, 0.0, phone.staff, endless=True))

    head = sheet_for("a4", legends.entries(part.stands, part.statuses, made.words)).head

    def texts(kind: str, trees: Sequence[etree._Element], head: float = 0.0) -> tuple[str, ...]:
        return tuple(
            in_page(copy.deepcopy(tree), f"{kind}{number}-{n}-", made.words.text("pack.page", n=n), marked, store,
                    0.0 if n > 1 else head)
            for n, tree in enumerate(trees, start=1)
        )  # fmt: skip

    return MusicPart(part.part.label, texts("w", svgs, head), texts("n", narrow))


def _heard(found: Sequence[Entry], progress: Progress | None) -> dict[tuple[str, str], sounds.Heard]:
    """Sounds on the first flute."""
    wanted = [
        (key, entry.answers[0])
        for entry in found
        for key in [(entry.key, entry.answers[0].decision.flute)]
        if entry.answers[0].blown
    ]
    made: dict[tuple[str, str], sounds.Heard] = {}
    for flute in dict.fromkeys(flute for (_, flute), _ in wanted):
        every = [(key, answer) for key, answer in wanted if key[1] == flute]
        for own in (every[at : at + _AT_ONCE] for at in range(0, len(every), _AT_ONCE)):
            made |= dict(zip((key for key, _ in own), sounds.heard([answer for _, answer in own]), strict=True))
            if progress:
                progress("sound", len(made), len(wanted))
    return made
