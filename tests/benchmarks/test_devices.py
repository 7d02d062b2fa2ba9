"""What each device costs beside the plain case, in one process."""

from typing import Any

import pytest

from tests.benchmarks.conftest import Tell
from tests.benchmarks.runs import SCAN, best, going, to
from tests.plants import DAMPER, GAINS

pytestmark = pytest.mark.benchmark

VANES: dict[str, Any] = {"inlet_vanes": {"stroke_time": 10.0}, "controller": GAINS}
BOTH: dict[str, Any] = VANES | {"speed": {"ramp_up": 40.0, "ramp_down": 60.0},
                                "sequence": {"order": "together"}}
ROUGH = {"backlash": 0.005, "resolution": 0.002, "dead_time": 0.5,
         "linkage": {"position": [0.0, 0.5, 1.0], "opening": [0.0, 0.4, 1.0]}}
NOISY = {"square_root": True, "noise": 0.002, "resolution": 0.001, "low_flow_cutoff": 0.02,
         "dead_time": 0.4}


def damper(device: dict[str, Any] | None = None, **controller: Any) -> dict[str, Any]:
    return {"outlet_damper": {**DAMPER, "place": "before volume", **(device or {})},
            "controller": {**GAINS, **controller}}


CASES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "plain damper": (damper(), {}),
    "actuator with everything": (damper(ROUGH), {}),
    "transmitter with everything": (damper(), NOISY),
    "controller with derivative and weight": (damper(derivative=1.0, setpoint_weight=0.5), {}),
    "inlet vanes": (VANES, {}),
    "vanes and speed": (BOTH, {}),
    "all of it": (BOTH | {"inlet_vanes": {"stroke_time": 10.0, **ROUGH}}, NOISY),
}


def test_cost_of_each_device(tell: Tell) -> None:
    plain_time = None
    for what, (strategy, transmitter) in CASES.items():
        run = going("it", to(36.0), 960.0, strategies={"it": strategy},
                    control={"scan": SCAN, "transmitter": transmitter})
        per_step = 1e9 * best(run.go) / run.plant.last_tick
        plain_time = plain_time or per_step
        tell(what, f"{per_step:6.0f} ns a step of 20 ms, {per_step / plain_time:5.2f} x the plain")
    assert plain_time
