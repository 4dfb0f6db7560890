"""All stages of a pack: a score that was looked at -> music, figures, sounds -> files by name."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from annotate.decision import Decision, PlannedNote
from annotate.decisions.address import choice_line
from annotate.drawing.picture_files import place_name
from annotate.language import Words, words
from annotate.marking import Stand, Style, stands_of
from annotate.output import clean
from annotate.pack import legends, sounds
from annotate.pack.cards import Diagrams, Shown
from annotate.pack.engraving import mei_of
from annotate.pack.entries import Entry, entries, ways
from annotate.pack.look import look
from annotate.pack.page import MusicPart, PageContent, render
from annotate.pack.paper import PaperPart, drawn, part_pdf, sheet_for
from annotate.pack.part_copy import part_copies
from annotate.pack.part_pages import Drawn
from annotate.pack.sheet import sheet_pdf
from annotate.pack.speech import asked, bar_beat
from annotate.pack.svg_out import Marked, Store, in_page, on_paper, recoloured
from annotate.pipeline import Looked
from annotate.report.content import Report, build
from annotate.report.phrases import Page
from annotate.score import Part
from annotate.wording import unseen_moves
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


def prepared(looked: Looked, worst_first: bool = False) -> Prepared:
    """Everything but drawings. worst_first: as of entries. Raises InputError where the music cannot be drawn."""
    report = build(looked.result)
    copies = part_copies(looked.data, tuple(part.id for part in looked.parts))
    style = Style(language=looked.language)
    parts = []
    flutes = dict.fromkeys(one.flute for one in looked.result.decisions)
    for part in looked.parts:
        own = [one for one in looked.result.first_flute() if one.demand.place.part_id == part.id]
        stands = {"": _stands(part, own, style, looked.result.unusual_notes())}
        for name in flutes:
            other = [
                one for one in looked.result.decisions if one.flute == name and one.demand.place.part_id == part.id
            ]
            if other and len(flutes) > 1:
                stands[name] = _stands(part, other, style)
        mei = mei_of(copies[part.id].data)
        flute = ", ".join(dict.fromkeys(one.flute for one in own))
        names = copies[part.id].names
        ends = ((one.demand.events[0].start, one.demand.events[-1].start) for one in own)
        glides = tuple((names[one], names[two]) for one, two in ends if one != two and one in names and two in names)
        noted = {one.demand.events[0].start: one.own_note for one in own if one.own_note}
        parts.append(PaperPart(part, stands, legends.notes_of(own), flute, mei, names, noted, glides))
    composer = next((one.composer for one in copies.values()), "")
    title = looked.score.title or looked.file.path.stem
    return Prepared(
        looked, report, entries(looked, report, worst_first), tuple(parts), title, composer, words(looked.language)
    )


def _stands(
    part: Part, decisions: Sequence[Decision], style: Style, plan: Sequence[PlannedNote] = ()
) -> tuple[Stand, ...]:
    """What stands over the notes; over a glissando what moves, too, where no diagram shows it."""
    moves = {one.demand.events[0].start: unseen_moves(one, style.language) for one in decisions}
    return tuple(
        replace(one, notes=(*one.notes, *moves.get(one.event.start, ())))
        for one in stands_of(part, decisions, style, plan)
    )


def pack(looked: Looked, paper: str, progress: Progress | None = None) -> dict[str, bytes]:
    """The files of a practice pack by their names, folders parted by '/'."""
    made = prepared(looked)
    heard = _heard(made.entries, progress)
    shown = shown_on(made, _embedded(heard))
    heading = made.words.text("pack.title")
    # A player reads on a card what was found about it.
    beside = replace(made.report, finding_groups=tuple(one for one in made.report.finding_groups if not one.demands))
    drawings = Store("m")
    music = [drawn(part, paper, made.words, drawings) for part in made.parts]
    sheets = [[on_paper(svg, drawings) for svg in own.paper] for own in music]
    files = {
        INDEX: page(made, music, drawings, shown, heading, heard),
        PART: part_pdf(list(zip(made.parts, sheets, strict=True)), paper, made.title, made.composer, made.words),
        SHEET: sheet_pdf(made.entries, beside, shown, paper, made.words.text("pack.practice"), *_named(made)),
    }
    for part, svgs in zip(made.parts, sheets, strict=True):
        for number, svg in enumerate(svgs, start=1):
            files[f"pages/part-{part.part.number}-page-{number}.svg"] = svg.encode()
    for entry in made.entries:
        name = f"sounds/{entry.number:02d}-{place_name(entry.group.demand.place)}"
        for number, answer in enumerate(entry.answers, start=1):
            one = heard.get((entry.key, answer.decision.flute))
            if one:
                files[f"{name}-flute-{number}.wav" if number > 1 else f"{name}.wav"] = one.wav
    return files


def _embedded(heard: Mapping[tuple[str, str], sounds.Heard]) -> dict[tuple[str, str], str]:
    """Names of the sounds that find room in the page, in the order to learn; the others are files alone."""
    found: dict[tuple[str, str], str] = {}
    room = _SOUND_ROOM
    for key, one in heard.items():
        room -= len(one.mulaw)
        if room >= 0:
            found[key] = f"s{len(found) + 1}"
    return found


def report_file(looked: Looked, ending: str, progress: Progress | None = None) -> bytes:
    """The report for those who write the music: '.html' one page as that of a pack, '.pdf' to print every demand once, and the
    findings; what cannot be played comes first."""
    made = prepared(looked, worst_first=True)
    heading = made.words.text("pack.report")
    if ending == ".pdf":
        return sheet_pdf(made.entries, made.report, shown_on(made, {}), _REPORT_PAPER, heading, *_named(made))
    heard, drawings = _heard(made.entries, progress), Store("m")
    music = [drawn(part, _REPORT_PAPER, made.words, drawings) for part in made.parts]
    return page(made, music, drawings, shown_on(made, _embedded(heard)), heading, heard)


def _named(made: Prepared) -> tuple[str, str, str]:
    """Title, composer and flutes."""
    flutes = dict.fromkeys(one.flute for one in made.looked.result.first_flute())
    return made.title, made.composer, ", ".join(flutes)


def shown_on(made: Prepared, names: Mapping[tuple[str, str], str]) -> Shown:
    """What cards draw on. names: of sounds, by (entry, flute)."""
    return Shown(
        page=Page(made.report, _WIDTH, False, made.words),
        diagrams=Diagrams(Store("p")),
        ways=ways(made.looked),
        sounds=names,
        charts=[],
        decide=dict(_lines(made)),
    )


def _lines(made: Prepared) -> Iterator[tuple[str, str]]:
    """For each demand the line of a decisions file that keeps its fingering; the other fingerings beside it once an entry."""
    own = {one.demand.id: one for one in made.looked.result.first_flute()}
    for entry in made.entries:
        for number, demand in enumerate(entry.group.ids):
            one = own[demand]
            if one.demand.address and one.fingering:
                others = () if number else tuple(other.fingering for other in one.alternatives)
                yield demand, choice_line(one.demand.address, one.fingering, others)


def page(
    made: Prepared,
    music: Sequence[Drawn],
    drawings: Store,
    shown: Shown,
    heading: str,
    heard: Mapping[tuple[str, str], sounds.Heard],
) -> bytes:
    """The one page. music: pages of each part, and what they refer to; shown: what its cards draw on; heard: sounds by
    (entry, flute)."""
    glyphs = Store("u")
    parts = tuple(_music(made, part, own, shown.page, glyphs) for part, own in zip(made.parts, music, strict=True))
    instead = _instead(music, drawings)
    content = PageContent(
        heading=heading,
        title=made.title,
        composer=made.composer,
        report=made.report,
        entries=made.entries,
        music=parts,
        instead=instead,
        glyphs=glyphs,
        drawings=drawings,
        legend=_legend(made),
        sounds={shown.sounds[key]: one.mulaw for key, one in heard.items() if key in shown.sounds},
        shown=shown,
    )
    return render(content)


def _legend(made: Prepared) -> tuple[tuple[str, str], ...]:
    stands: list[Stand] = [stand for part in made.parts for own in part.stands.values() for stand in own]
    notes = dict.fromkeys(note for part in made.parts for note in part.notes)
    listed = legends.entries(stands, notes, made.words)
    return tuple((recoloured(picture), text) for picture, text in listed)


def _music(made: Prepared, part: PaperPart, drawn_: Drawn, page: Page, glyphs: Store) -> MusicPart:
    marked = {}
    for one in made.looked.result.first_flute():
        name = part.names.get(one.demand.events[0].start)
        if one.demand.place.part_id == part.part.id and name:
            status = made.words.text(f"status.{one.status}")
            label = f"{bar_beat(made.words, one.demand.place)}: {asked(page, one)}, {status}"
            marked[name] = Marked(one.demand.id, str(one.status), label)
    head = sheet_for("a4", part.legend(made.words)).head

    def texts(svgs: Sequence[str], head: float = 0.0) -> tuple[str, ...]:
        return tuple(
            in_page(
                svg, made.words.text("pack.page", n=n), marked, glyphs, look().printed.staff, 0.0 if n > 1 else head
            )
            for n, svg in enumerate(svgs, start=1)
        )

    return MusicPart(made.words.say(part.part.title), texts(drawn_.paper, head), texts(drawn_.phone))


def _instead(music: Sequence[Drawn], drawings: Store) -> dict[str, dict[str, object]]:
    """For each flute, where there are several, what stands above the notes by their names: words, drawing, its width [mm], mm
    of one of its points, height of all [mm], how many words' lines are the player's own."""
    found: dict[str, dict[str, object]] = {}
    for part in music:
        for flute, own in part.others.items():
            found.setdefault(clean(flute), {}).update(
                {
                    note: [
                        what.words,
                        drawings.name(what.shapes) if what.shapes else "",
                        what.drawn[0],
                        what.scale,
                        what.height,
                        what.noted,
                    ]
                    for note, what in own.items()
                }
            )
    return found


def _heard(found: Sequence[Entry], progress: Progress | None) -> dict[tuple[str, str], sounds.Heard]:
    """Sounds by (entry, flute), those of the first flute first, in the order to learn."""
    every_answer = [
        (number, entry.key, one) for entry in found for number, one in enumerate(entry.answers) if one.blown
    ]
    ordered = sorted(every_answer, key=lambda each: each[0])
    wanted = [((entry, answer.decision.flute), answer) for _, entry, answer in ordered]
    made: dict[tuple[str, str], sounds.Heard] = {}
    if progress and wanted:
        progress("sound", 0, len(wanted))  # the first of them take longest
    for flute in dict.fromkeys(flute for (_, flute), _ in wanted):
        every = [(key, answer) for key, answer in wanted if key[1] == flute]
        for own in (every[at : at + _AT_ONCE] for at in range(0, len(every), _AT_ONCE)):
            made |= dict(zip((key for key, _ in own), sounds.heard([answer for _, answer in own]), strict=True))
            if progress:
                progress("sound", len(made), len(wanted))
    return made
