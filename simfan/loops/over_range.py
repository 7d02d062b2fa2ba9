"""A strategy's loop at points over a range: process, margins, and the tuning that keeps them.

Robust PI over the range: of all (Kc, Ti) whose largest Ms over the points stays within the target,
the one with the least Ti/Kc, which is the integral of the error after a load step (IE = Ti/Kc).
"""

from dataclasses import dataclass
from functools import cached_property, partial
from math import pi

import numpy as np

from simfan.assemble.control import controller, raises
from simfan.errors import RunError
from simfan.loops.linear import Linear, linear
from simfan.loops.margins import Controller, Margins, margins
from simfan.plant.case import Case
from simfan.simulate import prepare
from simfan.steady.balance import Rest
from simfan.steady.bench import Array
from simfan.steady.search import Search, Standing

POINTS = 25
TARGET = 1.6
"""Ms. Common practice, no source: 1.2 to 2."""
MOST_MT = 1.4
"""Mt, bounded too. Common practice, no source: 1.0 to 1.5."""
FREQUENCIES = 400
CAREFUL = 1.003
"""The search's frequencies lie coarser than those that judge: a little less Ms is sought."""
RESETS = 41
HALVINGS = 30


@dataclass(frozen=True)
class Process:
    """A point as a controls engineer names it: first order with dead time, at its own knee.

    K = G(0); at the frequency where |G| = K/√2, τ = 1/ω and θ = (−arg G − π/4)/ω, exact for a first
    order with dead time.
    """

    held: float
    """[m³/s, kg/s or Pa]."""
    flow: float
    """At the wheel [m³/s]."""
    output: float
    """Of the controller [1]."""
    gain: float
    """[% of span per % of output]."""
    lag: float
    """τ [s]."""
    dead_time: float
    """θ [s]."""
    unstable: int
    """Poles of the plant that grow, its elements standing still."""


class Loop:
    """One strategy's loop at points over a range of the held value."""

    def __init__(self, case: Case, name: str, low: float, high: float, n: int = POINTS) -> None:
        assembled, _ = prepare(case, name)
        self.case, self.name, self.assembled = case, name, assembled
        self.scan = case.control.scan
        self.sign = 1.0 if raises(case, case.strategies[name]) else -1.0
        self.reset_from_position = controller(case, case.strategies[name]).reset_from == "position"
        search = Search(assembled)
        at, held = _points(search, low, high, n)
        self.held, self.flow = held, search.samples(at)["fan_flow"][:, 0]
        self.output = at.output
        self.linear = tuple(linear(assembled, Rest(_plain(search, x), np.array([u]), h, True))
                            for x, u, h in zip(at.x, at.output, held, strict=True))

    @cached_property
    def unstable(self) -> Array:
        """(n,) growing poles of each point."""
        return np.array([int((lin.poles.real > 0.0).sum()) for lin in self.linear])

    @cached_property
    def processes(self) -> tuple[Process, ...]:
        """Gain, lag and dead time of each point."""
        return tuple(_process(lin, *numbers) for lin, *numbers in zip(
            self.linear, self.held, self.flow, self.output, self.unstable, strict=True))

    def margins(self, tuning: Controller) -> tuple[Margins, ...]:
        """Of each point, for a tuning on spans with its sign."""
        return tuple(margins(partial(lin.sampled, scan=self.scan), tuning, int(u),
                             position=partial(lin.position, scan=self.scan)
                             if self.reset_from_position else None)
                     for lin, u in zip(self.linear, self.unstable, strict=True))

    def pid(self, gain: float, reset: float, derivative: float = 0.0, n: float = 8.0
            ) -> Controller:
        """A controller of this loop; `gain` is taken with the loop's action."""
        return Controller(self.sign * gain, reset, self.scan, derivative, n)

    def given(self) -> Controller:
        """The tuning that the scenario gives."""
        c = controller(self.case, self.case.strategies[self.name])
        return self.pid(*c.standard, n=c.derivative_filter)

    def robust(self, target: float = TARGET) -> Controller:
        """The PI with the least Ti/Kc whose Ms stays within the target at every stable point.

        Raises RunError where no point of the range is stable or none leaves a gain.
        """
        good = self.unstable == 0
        if not good.any():
            raise RunError(f"{self.name}: no point of the range is stable by itself, so no tuning "
                           "was sought")
        omega = np.geomspace(1e-5, 1.0, FREQUENCIES) * pi / self.scan
        process = self.sign * np.array([lin.sampled(omega, self.scan)
                                        for lin, g in zip(self.linear, good, strict=True) if g])
        position = np.array([lin.position(omega, self.scan) for lin, g in
                             zip(self.linear, good, strict=True) if g])
        longest = 4.0 * max(p.lag + p.dead_time for p in self.processes)
        best: tuple[float, float, float] | None = None
        for reset in np.geomspace(0.5 * self.scan, max(longest, 4.0 * self.scan), RESETS):
            shape = Controller(1.0, float(reset), self.scan).response(
                omega, position if self.reset_from_position else 1.0)
            gain = _most_gain(shape * process, target)
            if gain > 0.0 and (best is None or reset / gain < best[0]):
                best = reset / gain, gain, float(reset)
        if best is None:
            raise RunError(f"{self.name}: no gain keeps Ms below {target:g} over the range")
        return self.pid(_down(best[1]), float(f"{best[2]:.3g}"))


def _points(search: Search, low: float, high: float, n: int) -> tuple[Standing, Array]:
    """n points whose held value lies evenly from high to low."""
    i = search.bench.off.flow
    ends = search.points_at(0.0), search.points_at(1.0)
    at = search.between(max(float(ends[0].x[0, i]), 1e-3 * search.bench.m_scale),
                        float(ends[1].x[-1, i]))
    held, flow = search.samples(at)["true_value"][:, 0], at.x[:, i]
    if not held.min() - 1e-9 <= low <= high <= held.max() + 1e-9:
        raise RunError(f"the strategy does not reach the whole range from {low:.4g} to {high:.4g}: "
                       f"it holds {held.min():.4g} to {held.max():.4g} (SI)")
    wanted = np.linspace(high, low, n)
    order = np.argsort(held)
    found = search.along(np.interp(wanted, held[order], flow[order]))
    return found, search.samples(found)["true_value"][:, 0]


def _plain(search: Search, x: Array) -> Array:
    state = x.copy()
    state[search.bench.n:] = 0.0
    return state


def _most_gain(loop: Array, target: float) -> float:
    """Largest factor on the loop responses (n_points, n_omega) that keeps |1 + L| at or above
    1/Ms, |L/(1 + L)| at or below Mt, and L from going round −1: L crosses the negative real axis
    only to the right of −1."""

    def within(k: float) -> bool:
        seen = k * loop
        apart = np.abs(1.0 + seen)
        turned = np.unwrap(np.angle(1.0 + seen), axis=1)
        wound = np.abs(turned[:, -1] - turned[:, 0] - 0.5 * pi) < 0.25 * pi
        return bool(apart.min() >= CAREFUL / target and (np.abs(seen) / apart).max() <= MOST_MT
                    and wound.all())

    low, high = 0.0, 1.0
    while within(high) and high < 1e4:
        low, high = high, 2.0 * high
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if within(middle) else (low, middle)
    return low


def _down(gain: float) -> float:
    """Three digits, towards the safe side: what is typed in is what was tested."""
    digits = 10.0 ** (np.floor(np.log10(gain)) - 2.0)
    return float(f"{np.floor(gain / digits) * digits:.3g}")


def _process(lin: Linear, held: float, flow: float, output: float, unstable: int) -> Process:
    omega = np.geomspace(1e-4, 1e3, 4000)
    response = lin.response(omega)
    gain = lin.gain
    below = np.flatnonzero(np.abs(response) < abs(gain) / np.sqrt(2.0))
    if below.size == 0 or unstable:
        return Process(held, flow, output, gain, float("nan"), float("nan"), unstable)
    k = int(below[0])
    phase = np.unwrap(np.angle(response / gain))[k]
    return Process(held, flow, output, gain, float(1.0 / omega[k]),
                   float(max(-phase - 0.25 * pi, 0.0) / omega[k]), unstable)
