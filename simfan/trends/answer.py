"""The answer of `simfan judge`: a recorded trend judged, beside the simulated run."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from simfan import __version__
from simfan.compare import Comparison, ScenarioNote, StrategyResult
from simfan.metrics import plain, with_reasons
from simfan.plant.case import Criteria
from simfan.shown import Shown
from simfan.trends.beside import Difference
from simfan.trends.sampling import Sampling
from simfan.trends.trend import Trend

SCHEMA_VERSION = 1
OF_A_RUN = ("audit", "robustness", "tuning", "other_loops", "sequence", "findings", "assumed",
            "verdict_if_assumed", "max_safe_speed_percent", "decidable")
"""Keys of a run's result that a record has not."""


@dataclass(frozen=True, repr=False)
class TrendJudgement(Shown):
    """A trend judged like a run, and set beside one."""

    scenario: ScenarioNote
    """Which scenario it was judged by."""
    criteria: Criteria
    """What it was judged by."""
    trend: Trend
    """What was recorded."""
    recorded: StrategyResult
    """Its measures and verdict; a number that cannot be told is None."""
    not_judged: Mapping[str, str]
    """Measure, as in the JSON → why there is none."""
    sampling: Sampling
    """What the trend can show of surge."""
    notes: tuple[str, ...]
    """What was recognised and assumed, in plain words."""
    simulated: StrategyResult | None
    """The run of the same setpoints; None where there is none."""
    why_not_simulated: str
    """"" where there is one."""
    differences: tuple[Difference, ...]
    """Recorded less simulated, for each signal."""

    @property
    def title(self) -> str:
        """The scenario's title."""
        return self.scenario.title

    @property
    def file(self) -> str | None:
        """Name of the scenario's file."""
        return self.scenario.file

    @property
    def fingerprint(self) -> str | None:
        """Of the scenario's content."""
        return self.scenario.fingerprint

    @property
    def comparison(self) -> Comparison:
        """Recorded and simulated side by side."""
        both = (self.recorded, self.simulated) if self.simulated else (self.recorded,)
        return Comparison(self.scenario, self.criteria, both)

    def to_json(self) -> dict[str, Any]:
        """SI and kWh, every name with its unit, null with a reason where no number exists."""
        told = self.comparison.to_json()
        recorded, *simulated = told["strategies"]
        return with_reasons({
            "schema_version": SCHEMA_VERSION, "simfan": __version__,
            "scenario": told["scenario"], "criteria": told["criteria"],
            "trend": _trend(self.trend), "strategy": self.recorded.history.facts.strategy,
            "sampling": _sampling(self.sampling),
            "recorded": _recorded(recorded, self.not_judged),
            "not_judged": dict(self.not_judged), "notes": list(self.notes),
            "simulated": simulated[0] if simulated else None,
            "differences": [plain(one) for one in self.differences],
        }, {"simulated": self.why_not_simulated})


def _recorded(result: dict[str, Any], why: Mapping[str, str]) -> dict[str, Any]:
    """A run's result without what a record has not, with a reason beside each missing number."""
    told = {k: v for k, v in result.items() if k not in OF_A_RUN}
    whole = told["tracking"]["whole"]
    told["tracking"]["whole"] = with_reasons(whole, dict.fromkeys(whole, why.get("tracking", "")))
    for element, travel in told["travel"].items():
        reason = why.get(f"travel.{element}", "")
        told["travel"][element] = with_reasons(travel, dict.fromkeys(travel, reason))
    return told


def _trend(trend: Trend) -> dict[str, Any]:
    return {"file": trend.file, "samples": len(trend.time), "began": trend.began,
            "duration_s": float(trend.time[-1] - trend.time[0]),
            "longest_interval_s": trend.longest_interval_s,
            "signals": {name: {"good_samples": int(trend.good[name].sum())}
                        for name in trend.signals},
            "gaps": [plain(gap) for gap in trend.gaps]}


def _sampling(found: Sampling) -> dict[str, Any]:
    told = plain(found)
    told["seen_percent"] = None if found.seen is None else 100.0 * found.seen
    told["smallest_swing_m3_s"] = told.pop("smallest_swing")
    told.pop("seen")
    return with_reasons(told, dict.fromkeys(
        told, "no flow of the fan, no stall line or no natural period"))
