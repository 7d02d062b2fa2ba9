"""Many runs of one scenario side by side."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from simfan import __version__
from simfan.frames import loaded_pandas
from simfan.history import Audit, Carried, Facts, History
from simfan.metrics import (
    Measures,
    Miss,
    assumed_part_s,
    beyond_words,
    can_be_judged,
    interruptions,
    judge,
    misses,
    plain,
    robustness_misses,
    verdict,
    with_reasons,
)
from simfan.plant.case import Criteria
from simfan.shown import Shown
from simfan.signals import HELD_UNITS

if TYPE_CHECKING:
    import pandas

SCHEMA_VERSION = 1
GROUPS = ("tracking", "energy", "excursions", "travel")
"""Of measures, as they stand in the JSON."""


@dataclass(frozen=True)
class ScenarioNote:
    """Which scenario was run."""

    title: str
    """The scenario's title."""
    file: str | None = None
    """Name of the file, if it came from one."""
    fingerprint: str | None = None
    """Of the file's content, so that a result can be traced to it."""


@dataclass(frozen=True, repr=False)
class StrategyResult(Shown):
    """One strategy, run and judged."""

    name: str
    """As the scenario calls it."""
    method: str
    """The trade's word for what moves."""
    history: History
    """The run."""
    criteria: Criteria
    """What it was judged by."""
    measures: Measures | None
    """None where the run stopped on its numbers before there was anything to judge."""
    misses: tuple[Miss, ...]
    """Criteria that are not met."""
    findings: tuple[str, ...]
    """What the strategy cannot do, such as a setpoint out of its reach."""
    verdict: str
    """One sentence: met, or what was missed and when."""
    assumed_part_s: float = 0.0
    """Time on parts of the fan's curve that the maker did not give [s]."""
    otherwise: Mapping[str, str] = field(default_factory=dict)
    """Verdicts with those parts assumed low and high, where the run rests on them."""
    decidable: bool = True
    """False where those verdicts disagree on whether the criteria are met."""

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
        return self.decidable and self.would_meet

    @property
    def would_meet(self) -> bool:
        """The same with the curve as it was assumed."""
        return not (self.misses or self.findings or self.stopped or self.measures is None)


@dataclass(frozen=True, repr=False)
class Comparison(Shown):
    """The answer to a scenario."""

    scenario: ScenarioNote
    """Which scenario was run."""
    criteria: Criteria
    """What it was judged by."""
    strategies: tuple[StrategyResult, ...]
    """In the order of the scenario."""

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

    def to_pandas(self) -> "pandas.DataFrame":
        """One row for each strategy, named as in `result.json`: "energy.electrical_kwh" [kWh].

        Places in a list count from 0, as in "tracking.changes.0.overshoot_percent" [%]; a number
        that does not exist is nan. The events of a run, whose number differs, are left out.
        Raises RunError where pandas is missing.
        """
        rows = [_row(_strategy(s)) for s in self.strategies]
        frame = loaded_pandas().DataFrame(rows).set_index("strategy")
        frame.attrs = {"title": self.title}
        return frame


def compare(
    histories: Sequence[History], criteria: Criteria, *, file: str | None = None,
    fingerprint: str | None = None,
) -> Comparison:  # fmt: skip
    """Judge runs of one scenario, in the order given. Raises ValueError where there is none."""
    if not histories:
        raise ValueError("nothing to compare: no run given; at least one is needed")
    return together([judged(h, criteria) for h in histories], criteria, file, fingerprint)


def together(results: Sequence[StrategyResult], criteria: Criteria, file: str | None = None,
             fingerprint: str | None = None) -> Comparison:
    """Judged runs of one scenario as its answer."""
    note = ScenarioNote(results[0].history.facts.title, file, fingerprint)
    return Comparison(note, criteria, tuple(results))


def judged(history: History, criteria: Criteria) -> StrategyResult:
    """One run with its measures, misses and verdict."""
    facts, stopped = history.facts, history.audit.stopped
    measures = judge(history, criteria) if can_be_judged(history) else None
    missed = robustness_misses(facts) + interruptions(history) + (
        misses(measures, criteria, facts) if measures else ())
    if measures is None and stopped is None and not missed:
        stopped = "fewer than two samples are numbers"
    return StrategyResult(
        name=facts.strategy,
        method=facts.method,
        history=history,
        criteria=criteria,
        measures=measures,
        misses=missed,
        findings=facts.findings,
        verdict=verdict(measures, missed, facts.findings, stopped,
                        "; ".join(filter(None, _beside(measures, facts)))),
        assumed_part_s=assumed_part_s(history),
    )


def _beside(measures: Measures | None, facts: Facts) -> tuple[str, ...]:
    """What is told whatever the verdict; "" for nothing."""
    return beyond_words(measures, facts), measures.tracking.noise if measures else ""


def weighed(nominal: StrategyResult, others: Mapping[str, StrategyResult]) -> StrategyResult:
    """The nominal result beside those of other assumptions ("low", "high") of the curve.

    Where they disagree on whether the criteria are met, the points given do not decide it.
    """
    verdicts = {name: other.verdict for name, other in others.items()}
    if all(other.would_meet == nominal.would_meet for other in others.values()):
        return replace(nominal, otherwise=verdicts)
    band = "; ".join(f"assumed {name}: {said}" for name, said in
                     {"nominal": nominal.verdict, **verdicts}.items())
    return replace(
        nominal, otherwise=verdicts, decidable=False,
        verdict=f"not decidable from the points given, the fan runs "
                f"{nominal.assumed_part_s:.3g} s where its curve is assumed; {band}; ask the maker "
                "for the curve there")


def _strategy(result: StrategyResult) -> dict[str, Any]:
    known = {
        "name": result.name,
        "method": result.method,
        "meets_criteria": result.meets_criteria if result.decidable else None,
        "verdict": result.verdict,
        "misses": [_miss(m) for m in result.misses],
        "findings": list(result.findings),
        **{g: plain(getattr(result.measures, g, None)) for g in GROUPS},
        "audit": with_reasons(plain(result.audit), {
            "half_step_difference": "the run was not repeated with half the step",
            "stopped": "the run is complete",
        }),
        "max_safe_speed_percent": 100.0 * result.history.facts.max_safe_speed_ratio,
        "tuning": _tuning(result.history.facts),
        "other_loops": {loop: dict(numbers)
                        for loop, numbers in result.history.facts.other_loops.items()},
        "robustness": _robustness(result.history.facts),
        "sequence": _sequence(result.history.facts),
        "log": plain(result.history.log),
        "procedures": [_carried(c) for c in result.history.facts.procedures],
        "protection": [with_reasons(plain(row), {"output": "the output stays where it is"})
                       for row in result.history.facts.protection],
        "assumed": list(result.history.facts.assumed),
        "assumed_part_s": result.assumed_part_s,
        "decidable": result.decidable,
        "verdict_if_assumed": dict(result.otherwise),
    }  # fmt: skip
    why = ("the run stopped on its numbers before there was anything to judge" if result.stopped
           else result.verdict)
    return with_reasons(known, {**dict.fromkeys(GROUPS, why), "meets_criteria": result.verdict,
                                "robustness": "not looked for: the run is by hand, or not ours"})


def _carried(carried: Carried) -> dict[str, Any]:
    """A procedure with its margin; null where it does not apply or was not reached."""
    known = plain(carried) | {"margin_percent": carried.margin_percent}
    why = carried.why or ("it does not apply to this procedure or motor, or the maker's number is "
                          "missing")
    return with_reasons(known, dict.fromkeys(known, why))


def _unit(facts: Facts) -> str:
    """Of what is held, as names in the JSON end."""
    return HELD_UNITS[facts.held_kind].lower().replace("/", "_")


def _robustness(facts: Facts) -> dict[str, Any] | None:
    """Ms over the range, held values by names that carry their unit."""
    found, unit = facts.robustness, _unit(facts)
    if found is None:
        return None
    gains = found.gains or (None, None)
    known = {"sought": found.sought, "max_sensitivity": found.target,
             "gain": gains[0], "reset_s": gains[1], "largest_sensitivity": found.sensitivity,
             f"worst_at_{unit}": found.worst_at, f"range_low_{unit}": found.low,
             f"range_high_{unit}": found.high, f"unstable_at_{unit}": list(found.unstable_at),
             f"largest_step_{unit}": found.largest_step,
             f"fastest_ramp_{unit}_per_s": found.fastest_ramp,
             "full_travel_s": found.full_travel}
    why = found.why or "no element of the loop has a rate limit"
    return with_reasons(known, dict.fromkeys(known, why))


def _tuning(facts: Facts) -> dict[str, Any]:
    """The span by names that carry the unit of what is held."""
    unit = _unit(facts)
    return {f"{k}_{unit}" if k.startswith("span_") else k: v
            for k, v in plain(facts.tuning).items()}


def _sequence(facts: Facts) -> dict[str, Any]:
    """Element → the breakpoints of its sequence table."""
    return {element: [{"controller_output_percent": 100.0 * x, "element_demand_percent": 100.0 * y}
                      for x, y in points] for element, points in facts.sequence.items()}


def _row(strategy: dict[str, Any]) -> dict[str, Any]:
    """A strategy of the JSON as one row: its judgement, then its measures."""
    words = {key: strategy[key] for key in ("method", "meets_criteria", "decidable", "verdict")}
    measures = {key: strategy[key] for key in GROUPS if strategy[key] is not None}
    return {"strategy": strategy["name"], **words, **dict(_cells(measures))}


def _cells(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """(path, number or word) of everything within."""
    if isinstance(value, Mapping | list):
        inner = value.items() if isinstance(value, Mapping) else enumerate(value)
        for key, part in inner:
            if key not in ("reasons", "events"):
                yield from _cells(part, f"{path}.{key}" if path else str(key))
    else:
        yield path, float("nan") if value is None else value


def _scenario(note: ScenarioNote) -> dict[str, Any]:
    return with_reasons(plain(note), {
        "file": "the scenario was not read from a file",
        "fingerprint": "no fingerprint was taken of the scenario",
    })  # fmt: skip


def _miss(miss: Miss) -> dict[str, Any]:
    return with_reasons(plain(miss), {"got": miss.words})


def _criteria(criteria: Criteria) -> dict[str, Any]:
    unit = {"time_outside_band": "s", "settling_time": "s", "surge_cycles": "cycles",
            "highest_pressure": "pa", "lowest_pressure": "pa"}
    limits = {}
    for name, value in criteria.model_dump().items():
        kind = unit.get(name, "percent")
        key = name if kind == "cycles" else f"{name}_{kind}"
        limits[key] = 100.0 * value if kind == "percent" and value is not None else value
    reasons = dict.fromkeys(limits, "not asked for")
    return with_reasons(limits, reasons | {"speed_percent": "the wheel's safe speed is the limit"})
