"""The answer of `simfan tune` as JSON: SI, every name with its unit, null with a reason."""

from dataclasses import dataclass
from math import degrees, isfinite
from typing import Any

from simfan import __version__
from simfan.loop_answer import (
    LoopAnswer,
    LoopPoint,
    LoopRun,
    LoopTuning,
    Pairing,
    RulePoint,
    Served,
    StrategyLoop,
    Way,
)
from simfan.metrics import with_reasons
from simfan.overview import unit_name
from simfan.plant import tuning

SCHEMA_VERSION = 1
UNSTABLE = "the loop is unstable at a point of the range"
NOT_RUN = "no run was asked for, or none could be made"
NO_TUNING = "no tuning was given and none was found; see findings"
RECOMMENDED = ("rule", "standard", "parallel", "series", "largest_sensitivity", "gain_margin",
               "phase_margin_deg", "largest_extra_dead_time_s")
"""Names of a loop that its recommended tuning fills."""


@dataclass(frozen=True)
class Tuned:
    """An answer that can be told as JSON."""

    answer: LoopAnswer

    def to_json(self) -> dict[str, Any]:
        """SI, every name with its unit."""
        return to_json(self.answer)


def to_json(answer: LoopAnswer) -> dict[str, Any]:
    """Tunings in every form, margins and process over the range, for every strategy."""
    unit = unit_name(answer.held_kind)
    return with_reasons({
        "schema_version": SCHEMA_VERSION,
        "simfan": __version__,
        "scenario": with_reasons(
            {"title": answer.title, "file": answer.file, "fingerprint": answer.fingerprint},
            {"file": "the scenario was not read from a file",
             "fingerprint": "no fingerprint was taken of the scenario"}),
        "holds": answer.holds,
        f"range_{unit}": [answer.low, answer.high],
        "target_sensitivity": answer.target,
        "runs": answer.runs or None,
        "assumed": list(answer.assumed),
        "strategies": [_strategy(s, answer, unit) for s in answer.strategies],
    }, {"runs": NOT_RUN})


def _strategy(found: StrategyLoop, answer: LoopAnswer, unit: str) -> dict[str, Any]:
    return with_reasons({
        "name": found.name, "method": found.method, "structure": found.structure,
        "gain_ratio": found.gain_ratio,
        "loops": [_loop(found, answer, unit)],
        "findings": list(found.findings),
    }, {"gain_ratio": "no stable point with a gain"})


def _loop(found: StrategyLoop, answer: LoopAnswer, unit: str) -> dict[str, Any]:
    """The recommended tuning's numbers, all tunings beside them, and the process."""
    best = found.recommended
    return with_reasons({
        "tag": found.tag, "holds": answer.holds, "action": found.action, "scan_s": answer.scan,
        "spans": {f"measurement_{unit}": list(answer.span), "output_percent": [0.0, 100.0]},
        **(tuning_json(best, answer, unit) if best else dict.fromkeys(RECOMMENDED)),
        "tunings": [tuning_json(t, answer, unit) for t in found.tunings],
        "rules_told": _told(found.rule_point, unit),
        "rules_not_applied": dict(found.not_applied),
        "ways": [_way(w, unit) for w in found.ways],
        "pairing": _pairing(found.pairing),
        "range": [_point(p, best, unit) for p in found.points],
    }, {"rules_told": "no rule was asked for, or none could be told a process",
        "pairing": "no loop beside, or no tuning or stable point to judge it by",
        **({} if best else dict.fromkeys(RECOMMENDED, NO_TUNING))})


def tuning_json(found: LoopTuning, answer: LoopAnswer, unit: str) -> dict[str, Any]:
    """One tuning by its names in the JSON."""
    standard = tuning.Standard(found.gain, found.reset, found.derivative)
    series, why = in_series(standard)
    width = answer.span[1] - answer.span[0]
    phase = found.phase_margin
    return with_reasons({
        "rule": found.name,
        "standard": {"gain": found.gain, "reset_s": found.reset, "derivative_s": found.derivative,
                     "derivative_filter": found.derivative_filter},
        "parallel": {**dict(zip(("gain", "integral_gain_per_s", "derivative_gain_s"),
                                tuning.to_parallel(standard), strict=True)),
                     "integral_gain_per_min": 60.0 * found.gain / found.reset},
        "series": dict(zip(("gain", "reset_s", "derivative_s"), series, strict=True))
        if series else None,
        "proportional_band_percent": 100.0 / found.gain,
        "reset_min": found.reset / 60.0,
        "repeats_per_min": 60.0 / found.reset,
        "derivative_min": found.derivative / 60.0,
        f"gain_percent_per_{unit}": 100.0 * found.gain / width,
        f"integral_gain_percent_per_{unit}_s": 100.0 * found.gain / found.reset / width,
        "full_travel_s": found.full_travel,
        "load_rejection_s": found.load_rejection,
        "largest_sensitivity": found.sensitivity, f"worst_at_{unit}": found.worst_at,
        "largest_complementary_sensitivity": found.complementary,
        "gain_margin": found.gain_margin,
        "phase_margin_deg": None if phase is None else degrees(phase),
        "largest_extra_dead_time_s": found.delay_margin,
        f"unstable_at_{unit}": list(found.unstable_at),
        f"largest_step_{unit}": found.largest_step if isfinite(found.largest_step) else None,
        "run": _run(found.run) if found.run else None,
    }, {"series": why, "full_travel_s": "no limit beyond what the scenario says",
        "largest_sensitivity": UNSTABLE,
        "largest_complementary_sensitivity": UNSTABLE,
        "gain_margin": "no gain brings it to swing, or " + UNSTABLE,
        "phase_margin_deg": "|L| does not cross one, or " + UNSTABLE,
        "largest_extra_dead_time_s": "|L| does not cross one, or " + UNSTABLE,
        f"largest_step_{unit}": "|L| does not cross one", "run": NOT_RUN})


def _run(found: LoopRun) -> dict[str, Any]:
    """What was measured of a run."""
    return with_reasons({
        "setpoint_step_at_s": found.step_at, "load_step_at_s": found.load_at,
        "setpoint_iae_percent_s": found.setpoint_iae, "overshoot_percent": found.overshoot,
        "settling_time_s": found.settling, "load_iae_percent_s": found.load_iae,
        "load_largest_deviation_percent": found.load_deviation, "percent_of": found.percent_of,
    }, found.reasons)


def _told(found: RulePoint | None, unit: str) -> dict[str, Any] | None:
    """What the rules were told of which point."""
    if found is None:
        return None
    no_swing, no_second = "no proportional gain makes it swing", "no rule asked for it"
    second = found.second
    return with_reasons({
        f"held_{unit}": found.held, "flow_m3s": found.flow, "why": found.why,
        "gain_percent_per_percent": found.gain, "lag_s": found.lag,
        "dead_time_with_half_a_scan_s": found.dead_time,
        "second_order": {"lag_s": second[0], "second_lag_s": second[1],
                         "dead_time_with_half_a_scan_s": second[2]} if second else None,
        "ultimate_gain": found.ultimate_gain, "ultimate_period_s": found.ultimate_period,
    }, {"second_order": no_second, "ultimate_gain": no_swing, "ultimate_period_s": no_swing})


def in_series(standard: tuning.Standard) -> tuple[tuning.Series | None, str]:
    """The series form, or None and the sentence why there is none."""
    try:
        return tuning.to_series(standard), ""
    except ValueError as why:
        return None, str(why)


def _way(found: Way, unit: str) -> dict[str, Any]:
    """A schedule or a characteriser: before, after, and its table."""
    told: dict[str, Any] = {"name": found.name, "before": _served(found.before),
                            "after": _served(found.after)}
    if found.schedule:
        s = found.schedule
        at = (f"at_{unit}", list(s.at)) if s.on == "held" else (
            "at_output_percent", [100.0 * x for x in s.at])
        told |= dict([at]) | {"gain": list(s.gain), "reset_s": list(s.reset)}
    if found.characterised:
        c = found.characterised
        told |= {"output_percent": [100.0 * x for x in c.output],
                 "element_percent": [100.0 * y for y in c.element],
                 "gain": c.gain, "reset_s": c.reset}
    return told


def _served(found: Served) -> dict[str, Any]:
    return with_reasons({
        "loop_gain_ratio": found.gain_ratio if isfinite(found.gain_ratio) else None,
        "largest_sensitivity": found.sensitivity,
        "largest_load_error_s": found.load_error if isfinite(found.load_error) else None,
    }, {"largest_sensitivity": UNSTABLE, "loop_gain_ratio": "no stable point with a gain",
        "largest_load_error_s": "no stable point with a gain"})


def _pairing(found: Pairing | None) -> dict[str, Any] | None:
    """How the loop gets on with the one beside it."""
    if found is None:
        return None
    none = "no point at which |L| crosses one"
    return with_reasons({
        "relative_gains": [g if isfinite(g) else None for g in found.relative_gains],
        "largest_singular_value": found.largest_singular_value,
        "crossover_rad_per_s": found.crossover,
        "other_crossover_rad_per_s": found.other_crossover,
    }, {"largest_singular_value": "told of two loops alone", "crossover_rad_per_s": none,
        "other_crossover_rad_per_s": none})


def _point(found: LoopPoint, best: LoopTuning | None, unit: str) -> dict[str, Any]:
    why = "the plant is unstable here with its elements standing still"
    swings = "the loop is unstable here"
    return with_reasons({
        f"held_{unit}": found.held, "flow_m3s": found.flow, "output_percent": 100.0 * found.output,
        "gain_percent_per_percent": found.gain, "lag_s": found.lag, "dead_time_s": found.dead_time,
        "stable": found.stable,
        "sensitivity": found.sensitivity[best.name] if best else None,
        "sensitivity_by_tuning": with_reasons(dict(found.sensitivity),
                                              dict.fromkeys(found.sensitivity, swings)),
    }, {"lag_s": why, "dead_time_s": why, "sensitivity": swings if best else NO_TUNING})
