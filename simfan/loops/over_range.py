"""A strategy's loop at points over a range: process, margins, and the tuning that keeps them.

Robust PI over the range: of all (Kc, Ti) whose largest Ms over the points stays within the target,
and Mt and the noise gain Kc within their bounds, the one with the least Ti/Kc, which is the
integral of the error after a load step (IE = Ti/Kc).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, isfinite, pi, sqrt

import numpy as np

from simfan.assemble import Assembled
from simfan.assemble.control import controller, raises
from simfan.assemble.transmitter import span
from simfan.errors import RunError
from simfan.loops.allowed import most_gain, rounded_down, winds_right
from simfan.loops.beside import CASCADE, TWO_LOOPS, beside, kind
from simfan.loops.linear import linear
from simfan.loops.margins import Controller, Margins, around_each
from simfan.loops.modes import Stack
from simfan.plant.case import Case
from simfan.simulate import prepare
from simfan.steady.balance import Rest
from simfan.steady.bench import Array
from simfan.steady.path import ground
from simfan.steady.search import Search, Standing

POINTS = 25
TARGET = 1.6
"""Ms. Common practice, no source: 1.2 to 2."""
MOST_NOISE_GAIN = 10.0
"""Kc of a PI is what it does to noise: percent of output per percent of span. An assumption."""
MOST_STIRRED = 0.01
"""Standard deviation of the output that the transmitter's noise may cause. An assumption."""
FREQUENCIES = 400
CHARACTERISTIC = 201
"""Points of an installed characteristic."""
RESETS = 41
CALMINGS, CALMER = 30, 0.85
"""Steps in which the gain of one of two loops is cut for the sake of both."""
KNEES = np.geomspace(1e-4, 1e3, 4000)
"""Frequencies at which the knee of a process is looked for [rad/s]."""


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
        assembled = _assembled(case, name)
        self.case, self.name, self.assembled = case, name, assembled
        self.scan = case.control.scan
        self.sign = 1.0 if raises(case, case.strategies[name]) else -1.0
        self.reset_from_position = controller(case, case.strategies[name]).reset_from == "position"
        search = Search(assembled)
        at, held = _points(search, low, high, n)
        self.held, self.flow = held, search.samples(at)["fan_flow"][:, 0]
        self.output = at.output
        rests = [Rest(_plain(search, x), np.array([u]), h, True)
                 for x, u, h in zip(at.x, at.output, held, strict=True)]
        which = kind(case, name)
        moved_by = None if which is None else int(which == CASCADE)
        self.linear = tuple(linear(assembled, rest, 0, moved_by) for rest in rests)
        self.beside = beside(case, name, assembled, rests)

    @cached_property
    def unstable(self) -> Array:
        """(n,) growing poles of each point; one more where the loop beside is unstable alone."""
        plant = np.array([int((lin.poles.real > 0.0).sum()) for lin in self.linear])
        return plant + self.beside.unstable(plant) if self.beside else plant

    @cached_property
    def processes(self) -> tuple[Process, ...]:
        """Gain, lag and dead time of each point."""
        return tuple(_process(*one) for one in zip(
            self.stack.response(KNEES), [lin.gain for lin in self.linear], self.held, self.flow,
            self.output, self.unstable, strict=True))

    @cached_property
    def stack(self) -> Stack:
        """The plants of all points at once."""
        return Stack(self.linear)

    def margins(self, tuning: Controller | Sequence[Controller]) -> tuple[Margins, ...]:
        """Of each point, for a tuning on spans with its sign, or for one at each point."""
        return around_each(lambda w: self.responses(tuning, w), pi / self.scan,
                           self.unstable + 0.5 * self._integrators)

    @property
    def _integrators(self) -> int:
        """Of the controller, and of the loop beside."""
        return 1 + (self.beside.integrators if self.beside else 0)

    def process(self, omega: Array) -> Array:
        """(n, n_omega) what the controller moves its reading through, as the scans see it [1]."""
        return (self.beside.process(omega) if self.beside
                else self.stack.sampled(omega, self.scan))

    def reset(self, omega: Array) -> Array | float:
        """(n, n_omega) what the external reset sees of the output [1]."""
        if self.reset_from_position:
            return self.stack.position(omega, self.scan)
        return self.beside.reset(omega) if self.beside else 1.0

    def responses(self, tuning: Controller | Sequence[Controller], omega: Array) -> Array:
        """(n, n_omega) L of each point at frequencies (n_omega,) or (n, n_omega)."""
        omega = np.atleast_2d(omega)
        process, position = self.process(omega), self.reset(omega)
        if isinstance(tuning, Controller):
            return tuning.response(omega, position) * process
        rows = zip(tuning, np.broadcast_to(omega, process.shape),
                   np.broadcast_to(position, process.shape), strict=True)
        return np.array([c.response(w, p) for c, w, p in rows]) * process

    def pid(self, gain: float, reset: float, derivative: float = 0.0, n: float = 8.0
            ) -> Controller:
        """A controller of this loop; `gain` is taken with the loop's action."""
        return Controller(self.sign * gain, reset, self.scan, derivative, n)

    def given(self) -> Controller:
        """The tuning that the scenario gives."""
        c = controller(self.case, self.case.strategies[self.name])
        return self.pid(*c.standard, n=c.derivative_filter)

    @cached_property
    def most_noise_gain(self) -> float:
        """Largest Kc for the sake of noise: the output moves by no more than MOST_STIRRED, at the
        lowest value of the range where a root is taken there."""
        device, (low, width) = self.case.control.transmitter, span(self.case)
        share = (float(self.held.min()) - low) / width
        noise = device.noise
        if device.square_root and noise:
            noise /= 2.0 * max(share, sqrt(noise))
        return min(MOST_NOISE_GAIN, MOST_STIRRED / noise) if noise else MOST_NOISE_GAIN

    def robust(self, target: float = TARGET, among: Array | None = None) -> Controller:
        """The PI with the least Ti/Kc whose Ms stays within the target at every stable point, Mt
        within MOST_MT and Kc within what noise allows.

        `among` (n,) tells which points count; all of them by default.

        Raises RunError where no point of the range is stable or none leaves a gain.
        """
        good = (self.unstable == 0) & (True if among is None else among)
        if not good.any():
            raise RunError(f"{self.name}: no point of the range is stable by itself, so no tuning "
                           "was sought")
        omega = np.geomspace(1e-5, 1.0, FREQUENCIES) * pi / self.scan
        process, position = self.process(omega)[good], self.reset(omega)
        if np.ndim(position) == 2 and len(np.asarray(position)) > 1:
            position = np.asarray(position)[good]
        longest = max((p.lag + p.dead_time for p in self.processes if isfinite(p.lag)), default=1.0)
        found = []
        for reset in self.scan * np.geomspace(0.5, max(4.0 * longest / self.scan, 4.0), RESETS):
            loop = self.pid(1.0, float(reset)).response(omega, position) * process
            gain = min(most_gain(loop, target, self._integrators), self.most_noise_gain)
            found.append((reset / gain if gain > 0.0 else inf, gain, float(reset), loop))
        for rejection, gain, reset, loop in sorted(found, key=lambda one: one[0]):
            if reset >= self.scan and rejection < inf and winds_right(gain * loop,
                                                                      self._integrators):
                return self._calm(self.pid(rounded_down(gain), float(f"{reset:.3g}")), target)
        raise RunError(f"{self.name}: no gain keeps Ms below {target:g} over the range")

    def _calm(self, tuning: Controller, target: float) -> Controller:
        """The same with less gain until σ̄(S) of two loops is within the target at every stable
        point, or less gain helps no more."""
        if self.beside is None or self.beside.kind != TWO_LOOPS:
            return tuning
        omega = np.geomspace(1e-5, 1.0, FREQUENCIES) * pi / self.scan
        first = tuning
        for _ in range(CALMINGS):
            worst = self.beside.largest_singular_value(tuning, omega)
            if worst[self.unstable == 0].max() <= target:
                return tuning
            tuning = replace(tuning, gain=self.sign * rounded_down(CALMER * abs(tuning.gain)))
        return first


def installed(loop: Loop, low: float, high: float, n: int = CHARACTERISTIC
              ) -> tuple[Array, Array]:
    """The installed characteristic by rising output: ((n,) the held value as a share of its way
    from an output of 0 to one of 1, (n,) output)."""
    search = Search(loop.assembled)
    at, held = _points(search, low, high, n)
    shut, full = (search.samples(search.points_at(u))["true_value"][:, 0] for u in (0.0, 1.0))
    share = (held - shut[0]) / (full[-1] - shut[0])
    order = np.argsort(at.output)
    return share[order], at.output[order]


def _assembled(case: Case, name: str) -> Assembled:
    """The strategy at the step of its run, which rounds dead times; where one loop has none no step
    is sought, for small moves know no other."""
    plain = ground(case, name).assembled
    late = case.control.transmitter.dead_time or any(e.dead_time for e in plain.elements)
    return prepare(case, name)[0] if late or plain.plant.loops.size > 1 else plain


def _points(search: Search, low: float, high: float, n: int) -> tuple[Standing, Array]:
    """n points whose held value lies evenly from high to low."""
    i = search.bench.off.flow
    ends = search.points_at(0.0), search.points_at(1.0)
    if not len(ends[0]) or not len(ends[1]):
        raise RunError("the strategy has no steady flow at a controller output of "
                       f"{0 if len(ends[1]) else 100} %")
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


def _process(response: Array, gain: float, held: float, flow: float, output: float, unstable: int
             ) -> Process:
    below = np.flatnonzero(np.abs(response) < abs(gain) / np.sqrt(2.0))
    if below.size == 0 or unstable:
        return Process(held, flow, output, gain, float("nan"), float("nan"), unstable)
    k = int(below[0])
    phase = np.unwrap(np.angle(response[:k + 1] / gain))[k]
    return Process(held, flow, output, gain, float(1.0 / KNEES[k]),
                   float(max(-phase - 0.25 * pi, 0.0) / KNEES[k]), unstable)
