"""A transmitter's first-order lag and dead time, through a whole run.

1 − e^(−t/τ): 63.2 % at τ, 95 % at 3τ, 99.3 % at 5τ; closed form, printed in every text on
instrumentation.
"""

import numpy as np
import pytest

from simfan.kernel import advance, entry, layout
from simfan.steady.balance import hold, starting_state
from tests.plants import begin, plain
from tests.published.record import checked

LAG, DEAD_TIME = 2.0, 0.75


def shown(dead_time: float, lag: float = LAG) -> tuple[np.ndarray, np.ndarray]:
    """(time, measured over true value) of a transmitter switched on at time zero, from zero."""
    case = plain(control={"scan": 0.25, "transmitter": {"lag": lag, "dead_time": dead_time}},
                 run={"duration": 20.0, "starts_at": 36.0}, timeline=[])
    assembled, plan, traces = begin(case, "speed", 0.025, 0.25)
    state = starting_state(assembled, hold(assembled, 36.0), 36.0)
    plant = assembled.plant._replace(loops=layout.changed(assembled.plant.loops, gain=0.0))
    state.loop.integral[:] = state.loop.output  # the controller rests whatever it is shown
    state.moving[entry.begins(plant).reading] = 0.0
    state.loop.reading[:] = 0.0
    state.reading_queue[:] = 0.0
    assert advance.advance(plant, plan, state, traces, plant.last_tick) == layout.DONE
    true = traces.true_value[:, 0]
    assert np.ptp(true) < 0.01
    return 0.25 * np.arange(true.size), traces.measured_value[:, 0] / true


@pytest.mark.parametrize("dead_time", [0.0, DEAD_TIME])
def test_lag_at_one_three_and_five_time_constants(dead_time: float) -> None:
    time, share = shown(dead_time)
    for multiple, expected_percent in ((1.0, 63.2), (3.0, 95.0), (5.0, 99.3)):
        k = int(np.argmin(np.abs(time - multiple * LAG - dead_time)))
        assert 100.0 * share[k] == checked(expected_percent, "shown [%]", abs=0.05)


def test_dead_time_shows_the_same_later() -> None:
    _, prompt = shown(0.0)
    _, late = shown(DEAD_TIME)
    scans = round(DEAD_TIME / 0.25)
    assert late[scans:] == checked(prompt[:-scans], "shown", abs=1e-3)
    assert np.all(late[:scans] == 0.0)


def test_without_lag_dead_time_alone_delays() -> None:
    time, share = shown(DEAD_TIME, lag=0.0)
    assert np.all(share[time < DEAD_TIME] == 0.0)
    assert share[time >= DEAD_TIME] == checked(1.0, "shown", abs=1e-3)
