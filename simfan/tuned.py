"""The answer of `simfan tune` as JSON: SI, every name with its unit, null with a reason."""

from math import degrees, isfinite
from typing import Any

from simfan import __version__
from simfan.loop_answer import LoopAnswer, LoopPoint, LoopTuning, StrategyLoop
from simfan.metrics import with_reasons
from simfan.overview import unit_name
from simfan.plant import tuning

SCHEMA_VERSION = 1
UNSTABLE = "the loop is unstable at a point of the range"


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
        "assumed": list(answer.assumed),
        "strategies": [_strategy(s, answer, unit) for s in answer.strategies],
    }, {})


def _strategy(found: StrategyLoop, answer: LoopAnswer, unit: str) -> dict[str, Any]:
    return with_reasons({
        "name": found.name, "method": found.method, "structure": "one loop",
        "gain_ratio": found.gain_ratio,
        "loops": [{
            "holds": answer.holds, "action": found.action, "scan_s": answer.scan,
            f"span_{unit}": list(answer.span),
            "tunings": [tuning_json(t, answer, unit) for t in found.tunings],
            "range": [_point(p, unit) for p in found.points],
        }],
        "findings": list(found.findings),
    }, {"gain_ratio": "no stable point with a gain"})


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
        "parallel": dict(zip(("gain", "integral_gain_per_s", "derivative_gain_s"),
                             tuning.to_parallel(standard), strict=True)),
        "series": dict(zip(("gain", "reset_s", "derivative_s"), series, strict=True))
        if series else None,
        "proportional_band_percent": 100.0 / found.gain,
        "repeats_per_min": 60.0 / found.reset,
        f"gain_percent_per_{unit}": 100.0 * found.gain / width,
        "largest_sensitivity": found.sensitivity, f"worst_at_{unit}": found.worst_at,
        "largest_complementary_sensitivity": found.complementary,
        "gain_margin": found.gain_margin,
        "phase_margin_deg": None if phase is None else degrees(phase),
        "largest_extra_dead_time_s": found.delay_margin,
        f"unstable_at_{unit}": list(found.unstable_at),
        f"largest_step_{unit}": found.largest_step if isfinite(found.largest_step) else None,
    }, {"series": why, "largest_sensitivity": UNSTABLE,
        "largest_complementary_sensitivity": UNSTABLE,
        "gain_margin": "no gain brings it to swing, or " + UNSTABLE,
        "phase_margin_deg": "|L| does not cross one, or " + UNSTABLE,
        "largest_extra_dead_time_s": "|L| does not cross one, or " + UNSTABLE,
        f"largest_step_{unit}": "|L| does not cross one"})


def in_series(standard: tuning.Standard) -> tuple[tuning.Series | None, str]:
    """The series form, or None and the sentence why there is none."""
    try:
        return tuning.to_series(standard), ""
    except ValueError as why:
        return None, str(why)


def _point(found: LoopPoint, unit: str) -> dict[str, Any]:
    why = "the plant is unstable here with its elements standing still"
    return with_reasons({
        f"held_{unit}": found.held, "flow_m3s": found.flow, "output_percent": 100.0 * found.output,
        "gain_percent_per_percent": found.gain, "lag_s": found.lag, "dead_time_s": found.dead_time,
        "stable": found.stable,
        "sensitivity": with_reasons(dict(found.sensitivity),
                                    dict.fromkeys(found.sensitivity, "the loop is unstable here")),
    }, {"lag_s": why, "dead_time_s": why})
