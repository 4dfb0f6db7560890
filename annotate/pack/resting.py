"""Bars of rest joined into one, with their number over it, as a part of an ensemble has them."""

import re
from collections.abc import Sequence

from lxml import etree

_MEI = "{http://www.music-encoding.org/ns/mei}"
_SPAN = re.compile(r"(\d+)m\+")
_PLAIN_BAR = ("", "single")


def join_rests(root: etree._Element) -> None:
    """Join runs of bars of rest where nothing stands in them and nothing goes over them. root: MEI, changed."""
    bars = list(root.iter(f"{_MEI}measure"))
    crossed = _crossed(bars)
    run: list[etree._Element] = []
    for number, bar in enumerate(bars):
        if run and not _goes_on(run[-1], bar):
            _join(run)
            run = []
        if _is_rest(bar) and number not in crossed:
            run.append(bar)
        else:
            _join(run)
            run = []
    _join(run)


def _goes_on(last: etree._Element, bar: etree._Element) -> bool:
    """Whether a bar follows another one at once, with a plain bar line between."""
    plain = last.get("right", "") in _PLAIN_BAR and bar.get("left", "") in _PLAIN_BAR
    return plain and last.getnext() is bar


def _is_rest(bar: etree._Element) -> bool:
    """Whether there is but a rest of the bar in every layer."""
    if any(child.tag != f"{_MEI}staff" for child in bar):
        return False
    layers = list(bar.iter(f"{_MEI}layer"))
    return bool(layers) and all([child.tag for child in layer] == [f"{_MEI}mRest"] for layer in layers)


def _crossed(bars: Sequence[etree._Element]) -> set[int]:
    """Numbers of bars that something goes over which counts bars to its end."""
    found: set[int] = set()
    for number, bar in enumerate(bars):
        for one in bar.iter("*"):
            counted = _SPAN.match(one.get("tstamp2", ""))
            if counted and int(counted[1]):
                found |= set(range(number, number + int(counted[1]) + 1))
    return found


def _join(run: Sequence[etree._Element]) -> None:
    if len(run) < 2:
        return
    first, last = run[0], run[-1]
    for layer in first.iter(f"{_MEI}layer"):
        for child in list(layer):
            layer.remove(child)
        etree.SubElement(layer, f"{_MEI}multiRest", {"num": str(len(run))})
    if last.get("right"):
        first.set("right", str(last.get("right")))
    for bar in run[1:]:
        parent = bar.getparent()
        if parent is not None:
            parent.remove(bar)
