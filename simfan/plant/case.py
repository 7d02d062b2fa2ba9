"""One plant, one duty, several strategies."""

from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.agreement import Parts, disagreements
from simfan.plant.air import Air
from simfan.plant.control import SOUGHT, Control
from simfan.plant.days import Days
from simfan.plant.drive import Motor
from simfan.plant.ductwork import Ductwork, Process
from simfan.plant.events import Event
from simfan.plant.fan import Fan
from simfan.plant.procedure import Procedures
from simfan.plant.procedure_agreement import procedures_amiss
from simfan.plant.procedure_steps import Step, described
from simfan.plant.protection import Protection
from simfan.plant.quantities import (
    Description,
    Fraction,
    Limits,
    Plain,
    Pressure,
    Quantity,
    Time,
    WholeNumber,
    refuse,
)
from simfan.plant.run import Run
from simfan.plant.strategy import Strategy, has_gains
from simfan.plant.stress import Stress
from simfan.plant.tags import Tags, alarms_amiss
from simfan.plant.trend import Recorded
from simfan.plant.varied import stress_amiss
from simfan.plant.year import Year
from simfan.units import show

__all__ = ["Case", "Criteria", "Energy", "Run", "Strategy"]

OF_STARTS = ("motor.locked_rotor_time_cold", "motor.permitted_starts", "motor.cools_in")
"""Keys that only procedures look at."""

Band = Annotated[float, Quantity("fraction", Limits(above=0.0, most=1.0))]


class Criteria(Description):
    """What a strategy must meet to be called good. A criterion left out is not judged."""

    band: Band = 0.05
    """Half width of the band about the setpoint, of the setpoint; settling uses it of the step. A
    step smaller than the band about the largest setpoint counts as one of that size.
    Default: common practice, no source."""
    time_outside_band: Time | None = None
    """Longest time outside the band, in the whole run."""
    overshoot: Fraction | None = None
    """Largest, of the step."""
    settling_time: Time | None = None
    """Longest, of any setpoint change, from where the setpoint has arrived: for a ramp its end."""
    stall_margin: Annotated[float, Quantity("fraction", Limits(most=1.0))] | None = None
    """Lowest (Q − Q_stall)/Q."""
    surge_cycles: WholeNumber | None = 0
    """Most of them. Default: none at all; an assumption."""
    motor_load: Fraction | None = 1.0
    """Highest, of what the motor may give for good. Default: its rating; an assumption."""
    speed: Fraction | None = None
    """Highest, of rated speed. Default: the wheel's safe speed."""
    highest_pressure: Pressure | None = None
    """Of the volume, against the air around it."""
    lowest_pressure: Pressure | None = None
    """Of the volume, against the air around it."""
    surge_swing: Band = 0.10
    """A swing of the fan's flow counts as surge from here on, of the flow at the fan's stall.
    Default: an assumption, not validated."""

    bypass_at_start: Time | None = None
    """For so long after the motor is switched on stall, surge, backflow and motor load are counted
    apart, as they are while a start-up procedure holds the loop. Left out, a motor that an event
    switches on is judged at once."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        low, high = self.lowest_pressure, self.highest_pressure
        if low is not None and high is not None and low >= high:
            refuse([Problem(("lowest_pressure",), show(low, "pressure"),
                            f"less than highest_pressure, {show(high, 'pressure')}")])
        return self


class Energy(Description):
    """What a kilowatt hour costs."""

    price_per_kwh: Annotated[float, Plain(Limits(least=0.0, most=1e6))] = 0.0
    """In `currency`. Default: energy is not priced."""
    currency: str = ""
    """Such as "EUR"."""


class Case(Description):
    """A whole scenario."""

    title: str
    """The question that the scenario answers."""
    air: Air = Air()
    fan: Fan
    motor: Motor
    ductwork: Ductwork
    process: Process
    control: Control
    strategies: dict[str, Strategy]
    """By name: the ways of regulating the fan that are compared."""
    run: Run
    timeline: tuple[Event, ...] = ()
    """What happens, in the order of time."""
    protection: tuple[Protection, ...] = ()
    """The cause-and-effect table: alarms, trips and run-backs."""
    procedures: Procedures | None = None
    """Start, stop, restart and run-back, in steps that wait for the plant."""
    criteria: Criteria = Criteria()
    energy: Energy = Energy()
    days: Days = Days()
    year: Year | None = None
    stress: Stress | None = None
    tags: Tags = Tags()
    trend: Recorded | None = None

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(disagreements(Parts(
            fan=self.fan, motor=self.motor, control=self.control, run=self.run,
            ductwork=self.ductwork, process=self.process, strategies=self.strategies,
            names=tuple(self.strategies),
            timeline=dict(enumerate(self.timeline)), air=self.air, days=self.days,
            year=self.year,
        )))
        self.__dict__["strategies"] = {
            name: strategy.as_shares(self.motor, self.fan.rated.speed)
            for name, strategy in self.strategies.items()}
        refuse([*stress_amiss(self, self.stress),
                *alarms_amiss(self.tags, len(self.protection))])
        refuse(procedures_amiss(self.procedures, self.control, self.timeline))
        return self

    def idle(self) -> tuple[str, ...]:
        """What only a search for gains, a start, or a damper that is not there would feel."""
        idle = () if self.untuned else tuple(f"control.{key}" for key in SOUGHT)
        if self.procedures is None:
            idle += OF_STARTS
        if self.ductwork.isolation_damper is None:
            idle += ("procedures.start.isolation_damper", "procedures.stop.isolation_damper")
        return idle

    @property
    def untuned(self) -> tuple[str, ...]:
        """Strategies for which gains are to be sought."""
        return tuple(name for name, strategy in self.strategies.items()
                     if not has_gains(self.control, strategy))

    @property
    def procedure_steps(self) -> dict[str, tuple[Step, ...]]:
        """Of every procedure by its name, in order."""
        if self.procedures is None:
            return {}
        isolated = self.ductwork.isolation_damper is not None
        return described(self.procedures, self.control.held_kind, isolated)

    @property
    def by_hand(self) -> bool:
        """Whether all is in manual, so that no gain matters; a start ends in automatic."""
        first = next((e for e in self.timeline if e.manual_output is not None), None)
        from_hand = self.run.from_standstill or (first is not None and first.at == 0.0)
        return (from_hand and not any(e.automatic for e in self.timeline)
                and not (self.procedures and self.procedures.start))
