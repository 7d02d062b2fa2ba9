"""Two fans into one plenum: the same kernel, another network.

Expected: what one fan of doubled flow does on the same plant, and, for unlike speeds, the fan laws
Δp = (ρ/ρ₀)n²f(Q/n) with one pressure across both wheels.
"""

import numpy as np
import pytest

from simfan.assemble import Assembled
from simfan.kernel import advance, layout
from simfan.kernel.layout import DONE, Schedule, State, Traces
from simfan.steady.balance import Rest, hold, rest_near, starting_state
from tests.networks import one_large_fan, two_fans

MOVES = [(0.0, 90.0), (20.0, 70.0), (100.0, 84.0)]
"""Time [s] and setpoint [m³/s]."""
LAST = 84.0


def plan(assembled: Assembled) -> Schedule:
    """The conditions of every scan, with the setpoint moving."""
    plant = assembled.plant
    n = plant.last_tick // plant.scan_steps + 1
    time = np.arange(n) * plant.step * plant.scan_steps
    setpoint = np.array(MOVES)[np.searchsorted([t for t, _ in MOVES], time, "right") - 1, 1]
    rows = [np.repeat(column, n, axis=0) for column in assembled.base]
    return Schedule(setpoint.reshape(n, 1), *rows[1:])


def doubled(large: Rest) -> np.ndarray:
    """A guess for two fans from the rest of the one: half its flow through each."""
    p, flow, speed = large.x[:3]
    return np.array([p, flow / 2.0, flow / 2.0, speed, speed])


def started(assembled: Assembled, start: Rest) -> tuple[State, State, Traces]:
    """The state before, the state after, and the traces of a run through the moves."""
    state = starting_state(assembled, start, MOVES[0][1])
    before, traces = layout.copy(state), layout.traces(assembled.plant)
    assert advance.advance(assembled.plant, plan(assembled), state, traces,
                           assembled.plant.last_tick) == DONE
    return before, state, traces


@pytest.fixture(scope="module")
def large() -> Assembled:
    return one_large_fan()


@pytest.fixture(scope="module")
def start(large: Assembled) -> Rest:
    return hold(large, MOVES[0][1])


@pytest.fixture(scope="module")
def alone(large: Assembled, start: Rest) -> Traces:
    return started(large, start)[2]


@pytest.fixture(scope="module")
def equal(start: Rest) -> tuple[State, State, Traces]:
    pair = two_fans()
    return started(pair, rest_near(pair, start.outputs, doubled(start)))


@pytest.fixture(scope="module")
def unlike(start: Rest) -> tuple[State, State, Traces]:
    pair = two_fans(second=0.97)
    return started(pair, rest_near(pair, start.outputs, doubled(start)))


def test_equal_fans_share_the_flow_equally(equal: tuple[State, State, Traces]) -> None:
    flow = equal[2].fan_flow
    assert np.array_equal(flow[:, 0], flow[:, 1])
    assert np.ptp(flow[:, 0]) > 5.0


def test_two_equal_fans_are_one_of_doubled_flow(equal: tuple[State, State, Traces],
                                                alone: Traces) -> None:
    pair = equal[2]
    assert pair.fan_flow.sum(axis=1) == pytest.approx(alone.fan_flow[:, 0], abs=1e-4)
    assert pair.shaft_power.sum(axis=1) == pytest.approx(alone.shaft_power[:, 0], rel=1e-5)
    assert pair.node_pressure[:, 0] == pytest.approx(alone.node_pressure[:, 0], abs=0.01)
    assert pair.controller_output == pytest.approx(alone.controller_output, abs=1e-5)


@pytest.mark.parametrize("second", [1.0, 0.97])
def test_the_steady_search_finds_where_the_run_settles(second: float, start: Rest) -> None:
    pair = two_fans(second)
    _, state, traces = started(pair, rest_near(pair, start.outputs, doubled(start)))
    found = rest_near(pair, state.loop.output.copy(), doubled(start))
    assert traces.true_value[-1, 0] == pytest.approx(LAST, abs=0.01)
    assert found.held == pytest.approx(LAST, abs=0.01)
    pressure, *flow = found.x[:3]
    assert pressure == pytest.approx(state.moving[0], abs=0.5)
    assert flow == pytest.approx(state.moving[1:3], abs=0.01)


def test_the_slower_fan_is_pushed_left(unlike: tuple[State, State, Traces]) -> None:
    traces = unlike[2]
    carried = traces.fan_flow[-1] / traces.speed_ratio[-1]
    assert carried[1] < carried[0] - 2.0
    assert traces.speed_ratio[-1, 1] == pytest.approx(0.97 * traces.speed_ratio[-1, 0], rel=1e-6)


def test_both_wheels_carry_one_pressure_by_the_fan_laws(
        large: Assembled, unlike: tuple[State, State, Traces]) -> None:
    traces = unlike[2]
    assert traces.fan_pressure[-1, 0] == pytest.approx(traces.fan_pressure[-1, 1], abs=0.5)
    for i in range(2):
        n, Q = traces.speed_ratio[-1, i], traces.fan_flow[-1, i]
        share = traces.fan_density[-1, i] / 1.2
        # the large fan's curve is fan B's with every flow doubled
        expected = share * n**2 * float(large.curve.pressure(2.0 * Q / n))
        assert traces.fan_pressure[-1, i] == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("kind", ["equal", "unlike"])
def test_no_air_is_lost_in_the_plenum(kind: str, request: pytest.FixtureRequest) -> None:
    before, after, _ = request.getfixturevalue(kind)
    pair = two_fans()
    gas, volume = pair.plant.gas, pair.plant.network.volume[0]
    T = pair.base.temperature[0, 0]
    stored = volume / (gas.gamma * gas.R * T) * (after.moving[0] - before.moving[0])
    n_branches = 3
    into_1, into_2, out = (after.moving - before.moving)[-n_branches:]
    assert abs(stored) > 0.1
    assert into_1 + into_2 - out == pytest.approx(stored, abs=1e-9 * out)
