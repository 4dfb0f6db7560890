"""The catalogue as a page to browse: one file that asks for nothing else, without scripts, everything in it escaped."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass

from annotate.catalogue.tables import Shape
from annotate.drawing.diagram import rows
from annotate.language import Words
from annotate.pack.markup import Html, digest, joined, tag
from fingering_db.catalogue import Multiphonic
from fingering_db.pitch import Pitch

STYLE = (
    "body{font:16px/1.45 system-ui,sans-serif;max-width:68rem;margin:0 auto;padding:1rem;color:#1c1c1c;background:#fff}"
    "h1{font-size:1.6rem}h2{font-size:1.3rem;margin-top:2.2rem}nav ul{columns:14rem;padding-left:1.2rem}"
    "details{border-top:1px solid #bbb;padding:.4rem 0}summary{cursor:pointer;font-weight:600}"
    "table{border-collapse:collapse;width:100%}th,td{text-align:left;padding:.3rem .6rem;border-bottom:1px solid #e2e2e2;"
    "vertical-align:top}th{position:sticky;top:0;background:#fff}td.n{white-space:nowrap}"
    "pre{margin:0;font:1.05rem/1.15 'DejaVu Sans Mono',Menlo,Consolas,monospace}img{max-width:100%;height:auto}"
    ".care{background:#f4f1e8;padding:.6rem 1rem}a{color:#08417e}"
    "@media (prefers-color-scheme:dark){body,th{background:#16181b;color:#e6e6e6}.care{background:#2a2820}a{color:#8fc1ee}"
    "img{background:#fff}th,td{border-color:#383838}}"
    "@media (max-width:40rem){td,th{padding:.25rem}body{padding:.5rem}}"
)


@dataclass(frozen=True, slots=True)
class FluteShown:
    """One flute of a page. files: (words, file name) of what was written beside it; picture: its map, as SVG."""

    name: str
    title: str
    remark: str
    groups: tuple[Shape, ...]
    sets: int
    files: tuple[tuple[str, str], ...]
    picture: bytes


def render(
    flutes: Sequence[FluteShown], difference: tuple[bytes, tuple[tuple[str, str], ...]] | None, words: Words
) -> bytes:
    """The page. difference: the map of what the second flute makes of the first, and its files."""
    names = tuple(one.name for one in flutes)
    policy = f"default-src 'none'; img-src data:; style-src {digest(STYLE)}; base-uri 'none'; form-action 'none'"
    title = words.text("catalogue.title", flute=words.value(names, "and"))
    head = tag(
        "head",
        None,
        tag("meta", {"charset": "utf-8"}),
        tag("meta", {"http-equiv": "Content-Security-Policy", "content": policy}),
        tag("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}),
        tag("title", None, title),
        tag("style", None, Html(STYLE)),
    )
    body = [tag("h1", None, title), tag("p", None, words.text("catalogue.about"))]
    care = [tag("p", None, line) for line in words.lines("cautions.lines")]
    body.append(tag("div", {"class": "care"}, *care))
    if difference:
        picture, files = difference
        told = words.text("catalogue.difference_title", first=names[0], second=names[1])
        body += [tag("h2", None, told), _image(picture, told), _files(files)]
    for number, one in enumerate(flutes):
        body += _flute(number, one, words)
    page = tag("html", {"lang": words.language}, head, tag("body", None, *body))
    return f"<!DOCTYPE html>\n{page}\n".encode()


def _flute(number: int, one: FluteShown, words: Words) -> list[Html]:
    shown = sum(len(group.multiphonics) for group in one.groups)
    about = words.text("catalogue.counted", flute=one.name, sets=one.sets, shown=shown)
    made = [tag("h2", {"id": f"f{number}"}, f"{one.name}: {one.title}"), tag("p", None, about)]
    if one.remark:
        made.append(tag("p", None, words.text("answer.remark", flute=one.name, remark=one.remark)))
    made += [_files(one.files), _image(one.picture, words.text("catalogue.map_title", flute=one.name, n=shown))]
    ids = {f"f{number}g{at}": group for at, group in enumerate(one.groups)}
    links = (tag("li", None, tag("a", {"href": f"#{id}"}, _heading(group, words))) for id, group in ids.items())
    made.append(tag("nav", None, tag("ul", None, *links)))
    return made + [_group(id, group, words, first=group is one.groups[0]) for id, group in ids.items()]


def _heading(group: Shape, words: Words) -> str:
    count = words.text("catalogue.multiphonics", n=len(group.multiphonics))
    if not group.pattern:
        return f"{group.title(words)}: {count}"
    return f"{group.pattern}: {words.text('answer.places', n=len(group.places))}, {count}"


def _group(name: str, group: Shape, words: Words, *, first: bool) -> Html:
    heads = ("place", "sounds", "off", "ease_short", "fingering", "drawn")
    header = tag("tr", None, *(tag("th", {"scope": "col"}, words.text(f"catalogue.{each}")) for each in heads))
    body = (_row(one, words) for one in group.multiphonics)
    table = tag("table", None, tag("thead", None, header), tag("tbody", None, *body))
    return tag("details", {"id": name, "open": first}, tag("summary", None, _heading(group, words)), table)


def _row(one: Multiphonic, words: Words) -> Html:
    pitches = tuple(Pitch.from_hz(hz) for hz in one.hz)
    bands = ", ".join(f"±{words.number(band, '.0f')}" for band in one.band_cents)
    sure = words.text("answer.confidence", confidence=one.confidence)
    return tag(
        "tr",
        None,
        tag("td", None, one.place),
        tag("td", {"class": "n"}, words.chord(pitches)),
        tag("td", {"class": "n"}, bands),
        tag("td", None, f"{words.number(one.ease, '.2f')} ({sure})"),
        tag("td", None, str(one.fingering)),
        tag("td", None, tag("pre", None, "\n".join(rows(one.fingering)))),
    )


def _files(files: Sequence[tuple[str, str]]) -> Html:
    links = [tag("a", {"href": name}, told) for told, name in files]
    pieces = [piece for link in links for piece in (link, Html(" · "))][:-1]
    return tag("p", None, joined(*pieces))


def _image(picture: bytes, told: str) -> Html:
    return tag("p", None, tag("img", {"src": f"data:image/svg+xml;base64,{b64encode(picture).decode()}", "alt": told}))
