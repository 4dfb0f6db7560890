"""The pictures of `figures` as SVG for a page: colours by class names, one unit is one CSS pixel."""

import math
from collections.abc import Sequence

import numpy as np

from annotate.pack.figures import Curve, JetMap, runs
from annotate.pack.markup import Html, joined, tag

_WIDTH, _LEFT, _RIGHT = 340.0, 34.0, 8.0
_CURVE_HEIGHT, _MAP_HEIGHT, _TOP, _BOTTOM = 150.0, 130.0, 16.0, 20.0
_LOW_HZ, _HIGH_HZ, _LEAST_DB = 200.0, 2600.0, -70.0
_HZ_MARKS = (250, 500, 1000, 2000)
_SPEED_MARKS = (10, 20, 40, 80)
_DISTANCE_MARKS = (5, 6, 7, 8)


def curve_svg(curve: Curve, targets: Sequence[tuple[str, float]], label: str) -> Html:
    """Level over frequency, with a line for each tone asked for: (name, hz)."""
    high = _CURVE_HEIGHT - _TOP - _BOTTOM

    def y(level: float) -> float:
        return _TOP + high * min(max(level / _LEAST_DB, 0.0), 1.0)

    points = " ".join(
        f"{_hz_x(hz):.1f},{y(db):.1f}" for hz, db in zip(curve.hz, curve.level_db, strict=True) if hz <= _HIGH_HZ
    )
    lines = [_grid(_hz_x(hz), str(hz), _CURVE_HEIGHT) for hz in _HZ_MARKS]
    lines += [_text(_LEFT - 4, y(db) + 3, f"{db:g}", "end") for db in (0, -20, -40, -60)]
    lines.append(tag("polyline", {"points": points, "class": "curve"}))
    for number, (name, hz) in enumerate(targets):
        x = _hz_x(hz)
        lines.append(
            tag("path", {"d": f"M{x:.1f} {_TOP:g}V{_CURVE_HEIGHT - _BOTTOM:g}", "class": f"target tone{number + 1}"})
        )
        lines.append(_text(x, _TOP - 4, name, "middle"))
    lines += [_text(_WIDTH - _RIGHT, _CURVE_HEIGHT - 2, "Hz", "end"), _text(2, _TOP - 4, "dB")]
    return _svg(_CURVE_HEIGHT, label, lines)


def map_svg(found: JetMap, label: str) -> Html:
    """A field for each jet, coloured by what it sounds."""
    rows, columns = found.sounds.shape
    wide, high = (_WIDTH - _LEFT - _RIGHT) / columns, (_MAP_HEIGHT - _TOP - _BOTTOM) / rows
    lines: list[Html] = []
    for value in np.unique(found.sounds):
        if value == 0:
            continue
        fields = [
            f"M{_LEFT + first * wide:.1f} {_TOP + (rows - 1 - row) * high:.1f}"
            f"h{length * wide:.1f}v{high:.1f}h{-length * wide:.1f}z"
            for row in range(rows)
            for first, length in runs(found.sounds[row] == value)
        ]
        name = {-1: "pair", -2: "other"}.get(int(value), f"tone{value}")
        lines.append(tag("path", {"d": "".join(fields), "class": f"field {name}"}))
    speeds = np.log(found.speed_m_s)
    for mark in _SPEED_MARKS:
        share = (math.log(mark) - speeds[0]) / (speeds[-1] - speeds[0])
        lines.append(_grid(_LEFT + wide / 2 + share * (columns - 1) * wide, str(mark), _MAP_HEIGHT))
    low, up = float(found.distance_m[0]) * 1e3, float(found.distance_m[-1]) * 1e3
    for mark in _DISTANCE_MARKS:
        y = _MAP_HEIGHT - _BOTTOM - high / 2 - (mark - low) / (up - low) * (rows - 1) * high
        lines.append(_text(_LEFT - 4, y + 3, str(mark), "end"))
    lines += [_text(_WIDTH - _RIGHT, _MAP_HEIGHT - 2, "m/s", "end"), _text(2, _TOP - 4, "mm")]
    return _svg(_MAP_HEIGHT, label, lines)


def _hz_x(hz: float) -> float:
    return _LEFT + (_WIDTH - _LEFT - _RIGHT) * math.log(hz / _LOW_HZ) / math.log(_HIGH_HZ / _LOW_HZ)


def _grid(x: float, text: str, height: float) -> Html:
    line = tag("path", {"d": f"M{x:.1f} {_TOP:g}V{height - _BOTTOM:g}", "class": "grid"})
    return joined(line, _text(x, height - _BOTTOM + 12, text, "middle"))


def _text(x: float, y: float, text: str, anchor: str = "start") -> Html:
    return tag("text", {"x": f"{x:.1f}", "y": f"{y:.1f}", "text-anchor": anchor}, text)


def _svg(height: float, label: str, lines: Sequence[Html]) -> Html:
    box = {"viewBox": f"0 0 {_WIDTH:g} {height:g}", "class": "chart", "role": "img", "aria-label": label}
    return tag("svg", box, *lines)
