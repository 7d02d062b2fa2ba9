"""How long a run lasts, and how finely it is counted."""

from collections.abc import Iterator
from math import floor
from typing import Annotated

from simfan.errors import Problem
from simfan.plant.held import STANDSTILL
from simfan.plant.quantities import (
    Description,
    HeldValue,
    Limits,
    Quantity,
    StartValue,
    WholeNumber,
)

MOST_RECORDS = 20_000_000
"""Samples of a run; more would not fit into the memory of an ordinary machine."""

Interval = Annotated[float, Quantity("time", Limits(least=1e-4, most=60.0))]


class Run(Description):
    """How long, from where, and how finely."""

    duration: Annotated[float, Quantity("time", Limits(above=0.0, most=30 * 86400.0))]
    starts_at: StartValue
    """The setpoint at time zero, a flow or a pressure: the run starts settled there. Or
    "standstill": motor off, wheel and air at rest, controller in manual at an output of zero."""
    setpoint: HeldValue | None = None
    """The setpoint at time zero of a run that starts at standstill."""
    step: Interval | None = None
    """Of the integration. Default: chosen from the fastest time constant of the plant."""
    record: Interval | None = None
    """Interval of what is kept. Default: chosen from the plant's own frequency."""
    seed: WholeNumber = 0
    """Of everything random. Default: zero, any number is as good."""

    @property
    def from_standstill(self) -> bool:
        """Whether the fan stands at time zero."""
        return self.starts_at == STANDSTILL

    @property
    def first_setpoint(self) -> float:
        """The setpoint at time zero [m³/s, kg/s or Pa]."""
        return self.setpoint if self.setpoint is not None and self.from_standstill \
            else self.starts_at  # type: ignore[return-value]

    def setpoint_amiss(self) -> Iterator[Problem]:
        """A setpoint of its own goes with standstill, and with nothing else."""
        if self.from_standstill and self.setpoint is None:
            yield Problem(("setpoint",), "nothing", 'a setpoint such as "40 m3/s"',
                          f'setpoint is missing: starts_at = "{STANDSTILL}" tells none')
        if not self.from_standstill and self.setpoint is not None:
            yield Problem(("setpoint",), "a setpoint beside starts_at",
                          f'no such key without starts_at = "{STANDSTILL}"',
                          "starts_at is the setpoint that the run starts with")

    def intervals_amiss(self, scan: float) -> Iterator[Problem]:
        """Step and record divide the scan, step divides record, scans fill the duration."""
        for name, interval, whole, said in (
            ("step", self.step, scan, "control.scan"),
            ("record", self.record, scan, "control.scan"),
            ("step", self.step, self.record, "record"),
        ):
            if interval is not None and whole is not None and not divides(interval, whole):
                yield Problem((name,), seconds(interval), f"a divisor of {said}, {seconds(whole)}",
                              _near_divisors(interval, whole))
                if name == "step":
                    break
        yield from off_scan(("duration",), self.duration, scan)
        records = self.duration / (self.record or scan)
        if records > MOST_RECORDS:
            yield Problem(("duration",), f"{records:.3g} recorded samples",
                          f"at most {MOST_RECORDS:.3g}", "a shorter run, or a longer record")


def off_scan(path: tuple[str | int, ...], time: float, scan: float) -> Iterator[Problem]:
    """A problem, with the two nearest allowed times, where the time is not on a scan."""
    if not divides(scan, time):
        before = floor(time / scan) * scan
        yield Problem(path, seconds(time), f"a multiple of control.scan, {seconds(scan)}",
                      f"the nearest are {seconds(before)} and {seconds(before + scan)}")


def divides(part: float, whole: float) -> bool:
    """Whether `part` goes into `whole` a whole number of times (to 1e-6 of a part)."""
    times = whole / part
    return abs(times - round(times)) < 1e-6 and (round(times) >= 1 or whole == 0.0)


def seconds(time: float) -> str:
    """A time in the words of the file; short ones in milliseconds."""
    return f"{round(time, 9):.9g} s" if time >= 1.0 or time == 0.0 else f"{time * 1e3:.6g} ms"


def _near_divisors(interval: float, whole: float) -> str:
    if interval >= whole:
        return f"at most {seconds(whole)}"
    times = floor(whole / interval)
    return f"the nearest are {seconds(whole / (times + 1))} and {seconds(whole / times)}"
