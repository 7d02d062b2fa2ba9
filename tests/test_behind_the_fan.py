"""Isolation and check dampers, a fan that stands, and a wheel that the air turns."""

from typing import Any

import numpy as np
import pytest

from simfan.assemble import assemble
from simfan.history import History
from simfan.kernel import layout
from simfan.plant.case import Case
from simfan.simulate import simulate
from simfan.steady.bench import Bench
from tests.plants import DAMPER, plain

GAINS = {"gain": 0.6, "reset": 5.0}
LINE = {"outlet_damper": {**DAMPER, "place": "before volume"}, "controller": GAINS}
DRIVE = {"speed": {"ramp_up": 20.0, "ramp_down": 30.0, "minimum": 0.3}, "controller": GAINS}
CHECK = {"stroke_time": 2.0, "leakage": 0.01, "open_loss": 1.0}
ISOLATION = {"stroke_time": 10.0, "leakage": 0.005, "open_loss": 0.2}
STANDSTILL = {"starts_at": "standstill", "setpoint": 40.0}
FIXED = 400.0


def behind(strategy: dict[str, Any], timeline: list[dict[str, Any]], duration: float = 60.0,
           run: dict[str, Any] | None = None, fixed: float = FIXED, **dampers: Any) -> Case:
    return plain(
        strategies={"it": strategy}, timeline=timeline,
        ductwork={"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0, **dampers},
        process={"fixed_pressure": fixed, "design": {"flow": 45.0, "pressure": 3500.0}},
        run={"duration": duration, **(run or {"starts_at": 40.0})})


def last(history: History, name: str) -> float:
    return float(history.trace(name)[-1])


def leaked(share: float, open_loss: float, pressure: float, area: float = 4.0,
           density: float = 98600.0 / (287.05 * 303.15)) -> float:
    """Flow [m³/s] through the open share of an area: Δp = ζ·½ρ(Q/A)², the jet contracts to 0.63 of
    a small opening (Weisbach) and is lost behind it (Borda–Carnot)."""
    loss = open_loss + (1.0 / (0.63 * share) - 1.0) ** 2
    return area * float(np.sqrt(2.0 * pressure / (density * loss)))


# A fan that stands ----------------------------------------------------------------------------


def test_a_fan_that_stands_before_an_open_process_stays_as_it_is() -> None:
    """No pressure drives anything, so nothing moves, to the last bit."""
    history = simulate(behind(LINE, [], run=STANDSTILL, fixed=0.0), "it")
    for name in ("fan_flow", "speed_ratio", "electrical_power", "controller_output"):
        assert not history.traces[name].any(), name
    assert (history.trace("node_pressure", "volume") == 98600.0).all()
    assert set(history.trace("setpoint")) == {40.0}
    assert history.log == ()


def test_a_start_by_hand_from_standstill_ends_where_a_settled_run_begins() -> None:
    timeline = [{"at": 2.0, "motor": "restart"}, {"at": 20.0, "automatic": True}]
    history = simulate(behind(LINE, timeline, 240.0, run=STANDSTILL), "it")
    begun = simulate(behind(LINE, [], 1.0), "it")
    for name in ("fan_flow", "speed_ratio", "element_position", "node_pressure"):
        assert last(history, name) == pytest.approx(float(begun.trace(name)[0]), rel=2e-3), name
    assert [h.what for h in history.log] == ["motor started again, trips reset",
                                             "controller to automatic"]


def test_a_drive_starts_from_standstill_at_no_more_than_its_ramp() -> None:
    timeline = [{"at": 2.0, "motor": "restart"}, {"at": 2.0, "manual_output": 0.5}]
    history = simulate(behind(DRIVE, timeline, run=STANDSTILL, fixed=0.0), "it")
    rise = np.gradient(history.trace("speed_ratio"), history.time)
    assert 0.9 / 20.0 < rise.max() < 1.02 / 20.0
    assert (history.trace("speed_ratio")[history.time < 2.0] == 0.0).all()


# Isolation damper -----------------------------------------------------------------------------


def test_an_isolation_damper_takes_its_stroke_and_leaks_what_it_says() -> None:
    timeline = [{"at": 5.0, "isolation": "shut"}]
    history = simulate(behind(DRIVE, timeline, isolation_damper=ISOLATION), "it")
    position = history.trace("shutter_position", "isolation damper")
    moving = history.time[(position > 0.0) & (position < 1.0)]
    assert moving[-1] - moving[0] == pytest.approx(10.0, abs=2.0 * history.facts.record_s)
    behind_fan = 98600.0 + last(history, "fan_pressure")
    across = behind_fan - last(history, "node_pressure")
    expected = leaked(0.005, 0.2, across, density=behind_fan / (287.05 * 303.15))
    mass = last(history, "mass_flow")
    assert mass / (behind_fan / (287.05 * 303.15)) == pytest.approx(expected, rel=2e-3)
    assert [h.what for h in history.log] == ["isolation damper driven shut"]


def test_an_isolation_damper_wide_open_takes_its_open_loss() -> None:
    """As a duct does that takes ζ·½ρ(Q/A)² at its flow."""
    rho = 98600.0 / (287.05 * 303.15)
    taken = 0.2 * 0.5 * rho * (40.0 / 4.0) ** 2
    damped = simulate(behind(DRIVE, [], 1.0, isolation_damper=ISOLATION), "it")
    duct = {"length": 20.0, "area": 4.0, "resistance": {"flow": 40.0, "pressure": taken}}
    ducted = simulate(behind(DRIVE, [], 1.0, discharge=duct), "it")
    assert last(damped, "speed_ratio") == pytest.approx(last(ducted, "speed_ratio"), rel=1e-9)


def test_a_stuck_isolation_damper_stays_half_way() -> None:
    timeline = [{"at": 5.0, "isolation": "shut"},
                {"at": 8.0, "fault": {"of": "isolation damper", "state": "stuck"}},
                {"at": 30.0, "fault": {"of": "isolation damper", "state": "well"}}]
    history = simulate(behind(DRIVE, timeline, isolation_damper=ISOLATION), "it")
    at = dict(zip(np.round(history.time, 6), history.trace("shutter_position"), strict=True))
    assert at[29.0] == pytest.approx(0.7, abs=1e-9)
    assert at[45.0] == 0.0
    assert [h.what for h in history.log] == [
        "isolation damper driven shut", "isolation damper: stuck", "isolation damper: well"]


# Check damper ---------------------------------------------------------------------------------


def test_a_shut_check_damper_lets_no_more_back_than_its_leakage() -> None:
    """The motor trips, the process pushes back."""
    history = simulate(behind(LINE, [{"at": 5.0, "motor": "trip"}], 90.0, check_damper=CHECK),
                       "it")
    flow, shut = history.trace("fan_flow"), history.trace("shutter_position") == 0.0
    assert shut[-1]
    assert flow[shut].min() >= -1.005 * leaked(0.01, 1.0, FIXED)
    assert last(history, "fan_flow") < -0.5 * leaked(0.01, 1.0, FIXED)


def test_a_check_damper_shuts_in_its_stroke_once_the_flow_turns() -> None:
    history = simulate(behind(LINE, [{"at": 5.0, "motor": "trip"}], 90.0, check_damper=CHECK),
                       "it")
    position = history.trace("shutter_position")
    turned = history.time[np.argmax(history.trace("mass_flow") < 0.0)]
    shut = history.time[np.argmax(position == 0.0)]
    assert shut - turned == pytest.approx(2.0, abs=3.0 * history.facts.record_s)
    assert (position[history.time < turned] == 1.0).all()


def test_a_check_damper_opens_again_with_forward_flow() -> None:
    timeline = [{"at": 5.0, "motor": "trip"}, {"at": 60.0, "motor": "restart"}]
    history = simulate(behind(LINE, timeline, 240.0, check_damper=CHECK), "it")
    assert last(history, "shutter_position") == 1.0
    assert last(history, "fan_flow") == pytest.approx(40.0, rel=0.01)


def test_a_check_damper_that_sticks_open_lets_the_process_back() -> None:
    timeline = [{"at": 2.0, "fault": {"of": "check damper", "state": "stuck"}},
                {"at": 5.0, "motor": "trip"}]
    stuck = simulate(behind(DRIVE, timeline, 90.0, check_damper=CHECK), "it")
    sound = simulate(behind(DRIVE, timeline[1:], 90.0, check_damper=CHECK), "it")
    assert last(stuck, "shutter_position") == 1.0
    assert last(stuck, "fan_flow") < 10.0 * last(sound, "fan_flow") < 0.0


def test_a_small_draught_through_a_shut_check_damper_opens_it() -> None:
    """Another fan draws: the far end lies below the air."""
    history = simulate(behind(LINE, [], run=STANDSTILL, fixed=-100.0, check_damper=CHECK), "it")
    assert history.trace("shutter_position")[0] == 0.0
    assert last(history, "shutter_position") == 1.0


# A wheel that the air turns -------------------------------------------------------------------


def windmilling(fixed: float, **more: Any) -> History:
    """A standing fan, damper wide open, before a process that draws or pushes."""
    timeline = [{"at": 1.0, "manual_output": 1.0}]
    return simulate(behind(LINE, timeline, 1200.0, run=STANDSTILL, fixed=fixed, **more), "it")


def test_a_draught_turns_the_wheel_forwards_until_its_torque_is_none() -> None:
    history = windmilling(-400.0)
    n, flow = last(history, "speed_ratio"), last(history, "fan_flow")
    a, b, c = assemble(behind(LINE, []), "it", 0.0125, 0.25).plant.fans.runout[0, 0, 3:]
    free = np.roots([a, b, c])
    assert n > 0.02
    assert np.min(np.abs(free[free > 0.0] - n / flow)) < 0.02 * n / flow


def test_backflow_turns_the_wheel_backwards_to_where_its_torque_is_none() -> None:
    """c·Q² = g(0)·n²: as fast as the torque at shut-off brakes it."""
    history = windmilling(FIXED)
    n, flow = last(history, "speed_ratio"), last(history, "fan_flow")
    fans = assemble(behind(LINE, []), "it", 0.0125, 0.25).plant.fans
    expected = flow * np.sqrt(fans.reverse[0, 0, 5] / fans.backward[0, 0, 1])
    assert n < -0.02
    assert n == pytest.approx(expected, rel=0.02)


def test_a_check_damper_keeps_the_wheel_from_turning_backwards() -> None:
    free, kept = windmilling(FIXED), windmilling(FIXED, check_damper=CHECK)
    assert 0.0 >= last(kept, "speed_ratio") > 0.05 * last(free, "speed_ratio")


def test_pressure_and_torque_of_the_wheel_are_unbroken_through_standstill() -> None:
    bench = Bench(assemble(behind(LINE, []), "it", 0.0125, 0.25))
    bench.stand(np.array([1.0]))
    for flow in (-10.0, 10.0):
        seen = []
        for n in (-1e-7, 0.0, 1e-7):
            x = np.zeros(bench.off.end)
            x[:3] = bench.p0, flow, n
            bench.slopes(x)
            seen.append((float(bench.probe.fan.rise[0]), float(bench.probe.fan.torque[0])))
        assert seen[0] == pytest.approx(seen[1], rel=1e-5)
        assert seen[2] == pytest.approx(seen[1], rel=1e-5)


def test_a_wheel_that_is_turned_backwards_is_braked_by_its_air_and_pushes_it_outwards() -> None:
    bench = Bench(assemble(behind(LINE, []), "it", 0.0125, 0.25))
    bench.stand(np.array([1.0]))
    x = np.zeros(bench.off.end)
    x[:3] = bench.p0, 0.0, -1.0
    bench.slopes(x)
    backwards = float(bench.probe.fan.rise[0]), float(bench.probe.fan.torque[0])
    x[2] = 1.0
    bench.slopes(x)
    assert backwards[0] == pytest.approx(0.5 * float(bench.probe.fan.rise[0]), rel=1e-3)
    assert backwards[1] == pytest.approx(-float(bench.probe.fan.torque[0]), rel=1e-3)


def test_a_motor_on_the_line_takes_longer_against_a_wheel_turned_backwards() -> None:
    def took(timeline: list[dict[str, Any]], **dampers: Any) -> float:
        history = simulate(behind(LINE, timeline, 400.0, run=STANDSTILL, **dampers), "it")
        on = next(h.at_s for h in history.log if h.what.startswith("motor"))
        up = history.time[np.argmax(history.trace("speed_ratio") > 0.98)]
        return float(up) - on

    open_first = [{"at": 1.0, "manual_output": 1.0}, {"at": 300.0, "manual_output": 0.0},
                  {"at": 300.0, "motor": "restart"}]
    standing = [{"at": 300.0, "motor": "restart"}]
    assert took(open_first) > 1.02 * took(standing, check_damper=CHECK)


def test_the_state_of_a_turned_back_wheel_is_finite_and_its_mass_is_kept() -> None:
    for fixed in (-2000.0, 2000.0):
        history = windmilling(fixed)
        assert history.audit.stopped is None
        assert history.audit.mass_balance_residual < 1e-9
        assert abs(last(history, "speed_ratio")) < 1.5


def test_the_table_of_a_plant_without_such_dampers_has_none() -> None:
    plant = assemble(plain(), "speed", 0.0125, 0.25).plant
    assert plant.shutters.size == 0 and plant.network.push == 0.0
    assert layout.traces(plant).shutter_position.shape[1] == 0
