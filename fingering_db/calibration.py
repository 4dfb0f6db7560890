"""Calibrating the confidence on what is known to play, and what that calibration predicts.

`python -m fingering_db.calibration` prints the coefficients, and every row with the strength that the others predict
for it (each fingering left out in turn), misses included."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, RealArray
from fingering_db.acoustics.resonance import Crossings
from fingering_db.chart import chart
from fingering_db.fingering import Fingering
from fingering_db.instrument import DATA, load
from fingering_db.mechanism import hole_states
from fingering_db.model import Model, model
from fingering_db.pitch import Pitch
from fingering_db.playability import Calibration, features, strength

# Prior on the weights of the two features: keeps thin evidence from steep slopes. Ours, chosen among six pairs by
# looking at
# the table printed here, so even the prediction for fingerings left out is not free of that look.
_RIDGE = (1e-4, 1e-3)
_WITHIN_CENTS = 60.0


@dataclass(frozen=True, slots=True)
class Row:
    """A resonance that is known to play or not. index: its crossing."""

    fingering: str
    note: str
    played: bool
    published: bool
    index: int


def evidence(of: Model) -> tuple[tuple[Row, ...], Crossings]:
    """All rows that the model has a resonance for, and the crossings of their fingerings."""
    wanted = _wanted(of)
    fingerings = list(dict.fromkeys(fingering for fingering, *_ in wanted))
    states = np.array([hole_states(of.instrument, Fingering.parse(text)) for text in fingerings])
    crossings = of.resonances(of.flute.bore_impedance(states, of.grid))
    rows: dict[int, Row] = {}
    for fingering, note, played, published, within in wanted:
        own = np.flatnonzero(crossings.row == fingerings.index(fingering))
        cents = np.abs(1200.0 * np.log2(crossings.hz[own] / Pitch.parse(note).hz(of.instrument.a4_hz)))
        if cents.min() <= within:
            index = int(own[cents.argmin()])
            rows[index] = Row(fingering, note, played, published, index)
    return tuple(rows.values()), crossings


def _wanted(of: Model) -> list[tuple[str, str, bool, bool, float]]:
    """(fingering, note, played, published, within cents)."""
    found = [(str(note.fingering), str(note.pitch), True, False, _WITHIN_CENTS) for note in chart(of.instrument.chart)]
    table = tomllib.loads((DATA / "evidence.toml").read_text(encoding="utf-8"))
    for row in table["rows"]:
        text = str(Fingering.parse(row["fingering"]))
        within = float(row.get("within_cents", _WITHIN_CENTS))
        for key, played in (("played", True), ("unplayed", False)):
            found += [(text, note, played, True, within) for note in row.get(key, [])]
    return found


def calibrate(values: RealArray, played: BoolArray) -> Calibration:
    """Ridge-regularised logistic regression by Newton's method, both kinds of rows weighing the same in all.

    values: shape (n, 2); played: shape (n,)."""
    weight = np.where(played, 0.5 / max(played.sum(), 1), 0.5 / max((~played).sum(), 1))
    design = np.column_stack([np.ones(len(values)), values])
    penalty = np.diag([0.0, *_RIDGE])
    x = np.zeros(3)
    for _ in range(100):
        p = 1.0 / (1.0 + np.exp(-np.clip(design @ x, -40.0, 40.0)))
        gradient = design.T @ (weight * (p - played)) + penalty @ x
        hessian = (design * (weight * p * (1.0 - p))[:, None]).T @ design + penalty
        x = x - np.linalg.solve(hessian + 1e-12 * np.eye(3), gradient)
    return Calibration(float(x[0]), (float(x[1]), float(x[2])))


def left_out(rows: tuple[Row, ...], crossings: Crossings, of: Model) -> RealArray:
    """Strength of each row predicted from the rows of all other fingerings, shape (n_rows,)."""
    values = features(crossings, of.curve)[[row.index for row in rows]]
    played = np.array([row.played for row in rows])
    names = np.array([row.fingering for row in rows])
    predicted = np.empty(len(rows))
    for name in dict.fromkeys(names.tolist()):
        calibration = calibrate(values[names != name], played[names != name])
        both = strength(crossings, of.curve, calibration)
        for at in np.flatnonzero(names == name):
            predicted[at] = both[rows[at].index]
    return predicted


def report(name: str, say: Callable[[str], None]) -> Calibration:
    """Say the coefficients and the cross-validated table."""
    of = model(load(name))
    rows, crossings = evidence(of)
    values = features(crossings, of.curve)[[row.index for row in rows]]
    whole = calibrate(values, np.array([row.played for row in rows]))
    weights = ", ".join(f"{weight:.2f}" for weight in whole.weights)
    say(f"calibration: {whole.constant:.2f} + ({weights}) · (r, log2 margin), {len(rows)} rows")
    predicted = left_out(rows, crossings, of)
    fitted = strength(crossings, of.curve, whole)
    say("row                             r     margin  in-sample  predicted")
    misses = 0
    for row, value, guess in sorted(zip(rows, values, predicted, strict=True), key=lambda entry: entry[2]):
        miss = (guess >= 0.5) != row.played
        misses += miss
        kind = "plays " if row.played else "silent"
        text = f"{kind} {row.note:<6} {row.fingering:<18} {value[0]:4.2f}  {2.0 ** value[1]:6.2f}"
        say(f"{text}  {fitted[row.index]:8.2f}  {guess:8.2f}{'  MISS' if miss else ''}")
    published = [row.published for row in rows]
    say(f"{misses} of {len(rows)} rows missed when their fingering is left out; {sum(published)} rows are published")
    return whole


if __name__ == "__main__":
    report("open-hole-b", print)
