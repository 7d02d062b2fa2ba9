"""What a year asks of the loop, and what it is held against."""

from collections.abc import Collection, Iterator
from difflib import get_close_matches
from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.control import Control
from simfan.plant.held import kind_amiss
from simfan.plant.points import not_as_many
from simfan.plant.quantities import Description, HeldValueList, Limits, Plain, PlainList, refuse
from simfan.units import quoted, show

HOURS = 8760.0
"""Of a year of 365 days [h]."""
MOST_VALUES = 50_000
"""Of a load profile; a year has 35,040 quarter hours."""

HourList = Annotated[tuple[float, ...], PlainList(Limits(least=0.0, most=1e5))]


class LoadProfile(Description):
    """For how many hours what is wanted of the loop."""

    demand: HeldValueList
    """Of what the loop holds. A flow of zero is a fan that stands still and takes no power."""
    hours: HourList
    """At each demand. Their sum is the year: it is told where it is not 8760, never scaled."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._values_amiss())
        return self

    def _values_amiss(self) -> Iterator[Problem]:
        n = len(self.demand)
        if not 1 <= n <= MOST_VALUES:
            yield Problem(("demand", "values"), f"{n} values", f"1 to {MOST_VALUES} values")
        elif len(self.hours) == n and sum(self.hours) <= 0.0:
            yield Problem(("hours",), "no hour at all", "hours whose sum is above zero")
        yield from not_as_many(self.hours, ("hours",), n, "demand")


class Year(Description):
    """The load profile of a year, and what the strategies are held against over it."""

    profile: LoadProfile | None = None
    """The hours at each demand; or give `profile_file`."""
    profile_file: str | None = None
    """A file of comma-separated values, named from the folder of the scenario, with the columns
    `time` and `demand`: ISO 8601 time stamps, or a time in the unit of its heading, in even
    steps."""
    baseline: str | None = None
    """Name of the strategy that saving and payback are counted from. Without it there are none."""
    co2_per_kwh: Annotated[float, Plain(Limits(least=0.0, most=5.0))] | None = None
    """Carbon dioxide of a kilowatt hour from the supply [kg/kWh], as the supplier states it.
    Without it none is counted."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        if self.profile is None and self.profile_file is not None:
            refuse([Problem(("profile_file",), "a file that was not read", "profile, the hours",
                            "only a scenario file may name a file of a profile")])
        if self.profile is None:
            refuse([Problem((), "no load profile", "profile or profile_file", "such as profile = "
                            '{ demand = { unit = "m3/s", values = [45, 30] }, '
                            "hours = [3000, 5760] }")])
        return self


def year_amiss(year: Year | None, control: Control | None, names: Collection[str] | None
               ) -> Iterator[Problem]:
    """Whether the demand is what the loop holds, and the baseline a strategy; from "year" on."""
    if year is None:
        return
    if control and year.profile:
        path, kind = ("profile", "demand", "values", 0), control.held_kind
        wrong = [*kind_amiss(path, year.profile.demand[0], kind, control.said)]
        yield from wrong or _negative(year.profile.demand, control)
    if names is not None and year.baseline is not None and year.baseline not in names:
        near = get_close_matches(year.baseline, list(names), n=1, cutoff=0.6)
        yield Problem(("baseline",), quoted(year.baseline), f"a strategy: {', '.join(names)}",
                      f"did you mean {near[0]}?" if near else "")


def _negative(demand: tuple[float, ...], control: Control) -> Iterator[Problem]:
    """The first flow below zero that a program gave; a file's are refused when they are read."""
    for place, value in enumerate(demand):
        if control.holds == "flow" and value < 0.0:
            kind = control.held_kind
            yield Problem(("profile", "demand", "values", place), show(value, kind),
                          "zero or more, for a flow")
            return
