"""The pictures of `figures` as numbers for the page, whose script draws them when they come into view."""

from collections.abc import Sequence

import numpy as np

from annotate.pack.figures import Blown
from annotate.pack.markup import Html, tag

_SIGNS = {0: " ", -1: "p", -2: "o"}
_LEAST_DB = -70.0


def chart(kind: str, number: int, label: str) -> Html:
    """Where the page draws a picture, `curve` or `map`, of the charts' numbers."""
    box = {
        "viewBox": f"0 0 340 {150 if kind == 'curve' else 130}",
        "class": "chart",
        "role": "img",
        "aria-label": label,
    }
    return tag("svg", box | {"data-kind": kind, "data-chart": str(number)})


def numbers(own: Blown, names: Sequence[str]) -> dict[str, object]:
    """What is drawn of a fingering. names: of its tones. low, high [Hz], between them in equal ratios levels below the highest
    [half dB]; tones: name and Hz; map: a text for each distance, a sign for each speed: of a tone its number from 1, p for
    several, o for another; speeds [m/s], mm: from and to."""
    levels = np.round(-2.0 * np.maximum(own.curve.level_db, _LEAST_DB)).astype(int)
    rows = ["".join(_SIGNS.get(sign, str(sign)) for sign in row) for row in own.jets.sounds.tolist()]
    return {
        "low": round(float(own.curve.hz[0]), 1),
        "high": round(float(own.curve.hz[-1]), 1),
        "levels": levels.tolist(),
        "tones": [[name, round(hz, 1)] for name, hz in zip(names, own.targets_hz, strict=True)],
        "map": rows,
        "speeds": [float(own.jets.speed_m_s[0]), float(own.jets.speed_m_s[-1])],
        "mm": [float(own.jets.distance_m[0]) * 1e3, float(own.jets.distance_m[-1]) * 1e3],
    }
