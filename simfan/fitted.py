"""The answer of `simfan fit` as JSON: SI, every name with its unit, null with a reason."""

from dataclasses import dataclass
from typing import Any

from simfan import __version__
from simfan.fit_answer import FitAnswer, FittedNumber, SignalFit
from simfan.metrics import with_reasons
from simfan.units import KINDS

SCHEMA_VERSION = 1


@dataclass(frozen=True)
class Fitted:
    """A fit that can be told as JSON."""

    answer: FitAnswer

    def to_json(self) -> dict[str, Any]:
        """SI, every name with its unit."""
        return to_json(self.answer)


def to_json(answer: FitAnswer) -> dict[str, Any]:
    """The whole answer; correlations in the order of `fitted`."""
    return {
        "schema_version": SCHEMA_VERSION, "simfan": __version__,
        "scenario": with_reasons(
            {"title": answer.title, "file": answer.file, "fingerprint": answer.fingerprint},
            {"file": "the scenario was not read from a file",
             "fingerprint": "no fingerprint was taken of the scenario"}),
        **with_reasons({"trend": answer.trend}, {"trend": "the trend was not read from a file"}),
        "strategy": answer.strategy, "method": answer.method, "driven_by": answer.driven_by,
        "duration_s": answer.duration, "interval_s": answer.interval,
        "converged": answer.converged, "explained": answer.explained,
        "residual_over_noise": answer.left,
        "numbers": [_number(n) for n in answer.numbers],
        "fitted": [n.path for n in answer.fitted],
        "correlation": answer.correlation.tolist(),
        "trading_off": [{"numbers": [one, other], "correlation": r}
                        for one, other, r in answer.pairs],
        "collinearity": answer.collinearity,
        "searches": [{"residual_over_noise": s.left, "converged": s.converged, "why": s.why}
                     for s in answer.searches],
        "runs": answer.evaluations,
        "signals": [_signal(s) for s in answer.signals],
        "findings": list(answer.findings), "assumed": list(answer.assumed),
    }


def _number(number: FittedNumber) -> dict[str, Any]:
    why = number.why or "the trend cannot tell it"
    return with_reasons({
        "path": number.path, "label": number.label, "unit": si_unit(number.kind),
        "before": number.before, "estimate": number.estimate, "low_95": number.low,
        "high_95": number.high, "fitted": number.fitted, "at_bound": number.at_bound,
        "moved_by_10_percent_in_noise": number.shows, "in_file": number.in_file,
        "left_because": number.why,
    }, {"low_95": why, "high_95": why, "in_file": "the scenario's value stands",
        "left_because": "it was fitted"})


def _signal(signal: SignalFit) -> dict[str, Any]:
    return {
        "name": signal.name, "unit": si_unit(signal.kind), "noise": signal.noise,
        "noise_from": signal.noise_from, "residual_over_noise_before": signal.before,
        "residual_over_noise": signal.left, "alike_over_samples": signal.memory,
        "samples": signal.samples, "explained": signal.explained,
        "time_s": signal.time.tolist(), "measured": signal.measured.tolist(),
        "modelled_before": signal.modelled_before.tolist(),
        "modelled": signal.modelled.tolist(),
        "autocorrelation": signal.correlation.tolist(),
    }


def si_unit(kind: str | None) -> str:
    """Of a kind; "1" for a share or a plain number."""
    if kind in (None, "fraction"):
        return "1"
    assert kind
    return next(name for name, unit in KINDS[kind].items()
                if unit.factor == 1.0 and unit.offset == 0.0)
