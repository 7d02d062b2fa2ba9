"""The answers of `simfan bump` and `simfan relay` as JSON: SI, every name with its unit, null with
a reason."""

from dataclasses import dataclass
from math import degrees
from typing import Any

from simfan import __version__
from simfan.experiment_answer import BumpTest, FittedModel, LoopTest, PlantModel, Record, RelayTest
from simfan.metrics import with_reasons
from simfan.overview import unit_name

SCHEMA_VERSION = 1
NEVER_SWINGS = "no proportional gain makes the linear plant swing"
WITH_UNITS = {"gain": "gain_percent_per_percent", "lag": "lag_s", "second_lag": "second_lag_s",
              "dead_time": "dead_time_s"}


@dataclass(frozen=True)
class Tested:
    """A test that can be told as JSON."""

    test: LoopTest

    def to_json(self) -> dict[str, Any]:
        """SI, every name with its unit."""
        return to_json(self.test)


def to_json(test: LoopTest) -> dict[str, Any]:
    """Where it stood, what it found, its record."""
    assert isinstance(test, (BumpTest, RelayTest))
    unit = unit_name(test.held_kind)
    found = _bump(test, unit) if isinstance(test, BumpTest) else _relay(test, unit)
    return {
        "schema_version": SCHEMA_VERSION,
        "simfan": __version__,
        "scenario": with_reasons(
            {"title": test.title, "file": test.file, "fingerprint": test.fingerprint},
            {"file": "the scenario was not read from a file",
             "fingerprint": "no fingerprint was taken of the scenario"}),
        "strategy": test.strategy, "method": test.method, "holds": test.holds,
        "scan_s": test.scan, f"span_{unit}": list(test.span), f"held_{unit}": test.held,
        "output_percent": 100.0 * test.output, "size_percent": 100.0 * test.size,
        **found,
        "findings": list(test.findings), "assumed": list(test.assumed),
        "record": _record(test.record, test, unit),
    }


def _bump(test: BumpTest, unit: str) -> dict[str, Any]:
    return {
        "test": "bump",
        "hold_s": test.hold,
        "linear": _model(test.linear),
        "fits": [_fit(fit) for fit in test.fits],
        "gain_up_percent_per_percent": test.gain_up,
        "gain_down_percent_per_percent": test.gain_down,
        f"drift_{unit}_per_s": test.drift,
        "dead_band_percent": 100.0 * test.dead_band,
        "noise_percent": 100.0 * test.noise,
        "moved_percent": {name: 100.0 * share for name, share in test.moved.items()},
    }


def _relay(test: RelayTest, unit: str) -> dict[str, Any]:
    return with_reasons({
        "test": "relay",
        f"hysteresis_{unit}": test.hysteresis, f"swing_{unit}": test.swing,
        "ultimate_gain": test.ultimate_gain, "ultimate_period_s": test.ultimate_period,
        "phase_deg": degrees(test.phase),
        "linear_ultimate_gain": test.linear_gain, "linear_ultimate_period_s": test.linear_period,
    }, {"linear_ultimate_gain": NEVER_SWINGS, "linear_ultimate_period_s": NEVER_SWINGS})


def _model(model: PlantModel) -> dict[str, Any]:
    return with_reasons({said: getattr(model, name) for name, said in WITH_UNITS.items()},
                        {"second_lag_s": "a first order has one lag"})


def _fit(fit: FittedModel) -> dict[str, Any]:
    return {
        "order": 1 if fit.model.second_lag is None else 2,
        "model": _model(fit.model),
        "half_width_95": {WITH_UNITS[name]: width for name, width in fit.half_width.items()},
        "left_percent": 100.0 * fit.left,
    }


def _record(record: Record, test: LoopTest, unit: str) -> dict[str, Any]:
    return {
        "time_s": record.time.tolist(), f"reading_{unit}": record.reading.tolist(),
        "output_percent": (100.0 * record.output).tolist(),
        "position_percent": {name: (100.0 * column).tolist() for name, column in
                             zip(test.elements, record.position.T, strict=True)},
    }
