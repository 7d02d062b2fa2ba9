"""One way of regulating the fan."""

import re
from collections.abc import Iterable, Iterator
from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.control import Controller
from simfan.plant.damper import OutletDamper
from simfan.plant.drive import Motor, SpeedDrive
from simfan.plant.inlet import InletBoxDamper, InletVanes
from simfan.plant.quantities import Description, Limits, Plain, refuse
from simfan.plant.sequence import Sequence
from simfan.units import quoted, show

METHODS = ("outlet_damper", "inlet_box_damper", "inlet_vanes", "speed")
"""Keys of what moves; a strategy has one of them, or inlet_vanes and speed."""

_WORDS = {"outlet_damper": "outlet damper", "inlet_box_damper": "inlet box damper",
          "inlet_vanes": "inlet vanes", "speed": "variable speed"}

Cost = Annotated[float, Plain(Limits(least=0.0, most=1e12))]

_FILE_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9 _.-]{0,58}[A-Za-z0-9_-])?")
_RESERVED = re.compile(r"(con|prn|aux|nul|(com|lpt)[0-9])(\..*)?", re.I)


class Strategy(Description):
    """One way of regulating the fan."""

    outlet_damper: OutletDamper | None = None
    inlet_box_damper: InletBoxDamper | None = None
    inlet_vanes: InletVanes | None = None
    speed: SpeedDrive | None = None
    sequence: Sequence | None = None
    """How inlet vanes and speed share the output, where there are both."""
    controller: Controller | None = None
    """Its own tuning; `control.controller` where not given."""
    installed_cost: Cost | None = None
    """Of buying and installing it, in `energy.currency`; 0 for what stands already. With it and
    that of `year.baseline` the payback is told."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._method_amiss(), *self._sequence_amiss()])
        return self

    @property
    def method(self) -> str:
        """The trade's word for what moves."""
        if self.inlet_vanes and self.speed:
            return "vanes and speed"
        return next(_WORDS[name] for name in METHODS if getattr(self, name) is not None)

    def _method_amiss(self) -> Iterator[Problem]:
        given = [name for name in METHODS if getattr(self, name) is not None]
        if len(given) > 1 and given != ["inlet_vanes", "speed"]:
            yield Problem((given[1],), f"{' and '.join(given)} together",
                          f"one of {' or '.join(METHODS)}, or inlet_vanes and speed")
        elif not given:
            yield Problem((), "nothing that moves", f"one of {' or '.join(METHODS)}",
                          'such as speed = { ramp_up = "40 s", ramp_down = "60 s" }')

    def _sequence_amiss(self) -> Iterator[Problem]:
        """Two elements share an output by a sequence; one alone has nothing to share."""
        both = self.inlet_vanes is not None and self.speed is not None
        if both and self.sequence is None:
            yield Problem(("sequence",), "nothing", "a table, such as "
                          'sequence = { order = "vanes first", split = "50 %" }',
                          "sequence is missing: inlet_vanes and speed share one output")
        elif self.sequence is not None and not both:
            yield Problem(("sequence",), "a sequence for one element",
                          "no such key, or inlet_vanes and speed together")
        elif self.speed and self.speed.in_shares():
            yield from self._table_amiss(self.speed)

    def _table_amiss(self, drive: SpeedDrive) -> Iterator[Problem]:
        """The table's speeds are within the drive's limits, which `drive` has as shares."""
        for place, value in enumerate(self.sequence.speed or () if self.sequence else ()):
            if not drive.minimum - 1e-9 <= value <= drive.maximum + 1e-9:
                yield Problem(("sequence", "speed", "values", place), show(value, "fraction"),
                              f"from speed.minimum, {show(drive.minimum, 'fraction')}, to "
                              f"speed.maximum, {show(drive.maximum, 'fraction')}")

    def as_shares(self, motor: Motor, rated_speed: float) -> "Strategy":
        """The same with the limits of its drive as shares of the fan's rated speed [rad/s]."""
        if self.speed is None or self.speed.in_shares():
            return self
        return self.model_copy(update={"speed": self.speed.as_shares(motor, rated_speed)})

    def limits_amiss(self, motor: Motor, rated_speed: float) -> Iterator[Problem]:
        """What is wrong with limits of the drive that only motor and fan make speeds."""
        drive = self.as_shares(motor, rated_speed).speed
        if self.speed is None or drive is None or self.speed.in_shares():
            return
        for problem in self.speed.limits_amiss(drive):
            yield Problem(("speed", *problem.path), problem.got, problem.allowed, problem.hint)
        yield from self._table_amiss(drive)


def names_amiss(names: Iterable[str]) -> Iterator[Problem]:
    """A strategy's name becomes the name of its files: portable, and unlike the others."""
    seen: dict[str, str] = {}
    for name in names:
        if not _FILE_NAME.fullmatch(name) or _RESERVED.fullmatch(name):
            yield Problem((name,), f"the name {quoted(name)}",
                          "letters, digits, - _ . and spaces, at most 60",
                          "results are filed under this name")
        elif name.casefold() in seen:
            other = quoted(seen[name.casefold()])
            yield Problem((name,), f"the name {quoted(name)} beside {other}",
                          "names that differ in more than upper and lower case",
                          "some systems could not keep their files apart")
        seen.setdefault(name.casefold(), name)
