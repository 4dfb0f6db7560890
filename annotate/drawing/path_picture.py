"""A glissando as a picture: how far each pitch moves over time, and below it what the slide or the keys do.

Black and white safe: lines are told apart by dashes and by the note at their end. Text is text here, in whatever sans-serif
the viewer has; nothing is laid out by its width."""

from collections.abc import Sequence
from html import escape

from annotate.decision import Decision, PathPoint
from annotate.language import Words, words

_WIDTH, _LEFT, _RIGHT = 360.0, 46.0, 62.0
_TOP, _CURVES, _GAP, _STRIP, _BOTTOM = 16.0, 120.0, 16.0, 44.0, 24.0
_DASHES = ("none", "7 3", "2 3", "8 3 2 3")
_FEWEST_CENTS = 50.0  # height of the scale at least


def path_svg(decision: Decision, language: str = "en") -> str:
    """SVG text of a decision's path, its words in a language. Raises ValueError for a decision that has none."""
    path = decision.path
    if len(path) < 2 or not path[0].sounds:
        raise ValueError("a decision without a path has no picture")
    say = words(language)
    curves = _curves(path)
    low = min(min(curve) for curve in curves)
    high = max(max(curve) for curve in curves)
    middle, span = (low + high) / 2.0, max(high - low, _FEWEST_CENTS)
    height = _TOP + _CURVES + _GAP + _STRIP + _BOTTOM
    seconds = max(decision.demand.seconds_end - decision.demand.place.seconds, 0.0)
    body = [
        *_scale(middle, span, say),
        *(_curve(decision, curve, middle, span, n, say) for n, curve in enumerate(curves)),
        *_strip(path, say),
        _text(_LEFT, height - 6.0, "0 s"),
        _text(
            _WIDTH - _RIGHT, height - 6.0, f"{say.number(seconds, '.1f')} s" if seconds else say.text("path.end"), "end"
        ),
    ]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH:g}" height="{height:g}" '
        f'viewBox="0 0 {_WIDTH:g} {height:g}" font-family="sans-serif" font-size="9">'
    )
    title = f"<title>{escape(f'{say.place(decision.demand.place)}: {say.say(decision.why)}', quote=False)}</title>"
    return "\n".join([head, title, '<rect width="100%" height="100%" fill="white"/>', *body, "</svg>\n"])


def _curves(path: Sequence[PathPoint]) -> list[list[float]]:
    """Cents from its start for each component that is there all the way."""
    count = min(len(point.sounds) for point in path)
    return [[100.0 * (p.sounds[k].pitch.midi - path[0].sounds[k].pitch.midi) for p in path] for k in range(count)]


def _x(t: float) -> float:
    return _LEFT + t * (_WIDTH - _LEFT - _RIGHT)


def _y(cents: float, middle: float, span: float) -> float:
    return _TOP + _CURVES / 2.0 - (cents - middle) / span * (_CURVES - 12.0)


def _scale(middle: float, span: float, say: Words) -> list[str]:
    """Lines at round cents, with their figures."""
    step = next(size for size in (10, 20, 25, 50, 100, 200, 500, 1000) if span / size <= 6)
    first = int((middle - span / 2.0) // step) * step
    lines = []
    for cents in range(first, int(middle + span / 2.0) + step, step):
        y = _y(cents, middle, span)
        if _TOP <= y <= _TOP + _CURVES:
            lines.append(f'<path d="M{_LEFT:g} {y:.1f}H{_WIDTH - _RIGHT:g}" stroke="#bbb" stroke-width="0.5"/>')
            lines.append(_text(_LEFT - 4.0, y + 3.0, f"{cents:+d}" if cents else "0", "end"))
    return [*lines, _text(4.0, _TOP - 5.0, say.text("path.cents"))]


def _curve(decision: Decision, cents: list[float], middle: float, span: float, number: int, say: Words) -> str:
    points = " ".join(f"{_x(p.t):.1f},{_y(c, middle, span):.1f}" for p, c in zip(decision.path, cents, strict=True))
    asked = decision.demand.to or decision.demand.pitches
    name = say.pitch(asked[number]) if number < len(asked) else ""
    line = (
        f'<polyline points="{points}" fill="none" stroke="black" stroke-width="1.6" '
        f'stroke-dasharray="{_DASHES[number % len(_DASHES)]}"/>'
    )
    return line + _text(_WIDTH - _RIGHT + 5.0, _y(cents[-1], middle, span) + 3.0, name)


def _strip(path: Sequence[PathPoint], say: Words) -> list[str]:
    """What the player does: the slide [mm] or the lip [cents] as a line, or the open share of each rolling key as a
    wedge."""
    top = _TOP + _CURVES + _GAP
    slides, lips = [point.slide_mm for point in path], [point.lip_cents for point in path]
    if max(slides) - min(slides) > 0.05:
        return _line_strip(path, slides, say.text("path.slide"), f"{slides[0]:.0f} > {slides[-1]:.0f} mm")
    if max(lips) - min(lips) > 0.5:
        return _line_strip(path, lips, say.text("path.lip"), f"{lips[0]:+.0f} > {lips[-1]:+.0f}")
    rows = []
    touches = list(dict.fromkeys(touch for point in path for touch, _ in point.open))
    for number, touch in enumerate(touches):
        base = top + _STRIP * (number + 1) / len(touches)
        deep = _STRIP / len(touches) - 4.0
        shares = [(p.t, dict(p.open).get(touch, 0.0)) for p in path]
        edge = " ".join(f"{_x(t):.1f},{base - deep * share:.1f}" for t, share in shares)
        rows.append(f'<polygon points="{_x(0.0):.1f},{base:.1f} {edge} {_x(1.0):.1f},{base:.1f}" fill="#999"/>')
        rows.append(_text(4.0, base - 2.0, say.text("path.hole", touch=touch)))
    return rows


def _line_strip(path: Sequence[PathPoint], values: Sequence[float], name: str, label: str) -> list[str]:
    """Something that moves, as a line that fills the strip."""
    top, low = _TOP + _CURVES + _GAP, min(0.0, *values)
    span = max(0.0, *values) - low
    points = " ".join(
        f"{_x(p.t):.1f},{top + _STRIP * (1.0 - (value - low) / span):.1f}"
        for p, value in zip(path, values, strict=True)
    )
    line = f'<polyline points="{points}" fill="none" stroke="black" stroke-width="1.2"/>'
    return [line, _text(4.0, top + 8.0, name), _text(_WIDTH - _RIGHT + 5.0, top + _STRIP / 2.0, label)]


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text, quote=False)}</text>'
