"""Maps of dyads as pictures (SVG): lower note from left to right, interval upwards, one field for each quarter-tone."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from html import escape

from annotate.catalogue import tables
from annotate.catalogue.tables import Dyads, note
from annotate.language import Words

_FIELD, _LEFT, _TOP, _BELOW, _RIGHT, _LEAST_WIDTH = 9, 64, 58, 66, 14, 620
_EASE = ("#dbe9f6", "#a9cce8", "#6aaed6", "#2f7fbc", "#08417e")
"""From hardly to easily, five steps of ease."""
COLOURS = {
    tables.ONLY_SECOND: "#1b5faa",
    tables.EASIER: "#a9cce8",
    tables.ALIKE: "#d9d9d9",
    tables.HARDER: "#f6cfa0",
    tables.ONLY_FIRST: "#d0650c",
}
_OCTAVE = 24  # quarter-tones
Cell = tuple[int, int]


def dyad_map(found: Dyads, flute: str, words: Words) -> bytes:
    """How easy each dyad of a flute is."""

    def told(cell: Cell) -> str:
        one = found[cell]
        return f"{words.chord(tables.notes(one))}: {one.fingering}, {words.number(one.ease, '.2f')} ({one.sounds})"

    legend = [(colour, words.number((step + 0.5) / len(_EASE), ".1f")) for step, colour in enumerate(_EASE)]
    fields = {cell: _EASE[min(int(one.ease * len(_EASE)), len(_EASE) - 1)] for cell, one in found.items()}
    title = words.text("catalogue.map_title", flute=flute, n=len(found))
    return _picture(fields, told, title, [(words.text("catalogue.ease"), legend)], words)


def difference_map(first: Dyads, second: Dyads, flutes: tuple[str, str], words: Words) -> bytes:
    """What the second of two flutes adds to the first and what it lacks."""
    kinds = tables.difference(first, second)

    def told(cell: Cell) -> str:
        named = zip(flutes, (first.get(cell), second.get(cell)), strict=True)
        there = [f"{name}: {one.fingering}, {words.number(one.ease, '.2f')}" for name, one in named if one]
        return f"{words.chord(tables.notes(first.get(cell) or second[cell]))}: {'; '.join(there)}"

    counts = {kind: sum(one == kind for one in kinds.values()) for kind in COLOURS}
    named = {"first": flutes[0], "second": flutes[1]}
    legend = [(colour, words.text(f"catalogue.{kind}", n=counts[kind], **named)) for kind, colour in COLOURS.items()]
    title = words.text("catalogue.difference_title", **named)
    return _picture({cell: COLOURS[kind] for cell, kind in kinds.items()}, told, title, [("", legend)], words)


def _picture(
    fields: Mapping[Cell, str],
    told: Callable[[Cell], str],
    title: str,
    legends: Sequence[tuple[str, Sequence[tuple[str, str]]]],
    words: Words,
) -> bytes:
    lows, steps = [cell[0] for cell in fields] or [0], [cell[1] for cell in fields] or [1]
    least, most, widest = min(lows), max(lows), max(steps)
    entries = sum(len(legend) for _, legend in legends)
    below = _BELOW + (16 * entries if entries and not legends[0][0] else 22)
    width, height = _LEFT + (most - least + 1) * _FIELD + _RIGHT, _TOP + widest * _FIELD + below
    width = max(width, _LEAST_WIDTH)
    bottom = _TOP + widest * _FIELD
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        'font-family="sans-serif" font-size="11">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        _text(_LEFT, 20, title, size=14),
        _text(_LEFT, 38, words.text("catalogue.axes")),
        *_grid(least, most, widest, bottom, words),
    ]
    for (low, step), colour in sorted(fields.items()):
        # A field stands around its note and its interval.
        x, y = _LEFT + (low - least) * _FIELD - _FIELD // 2, bottom - step * _FIELD - _FIELD // 2
        shape = f'<rect x="{x}" y="{y}" width="{_FIELD - 1}" height="{_FIELD - 1}" fill="{colour}">'
        lines.append(f"{shape}<title>{escape(told((low, step)))}</title></rect>")
    lines += _legends(legends, bottom + 46)
    return ("\n".join([*lines, "</svg>"]) + "\n").encode("utf-8")


def _grid(least: int, most: int, widest: int, bottom: int, words: Words) -> Iterator[str]:
    right = _LEFT + (most - least + 1) * _FIELD
    for quarter in range(least, most + 1):
        pitch = note(quarter)
        if pitch.cents or pitch.alter:
            continue
        x = _LEFT + (quarter - least) * _FIELD
        strong = pitch.step == "C"
        yield f'<path d="M{x} {_TOP}V{bottom}" stroke="{"#b0b0b0" if strong else "#eeeeee"}"/>'
        if strong or pitch.step in "EG":
            yield _text(x, bottom + 14, words.note_name(pitch))
    for step in range(0, widest + 1, 2):
        octave = step % _OCTAVE == 0
        y = bottom - step * _FIELD
        yield f'<path d="M{_LEFT} {y}H{right}" stroke="{"#b0b0b0" if octave else "#f3f3f3"}"/>'
        if step % 4 == 0:
            yield _text(_LEFT - 6, y + 4, str(step // 2), anchor="end")


def _legends(legends: Sequence[tuple[str, Sequence[tuple[str, str]]]], y: int) -> Iterator[str]:
    for label, legend in legends:
        if label:
            yield _text(_LEFT, y + 9, label)
        for number, (colour, told) in enumerate(legend):
            x, down = (_LEFT + 150 + number * 56, 0) if label else (_LEFT, number * 16)
            yield f'<rect x="{x}" y="{y + down}" width="11" height="11" fill="{colour}"/>'
            yield _text(x + 16, y + down + 10, told)


def _text(x: float, y: float, text: str, anchor: str = "start", size: int = 0) -> str:
    told = f' font-size="{size}"' if size else ""
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="#222222"{told}>{escape(text)}</text>'
