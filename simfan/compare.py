"""Many runs of one scenario side by side."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from simfan import __version__
from simfan.history import Audit, History
from simfan.metrics import Measures, Miss, can_be_judged, judge, misses, plain, verdict
from simfan.plant.case import Criteria

SCHEMA_VERSION = 1


@dataclass(frozen=True)
class ScenarioNote:
    """Which scenario was run."""

    title: str
    file: str | None = None
    fingerprint: str | None = None
    """Of the file's content, so that a result can be traced to it."""


@dataclass(frozen=True)
class StrategyResult:
    """One strategy, run and judged."""

    name: str
    method: str
    history: History
    measures: Measures | None
    """None where the run stopped on its numbers before there was anything to judge."""
    misses: tuple[Miss, ...]
    findings: tuple[str, ...]
    """What the strategy cannot do, such as a setpoint out of its reach."""
    verdict: str

    @property
    def audit(self) -> Audit:
        """The run's account of its own arithmetic."""
        return self.history.audit

    @property
    def stopped(self) -> bool:
        """Whether the run stopped on its numbers."""
        return self.audit.stopped is not None

    @property
    def meets_criteria(self) -> bool:
        """All criteria met, every setpoint within reach, and the run complete."""
        return not (self.misses or self.findings or self.stopped or self.measures is None)


@dataclass(frozen=True)
class Comparison:
    """The answer to a scenario."""

    scenario: ScenarioNote
    criteria: Criteria
    strategies: tuple[StrategyResult, ...]

    @property
    def title(self) -> str:
        """The scenario's title."""
        return self.scenario.title

    def to_json(self) -> dict[str, Any]:
        """SI and kWh, every name with its unit, null with a reason where no number exists."""
        return {
            "schema_version": SCHEMA_VERSION,
            "simfan": __version__,
            "scenario": _scenario(self.scenario),
            "criteria": _criteria(self.criteria),
            "strategies": [_strategy(s) for s in self.strategies],
        }


def compare(
    histories: Sequence[History], criteria: Criteria, *, file: str | None = None,
    fingerprint: str | None = None,
) -> Comparison:  # fmt: skip
    """Judge runs of one scenario, in the order given. Raises ValueError where there is none."""
    if not histories:
        raise ValueError("nothing to compare: no run given; at least one is needed")
    note = ScenarioNote(histories[0].facts.title, file, fingerprint)
    return Comparison(note, criteria, tuple(judged(h, criteria) for h in histories))


def judged(history: History, criteria: Criteria) -> StrategyResult:
    """One run with its measures, misses and verdict."""
    facts, stopped = history.facts, history.audit.stopped
    measures = judge(history, criteria) if can_be_judged(history) else None
    missed = misses(measures, criteria, facts) if measures else ()
    if measures is None and stopped is None:
        stopped = "fewer than two samples are numbers"
    return StrategyResult(
        name=facts.strategy,
        method=facts.method,
        history=history,
        measures=measures,
        misses=missed,
        findings=facts.findings,
        verdict=verdict(measures, missed, facts.findings, stopped),
    )


def _strategy(result: StrategyResult) -> dict[str, Any]:
    groups = ("tracking", "energy", "excursions", "travel")
    known = {
        "name": result.name,
        "method": result.method,
        "meets_criteria": result.meets_criteria,
        "verdict": result.verdict,
        "misses": [_miss(m) for m in result.misses],
        "findings": list(result.findings),
        **{g: plain(getattr(result.measures, g, None)) for g in groups},
        "audit": _with_reasons(plain(result.audit), {
            "half_step_difference": "the run was not repeated with half the step",
            "stopped": "the run is complete",
        }),
        "assumed": list(result.history.facts.assumed),
    }  # fmt: skip
    why = "the run stopped on its numbers before there was anything to judge"
    return _with_reasons(known, dict.fromkeys(groups, why))


def _scenario(note: ScenarioNote) -> dict[str, Any]:
    return _with_reasons(plain(note), {
        "file": "the scenario was not read from a file",
        "fingerprint": "no fingerprint was taken of the scenario",
    })  # fmt: skip


def _miss(miss: Miss) -> dict[str, Any]:
    return _with_reasons(plain(miss), {"got": miss.words})


def _criteria(criteria: Criteria) -> dict[str, Any]:
    unit = {"time_outside_band": "s", "settling_time": "s", "surge_cycles": "cycles"}
    limits = {}
    for name, value in criteria.model_dump().items():
        kind = unit.get(name, "percent")
        key = name if kind == "cycles" else f"{name}_{kind}"
        limits[key] = 100.0 * value if kind == "percent" and value is not None else value
    reasons = dict.fromkeys(limits, "not asked for")
    return _with_reasons(limits, reasons | {"speed_percent": "the wheel's safe speed is the limit"})


def _with_reasons(found: dict[str, Any], reasons: dict[str, str]) -> dict[str, Any]:
    """`found` with a reason beside each null that has none yet."""
    known = {**{k: why for k, why in reasons.items() if found[k] is None},
             **found.get("reasons", {})}  # fmt: skip
    return {**found, "reasons": known} if known else found
