"""A drawn page as text: a file of its own, or a piece of a page that has its own style."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from lxml import etree

from annotate.pack.engraving import SVG, UNIT
from annotate.pack.fonts import WORDS

_ABOVE_MM, _BELOW_MM = 2.0, 14.0  # kept of a page above its music and below its last staff
_STORED = re.compile(r"#m\d+")
_TIMES = re.compile(r"Times(, ?serif)?")


def recoloured(svg: str) -> str:
    """SVG text in black and white in the colours of the page that it stands in."""
    return svg.replace('"black"', '"currentColor"').replace('"white"', '"var(--sheet)"')


def on_paper(page: etree._Element) -> str:
    """A page as a file, its size in millimetres."""
    _named_fonts(page)
    inner = page.find(f"{SVG}svg")
    if inner is not None:
        width, height = (float(value) / UNIT for value in inner.get("viewBox", "").split()[2:])
        page.set("width", f"{width:g}mm")
        page.set("height", f"{height:g}mm")
    return etree.tostring(page, encoding="unicode")


@dataclass(frozen=True, slots=True)
class Marked:
    """A note that a demand begins on. demand: its id; status: on the first flute; label: what is read out."""

    demand: str
    status: str
    label: str


def in_page(
    page: etree._Element, prefix: str, label: str, marked: Mapping[str, Marked], store: Store, head: float = 0.0
) -> str:
    """A page as an element of a web page: names begin with `prefix`, no style or font of its own, black is what the page calls
    its music. marked: by name of the note; their notes become buttons. store: of what is
    drawn above notes; head: left out above [mm]."""
    _named_fonts(page)
    for element in list(page.iter(f"{SVG}style", f"{SVG}desc")):
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)
    for group in list(page.iter(f"{SVG}g")):
        one = marked.get(group.get("data-note") or group.get("id") or "")
        if one:
            _mark(group, one)
    for element in page.iter("*"):
        _make_own(element, prefix)
    store.take(page)
    for key in ("width", "height", "id", "overflow"):
        page.attrib.pop(key, "")
    inner = page.find(f"{SVG}svg")
    if inner is not None:
        shown = _cropped(inner, head)
        inner.set("viewBox", shown)
        page.set("viewBox", f"0 0 {shown.split(' ', 2)[2]}")
    page.set("role", "group")
    page.set("aria-label", label)
    return etree.tostring(page, encoding="unicode")


@dataclass(slots=True)
class Store:
    """Drawings that stand in the music many times, each kept once."""

    names: dict[str, str] = field(default_factory=dict)

    def take(self, page: etree._Element) -> None:
        """Put a reference in the place of every drawing."""
        for group in page.iter(f"{SVG}g"):
            if group.get("class") == "vw-diagram":
                inner = "".join(etree.tostring(child, encoding="unicode", with_tail=False) for child in group)
                name = self.names.setdefault(inner, f"m{len(self.names)}")
                for child in list(group):
                    group.remove(child)
                etree.SubElement(group, f"{SVG}use", {"href": f"#{name}"})

    def symbols(self) -> str:
        """SVG text of every drawing under its name."""
        return "".join(f'<g id="{name}">{inner}</g>' for inner, name in self.names.items())


def _cropped(inner: etree._Element, head: float) -> str:
    """What of a page is shown: from below its head down to some way below its last staff."""
    width, height = (float(value) for value in inner.get("viewBox", "").split()[2:])
    lowest = 0.0
    for staff in inner.iter(f"{SVG}g"):
        if staff.get("class") == "staff":
            for line in staff.findall(f"{SVG}path"):
                numbers = re.findall(r"[-\d.]+", line.get("d", ""))
                lowest = max([lowest, *(float(y) for y in numbers[1::2])])
    bottom = min(height, lowest + _BELOW_MM * UNIT) if lowest else height
    top = max(head - _ABOVE_MM, 0.0) * UNIT
    return f"0 {top:.0f} {width:.0f} {bottom - top:.0f}"


def _mark(group: etree._Element, one: Marked) -> None:
    if group.get("data-note"):
        group.set("data-d", one.demand)
        group.set("aria-hidden", "true")
        return
    parent = group.getparent()
    if parent is not None and parent.get("class") == "chord":
        group = parent
    group.set("data-d", one.demand)
    group.set("role", "button")
    group.set("tabindex", "0")
    group.set("aria-label", one.label)
    group.set("class", f"{group.get('class', '')} vw-{one.status}")


def _make_own(element: etree._Element, prefix: str) -> None:
    name = element.get("id")
    if name:
        parent = element.getparent()
        if parent is not None and parent.tag == f"{SVG}defs":
            element.set("id", prefix + name)
        else:
            del element.attrib["id"]
    link = element.get("href", "")
    if link.startswith("#") and not _STORED.fullmatch(link):
        element.set("href", f"#{prefix}{link[1:]}")
    for key in ("fill", "stroke", "color"):
        colour = element.get(key)
        if colour == "black":
            element.set(key, "currentColor")
        elif colour == "white":
            element.set(key, "var(--sheet)")


def _named_fonts(page: etree._Element) -> None:
    for element in page.iter("*"):
        family = element.get("font-family")
        if family:
            element.set("font-family", _TIMES.sub(WORDS, family))
