"""Where pages end: not between two notes that belong together, where the music allows."""

import copy
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from lxml import etree

_MEI = "{http://www.music-encoding.org/ns/mei}"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
_BELOW = (
    1500.0  # SVG units from the top of the last staff of a page to its end, at least: the staff, and what stands below
)
_STAFF_HIGH = 700.0  # SVG units
_BAR, _NOTE = re.compile(r'<g id="([^"]*)" class="measure"'), re.compile(r'<g id="([^"]*)" class="note"')
STAFF = re.compile(r'class="staff"><path d="M\S+ ([-\d.]+)')
"""Top of a staff on a page of Verovio's."""


@dataclass(frozen=True, slots=True)
class _System:
    """A system of a drawn page. first: name of its first bar; notes: names of what is in it; top: of its staff."""

    first: str
    notes: frozenset[str]
    top: float


def replanned(pages: Sequence[str], together: Sequence[tuple[str, str]], height: float) -> list[list[str]] | None:
    """Pages as the first bars of their systems, such that no pair of notes is parted by a turn; None where none is, or where
    nothing helps. height: of a page [SVG units]."""
    laid = [_systems(page) for page in pages]
    where = {note: n for n, systems in enumerate(laid) for system in systems for note in system.notes}
    parted = [one for one, two in together if one in where and two in where and where[one] != where[two]]
    if not parted:
        return None
    every = [system for systems in laid for system in systems]
    pushed = {system.first for system in every for note in parted if note in system.notes}
    heights = _heights(laid)
    later = [systems[0].top for systems in laid[1:] if systems]  # of the first staff of a page without a title
    planned: list[list[str]] = [[]]
    top = every[0].top
    for system in every:
        full = top + _BELOW > height
        if planned[-1] and (full or (system.first in pushed and len(planned[-1]) > 1)):
            planned.append([])
            top = median(later)
        planned[-1].append(system.first)
        top += heights[system.first]
    return planned


def _systems(page: str) -> list[_System]:
    found = []
    for system in page.split(' class="system"')[1:]:
        first, tops = _BAR.search(system), STAFF.findall(system)
        if first and tops:
            found.append(_System(first[1], frozenset(_NOTE.findall(system)), min(map(float, tops))))
    return found


def _heights(laid: Sequence[Sequence[_System]]) -> dict[str, float]:
    """How much of a page each system takes: down to the next one; for the last of a page what is usual."""
    known = {one.first: two.top - one.top for systems in laid for one, two in pairwise(systems)}
    usual = median(known.values()) if known else 0.0
    return {system.first: known.get(system.first, usual) for systems in laid for system in systems}


def with_breaks(root: etree._Element, planned: Sequence[Sequence[str]]) -> etree._Element:
    """A copy of the MEI with these systems and pages, and no others."""
    own = copy.deepcopy(root)
    for one in [*own.iter(f"{_MEI}sb"), *own.iter(f"{_MEI}pb")]:
        parent = one.getparent()
        if parent is not None:
            parent.remove(one)
    bars = {bar.get(_ID): bar for bar in own.iter(f"{_MEI}measure")}
    for n, page in enumerate(planned):
        for k, first in enumerate(page):
            if n or k:
                bars[first].addprevious(etree.Element(f"{_MEI}{'sb' if k else 'pb'}"))
    return own


def fits(pages: Sequence[str], height: float) -> bool:
    """Whether the lowest staff of every page lies on it, and a little above its end."""
    return all(float(top) + _BELOW / 3.0 <= height - _STAFF_HIGH for page in pages for top in STAFF.findall(page))
