"""The jet stepped through time: many runs side by side, each a fingering's modes with a jet of its own.

The equations of jet.py as they stand there, nothing averaged. Each mode is carried over a step exactly with the force
held; the jet hears the velocity of a delay ago, read between two samples. Held force: first order in the step."""

from dataclasses import dataclass
from typing import Self

import numpy as np

from fingering_db.acoustics.arrays import BoolArray, ComplexArray, GeometryError, RealArray
from fingering_db.acoustics.jet import (
    AIR_DENSITY,
    CONVECTION,
    GROWTH,
    HALF_WIDTH,
    HOLE_AREA,
    LOSS,
    OFFSET,
    TURBULENCE,
    Jets,
    Modes,
    jet_drive_length,
)

RATE = 48_000  # [1/s] twice that gives the same modes for all but 1 % of jets
_MOST_AHEAD = 64  # steps looked ahead: at most about a delay
_LOWEST_SPEED = 2.0  # [m/s] below, there is no jet: the air only loses


@dataclass(frozen=True, slots=True)
class Stepped:
    """rms: shape (n_runs, m), velocity of each mode over the last third [m/s]. acceleration: shape (n_steps, n_runs), dv/dt
    of the air in the embouchure [m/s²], to which the sound pressure far off is proportional (a small source; exact for a
    point)."""

    rms: RealArray
    acceleration: RealArray


def step(
    modes: Modes,
    jets: Jets,
    start: RealArray,
    seconds: float,
    *,
    rate: float = RATE,
    noise: float = 0.0,
    speeds: RealArray | None = None,
    moments: RealArray | None = None,
    seed: int = 0,
) -> Stepped:
    """Run i: row i of modes, shape (n_runs, m), with jet i, from start[i], shape (n_runs, m): amplitudes of v [m/s] that
    have swung freely so far.

    noise: times the stated turbulence (power), the same air for every run, so that each is as by itself. speeds: shape
    (n_steps, n_runs) [m/s], else those of jets all along; below 2 m/s there is no jet. moments: shape (n_steps,), where
    modes, then of shape (n_moments, n_runs, m), are at each step, 0 to n_moments - 1 and straight between; each mode
    keeps its swing while it changes, which holds for changes slow against its decay. Raises GeometryError where a jet is too
    slow for its delay to be kept (0.1 s)."""
    return _Run(modes, jets, rate, moments).through(start, max(1, round(seconds * rate)), noise, speeds, seed)


@dataclass(frozen=True, slots=True)
class _Swing:
    """How modes go on over a step, shape (m, n) each. A mode is one complex number z = x' - λ* x, for which z' = λ z + (a/S) P
    exactly. over: z over a step; force: what a pressure held through it adds; heard, felt: by what the real part of z is the
    velocity, and the acceleration but for the pressure's own, which is drive."""

    present: BoolArray
    over: ComplexArray
    force: ComplexArray
    heard: ComplexArray
    felt: ComplexArray
    drive: RealArray

    @classmethod
    def of(cls, modes: Modes, dt: float) -> Self:
        """modes: one row for each run."""
        present = np.isfinite(modes.hz.T)
        omega = np.where(present, 2.0 * np.pi * modes.hz.T, 1.0)
        amplitude = np.where(present, modes.amplitude.T, 0.0)
        damping = amplitude * np.where(present, modes.resistance.T, 0.0) / 2.0
        drive = amplitude / HOLE_AREA
        rate = np.sqrt(np.maximum(omega**2 - damping**2, 1e-12))
        eigen = -damping + 1j * rate
        over = np.exp(eigen * dt)
        heard = 1.0 + 1j * damping / rate
        felt = -2.0 * damping * heard + 1j * omega**2 / rate
        return cls(present, over, drive * (over - 1.0) / eigen, heard, felt, drive)


class _Run:
    """Modes first, runs last: shape (m, n). Strips likewise: (s, n)."""

    def __init__(self, modes: Modes, jets: Jets, rate: float, moments: RealArray | None) -> None:
        self.modes = (
            modes if moments is not None else Modes(modes.hz[None], modes.amplitude[None], modes.resistance[None])
        )
        self.moments = moments
        self.dt = 1.0 / rate
        self.runs = len(jets.speed)
        self.distance = jets.distance * (1.0 + jets.spread * np.linspace(-1.0, 1.0, jets.strips))[:, None]
        self.thickness = jets.thickness
        self.speed = jets.speed
        self.length = 1 << int(np.ceil(np.log2(0.1 * rate)))

    def swing(self, step: int = 0) -> _Swing:
        """At a step."""
        at = 0.0 if self.moments is None else float(self.moments[step])
        one = int(at)
        parts = self.modes.hz, self.modes.amplitude, self.modes.resistance
        if at == one:
            return _Swing.of(Modes(*(part[one] for part in parts)), self.dt)
        return _Swing.of(Modes(*(part[one] + (at - one) * (part[one + 1] - part[one]) for part in parts)), self.dt)

    def jet(self, speed: RealArray) -> tuple[RealArray, RealArray, RealArray]:
        """Delay in samples, G/b [s/m] and K [Pa s] of each strip, shape (k, s, n); K is 0 where there is no jet. speed: shape
        (k, n) [m/s]."""
        blown = speed >= _LOWEST_SPEED
        u = np.where(blown, speed, _LOWEST_SPEED)[:, None, :]
        delay = self.distance / (CONVECTION * u) / self.dt
        if delay.max(initial=0.0) > self.length - 2:
            raise GeometryError(f"a jet of {u.min()!r} m/s needs longer than 0.1 s from lips to edge")
        half = HALF_WIDTH * self.thickness
        gain = self.thickness / u * np.exp(GROWTH * self.distance / self.thickness) / half
        force = AIR_DENSITY * jet_drive_length(self.distance, self.thickness) * half * u / self.distance
        return np.maximum(delay, 1.0), gain, force * blown[:, None, :] / len(self.distance)

    def free(self, start: RealArray) -> tuple[RealArray, RealArray]:
        """v and dv/dt of the free oscillation of the past, newest at index 0 of a ring, shape (length, n)."""
        back = -self.dt * ((-np.arange(self.length)) % self.length)
        velocity, acceleration = np.zeros((self.length, self.runs)), np.zeros((self.length, self.runs))
        for hz, level in zip(np.nan_to_num(self.modes.hz[0].T), start.T, strict=True):
            if not level.any():
                continue
            omega = 2.0 * np.pi * hz
            velocity += level * np.cos(omega * back[:, None])
            acceleration -= level * omega * np.sin(omega * back[:, None])
        return velocity, acceleration

    def through(self, start: RealArray, steps: int, noise: float, speeds: RealArray | None, seed: int) -> Stepped:
        """In blocks no longer than the shortest delay: within one, what the jet hears is known beforehand."""
        swing = self.swing()
        start = np.where(swing.present.T, start, 0.0)
        past_v, past_a = self.free(start)
        z, v = start.T * (1.0 + 0.0j), start.T.sum(axis=0)
        random, noise_pa = np.random.default_rng(seed), np.sqrt(noise * TURBULENCE / self.dt)
        squares, kept, first = np.zeros(z.shape), np.empty((steps, self.runs)), steps - steps // 3
        jet = self.jet(self.speed[None, :])
        number, ahead = 0, 0
        while number < steps:
            if number == ahead:  # what changes is looked at anew
                ahead = min(number + _MOST_AHEAD, steps)
                if speeds is not None:
                    jet = self.jet(speeds[number:ahead])
                if self.moments is not None:
                    swing = self.swing(number)
                    z = np.where(swing.present, z, 0.0)
            length = min(int(jet[0].min(initial=_MOST_AHEAD)), ahead - number)
            own = (
                jet if speeds is None else tuple(part[number - ahead : number - ahead + length or None] for part in jet)
            )
            source = self.source(past_v, past_a, number, length, own)
            if noise:
                source += noise_pa * random.standard_normal(length)[:, None]
            swung = np.empty((length, *z.shape), dtype=complex)
            over, force, heard = swing.over, swing.force, swing.heard
            for at in range(length):
                source[at] -= LOSS * v * np.abs(v)
                z = np.add(over * z, force * source[at], out=swung[at])
                v = np.add.reduce(heard * z, axis=0).real
            here = np.arange(number + 1, number + length + 1) % self.length
            velocity = (heard * swung).real
            past_v[here] = velocity.sum(axis=1)
            past_a[here] = (swing.felt * swung).real.sum(axis=1) + swing.drive.sum(axis=0) * source
            kept[number : number + length] = past_a[here]
            squares += (velocity[max(first - number, 0) :] ** 2).sum(axis=0)
            number += length
        return Stepped(np.sqrt(squares / max(steps // 3, 1)).T, kept)

    def source(
        self, past_v: RealArray, past_a: RealArray, number: int, length: int, jet: tuple[RealArray, ...]
    ) -> RealArray:
        """Pressure of the jet's drive from step `number` on, shape (length, n) [Pa]. The rings are read a delay before each
        step, straight between two values."""
        delay, gain, force = jet
        whole = delay.astype(np.intp)
        part = delay - whole
        near = (number + np.arange(length)[:, None, None] - whole) % self.length
        columns = np.arange(self.runs)
        near, far = near * self.runs + columns, (near - 1) % self.length * self.runs + columns
        v, a = (one.take(near) * (1.0 - part) + one.take(far) * part for one in (past_v, past_a))
        slope = 1.0 - np.tanh(gain * v - OFFSET / HALF_WIDTH) ** 2
        return np.asarray((force * gain * slope * a).sum(axis=1))
