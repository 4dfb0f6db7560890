"""The impedance of a whole flute once more, one fingering at a time, with exact forms where they are known.

Differs on purpose from the package: Zwikker–Kosten losses, Levine–Schwinger end, more slices of head taper, impedance
carried instead of admittance, keys read from a table of its own. The hole formulas are the published ones typed again
from their sources (named in fingering_db/acoustics/hole.py); a closed hole has no inner correction, as published.
"""

from typing import Any

import numpy as np
from exact_acoustics import Gas, gas, open_end_impedance, zwikker_kosten

MM = 1e-3


def _tube(load: Any, freq: Any, length: float, radius: float, air: Gas) -> Any:
    gamma, zc = zwikker_kosten(freq, radius, air)
    tanh = np.tanh(gamma * length)
    return zc * (load + zc * tanh) / (zc + load * tanh)


def _hole(freq: Any, hole: Any, state: str, bore: float, air: Gas) -> tuple[Any, Any]:
    """(series Za, shunt Zs) of a hole that is 'open', 'shut' or has a 'small' opening."""
    k = 2 * np.pi * freq / air.c
    b, t, w, h = hole.diameter_mm / 2 * MM, hole.chimney_mm * MM, hole.rim_mm * MM, hole.pad_rise_mm * MM
    d, pad = b / bore, hole.pad_ratio * b
    z_bore, z_hole = air.rho * air.c / (np.pi * bore**2), air.rho * air.c / (np.pi * b**2)
    matching = b * d / 8 * (1 + 0.207 * d**3)
    inner = b * np.polynomial.polynomial.polyval(d, [0.822, -0.095, -1.566, 2.138, -1.640, 0.502])
    if state == "open":
        t_a = -b * d**2 * (0.35 - 0.06 * np.tanh(2.7 * t / b))
        q = b / (b + w)
        outer = 0.8216 * b + q * (0.6133 - 0.8216) * b + 0.057 * q * (1 - q**5) * b
        outer += b / (3.5 * (h / b) ** 0.8 * (h / b + 3 * w / b) ** -0.4 + 30 * (h / pad) ** 2.6)
        end = z_hole * ((k * b) ** 2 / 4 + 1j * k * outer)
        return 1j * k * z_bore * t_a, 1j * k * z_hole * inner + _tube(end, freq, t + matching, b, air)
    t_a = -b * d**2 * (0.12 + 0.17 * np.tanh(2.4 * t / b))
    length = t + matching - 0.05 * b
    if state == "shut":
        gamma, zc = zwikker_kosten(freq, b, air)
        return 1j * k * z_bore * t_a, zc / np.tanh(gamma * length)
    r, plate, omega = hole.perforation_mm / 2 * MM, hole.plate_mm * MM, 2 * np.pi * freq
    inside = 0.82 * r * (1 - 1.35 * r / b + 0.31 * (r / b) ** 3)
    q = r / pad
    outside = 0.8216 * r + q * (0.6133 - 0.8216) * r + 0.057 * q * (1 - q**5) * r
    end = 1j * omega * air.rho * (plate + inside + outside) / (np.pi * r**2)
    end = end + np.sqrt(2 * air.rho * air.mu * omega) * plate / (np.pi * r**3)
    end = end + air.rho * omega**2 / (4 * np.pi * air.c)
    return 1j * k * z_bore * t_a, 1j * k * z_hole * inner + _tube(end, freq, length, b, air)


def total_impedance(instrument: Any, states: dict[str, str], freq: Any, lip_mm: Any) -> Any:
    """Z_total at the embouchure [Pa s/m³]: cavity beside the bore, then the lip's inertance. states: by hole name."""
    air = gas(instrument.temperature_c)
    bore = instrument.body.bore_mm / 2 * MM
    z = open_end_impedance(freq, bore, air)
    place = instrument.body.end_mm
    for hole in reversed(instrument.holes):
        z = _tube(z, freq, (place - hole.position_mm) * MM, bore, air)
        z_a, z_s = _hole(freq, hole, states[hole.name], bore, air)
        z = z_a / 2 + 1 / (1 / z_s + 1 / (z + z_a / 2))
        place = hole.position_mm
    head = instrument.head
    z = _tube(z, freq, (place - head.taper_mm) * MM, bore, air)
    narrow = head.bore_at_embouchure_mm / 2 * MM
    for index in reversed(range(60)):
        z = _tube(z, freq, head.taper_mm * MM / 60, narrow + (bore - narrow) * (index + 0.5) / 60, air)
    gamma, zc = zwikker_kosten(freq, narrow, air)
    cavity = zc / np.tanh(gamma * head.stopper_mm * MM)
    lip = 1j * 2 * np.pi * freq * air.rho * lip_mm * MM / (np.pi * 9.5e-3**2)
    return z * cavity / (z + cavity) + lip


# What shuts each hole of a flute with perforated keys and B foot, by touches of the left and the right hand (L.., R..):
# trade knowledge, typed apart from the instrument file.
SHUTS = {
    "C#5": {"L1"}, "C5": {"LT", "LTb"}, "B4": {"L2", "L2o", "LTb", "R1", "R1o", "RBb"}, "A#4": {"L2", "L2o"},
    "A4": {"L3", "L3o"}, "G#4": {"L3", "L3o"}, "G4": {"R1", "R1o", "R2", "R2o", "R3", "R3o"}, "F#4": {"R1", "R1o"},
    "F4": {"R2", "R2o"}, "E4": {"R3", "R3o"}, "D4": {"RC#", "RC", "RB"}, "C#4": {"RC", "RB"}, "C4": {"RB"},
}  # fmt: skip
OPENS = {"D#trill": "Rtr2", "Dtrill": "Rtr1", "G#4side": "LG#", "D#4": "REb"}
UNCOVERS = {"A#4": "L2o", "A4": "L3o", "F#4": "R1o", "F4": "R2o", "E4": "R3o"}


def keys(text: str) -> dict[str, str]:
    """State of each hole ('open', 'shut', 'small') for a fingering written as `T 2 3 | Eb`."""
    left, right = text.split("|")
    touches = {"L" + touch for touch in left.split()} | {"R" + touch for touch in right.split()}
    states = {name: "shut" if touches & by else "open" for name, by in SHUTS.items()}
    states |= {name: "open" if by in touches else "shut" for name, by in OPENS.items()}
    return states | {name: "small" for name, by in UNCOVERS.items() if by in touches}
