"""What happens when: SimPy plays the events ahead of the run into one value for each scan.

Nothing here depends on the plant, so the kernel needs no Python on the way.
"""

from collections.abc import Generator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from math import ceil

import numpy as np
import simpy

from simfan.history import Happening, SetpointChange
from simfan.plant.case import Case
from simfan.plant.events import Event, Profile
from simfan.plant.fault import Fault
from simfan.units import show

ELEMENTS = ("outlet damper", "inlet box damper", "inlet vanes", "speed")
READINGS = {"frozen": 1.0, "lost low": 2.0, "lost high": 3.0}
"""State of a transmitter on its dial."""
AS_IT_IS = -1.0
"""On the dial of manual output: hold what the controller gives."""
Steps = Generator[simpy.Event, None, None]


@dataclass(frozen=True)
class Played:
    """Every prescribed quantity at every scan, and the log of what changed."""

    dials: Mapping[str, np.ndarray]
    """Name → (n_scans,) SI."""
    log: tuple[Happening, ...]
    changes: tuple[SetpointChange, ...]


class Dial:
    """A quantity that events turn. SimPy's clock counts scans."""

    def __init__(self, env: simpy.Environment, start: float, n_scans: int) -> None:
        self.env = env
        self.values = np.full(n_scans, start)
        self.moving: simpy.Process | None = None

    @property
    def now(self) -> float:
        """The present value."""
        return float(self.values[int(self.env.now)])

    def turn(self, value: float) -> None:
        """From now on."""
        self.values[int(self.env.now):] = value

    def start(self, movement: Steps) -> None:
        """Begin a movement; one that is still going on ends here."""
        if self.moving is not None and self.moving.is_alive:
            self.moving.interrupt()
        self.moving = self.env.process(self._until_interrupted(movement))

    def _until_interrupted(self, movement: Steps) -> Steps:
        with suppress(simpy.Interrupt):
            yield from movement

    def ramp(self, to: float, scans: int) -> Steps:
        """A straight line from the present value, or a step for no scans."""
        start = self.now
        if scans == 0:
            self.turn(to)
            yield self.env.timeout(0)
        for k in range(1, scans + 1):
            yield self.env.timeout(1)
            self.turn(start + (to - start) * k / scans)

    def follow(self, scans: np.ndarray, values: np.ndarray) -> Steps:
        """Straight lines between points, from now."""
        for k in range(ceil(scans[-1] - 1e-9) + 1):
            self.turn(float(np.interp(k, scans, values)))
            yield self.env.timeout(1)


def play(case: Case) -> Played:
    """The schedule of a case."""
    n_scans = round(case.run.duration / case.control.scan) + 1
    env = simpy.Environment()
    dials = {name: Dial(env, value, n_scans) for name, value in _starts(case).items()}
    log: list[Happening] = []
    changes: list[SetpointChange] = []
    for event in case.timeline:
        env.process(_happen(env, event, case, dials, log, changes))
    env.run(until=n_scans)
    instants = [e.at for e in case.timeline] + [case.run.duration]
    judged = tuple(
        SetpointChange(c.at_s, next(t for t in instants if t > c.at_s), c.start, c.end, c.over_s)
        for c in changes)
    return Played({name: dial.values for name, dial in dials.items()}, tuple(log), judged)


def _starts(case: Case) -> dict[str, float]:
    """Where every dial stands at the start."""
    ambient = case.air.temperature
    return {
        "setpoint": float(case.run.starts_at),
        "process_resistance": 1.0,
        "inlet_resistance": 1.0,
        "fixed_pressure": case.process.fixed_pressure,
        "ambient_temperature": ambient,
        "gas_temperature": case.ductwork.volume_temperature or ambient,
        "barometer": case.air.barometer,
        "noise": case.control.transmitter.noise,
        "manual": np.nan,
        "air": 0.0,
        "motor": 1.0,
        "reading": 0.0,
        "bias": 0.0,
        **{f"{what} {element}": 1.0 if what == "slow" else 0.0
           for what in ("stuck", "slow", "offset") for element in ELEMENTS},
    }


def _happen(env: simpy.Environment, event: Event, case: Case, dials: dict[str, Dial],
            log: list[Happening], changes: list[SetpointChange]) -> Steps:
    """One event of the timeline, at its time."""
    scan = case.control.scan
    yield env.timeout(round(event.at / scan))
    yield env.timeout(0)  # after what is still moving has come to where it stands now
    if event.fault is not None:
        _ail(event, event.fault, dials, round(event.over / scan), log)
        return
    name, target = _target(event)
    dial = dials[name]
    if event.motor == "restart":
        target = 1.0 + float(dial.values.max())
    kind = KINDS.get(name) or case.control.held_kind
    log.append(Happening(event.at, _words(name, dial.now, target, event, kind)))
    if isinstance(target, Profile):
        dial.start(dial.follow(np.array(target.time) / scan, np.array(target.setpoint)))
        return
    if name == "setpoint":
        changes.append(SetpointChange(event.at, event.at, dial.now, target, event.over))
    dial.start(dial.ramp(target, round(event.over / scan)))
    gas_follows = name == "ambient_temperature" and case.ductwork.volume_temperature is None
    if gas_follows:
        dials["gas_temperature"].start(
            dials["gas_temperature"].ramp(target, round(event.over / scan)))


def _ail(event: Event, fault: Fault, dials: dict[str, Dial], scans: int, log: list[Happening]
         ) -> None:
    """A fault begins or ends."""
    words = fault.words + (f" over {event.over:.4g} s" if event.over else "")
    log.append(Happening(event.at, f"{words} ({event.because})" if event.because else words))
    at_rest = {"reading": 0.0, "bias": 0.0} if fault.of == "transmitter" else {
        f"stuck {fault.of}": 0.0, f"slow {fault.of}": 1.0, f"offset {fault.of}": 0.0}
    if fault.state == "well":
        for name, value in at_rest.items():
            dials[name].start(dials[name].ramp(value, 0))
    elif fault.state in READINGS:
        dials["reading"].start(dials["reading"].ramp(READINGS[fault.state], 0))
    else:
        name = "bias" if fault.state == "biased" else f"{fault.state} {fault.of}"
        value = 1.0 if fault.by is None else fault.by
        dials[name].start(dials[name].ramp(value, scans))


def _target(event: Event) -> tuple[str, float | Profile]:
    """Which dial, and where to."""
    if event.profile is not None:
        return "setpoint", event.profile
    if event.automatic:
        return "manual", np.nan
    if event.manual_output is not None:
        return "manual", event.manual_output
    if event.instrument_air is not None:
        return "air", 1.0 if event.instrument_air == "lost" else 0.0
    if event.motor is not None:
        return "motor", 0.0
    for name in KINDS:
        value = getattr(event, name)
        if value is not None:
            return name, float(value)
    raise AssertionError("an event without a change is refused by the case")


KINDS = {"setpoint": None, "process_resistance": "fraction", "inlet_resistance": "fraction",
         "fixed_pressure": "pressure", "ambient_temperature": "temperature",
         "gas_temperature": "temperature", "barometer": "absolute pressure", "noise": "fraction"}
"""Dials with a value, and its kind of unit; the setpoint's is that of what is held."""


def _words(name: str, now: float, target: float | Profile, event: Event, kind: str) -> str:
    """A line for the log."""
    if isinstance(target, Profile):
        words = f"setpoint follows a profile for {target.time[-1]:.4g} s"
    elif name == "manual":
        words = ("controller to automatic" if np.isnan(target)
                 else f"controller to manual at {100.0 * target:.4g} %")
    elif name == "air":
        words = "instrument air lost" if target else "instrument air back"
    elif name == "motor":
        words = ("motor started again, trips reset" if target else "motor loses its supply")
    else:
        words = f"{name.replace('_', ' ')} {_from_to(now, target, kind)}"
    if event.over:
        words += f" over {event.over:.4g} s"
    return f"{words} ({event.because})" if event.because else words


def _from_to(now: float, target: float, kind: str) -> str:
    """Such as "45 → 36 m3/s"."""
    before, after = show(now, kind, digits=4), show(target, kind, digits=4)
    number, _, unit = before.partition(" ")
    return f"{number} → {after}" if after.endswith(unit) else f"{before} → {after}"
