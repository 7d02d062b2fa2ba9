"""The answer of `simfan stress` as JSON: SI, every name with its unit, null with a reason."""

from dataclasses import dataclass
from math import isfinite
from typing import Any

from simfan import __version__
from simfan.metrics import plain, with_reasons
from simfan.overview import unit_name
from simfan.stress_answer import (
    STOPPED,
    Input,
    Joint,
    RampLimits,
    RampRow,
    Sensitivity,
    SmallestChange,
    StressAnswer,
    Tolerance,
    Verdict,
    stands_for,
)

SCHEMA_VERSION = 1
NO_FILES = "no folder was given for files (--out)"
NO_BOUND = "the runs were not drawn at random, so no bound follows"
NONE_FOUND = "none found in {} runs"


@dataclass(frozen=True)
class Stressed:
    """An answer that can be told as JSON."""

    answer: StressAnswer

    def to_json(self) -> dict[str, Any]:
        """SI, every name with its unit."""
        return to_json(self.answer)


def to_json(answer: StressAnswer) -> dict[str, Any]:
    """Requirements, ramp limits, what matters, and what the campaign was."""
    ended = answer.stopped_early or "the search did not come so far"
    return with_reasons({
        "schema_version": SCHEMA_VERSION,
        "simfan": __version__,
        "scenario": with_reasons(
            {"title": answer.title, "file": answer.file, "fingerprint": answer.fingerprint},
            {"file": "the scenario was not read from a file",
             "fingerprint": "no fingerprint was taken of the scenario"}),
        "strategy": answer.strategy, "method": answer.method, "holds": answer.holds,
        "runs": answer.runs,
        "sampling": answer.sampling,
        "fresh_runs": len(answer.fresh.points),
        "budget": answer.budget,
        "runs_for_tuning_and_actuators": answer.tolerance_runs,
        "seed": answer.seed,
        "stopped_early": answer.stopped_early,
        "runs_that_could_not_be_made": answer.not_run,
        "first_reason_for_it": answer.why_not_run,
        "starts_out_of_reach": answer.unreached,
        "step_s": answer.step_s,
        "inputs": [_input(one, float(at)) for one, at in
                   zip(answer.inputs, answer.nominal, strict=True)],
        "requirements": [_requirement(v, answer) for v in answer.verdicts],
        "confidence_note": answer.confidence_note or None,
        "all_requirements": _joint(answer.joint) if answer.joint else None,
        "tuning_and_actuators": [_tolerance(t, answer) for t in answer.tolerances] or None,
        "ramp_limits": _ramps(answer.ramps, answer.ramp_table, answer) if answer.ramps else None,
        "ramp_limits_over_plants": (_ramps(answer.ramps_over, answer.ramp_table_over, answer)
                                    if answer.ramps_over else None),
        "sensitivity": [_sensitivity(s, answer) for s in answer.sensitivity] or None,
        "findings": list(answer.findings),
    }, {"stopped_early": "all runs that were asked for were made",
        "first_reason_for_it": "there is none",
        "confidence_note": "no statement of confidence was made",
        "all_requirements": ended,
        "tuning_and_actuators": answer.stopped_early or "too few runs, or no gain to change",
        "ramp_limits": answer.why_no_ramps or ended,
        "ramp_limits_over_plants": answer.why_no_ramps_over or answer.why_no_ramps or ended,
        "sensitivity": answer.why_no_sensitivity or ended})


def _input(one: Input, nominal: float) -> dict[str, Any]:
    low, high = one.value(0.0), one.value(1.0)
    return {"name": one.name, "kind": one.kind or "number", "distribution": one.form,
            "low": low, "high": high, "nominal": one.value(nominal)}


def _requirement(found: Verdict, answer: StressAnswer) -> dict[str, Any]:
    asked, broken = found.requirement, found.worst.distance < 0.0
    none = NONE_FOUND.format(answer.runs)
    why_no_change = "it is broken at the nominal point" if found.broken_at_nominal else none
    return with_reasons({
        "name": asked.name, "limit": asked.limit, "unit": asked.unit, "limit_is": asked.at,
        "failures": found.failures, "fresh_runs": found.fresh,
        "worst_distance": _distance(found.worst.distance),
        "worst": dict(found.values),
        "failure_bound_percent": _percent(found.failure_bound),
        "confidence_percent": 100.0 * found.confidence,
        "statement": found.statement,
        "first_broken_in_run": found.worst.first_broken,
        "smallest_change": _change(found.change, answer) if found.change else None,
        "counterexample": found.counterexample,
        "smallest_counterexample": found.smallest,
    }, {"worst_distance": "the run could not be made, or stopped on its numbers",
        "failure_bound_percent": NO_BOUND,
        "first_broken_in_run": none, "smallest_change": why_no_change,
        "counterexample": NO_FILES if broken else none,
        "smallest_counterexample": NO_FILES if found.change else why_no_change})


def _joint(found: Joint) -> dict[str, Any]:
    return with_reasons({
        "failures": found.failures, "fresh_runs": found.runs,
        "failure_bound_percent": _percent(found.bound), "statement": found.statement,
    }, {"failure_bound_percent": NO_BOUND})


def _tolerance(found: Tolerance, answer: StressAnswer) -> dict[str, Any]:
    none = f"none found up to {found.factor:.3g} times as it stands"
    return with_reasons({
        "name": found.input.name, "kind": found.input.kind or "number", "side": found.side,
        "nominal": found.nominal, "holds": found.holds, "factor": found.factor,
        "breaks_at": found.breaks,
        "breaks": (None if found.requirement is None
                   else answer.verdicts[found.requirement].requirement.name),
    }, {"breaks_at": none, "breaks": none})


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _distance(value: float) -> float | None:
    return value if value > STOPPED else None


def _change(change: SmallestChange, answer: StressAnswer) -> dict[str, Any]:
    def values(point: Any) -> dict[str, float]:
        return {i.name: i.value(float(u)) for i, u in zip(answer.inputs, point, strict=True)}

    return with_reasons({
        "input": None if change.input is None else answer.inputs[change.input].name,
        "size_of_range": change.size,
        "within_of_range": change.within,
        "nominal": values(answer.nominal), "holds": values(change.holds),
        "breaks": values(change.breaks), "distance": _distance(change.distance),
    }, {"input": "several inputs change at once",
        "distance": "the run could not be made, or stopped on its numbers"})


def _ramps(found: RampLimits, rows: tuple[RampRow, ...], answer: StressAnswer) -> dict[str, Any]:
    unit, n = unit_name(answer.held_kind), len(found.setpoints)
    pairs = [(i, j) for i in range(n) for j in range(n) if i != j]
    return {
        "plants": found.plants,
        "stands_for": stands_for(found),
        f"setpoints_{unit}": found.setpoints.tolist(), "tolerance_percent": 100.0 * found.tolerance,
        "broken_however_slow": [answer.verdicts[k].requirement.name for k in found.uncured],
        "shortest_s": found.shortest, "longest_s": found.longest, "runs": found.runs,
        "map": [_ramp(found, answer, unit, i, j) for i, j in pairs],
        "table": [_row(row, unit) for row in rows],
    }


def _ramp(found: RampLimits, answer: StressAnswer, unit: str, i: int, j: int) -> dict[str, Any]:
    fastest, breaks = float(found.fastest[i, j]), int(found.breaks[i, j])
    left_out = {} if found.left_out is None else {"plants_left_out": int(found.left_out[i, j])}
    bounded = bool(found.bounded[i, j])
    return with_reasons({
        f"from_{unit}": float(found.setpoints[i]), f"to_{unit}": float(found.setpoints[j]),
        "fastest_s": fastest if isfinite(fastest) else None,
        "slowest_s": float(found.slowest[i, j]) if bounded else None,
        f"rate_{unit}_per_s": float(found.rates[i, j]), **left_out,
        "breaks": answer.verdicts[breaks].requirement.name if breaks >= 0 else None,
    }, {"fastest_s": "no ramp that was run keeps all requirements",
        "slowest_s": ("no ramp that was run keeps all requirements" if not isfinite(fastest) else
                      "not looked for over several plants" if found.plants else
                      "no slower ramp that was run broke what a faster one kept"),
        "breaks": "no ramp that was run broke a requirement"})


def _row(row: RampRow, unit: str) -> dict[str, Any]:
    return with_reasons({
        f"setpoint_{unit}": row.setpoint, f"up_{unit}_per_s": row.up,
        f"down_{unit}_per_s": row.down, "up_is_fastest_run": row.up_free,
        "down_is_fastest_run": row.down_free, "up_kept_by_all_moves": row.up_kept,
        "down_kept_by_all_moves": row.down_kept,
    }, {f"up_{unit}_per_s": "the top of the range",
        f"down_{unit}_per_s": "the bottom of the range"})


def _sensitivity(found: Sensitivity, answer: StressAnswer) -> dict[str, Any]:
    why = "the distance did not change from run to run"
    inputs = [with_reasons(
        {"name": one.name, "first": _finite(found.first[k]), "total": _finite(found.total[k]),
         "first_band": plain(found.first_band[k].tolist()),
         "total_band": plain(found.total_band[k].tolist())},
        {"first": why, "total": why}) for k, one in enumerate(answer.inputs)]
    return {"requirement": answer.verdicts[found.requirement].requirement.name,
            "confidence_percent": 100.0 * found.confidence, "runs": found.runs, "inputs": inputs}


def _finite(value: float) -> float | None:
    return float(value) if isfinite(value) else None
