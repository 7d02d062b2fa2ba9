"""Mid-ranging and selectors against closed forms of control textbooks.

Of any PI controller whose output is not limited ∫e dt = (Ti/Kc)·Δu, from rest to rest (Åström &
Hägglund, Advanced PID Control (2006), from memory). With mid-ranging the fast output ends where it
began, so ∫e dt = 0: what was too little for a while must be too much for another.
"""

import numpy as np
import pytest

from tests.loops import Controllers, Lagged
from tests.published.record import checked

DT = 0.1
FAST, SLOW = (2.0, 5.0), (0.2, 40.0)
"""Kc, Ti [s]."""
QUICK, SLUGGISH = (0.5, 4.0), (1.0, 20.0)
"""Gain and lag [s] of the process from either output."""
TARGET = 0.5
PAIR = {"inlet_vanes": {"stroke_time": 10.0},
        "speed": {"ramp_up": 1.0, "ramp_down": 1.0, "minimum": 0.0},
        "controller": {"gain": FAST[0], "reset": FAST[1]}}
MID = {**PAIR, "mid_ranging": {"target": TARGET,
                               "controller": {"gain": SLOW[0], "reset": SLOW[1]}}}
ALONE = {**PAIR, "sequence": {"order": "vanes first"}}


def closed(strategy: dict[str, object], step: float, load: float, duration: float = 1500.0
           ) -> tuple[np.ndarray, np.ndarray]:
    """(n,) errors and (n, n_loops) outputs; setpoint and load step after a scan at rest."""
    first = QUICK[0] * TARGET + SLUGGISH[0] * TARGET
    loops = Controllers(DT, strategy, TARGET, first)
    quick = Lagged(DT, *QUICK, starts=QUICK[0] * TARGET)
    sluggish = Lagged(DT, *SLUGGISH, starts=SLUGGISH[0] * TARGET)
    errors, outputs = [], []
    for k in range(round(duration / DT)):
        value = quick.value + sluggish.value + (load if k else 0.0)
        wanted = first + (step if k else 0.0)
        mine = loops.state.loop.output
        loops.scan(wanted, value, *([float(mine[0])] if loops.n > 1 else []))
        errors.append(wanted - value)
        outputs.append(mine.copy())
        quick.move(float(mine[0]))
        sluggish.move(float(mine[1]) if loops.n > 1 else TARGET)
    return np.array(errors), np.array(outputs)


@pytest.mark.parametrize(("step", "load"), [(0.1, 0.0), (-0.1, 0.0), (0.0, 0.1)])
def test_mid_ranging_ends_with_the_integral_of_the_error_at_zero(step: float, load: float) -> None:
    """And the slow output does all of it: Δu2 = (Δr − d)/K2, ∫(u1 − target) dt = (Ti2/Kc2)·Δu2."""
    error, output = closed(MID, step, load)
    assert output.min() > 0.0 and output.max() < 1.0
    moved = (step - load) / SLUGGISH[0]
    assert DT * error.sum() == checked(0.0, "∫e dt [s]", abs=1e-4)
    assert output[-1, 0] == checked(TARGET, "fast output", abs=1e-4)
    assert output[-1, 1] - TARGET == checked(moved, "move of the slow output", abs=1e-4)
    away = DT * (output[:, 0] - TARGET).sum()
    assert away == checked(SLOW[1] / SLOW[0] * moved, "∫(u1 − target) dt [s]", rel=2e-3)
    assert error.max() > 1e-3 and error.min() < -1e-3  # so it overshoots


@pytest.mark.parametrize(("step", "load"), [(0.1, 0.0), (0.0, 0.1)])
def test_alone_the_same_controller_ends_with_an_integral_of_the_error(step: float, load: float
                                                                      ) -> None:
    """∫e dt = (Ti/Kc)·(Δr − d)/K1."""
    error, output = closed(ALONE, step, load)
    assert output.max() < 1.0
    expected = FAST[1] / FAST[0] * (step - load) / QUICK[0]
    assert DT * error.sum() == checked(expected, "∫e dt [s]", rel=1e-4)


def test_selected_controllers_follow_the_one_that_has_the_output_with_their_reset_time() -> None:
    """External reset: while another one holds the output at u, I → u as 1 − e^(−t/Ti)."""
    reset, gap = 10.0, 0.4
    override = {"motor_load": 0.6, "controller": {"gain": 1.0, "reset": 86400.0}}
    strategy = {"speed": PAIR["speed"], "controller": {"gain": 1.0, "reset": reset},
                "overrides": [override]}
    loops = Controllers(0.01, strategy, 0.3, 0.3)
    loops.state.loop.integral[0] = 0.3 + gap
    for _ in range(round(reset / 0.01)):
        loops.scan(0.5, 0.3, 0.3)  # the limiter reads its limit: it gives 0.3, the other 0.5 more
    assert loops.state.loop.output[0] == checked(0.3, "output", abs=1e-3)
    assert loops.state.loop.integral[0] - 0.3 == checked(
        gap * np.exp(-1.0), "integral, above the output, after Ti", abs=1e-3)
