"""A drawn page as text: a file of its own, or a piece of a page that has its own style."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape
from typing import Self

from annotate.pack.engraving import UNIT, end_of
from annotate.pack.fonts import MUSIC, WORDS, css
from annotate.pack.turns import STAFF

_ABOVE_MM, _BELOW_MM = 2.0, 14.0  # kept of a page above its music and below its last staff
_TIMES = re.compile(r'font-family="Times(?:, ?serif)?"')
_STYLE = re.compile(r"<style.*?</style>", re.DOTALL)
_SIZE = re.compile(r' width="[^"]*" height="[^"]*"')
_INNER = re.compile(r'<svg class="definition-scale"[^>]*viewBox="0 0 ([\d.]+) ([\d.]+)">')
_STYLES = dict.fromkeys(("dir", "dynam", "mNum"), 'font-style="italic"')
_STYLES |= dict.fromkeys(("ending", "fing", "reh", "tempo"), 'font-weight="bold"')
_WRITTEN = re.compile(rf'<g(?: id="[^"]*")? class="({"|".join(_STYLES)})(?: [^"]*)?"')
_NAMES = r'(?: id="[^"]*"| class="(?!mark"|vw-)[^"]*")+'
_NAMED = {name: re.compile(f"<{name}{_NAMES}") for name in ("g", "tspan")}
_GLYPH = re.compile(r'<g id="([^"]+)">(.*?)</g>', re.DOTALL)
_USED = re.compile(r'href="#([^"]+)"')
_CHOSEN = re.compile(r'<g id="([^"]*)" class="(chord|note)(?: [^"]*)?"|<g class="vw-room" data-note="([^"]*)"')


def _bare(body: str) -> str:
    """Without Verovio's names; that words slant or are bold stands at the elements."""
    body = _WRITTEN.sub(lambda found: f"<g {_STYLES[found[1]]}", body)
    for name, named in _NAMED.items():
        body = named.sub(f"<{name}", body)
    return _TIMES.sub(f'font-family="{WORDS}"', body).replace("<g/>", "")


def recoloured(svg: str) -> str:
    """SVG text in black and white in the colours of the page that it stands in."""
    return svg.replace('="black"', '="currentColor"').replace('="white"', '="var(--sheet)"')


@dataclass(slots=True)
class Store:
    """Drawings that are shown many times, each kept once. A drawing is SVG text, its parts in lines."""

    prefix: str
    names: dict[str, str] = field(default_factory=dict)

    def name(self, drawing: str) -> str:
        """Of SVG text."""
        return self.names.setdefault(drawing, f"{self.prefix}{len(self.names)}")

    def symbols(self, of: str | None = None) -> str:
        """Every drawing under its name, or those that a text refers to."""
        used = None if of is None else set(re.findall(rf'href="#({self.prefix}\d+)"', of))
        return "".join(
            f'<g id="{name}">{drawing}</g>' for drawing, name in self.names.items() if used is None or name in used
        )

    def shared(self, parts: Self) -> str:
        """Every drawing under its name, put together of parts, each of which is kept once."""
        return "".join(f'<g id="{name}">{parts.uses(drawing)}</g>' for drawing, name in self.names.items())

    def uses(self, drawing: str) -> str:
        """References to the parts of a drawing."""
        return "".join(f'<use href="#{self.name(part)}"/>' for part in drawing.split("\n"))


def on_paper(page: str, drawings: Store) -> str:
    """A page as a file, its size in millimetres. That all its shapes are outlined, as Verovio's style sheet has it, stands at
    the elements."""
    inner = _INNER.search(page)
    assert inner is not None
    width, height = (float(value) / UNIT for value in inner.groups())
    head = _SIZE.sub(f' width="{width:g}mm" height="{height:g}mm"', page[: inner.start()], count=1)
    head = (
        _STYLE.sub("", head)
        .replace("<desc>", f"<defs>{drawings.symbols(page)}</defs><desc>", 1)
        .replace("<g id=", '<g stroke="none" id=')
    )
    faces = f"<style>{css((MUSIC,))}</style>" if f'font-family="{MUSIC}"' in page else ""
    body = _bare(page[inner.start() :]).replace("<svg ", '<svg stroke="currentColor" ', 1)
    return head + faces + body.replace("<text ", '<text stroke="none" ')


@dataclass(frozen=True, slots=True)
class Marked:
    """A note that a demand begins on. demand: its id; status: on the first flute; label: what is read out."""

    demand: str
    status: str
    label: str


def in_page(page: str, label: str, marked: Mapping[str, Marked], glyphs: Store, staff: float, head: float = 0.0) -> str:
    """A page as an element of a web page: no style, font or name of its own, black is what the page calls its music. marked:
    by name of the note; their notes become buttons. glyphs: of the music, kept in the web page; staff: height of five lines
    [mm]; head: left out above [mm]."""
    inner = _INNER.search(page)
    assert inner is not None
    names = {name: glyphs.name(drawing) for name, drawing in _GLYPH.findall(page[: inner.start()])}
    body = page[inner.end() : page.rindex("</svg>", 0, page.rindex("</svg>"))]
    lowest = max(map(float, STAFF.findall(body)), default=0.0) + staff * UNIT
    width, height = map(float, inner.groups())
    bottom = min(height, lowest + _BELOW_MM * UNIT)
    top = max(head - _ABOVE_MM, 0.0) * UNIT
    body = _bare(_with_buttons(body, marked))
    body = _USED.sub(lambda found: f'href="#{names.get(found[1], found[1])}"', body)
    box = f'viewBox="0 {top:.0f} {width:.0f} {bottom - top:.0f}"'
    return f'<svg {box} role="group" aria-label="{escape(label)}">{recoloured(body)}</svg>'


def _with_buttons(body: str, marked: Mapping[str, Marked]) -> str:
    """Notes that a demand begins on, or their chords, can be chosen."""
    buttons: dict[int, tuple[int, str]] = {}  # by where a tag begins: where what it becomes ends
    chord = None
    for found in _CHOSEN.finditer(body):
        name, kind, note = found.groups()
        one = marked.get(note or name)
        if kind == "chord":
            chord = found
        elif one and note:
            buttons[found.start()] = found.end(), f'{found[0]} data-d="{one.demand}" aria-hidden="true"'
        elif one:
            inside = chord and found.start() < end_of(body, body.index(">", chord.end()) + 1)
            whole = chord if chord and inside else found
            buttons[whole.start()] = whole.end(), _button(whole[2], one)
    pieces, at = [], 0
    for begin, (end, told) in sorted(buttons.items()):
        pieces += [body[at:begin], told]
        at = end
    return "".join([*pieces, body[at:]])


def _button(kind: str, one: Marked) -> str:
    return (
        f'<g class="vw-{one.status} {kind}" data-d="{one.demand}" role="button" tabindex="0" '
        f'aria-label="{escape(one.label)}"'
    )
