"""The fixed-step kernel against SciPy (LSODA, rtol 1e-9) on the same full set of equations.

In windows of 10 s, or of three surge periods, each restarted from the kernel's own state: point by
point over many cycles only the phase error would be seen.
"""

import numpy as np
import pytest

from simfan.assemble.schedule import schedule
from simfan.history import History
from simfan.kernel import advance, layout
from simfan.plant.case import Case
from simfan.simulate import prepare, simulate
from simfan.steady.balance import hold, starting_state
from simfan.timeline import play
from tests.plants import period, plain
from tests.reference import Reference

STEPPED = [{"at": 2.0, "setpoint": 30.0}, {"at": 6.0, "setpoint": 15.0},
           {"at": 32.0, "over": 5.0, "process_resistance": 1.3}]
TOLERANCE = 1e-3
"""Of each state's range over the run."""


def windows(case: Case, name: str, seconds: float) -> float:
    """Largest difference of any state at any scan, of its range over the whole run."""
    assembled, _ = prepare(case, name)
    plant, played = assembled.plant, play(case)
    plan = schedule(assembled, case, played.dials)
    state = starting_state(assembled, hold(assembled, case.run.starts_at), case.run.starts_at)
    traces = layout.traces(plant)
    per_window = round(seconds / case.control.scan)
    n_kept = layout.n_integrated(plant) - plant.network.branch.size
    pairs = []
    for scan in range(round(case.run.duration / case.control.scan)):
        if scan % per_window == 0:
            reference = Reference(plant, plan, layout.copy(state))
        advance.advance(plant, plan, state, traces, (scan + 1) * plant.scan_steps)
        pairs.append((state.moving[:n_kept].copy(), reference.one_scan()[:n_kept].copy()))
    ours, theirs = (np.array(side) for side in zip(*pairs, strict=True))
    extent = np.ptp(theirs, axis=0)
    moved = extent > 1e-6 * np.abs(theirs).max(axis=0)
    return float((np.abs(ours - theirs)[:, moved] / extent[moved]).max())


def test_the_surge_test_surges() -> None:
    case = plain(timeline=STEPPED, run={"duration": 40.0, "starts_at": 45.0})
    assert simulate(case, "after").trace("fan_flow").min() < 0.0


@pytest.mark.parametrize("name", ["before", "speed"])
def test_every_state_stays_with_the_reference(name: str) -> None:
    case = plain(timeline=STEPPED, run={"duration": 40.0, "starts_at": 45.0})
    assert windows(case, name, 10.0) < TOLERANCE


def test_every_state_stays_with_the_reference_in_surge() -> None:
    case = plain(timeline=STEPPED, run={"duration": 40.0, "starts_at": 45.0})
    assert windows(case, "after", 3.0) < TOLERANCE


@pytest.fixture(scope="module")
def surges() -> tuple[History, History]:
    """The same surge at the chosen step and at a tenth of it."""
    case = plain(timeline=[], run={"duration": 60.0, "starts_at": 18.0, "record": 0.0125},
                 control={"scan": 0.25, "controller": {"gain": 0.001, "reset": 1000.0}},
                 strategies={"after": {"outlet_damper": {
                     "blades": "opposed", "area": 4.0, "stroke_time": 12.0,
                     "place": "after volume"}}})
    coarse = simulate(case, "after")
    return coarse, simulate(case, "after", step=coarse.audit.step_s / 10.0)


def test_the_surge_period_holds_within_two_thousandths(surges: tuple[History, History]) -> None:
    coarse, fine = (period(h.time, h.trace("fan_flow")) for h in surges)
    assert coarse == pytest.approx(fine, rel=0.002)


def test_the_surge_swing_holds_within_a_hundredth(surges: tuple[History, History]) -> None:
    for name in ("fan_flow", "node_pressure"):
        coarse, fine = (np.ptp(h.trace(name)[h.time.size // 2:]) for h in surges)
        assert coarse == pytest.approx(fine, rel=0.01)
