"""All answers of one scenario, bound into one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from simfan import __version__
from simfan.choice import RULE, Choice
from simfan.compare import Comparison, StrategyResult
from simfan.loop_answer import LoopAnswer
from simfan.metrics import with_reasons
from simfan.metrics.calmed import of_the_loop
from simfan.metrics.distance import requirements
from simfan.overview import Overview
from simfan.sheets.sheet import Sheet
from simfan.stress_answer import StressAnswer
from simfan.stressed import to_json as stressed
from simfan.tuned import Tuned

SCHEMA_VERSION = 1
NO_CHOICE = "no strategy meets the criteria, so there are no numbers to type in"


@dataclass(frozen=True)
class Tightest:
    """The criterion of a run with the least room."""

    name: str
    limit: float
    """[`unit`]."""
    unit: str
    room: float
    """Of the limit's scale, see `simfan.metrics.distance` [1]; below zero it is missed."""


@dataclass(frozen=True)
class Bound:
    """The bound report of a scenario: every answer to it, made with the numbers of the sheets."""

    comparison: Comparison
    """Every strategy, run with the numbers as they are typed in."""
    overview: Overview
    """Over the whole range, at rest."""
    loops: LoopAnswer | None
    """None where the loops could not be looked at; then `why_no_loops` says why."""
    stress: StressAnswer | None
    """Of the strategy chosen; None where nothing was searched, see `why_no_stress`."""
    choice: Choice
    """Which strategy, by the rule of `simfan.choice`."""
    names: tuple[str, ...]
    """Strategies that the sheets are for."""
    sheets: tuple[Sheet, ...]
    """Empty where no strategy was chosen and none was named."""
    assumed: tuple[str, ...]
    """Every default of the scenario that was used, with its source."""
    costs: Mapping[str, float] = field(default_factory=dict)
    """Strategy → installed cost, where the scenario gives it [`currency`]."""
    why_no_loops: str = ""
    """The sentence, where there is no answer on loops."""
    why_no_stress: str = ""
    """The sentence, where nothing was searched."""
    stress_assumed: str = ""
    """What was varied where the scenario does not say it; "" where it does."""
    fingerprints: Mapping[str, str] = field(default_factory=dict)
    """Strategy → of its run."""
    text: str = ""
    """The scenario as it was run, the text of a file."""
    sought: frozenset[str] = frozenset()
    """Strategies whose gains were sought."""

    @property
    def title(self) -> str:
        """The scenario's title."""
        return self.comparison.title

    @property
    def chosen(self) -> StrategyResult | None:
        """The run of the strategy chosen."""
        return next((r for r in self.comparison.strategies if r.name == self.choice.name), None)

    def to_json(self) -> dict[str, Any]:
        """SI and kWh, every name with its unit; each answer as its own command tells it."""
        found = {
            "schema_version": SCHEMA_VERSION, "simfan": __version__,
            "choice": _choice(self.choice, self.comparison.strategies),
            "comparison": self.comparison.to_json(),
            "map": self.overview.to_json(),
            "tune": Tuned(self.loops).to_json() if self.loops else None,
            "stress": stressed(self.stress) if self.stress else None,
            "stress_assumed": self.stress_assumed or None,
            "sheets": {s.key: {"title": s.title, "columns": list(s.columns), "rows": s.text}
                       for s in self.sheets} or None,
            "installed_cost": dict(self.costs), "run_fingerprints": dict(self.fingerprints),
            "assumed": list(self.assumed),
        }
        return with_reasons(found, {
            "tune": self.why_no_loops, "stress": self.why_no_stress, "sheets": NO_CHOICE,
            "stress_assumed": "the scenario says what varies, or nothing was searched"})


def tightest(result: StrategyResult) -> Tightest | None:
    """The criterion with the least room; None where nothing was judged."""
    if result.measures is None or result.stopped:
        return None
    asked = requirements(result.criteria, result.history.facts.max_safe_speed_ratio)
    room = of_the_loop(result.history, result.criteria)
    if not len(asked):
        return None
    k = int(room.argmin())
    return Tightest(asked[k].name, asked[k].limit, asked[k].unit, float(room[k]))


def _choice(choice: Choice, results: Sequence[StrategyResult]) -> dict[str, Any]:
    least = next(iter(choice.energy_kwh.values()), 0.0)
    shares = {n: 100.0 * e / least for n, e in choice.energy_kwh.items()} if least > 0.0 else {}
    return with_reasons({
        "rule": RULE, "strategy": choice.name, "energy_over": choice.over,
        "energy_kwh": dict(choice.energy_kwh), "percent_of_the_least": shares,
        "equal": list(choice.equal), "set_aside": dict(choice.out), "notes": list(choice.notes),
        "tightest_criterion": {r.name: _tightest(tightest(r)) for r in results},
    }, {"strategy": "none meets the criteria"})


def _tightest(found: Tightest | None) -> dict[str, Any] | str:
    if found is None:
        return "nothing was judged"
    return {"name": found.name, "limit": found.limit, "unit": found.unit,
            "room_percent": 100.0 * found.room}
