"""The motor, and the drive that turns it at a wanted speed."""

from collections.abc import Iterator
from math import pi, sqrt
from typing import Annotated, Self, TypeVar

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.held import kind_of
from simfan.plant.part_load import PartLoad, rated_amiss
from simfan.plant.quantities import (
    DeadTime,
    Description,
    Frequency,
    Lag,
    Limits,
    Plain,
    Power,
    Quantity,
    Voltage,
    refuse,
)
from simfan.plant.speed_limits import SpeedLimit, as_share, is_share, said
from simfan.units import convert, show, to_si, unit_of

Efficiency = Annotated[float, Quantity("fraction", Limits(above=0.0, most=1.0))]
LEAST = SpeedLimit(limits=Limits(least=0.0, most=1.0))
MOST = SpeedLimit(limits=Limits(above=0.0, most=2.0))
SpeedShare = Annotated[float, SpeedLimit(limits=Limits(least=0.0, most=2.0))]
Ramp = Annotated[float, Quantity("time", Limits(above=0.0, most=3600.0))]


class PermittedStarts(Description):
    """How often a motor may be started on the line. NEMA MG 1 lets a motor start twice in
    succession from cold, coasting to rest between, or once from hot; from memory. The maker's sheet
    rules."""

    cold: Annotated[int, Plain(Limits(least=1, most=100), whole=True)]
    """Starts within the time, the first of them cold."""
    hot: Annotated[int, Plain(Limits(least=1, most=100), whole=True)]
    """Starts within the time, the first of them hot."""
    within: Annotated[float, Quantity("time", Limits(above=0.0, most=7 * 86400.0))] = 3600.0
    """Default: an hour; common practice, no source."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        if self.hot > self.cold:
            refuse([Problem(("hot",), str(self.hot), f"at most cold, {self.cold}",
                            "a hot motor bears fewer starts than a cold one")])
        return self


class Motor(Description):
    """A squirrel-cage induction motor by its nameplate."""

    rating: Power
    """Shaft power for continuous duty."""
    poles: Annotated[int, Plain(Limits(least=2, most=100), whole=True)]
    """Even: 2, 4, 6, 8 and so on."""
    frequency: Frequency = 50.0
    """Of the supply. Default: the European grid."""
    slip: Annotated[float, Quantity("fraction", Limits(above=0.0, most=0.2))] = 0.01
    """At rated load. Default: a motor of some 100 kW; common practice, no source."""
    breakdown_torque: Annotated[float, Quantity("fraction", Limits(above=1.0, most=10.0))] = 2.5
    """Of rated torque. Default: common practice, no source."""
    start_torque: Annotated[float, Quantity("fraction", Limits(above=0.0, most=10.0))] = 0.9
    """At standstill on the line, of rated torque. Default: from memory; common practice."""
    pull_up_torque: Annotated[float, Quantity("fraction", Limits(above=0.0, most=10.0))] = 0.8
    """Least torque on the way up, of rated torque. Default: from memory; common practice."""
    start_current: Annotated[float, Quantity("fraction", Limits(least=1.0, most=20.0))] = 6.0
    """At standstill on the line, of rated current. Default: from memory; common practice."""
    locked_rotor_time: Annotated[float, Quantity("time", Limits(above=0.0, most=600.0))] | None = (
        None
    )
    """How long it may stand hot on the line with its rotor locked, as its maker states it.
    Default: not known, so a start's heating is not judged; an assumption."""
    locked_rotor_time_cold: (
        Annotated[float, Quantity("time", Limits(above=0.0, most=600.0))] | None) = None
    """The same cold. Default: not known, the hot one stands for both; an assumption."""
    permitted_starts: PermittedStarts | None = None
    """On the line, as its maker states them. Default: not known, so starts are not counted; an
    assumption."""
    cools_in: Annotated[float, Quantity("time", Limits(above=0.0, most=7 * 86400.0))] = 3600.0
    """A motor that ran within this time counts as hot. Default: an assumption."""
    efficiency: Efficiency = 0.95
    """At rated load. Default: between IE3 at 75 kW (95.0 %) and 160 kW (95.8 %), IEC 60034-30-1;
    from memory."""
    part_load: PartLoad | None = None
    """Its efficiency at several loads, as its maker states it. Default: as that of motors of 75 hp
    and more falls with the load, as tabulated in `fluids` 1.3; from memory."""
    power_factor: Annotated[float, Quantity("fraction", Limits(above=0.1, most=1.0))] = 0.86
    """At rated load. Default: common practice, no source."""
    voltage: Voltage = 400.0
    """Between two phases. Default: the European low voltage."""
    belt_ratio: Annotated[float, Plain(Limits(above=0.0, most=20.0))] = 1.0
    """Fan speed over motor speed. Default: a direct coupling; an assumption."""
    belt_efficiency: Efficiency = 1.0
    """Default: a direct coupling; an assumption."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._poles_amiss(), *self._torques_amiss(), *self._times_amiss(),
                *rated_amiss(self.part_load, self.efficiency)])
        return self

    def _poles_amiss(self) -> Iterator[Problem]:
        if self.poles % 2:
            yield Problem(("poles",), str(self.poles), "an even number from 2 to 100",
                          "6 poles turn at just under 1000 rpm on 50 Hz, 1200 rpm on 60 Hz")

    def _times_amiss(self) -> Iterator[Problem]:
        hot, cold = self.locked_rotor_time, self.locked_rotor_time_cold
        if hot is not None and cold is not None and cold < hot:
            yield Problem(("locked_rotor_time_cold",), f"{cold:g} s",
                          f"at least locked_rotor_time, {hot:g} s",
                          "a cold rotor bears it longer than a hot one")

    def _torques_amiss(self) -> Iterator[Problem]:
        """Torque falls from standstill to pull-up, then rises to breakdown."""
        for name, value, above, limit in (
            ("pull_up_torque", self.pull_up_torque, "start_torque", self.start_torque),
            ("start_torque", self.start_torque, "breakdown_torque", self.breakdown_torque),
        ):
            if value > limit or (value == limit and above == "breakdown_torque"):
                word = "below" if above == "breakdown_torque" else "at most"
                yield Problem((name,), show(value, "fraction"),
                              f"{word} {above}, {show(limit, 'fraction')}")

    @property
    def synchronous_speed(self) -> float:
        """[rad/s] at the fan's shaft."""
        return 4.0 * pi * self.frequency / self.poles * self.belt_ratio

    @property
    def rated_speed(self) -> float:
        """[rad/s] at the fan's shaft."""
        return self.synchronous_speed * (1.0 - self.slip)

    @property
    def rated_current(self) -> float:
        """I = P/(√3·V·η·cos φ) [A], of the line at rated load."""
        apparent = self.rating / (self.efficiency * self.power_factor)
        return apparent / (sqrt(3.0) * self.voltage)

    @property
    def rated_torque(self) -> float:
        """[N m] at the fan's shaft."""
        return self.rating / self.rated_speed


def inertia_limit(power: float, speed: float) -> float:
    """Largest inertia [kg m²] at the motor's shaft that it may start on the line.

    WK² = A·HP^0.95/(n/1000)^2.4 − 0.0685·HP^1.5/(n/1000)^1.8 [lb·ft²], n in rpm; A is 24 up to
    1800 rpm, 27 above. NEMA MG 1 states it for squirrel-cage motors with a load torque that rises
    with the square of speed; formula from memory, its table published.
    """
    horsepower = convert(power, "power", "hp")
    thousands = convert(speed, "rotation speed", "rpm") / 1000.0
    a = 24.0 if thousands <= 1.8 * (1.0 + 1e-9) else 27.0
    limit = a * horsepower**0.95 / thousands**2.4 - 0.0685 * horsepower**1.5 / thousands**1.8
    return to_si(limit, unit_of("lb ft2", "inertia"))


class Skip(Description):
    """Speeds at which something resonates: the reference passes them, and does not rest there."""

    low: SpeedShare
    """In the ways of `minimum`."""
    high: SpeedShare
    """In the ways of `minimum`."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        if kind_of(self.low) == kind_of(self.high) and self.low >= self.high:
            kind = kind_of(self.low) or "fraction"
            refuse([Problem(("low",), show(self.low, kind),
                            f"less than high, {show(self.high, kind)}")])
        return self


Limited = TypeVar("Limited", bound=Description)


class SpeedDrive(Description):
    """A variable speed drive. It cannot slow the fan by force unless `braking_torque` is given."""

    ramp_up: Ramp
    """Standstill to the fan's rated speed."""
    ramp_down: Ramp
    """The fan's rated speed to standstill; air may slow the wheel less than that."""
    minimum: Annotated[float, LEAST] = 0.30
    """Lowest speed. A frequency is the drive's: the nameplate's turns the fan at the motor's rated
    speed, others in proportion: synchronous speed less the rated slip at every load and frequency,
    an assumption. Default: common practice, no source."""
    maximum: Annotated[float, MOST] = 1.0
    """Highest speed, in the same ways; never above `fan.max_safe_speed`. Default: the rated speed;
    an assumption."""
    skip: Skip | None = None
    """Speeds at which the reference may not rest. Default: none; an assumption."""
    torque_limit: Annotated[float, Quantity("fraction", Limits(above=0.0, most=5.0))] = 1.10
    """Current limit as a share of rated motor torque; falls as 1/f above base speed. Default:
    the light overload rating of many drives; common practice, no source."""
    braking_torque: Annotated[float, Quantity("fraction", Limits(least=0.0, most=5.0))] = 0.0
    """Share of rated motor torque with which it can slow the fan. Default: none, a drive without
    a braking resistor; common practice, no source."""
    lag: Lag = 0.2
    """Time constant of the drive's own speed loop. Default: common practice, no source."""
    dead_time: DeadTime = 0.0
    """Default: none; an assumption."""
    efficiency: Efficiency = 0.97
    """At rated load. Default: drives of 200 to 400 hp at 50 to 100 % load, as tabulated by the US
    Department of Energy; from memory."""
    part_load: PartLoad | None = None
    """Its efficiency at several loads, as its maker states it. Default: as that of drives of 200 to
    400 hp falls with the load, as tabulated in `fluids` 1.3; from memory."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        limits = self.limits_amiss(self) if self.in_shares() else ()
        refuse([*limits, *rated_amiss(self.part_load, self.efficiency)])
        return self

    def in_shares(self) -> bool:
        """Whether all limits are written as shares of the fan's rated speed."""
        skip = (self.skip.low, self.skip.high) if self.skip else ()
        return all(map(is_share, (self.minimum, self.maximum, *skip)))

    def as_shares(self, motor: Motor, rated_speed: float) -> "SpeedDrive":
        """The same with all limits as shares of the fan's rated speed [rad/s].

        At f Hz the fan turns at (4πf/poles)·(1 − rated slip)·belt ratio [rad/s].
        """
        if self.in_shares():
            return self

        def shares(part: Limited, *names: str) -> Limited:
            written = {name: getattr(part, name) for name in names}
            return part.model_copy(update={
                name: as_share(value, rated_speed, motor.rated_speed / motor.frequency)
                for name, value in written.items() if not is_share(value)})

        made = shares(self, "minimum", "maximum")
        skip = self.skip and shares(self.skip, "low", "high")
        return made.model_copy(update={"skip": skip}) if skip else made

    def limits_amiss(self, drive: "SpeedDrive") -> Iterator[Problem]:
        """What is wrong with the limits, told as they are written here; `drive` has their shares.

        In order: minimum < skip.low < skip.high < maximum, each within its own limits.
        """
        low, high = said(self.minimum, drive.minimum), said(self.maximum, drive.maximum)
        for name, words, mark in (("minimum", low, LEAST), ("maximum", high, MOST)):
            if not mark.limits.hold(getattr(drive, name)):
                yield Problem((name,), words, f"{mark.bounds} of the fan's rated speed")
                return
        if drive.minimum >= drive.maximum:
            yield Problem(("minimum",), low, f"less than maximum, {high}")
        elif (self.skip and drive.skip
              and not drive.minimum < drive.skip.low < drive.skip.high < drive.maximum):
            yield Problem(("skip",), f"{said(self.skip.low, drive.skip.low)} to "
                          f"{said(self.skip.high, drive.skip.high)}",
                          f"a band between minimum, {low}, and maximum, {high}",
                          "a band at the end of the range is set by minimum or maximum")
