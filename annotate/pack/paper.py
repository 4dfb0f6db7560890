"""The part on paper: a title, the music with diagrams, what the signs mean, page numbers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from annotate.language import Words
from annotate.marking import Stand
from annotate.output import clean
from annotate.pack import legends
from annotate.pack.engraving import Sheet
from annotate.pack.look import look
from annotate.pack.part_pages import Drawn, pages
from annotate.pack.svg_out import Store
from annotate.pack.typeset import pdf, sheets
from annotate.score import Part

_LEGEND_CHARACTERS = 95  # in a line of the legend, at most
_LINE_MM = 3.6


@dataclass(frozen=True, slots=True)
class PaperPart:
    """A part that is drawn. stands: by flute what stands above its notes, the first flute's first; notes: names of the words
    there that are explained; flute: what it is played on;
    mei: its music; names: of its notes, by byte offset; noted: what the player noted there, by the same; glides: names of the
    notes each glissando begins and ends on."""

    part: Part
    stands: Mapping[str, tuple[Stand, ...]]
    notes: tuple[str, ...]
    flute: str
    mei: str
    names: Mapping[int, str]
    noted: Mapping[int, str]
    glides: tuple[tuple[str, str], ...] = ()

    def legend(self, words: Words) -> list[tuple[str, str]]:
        """What the signs on paper mean."""
        return legends.entries(next(iter(self.stands.values()), ()), self.notes, words)


def sheet_for(paper: str, legend: Sequence[tuple[str, str]] = ()) -> Sheet:
    """What the music is drawn on, margins apart. legend: what stands above the first page."""
    width, height = look().paper[paper]
    printed = look().printed
    lines = -(-sum(len(text) + 6 for _, text in legend) // _LEGEND_CHARACTERS)
    head = printed.head + lines * _LINE_MM
    return Sheet(width - 2 * printed.margin, height - 2 * printed.margin - printed.foot, printed.staff, head)


def phone_sheet() -> Sheet:
    """What the music is drawn on for a narrow screen."""
    phone = look().phone
    return Sheet(phone.width, phone.height, look().printed.staff, by_itself=True)


def drawn(part: PaperPart, paper: str, words: Words, drawings: Store) -> Drawn:
    """One part on sheets of paper and on a narrow screen. drawings: what its pages refer to."""
    sheets = sheet_for(paper, part.legend(words)), phone_sheet()
    return pages(part.mei, part.stands, part.names, sheets, drawings, part.noted, part.glides)


def part_pdf(
    parts: Sequence[tuple[PaperPart, Sequence[str]]], paper: str, title: str, composer: str, words: Words
) -> bytes:
    """Every part with its pages, which are files, one after the other."""
    pictures: dict[str, str] = {}
    told = []
    for n, (part, svgs) in enumerate(parts):
        legend = part.legend(words)
        names = [f"music-{n}-{k}.svg" for k in range(len(svgs))]
        pictures |= dict(zip(names, svgs, strict=True))
        signs = []
        for k, (picture, text) in enumerate(legend):
            name = f"sign-{n}-{k}.svg" if picture else ""
            if picture:
                pictures[name] = picture
            signs.append({"picture": name, "text": text})
        told.append(
            {
                "name": clean(words.say(part.part.title)),
                "flute": clean(part.flute),
                "head": sheet_for(paper, legend).head,
                "pages": names,
                "legend": signs,
            }
        )
    data = sheets(paper, words.language) | {"title": clean(title), "composer": clean(composer), "parts": told}
    return pdf("part.typ", data, pictures)
