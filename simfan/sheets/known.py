"""What the sheets are made of: the case as it was run, and what was found of it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from simfan.compare import ScenarioNote, StrategyResult
from simfan.loop_answer import StrategyLoop
from simfan.plant.case import Case, Strategy
from simfan.plant.strategy import METHODS
from simfan.scenario.assumed import source
from simfan.sheets.sheet import Cell, Path, na
from simfan.sheets.typed import rounded, typed, value_at
from simfan.stress_answer import StressAnswer
from simfan.units import System, convert, preferred

NOT_RUN = "not run"
NO_TAG = "no tag in [tags]"
ALL = "all"
"""Of a row that holds for every strategy."""


@dataclass(frozen=True)
class Known:
    """The case, the strategies that the sheets are for, and the answers there are."""

    case: Case
    names: tuple[str, ...]
    system: System = "si"
    note: ScenarioNote | None = None
    results: Mapping[str, StrategyResult] = field(default_factory=dict)
    loops: Mapping[str, StrategyLoop] = field(default_factory=dict)
    stress: Mapping[str, StressAnswer] = field(default_factory=dict)
    sought: frozenset[str] = frozenset()
    """Strategies whose gains were sought."""
    fingerprints: Mapping[str, str] = field(default_factory=dict)
    """Strategy → of the run's history."""
    version: str = ""

    def strategies(self) -> Iterator[tuple[str, Strategy]]:
        """Name and description of each."""
        for name in self.names:
            yield name, self.case.strategies[name]

    def cell(self, path: Path, none: str) -> Cell:
        """What is typed for a value; where there is none, why."""
        if value_at(self.case, path) is None:
            return na(none)
        return typed(self.case, path, self.system, up=path[-1] == "full_travel")

    def where(self, path: Path) -> str:
        """Where a value comes from: the scenario, or its default and that one's source."""
        *way, name = path
        part = value_at(self.case, tuple(way))
        if not isinstance(part, BaseModel) or name in part.model_fields_set:
            return "scenario"
        why = source(type(part).model_fields[str(name)])
        return f"default: {why}" if why else "not given"

    def tag(self, device: str) -> str:
        """Of a device, or why there is none."""
        return self.case.tags.of(device) or na(NO_TAG)

    def held(self, value: float, digits: int = 4) -> str:
        """A value of what the loop holds, with its unit."""
        kind = self.case.control.held_kind
        return f"{self.held_number(value, digits)} {preferred(kind, self.system)}"

    def held_number(self, value: float, digits: int = 4) -> str:
        """The same without the unit."""
        kind = self.case.control.held_kind
        return rounded(convert(value, kind, preferred(kind, self.system)), digits=digits)

    @property
    def held_unit(self) -> str:
        """Unit of what the loop holds."""
        return preferred(self.case.control.held_kind, self.system)


def elements(strategy: Strategy) -> list[str]:
    """Keys of what moves."""
    return [name for name in METHODS if getattr(strategy, name) is not None]


def number(value: Any, why: str, digits: int = 3) -> str:
    """A number for people, or why there is none."""
    return na(why) if value is None else rounded(float(value), digits=digits)
