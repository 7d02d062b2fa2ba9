"""What holds for every plant, whatever its ducts: mass, monotone dampers, leakage, rest."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simfan.assemble import assemble
from simfan.kernel import advance, layout
from simfan.simulate import simulate
from simfan.steady.balance import hold, settle, starting_state
from tests.plants import DAMPER, GAINS, begin, period, plain

FEW = settings(max_examples=10, deadline=None)
NAMES = ("after", "before", "speed")

lengths, areas = st.floats(5.0, 60.0), st.floats(3.0, 8.0)
volumes = st.floats(20.0, 3000.0)
fixed = st.floats(-300.0, 1200.0)
blades = st.sampled_from(["opposed", "parallel"])
shut_losses = st.floats(5e3, 1e6)


def duct(length: float, area: float, volume: float) -> dict[str, Any]:
    return {"discharge": {"length": length, "area": area}, "volume": volume}


def dampers(kind: str, shut: float) -> dict[str, Any]:
    damper = {**DAMPER, "blades": kind, "shut_loss": shut}
    return {place.split()[0]: {"outlet_damper": {**damper, "place": place}, "controller": GAINS}
            for place in ("after volume", "before volume")}


@FEW
@given(lengths, areas, volumes, fixed, st.sampled_from(NAMES), st.floats(18.0, 45.0),
       st.floats(10.0, 48.0))
def test_no_air_is_lost_or_made(length: float, area: float, volume: float, back: float, name: str,
                                first: float, second: float) -> None:
    """What the volume stored is what came in less what went out; surge and all."""
    case = plain(ductwork=duct(length, area, volume), timeline=[{"at": 5.0, "setpoint": second}],
                 process={"fixed_pressure": back, "design": {"flow": 45.0, "pressure": 3500.0}},
                 run={"duration": 30.0, "starts_at": first})
    history = simulate(case, name)
    assert history.audit.stopped is None
    assert history.audit.mass_balance_residual < 1e-9


def test_the_recorded_flows_tell_the_same_balance() -> None:
    """From the traces alone, in surge: C·Δp = ∫(in − out)dt by Simpson, C = V/(γRT)."""
    case = plain(run={"duration": 30.0, "starts_at": 24.0, "step": 0.0125, "record": 0.0125},
                 timeline=[{"at": 1.0, "setpoint": 20.0}])
    history = simulate(case, "after")
    flow = history.traces["mass_flow"]
    surplus = flow[:, 0] - flow[:, 1]
    inside = surplus[1:-1:2]
    assert np.ptp(flow[:, 0]) > 30.0
    came = 0.0125 / 3.0 * (surplus[0] + surplus[-1] + 4.0 * inside.sum()
                           + 2.0 * surplus[2:-2:2].sum())
    stored = 600.0 / (1.4 * 287.05 * 303.15) * np.ptp(history.trace("node_pressure", 0)[[0, -1]])
    swung = 0.0125 * np.abs(surplus).sum()
    assert abs(abs(came) - stored) < 2e-4 * swung


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("volume", [10.0, 20.0, 600.0])
def test_a_run_begun_at_rest_stays_at_rest(name: str, volume: float) -> None:
    """The step chosen by itself must not move the steady point it starts from."""
    case = plain(ductwork=duct(20.0, 4.0, volume), timeline=[],
                 run={"duration": 30.0, "starts_at": 45.0})
    history = simulate(case, name)
    for trace in ("controller_output", "fan_flow", "fan_pressure", "speed_ratio", "shaft_power",
                  "node_pressure", "mass_flow"):
        values = history.traces[trace]
        assert values == pytest.approx(np.broadcast_to(values[0], values.shape), rel=1e-4), trace


@FEW
@given(st.sampled_from(["after", "before"]), blades, shut_losses, fixed,
       st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_closing_the_damper_never_raises_the_settled_flow(name: str, kind: str, shut: float,
                                                          back: float, one: float, other: float,
                                                          ) -> None:
    case = plain(strategies=dampers(kind, shut), run={"duration": 10.0, "starts_at": 40.0},
                 process={"fixed_pressure": back, "design": {"flow": 45.0, "pressure": 3500.0}},
                 timeline=[])
    assembled = assemble(case, name, 0.025, 0.25)
    closer, wider = (settle(assembled, u).held for u in sorted((one, other)))
    assert closer <= wider + 1e-9


@FEW
@given(st.sampled_from(["after", "before"]), blades, shut_losses)
def test_a_shut_damper_passes_its_leakage_and_no_more(name: str, kind: str, shut: float) -> None:
    """Q = A·√(2Δp/(ρζ)) with all of the fan's pressure at shut-off across the damper, to 5 %: the
    motor turns a little faster without load, and the air is a little denser behind the wheel."""
    case = plain(strategies=dampers(kind, shut), timeline=[],
                 run={"duration": 10.0, "starts_at": 40.0})
    assembled = assemble(case, name, 0.025, 0.25)
    found = settle(assembled, 0.0)
    shutoff = float(assembled.curve.pressure(0.0)) * case.air.density / 1.2
    leakage = 4.0 * np.sqrt(2.0 * (shutoff - 400.0) / (case.air.density * shut))
    assert found.held == pytest.approx(leakage, rel=0.05)


STEP = 0.0125


def swinging(volume: float) -> np.ndarray:
    """Flow of the fan at every step [m³/s], pushed off its steady 20 m³/s; the damper stands."""
    case = plain(ductwork=duct(20.0, 4.0, volume), timeline=[],
                 run={"duration": 120.0, "starts_at": 20.0})
    assembled, plan, traces = begin(case, "after", STEP, STEP)
    state = starting_state(assembled, hold(assembled, 20.0), 20.0)
    plant = assembled.plant._replace(loops=layout.changed(assembled.plant.loops, gain=0.0))
    state.loop.integral[:] = state.loop.output
    state.moving[1] *= 0.9
    assert advance.advance(plant, plan, state, traces, plant.last_tick) == layout.DONE
    return traces.fan_flow[:, 0]


def test_ten_times_the_volume_surges_slower() -> None:
    """Filling and emptying takes over from the Helmholtz swing, whose period goes with √V; surge
    is slower than that swing."""
    periods = []
    for volume in (300.0, 3000.0):
        flow = swinging(volume)
        assert np.ptp(flow[flow.size // 2:]) > 30.0
        periods.append(period(STEP * np.arange(flow.size), flow))
    assert periods[1] > np.sqrt(10.0) * periods[0]
    sound = np.sqrt(1.4 * 287.05 * 303.15)
    assert periods[0] > 2.0 * np.pi / (sound * np.sqrt(4.0 / (300.0 * 20.0)))


def test_a_small_volume_does_not_surge_where_a_large_one_does() -> None:
    small, large = swinging(5.0), swinging(600.0)
    assert np.ptp(small[small.size // 2:]) < 0.01
    assert np.ptp(large[large.size // 2:]) > 30.0
