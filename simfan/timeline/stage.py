"""Clock, dials and log: what events and procedures act on."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import simpy

from simfan.history import Carried, Happening, SetpointChange
from simfan.plant.case import Case
from simfan.plant.fault import SHUTTERS
from simfan.timeline.dial import Dial

ELEMENTS = ("outlet damper", "inlet box damper", "inlet vanes", "speed")


@dataclass(frozen=True)
class Played:
    """Every prescribed quantity at every scan, and the log of what changed."""

    dials: Mapping[str, np.ndarray]
    """Name → (n_scans,) SI."""
    log: tuple[Happening, ...]
    changes: tuple[SetpointChange, ...]
    procedures: tuple[Carried, ...] = ()
    """Every procedure that was begun, in the order of time."""


class Stage:
    """SimPy's clock counts scans."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.scan = case.control.scan
        self.n_scans = round(case.run.duration / self.scan) + 1
        self.env = simpy.Environment()
        self.dials = {name: Dial(self.env, value, self.n_scans)
                      for name, value in _starts(case).items()}
        self.log: list[Happening] = []
        self.changes: list[SetpointChange] = []
        self.carried: list[Carried] = []
        self.instants = [e.at for e in case.timeline] + [case.run.duration]

    @property
    def now(self) -> float:
        """[s]."""
        return float(self.env.now * self.scan)

    def tell(self, what: str, short: str = "", at: float | None = None) -> None:
        """A line of the log, now, or at the time that the file gives [s]."""
        self.log.append(Happening(self.now if at is None else at, what, short))

    def scans(self, time: float) -> int:
        """Whole scans in a time [s]."""
        return round(time / self.scan)

    def setpoint_to(self, target: float, over: float, at: float) -> None:
        """A step or ramp that is judged."""
        dial = self.dials["setpoint"]
        self.changes.append(SetpointChange(at, at, dial.now, target, over))
        self.instants.append(at)
        dial.ramp(target, self.scans(over))

    def setpoint_back(self, to: float, over: float, sign: float) -> SetpointChange | None:
        """A step or ramp that is judged, but nowhere above what the setpoint is or was on its way
        to (a sign of -1: below). None where that changes nothing."""
        dial, now = self.dials["setpoint"], self.now
        start = dial.now
        if not dial.bound(to, self.scans(over), sign):
            return None
        ahead = dial.values[int(self.env.now):]
        goes_to = sign * start > sign * to and sign * ahead[-1] >= sign * to
        arrived = np.flatnonzero(ahead != ahead[-1]).max(initial=-1) + 1
        change = (SetpointChange(now, now, start, to, over) if goes_to else
                  SetpointChange(now, now, start, float(ahead[-1]), float(arrived * self.scan)))
        self.changes.append(change)
        self.instants.append(now)
        return change

    def switched_on(self) -> float:
        """What the motor's dial is turned to by the next start; each counts one more."""
        return 1.0 + float(self.dials["motor"].values.max())

    def played(self) -> Played:
        """All of it."""
        judged = tuple(
            SetpointChange(c.at_s, min(t for t in self.instants if t > c.at_s), c.start, c.end,
                           c.over_s) for c in self.changes)
        return Played({name: dial.values for name, dial in self.dials.items()}, tuple(self.log),
                      judged, tuple(self.carried))


def _starts(case: Case) -> dict[str, float]:
    """Where every dial stands at the start."""
    ambient = case.air.temperature
    return {
        "setpoint": float(case.run.first_setpoint),
        "process_resistance": 1.0,
        "inlet_resistance": 1.0,
        "fixed_pressure": case.process.fixed_pressure,
        "ambient_temperature": ambient,
        "gas_temperature": case.ductwork.volume_temperature or ambient,
        "barometer": case.air.barometer,
        "noise": case.control.transmitter.noise,
        "manual": 0.0 if case.run.from_standstill else np.nan,
        "air": 0.0,
        "motor": 0.0 if case.run.from_standstill else 1.0,
        "isolation": 0.0 if case.run.from_standstill else 1.0,
        **{f"driven {element}": np.nan for element in ELEMENTS},
        **{f"stuck {shutter}": 0.0 for shutter in SHUTTERS},
        "reading": 0.0,
        "bias": 0.0,
        **{f"{what} {element}": 1.0 if what == "slow" else 0.0
           for what in ("stuck", "slow", "offset") for element in ELEMENTS},
    }
