"""A short run of one strategy, and a fingerprint of every bit that it left.

Run as a program it prints the fingerprints of all segments, one JSON object. The points at which
they start come as another on its standard input: searching them takes minutes without compilation.
"""

import hashlib
import json
import sys
from functools import cache
from typing import Any

import numpy as np

from simfan.assemble import Assembled
from simfan.assemble.ductwork import FAR_END
from simfan.kernel import advance, layout
from simfan.kernel.layout import Schedule, State, Traces
from simfan.plant.case import Case
from simfan.steady.balance import Rest, hold, starting_state
from tests.plants import DAMPER, begin, plain, run_from

TUNED = {"gain": 0.4, "reset": 6.0, "derivative": 1.0, "setpoint_weight": 0.7}
SEGMENTS = {
    "damper before the volume": ("before", 45.0, 30.0),
    "damper after the volume": ("after", 45.0, 38.0),
    "damper in surge": ("after", 20.0, 16.0),
    "damper shutting": ("before", 12.0, 0.0),
    "variable speed": ("speed", 45.0, 30.0),
    "inlet vanes": ("vanes", 40.0, 28.0),
    "inlet box damper": ("box", 40.0, 28.0),
    "dampers behind the fan": ("behind", 40.0, 28.0),
}
"""Strategy, first and second setpoint [m³/s]."""
BEHIND = {"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0,
          "isolation_damper": {"stroke_time": 2.0}, "check_damper": {"stroke_time": 1.0}}

GIVEN: dict[str, Any] = {}
"""Starts that another process has found."""


def busy(duration: float, setpoint: float, strategy: str) -> Case:
    """Dead time in actuator and transmitter, positioner and transmitter lag, a pressure lag; with
    the strategy "behind" an isolation and a check damper."""
    damper = {**DAMPER, "dead_time": 0.1, "lag": 0.3}
    drive = {"ramp_up": 20.0, "ramp_down": 30.0, "dead_time": 0.1}
    strategies: dict[str, Any] = {
        "after": {"outlet_damper": {**damper, "place": "after volume"}, "controller": TUNED},
        "before": {"outlet_damper": {**damper, "place": "before volume"},
                   "controller": TUNED | {"reset_from": "position"}},
        "speed": {"speed": drive, "controller": TUNED},
        "vanes": {"inlet_vanes": {"stroke_time": 10.0, "dead_time": 0.1}, "controller": TUNED},
        "box": {"inlet_box_damper": {"stroke_time": 10.0}, "controller": TUNED},
        "behind": {"speed": drive, "controller": TUNED},
    }
    ductwork = {"ductwork": BEHIND} if strategy == "behind" else {}
    control = {"scan": 0.25, "transmitter": {"lag": 0.5, "dead_time": 0.375}}
    return plain(strategies=strategies, control=control, timeline=[],
                 run={"duration": duration, "starts_at": setpoint}, **ductwork)


@cache
def start(name: str) -> Rest:
    """Where a segment starts; a float passes through JSON without losing a bit."""
    if name in GIVEN:
        x, outputs, held, reached = GIVEN[name]
        return Rest(np.array(x), np.array(outputs), held, reached)
    strategy, first, _ = SEGMENTS[name]
    return hold(begin(busy(8.0, first, strategy), strategy, 0.0125, 0.125)[0], first)


def starts() -> str:
    """Of all segments, for another process."""
    return json.dumps({name: (r.x.tolist(), r.outputs.tolist(), r.held, r.reached)
                       for name in SEGMENTS for r in [start(name)]})


def ready(name: str, duration: float = 8.0) -> tuple[Assembled, Schedule, Traces, State]:
    """A segment at its start, its setpoint stepping at one second."""
    strategy, first, second = SEGMENTS[name]
    case = busy(duration, first, strategy)
    assembled, plan, traces = begin(case, strategy, 0.0125, 0.125)
    plan.setpoint[4:] = second
    if strategy == "behind":
        driven = assembled.items["shutter"].index("isolation damper")
        plan.shutter[4:16, driven], plan.power[12:] = 0.0, 0.0
        plan.pressure[12:, FAR_END] += 4000.0  # turns the flow, which shuts the check damper
    state = starting_state(assembled, start(name), first)
    if name == "damper in surge":
        state.moving[1] *= 0.3  # far off the unstable point it was held at
    return assembled, plan, traces, state


def fingerprint(traces: Traces, state: State) -> str:
    """Of every bit of both."""
    digest = hashlib.sha256()
    for array in (*traces, *state):
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


def prints() -> dict[str, str]:
    """Of every segment."""
    found = {}
    for name in SEGMENTS:
        assembled, plan, traces, state = ready(name)
        assert run_from(assembled, plan, traces, state) == layout.DONE
        found[name] = fingerprint(traces, state)
    return found


def is_compiled() -> bool:
    """Whether the kernel in this process is machine code."""
    return hasattr(advance.advance, "py_func")


if __name__ == "__main__":
    GIVEN.update(json.load(sys.stdin))
    print(json.dumps({"compiled": is_compiled(), "prints": prints()}))
