"""The jet stepped through time: many runs side by side, each a fingering's modes with a jet of its own.

The equations of jet.py as they stand there, nothing averaged. Each mode is carried over a step exactly with the force
held; the jet hears the velocity of a delay ago, read between two samples. Held force: first order in the step."""

from dataclasses import dataclass

import numpy as np

from fingering_db.acoustics.arrays import ComplexArray, GeometryError, IndexArray, RealArray
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
    seed: int = 0,
) -> Stepped:
    """Run i: row i of modes, shape (n_runs, m), with jet i, from start[i], shape (n_runs, m): amplitudes of v [m/s] that
    have swung freely so far.

    noise: times the stated turbulence (power). speeds: shape (n_steps, n_runs) [m/s], else those of jets all along; below
    2 m/s there is no jet. Raises GeometryError where a jet is too slow for its delay to be kept (0.1 s)."""
    return _Run(modes, jets, rate).through(start, max(1, round(seconds * rate)), noise, speeds, seed)


class _Run:
    """Modes first, runs last: shape (m, n). Strips likewise: (s, n)."""

    def __init__(self, modes: Modes, jets: Jets, rate: float) -> None:
        self.dt = 1.0 / rate
        self.runs = len(jets.speed)
        present = np.isfinite(modes.hz.T)
        self.omega = np.where(present, 2.0 * np.pi * modes.hz.T, 1.0)
        self.amplitude = np.where(present, modes.amplitude.T, 0.0)
        self.damping = self.amplitude * np.where(present, modes.resistance.T, 0.0) / 2.0
        self.present = present
        self.drive = self.amplitude / HOLE_AREA
        self.distance = jets.distance * (1.0 + jets.spread * np.linspace(-1.0, 1.0, jets.strips))[:, None]
        self.thickness = jets.thickness
        self.speed = jets.speed
        self.length = 1 << int(np.ceil(np.log2(0.1 * rate)))

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
        for omega, level in zip(self.omega, start.T, strict=True):
            velocity += level * np.cos(omega * back[:, None])
            acceleration -= level * omega * np.sin(omega * back[:, None])
        return velocity, acceleration

    def through(self, start: RealArray, steps: int, noise: float, speeds: RealArray | None, seed: int) -> Stepped:
        """In blocks no longer than the shortest delay: within one, what the jet hears is known beforehand."""
        start = np.where(self.present.T, start, 0.0)
        over, force, heard, felt = self.propagator()
        past_v, past_a = self.free(start)
        z, v = start.T * (1.0 + 0.0j), start.T.sum(axis=0)
        random, noise_pa = np.random.default_rng(seed), np.sqrt(noise * TURBULENCE / self.dt)
        squares, kept, first = np.zeros_like(self.omega), np.empty((steps, self.runs)), steps - steps // 3
        jet = self.jet(self.speed[None, :])
        number = 0
        while number < steps:
            ahead = slice(number, min(number + _MOST_AHEAD, steps))
            if speeds is not None:
                jet = self.jet(speeds[ahead])
            length = min(int(jet[0].min(initial=_MOST_AHEAD)), ahead.stop - number)
            source = self.source(past_v, past_a, number, length, jet)
            if noise:
                source += noise_pa * random.standard_normal((length, self.runs))
            swung = np.empty((length, *z.shape), dtype=complex)
            for at in range(length):
                source[at] -= LOSS * v * np.abs(v)
                z = over * z + force * source[at]
                swung[at] = z
                v = (heard * z).real.sum(axis=0)
            here = np.arange(number + 1, number + length + 1) % self.length
            velocity = (heard * swung).real
            past_v[here] = velocity.sum(axis=1)
            past_a[here] = (felt * swung).real.sum(axis=1) + self.drive.sum(axis=0) * source
            kept[number : number + length] = past_a[here]
            squares += (velocity[max(first - number, 0) :] ** 2).sum(axis=0)
            number += length
        return Stepped(np.sqrt(squares / max(steps // 3, 1)).T, kept)

    def source(
        self,
        past_v: RealArray,
        past_a: RealArray,
        number: int,
        length: int,
        jet: tuple[RealArray, RealArray, RealArray],
    ) -> RealArray:
        """Pressure of the jet's drive from step `number` on, shape (length, n) [Pa]."""
        delay, gain, force = (np.broadcast_to(part, (max(len(part), length), *part.shape[1:]))[:length] for part in jet)
        steps, columns = number + np.arange(length)[:, None, None], np.arange(self.runs)
        deflection = gain * _delayed(past_v, steps, delay, columns) - OFFSET / HALF_WIDTH
        slope = 1.0 - np.tanh(deflection) ** 2
        return np.asarray((force * gain * slope * _delayed(past_a, steps, delay, columns)).sum(axis=1))

    def propagator(self) -> tuple[ComplexArray, ...]:
        """A mode as one complex number z = x' - λ* x, for which z' = λ z + (a/S) P exactly: z over a step, what a pressure held
        through it adds, and by what the real part of z is the velocity, and the acceleration but for the pressure's own;
        shape (m, n) each."""
        rate = np.sqrt(np.maximum(self.omega**2 - self.damping**2, 1e-12))
        eigen = -self.damping + 1j * rate
        over = np.exp(eigen * self.dt)
        heard = 1.0 + 1j * self.damping / rate
        felt = -2.0 * self.damping * heard + 1j * self.omega**2 / rate
        return over, self.drive * (over - 1.0) / eigen, heard, felt


def _delayed(past: RealArray, number: IndexArray, delay: RealArray, columns: IndexArray) -> RealArray:
    """The ring's value a delay of so many samples before each step, straight between two, shape (steps, s, n)."""
    whole = delay.astype(np.intp)
    part = delay - whole
    length = len(past)
    near, far = past[(number - whole) % length, columns], past[(number - whole - 1) % length, columns]
    return np.asarray(near + part * (far - near))
