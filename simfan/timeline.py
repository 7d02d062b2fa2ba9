"""What happens when: SimPy plays the events ahead of the run into one value for each scan.

Nothing here depends on the plant, so the kernel needs no Python on the way.
"""

from collections.abc import Generator
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
import simpy

from simfan.history import Happening, SetpointChange
from simfan.plant.case import Case
from simfan.plant.events import Event, Profile


@dataclass(frozen=True)
class Played:
    """Every prescribed quantity at every scan, (n_scans,), and the log of what changed."""

    setpoint: np.ndarray
    process_resistance: np.ndarray
    fixed_pressure: np.ndarray
    log: tuple[Happening, ...]
    changes: tuple[SetpointChange, ...]


class _Dial:
    """A quantity that events turn. SimPy's clock counts scans."""

    def __init__(self, env: simpy.Environment, start: float, n_scans: int) -> None:
        self.env = env
        self.values = np.full(n_scans, start)
        self.moving: simpy.Process | None = None

    @property
    def now(self) -> float:
        return float(self.values[self.env.now])

    def turn(self, value: float) -> None:
        """From now on."""
        self.values[self.env.now:] = value

    def start(self, movement: Generator[simpy.Event, None, None]) -> None:
        """Begin a movement; one that is still going on ends here."""
        if self.moving is not None and self.moving.is_alive:
            self.moving.interrupt()
        self.moving = self.env.process(self._until_interrupted(movement))

    def _until_interrupted(self, movement: Generator[simpy.Event, None, None],
                           ) -> Generator[simpy.Event, None, None]:
        with suppress(simpy.Interrupt):
            yield from movement

    def ramp(self, to: float, scans: int) -> Generator[simpy.Event, None, None]:
        """A straight line from the present value, or a step for no scans."""
        start = self.now
        if scans == 0:
            self.turn(to)
            yield self.env.timeout(0)
        for k in range(1, scans + 1):
            yield self.env.timeout(1)
            self.turn(start + (to - start) * k / scans)

    def follow(self, scans: np.ndarray, values: np.ndarray) -> Generator[simpy.Event, None, None]:
        """Straight lines between points, from now."""
        for k in range(int(scans[-1]) + 1):
            self.turn(float(np.interp(k, scans, values)))
            yield self.env.timeout(1)


def play(case: Case) -> Played:
    """The schedule of a case."""
    scan = case.control.scan
    n_scans = round(case.run.duration / scan) + 1
    env = simpy.Environment()
    dials = {"setpoint": _Dial(env, case.run.starts_at, n_scans),
             "process_resistance": _Dial(env, 1.0, n_scans),
             "fixed_pressure": _Dial(env, case.process.fixed_pressure, n_scans)}
    log: list[Happening] = []
    changes: list[SetpointChange] = []
    for event in case.timeline:
        env.process(_happen(env, event, scan, dials, log, changes))
    env.run(until=n_scans)
    starts = [e.at for e in case.timeline] + [case.run.duration]
    judged = tuple(
        SetpointChange(c.at_s, next(t for t in starts if t > c.at_s), c.start, c.end, c.over_s)
        for c in changes)
    return Played(*[dial.values for dial in dials.values()], tuple(log), judged)


def _happen(env: simpy.Environment, event: Event, scan: float, dials: dict[str, _Dial],
            log: list[Happening], changes: list[SetpointChange],
            ) -> Generator[simpy.Event, None, None]:
    """One event of the timeline, at its time."""
    yield env.timeout(round(event.at / scan))
    name, target = _target(event)
    dial = dials[name]
    log.append(Happening(event.at, _words(name, dial.now, target, event)))
    if isinstance(target, Profile):
        dial.start(dial.follow(np.array(target.time) / scan, np.array(target.setpoint)))
        return
    if name == "setpoint":
        changes.append(SetpointChange(event.at, event.at, dial.now, target, event.over))
    dial.start(dial.ramp(target, round(event.over / scan)))


def _target(event: Event) -> tuple[str, float | Profile]:
    """Which dial, and where to."""
    if event.profile is not None:
        return "setpoint", event.profile
    for name in ("setpoint", "process_resistance", "fixed_pressure"):
        value = getattr(event, name)
        if value is not None:
            return name, value
    raise AssertionError("an event without a change is refused by the case")


def _words(name: str, now: float, target: float | Profile, event: Event) -> str:
    """A line for the log."""
    if isinstance(target, Profile):
        words = f"setpoint follows a profile for {target.time[-1]:.4g} s"
    elif name == "setpoint":
        words = f"setpoint {now:.4g} → {target:.4g} m3/s"
    elif name == "process_resistance":
        words = f"process resistance {100.0 * now:.4g} → {100.0 * target:.4g} %"
    else:
        words = f"fixed pressure {now:.4g} → {target:.4g} Pa"
    if event.over:
        words += f" over {event.over:.4g} s"
    return f"{words} ({event.because})" if event.because else words
