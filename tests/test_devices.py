"""Devices as they are: backlash, stick, failure, transmitters, modes, sequences."""

import numpy as np
import pytest

from simfan.compare import judged
from simfan.history import History
from simfan.plant.case import Case
from simfan.simulate import simulate
from tests.plants import DAMPER, plain

GAINS = {"gain": 1.5, "reset": 4.0}


def damped(device: dict | None = None, transmitter: dict | None = None,
           controller: dict | None = None, **changes: object) -> Case:
    """The damper at the fan with a device, a transmitter and a controller of one's choice."""
    return plain(**{
        "strategies": {"it": {"outlet_damper": {**DAMPER, "place": "before volume",
                                                **(device or {})},
                              "controller": controller or GAINS}},
        "control": {"scan": 0.25, "transmitter": transmitter or {}},
        "run": {"duration": 200.0, "starts_at": 40.0},
        "timeline": [{"at": 5.0, "setpoint": 36.0}]} | changes)


def late_swing(history: History) -> float:
    flow = history.trace("fan_flow")
    return float(np.ptp(flow[3 * flow.size // 4:]))


def test_a_resolution_limit_cycles_and_a_dead_band_alone_does_not() -> None:
    """McMillan (2012): a resolution limit limit-cycles a self-regulating PI loop, backlash alone
    does not."""
    stuck = late_swing(simulate(damped({"resolution": 0.01}), "it"))
    loose = late_swing(simulate(damped({"backlash": 0.01}), "it"))
    free = late_swing(simulate(damped(), "it"))
    assert stuck > 0.1
    assert loose < 0.1 * stuck
    assert free < 0.01


def test_backlash_holds_the_element_until_the_gap_is_crossed() -> None:
    history = simulate(damped({"backlash": 0.04, "lag": 0.0}, timeline=[
        {"at": 5.0, "manual_output": 0.5}, {"at": 30.0, "manual_output": 0.6},
        {"at": 60.0, "manual_output": 0.57}, {"at": 90.0, "manual_output": 0.5}]), "it")
    at = {t: float(history.trace("element_position")[round(t / history.facts.record_s)])
          for t in (55.0, 85.0, 115.0)}
    assert at[55.0] == pytest.approx(0.58, abs=1e-6)  # half the gap short
    assert at[85.0] == pytest.approx(0.58, abs=1e-6)  # .03 back: within the gap
    assert at[115.0] == pytest.approx(0.52, abs=1e-6)


@pytest.mark.parametrize(("fails", "end"), [("open", 1.0), ("shut", 0.0)])
def test_lost_air_drives_the_element_to_its_fail_position(fails: str, end: float) -> None:
    case = damped({"fails": fails}, timeline=[{"at": 10.0, "instrument_air": "lost"}])
    history = simulate(case, "it")
    assert history.trace("element_position")[-1] == pytest.approx(end, abs=1e-6)
    assert [h.what for h in history.log] == ["instrument air lost"]


def test_without_air_a_locked_element_stays() -> None:
    case = damped({"fails": "stays"}, timeline=[{"at": 10.0, "instrument_air": "lost"},
                                                {"at": 20.0, "setpoint": 30.0}])
    position = simulate(case, "it").trace("element_position")
    assert np.ptp(position) < 1e-6


def test_a_linkage_bends_the_opening() -> None:
    bent = {"linkage": {"position": [0.0, 0.5, 1.0], "opening": [0.0, 0.3, 1.0]}}
    straight, through = (simulate(damped(d), "it").trace("element_position")[0]
                         for d in (None, bent))
    assert np.interp(through, [0.0, 0.5, 1.0], [0.0, 0.3, 1.0]) == pytest.approx(
        straight, abs=1e-6)


def test_manual_and_back_moves_nothing() -> None:
    case = damped(timeline=[{"at": 50.0, "manual_output": 0.5}, {"at": 150.0, "automatic": True}],
                  controller={**GAINS, "setpoint_weight": 0.5, "derivative": 1.0})
    history = simulate(case, "it")
    output = history.trace("controller_output")
    k = round(150.0 / history.facts.record_s)
    assert output[k - 1] == pytest.approx(0.5, abs=1e-12)
    per_scan = GAINS["gain"] * 0.25 / GAINS["reset"] * 0.5  # what a half-span error may add
    assert abs(output[k] - 0.5) < per_scan


def test_output_limits_and_rate_are_kept() -> None:
    case = damped(controller={**GAINS, "output_low": 0.3, "output_high": 0.55,
                              "full_travel": 50.0}, timeline=[{"at": 5.0, "setpoint": 20.0}])
    history = simulate(case, "it")
    output = history.trace("controller_output")
    assert output.min() >= 0.3 and output.max() <= 0.55
    per_record = history.facts.record_s / 50.0
    assert np.abs(np.diff(output)).max() <= max(per_record, 0.25 / 50.0) + 1e-12


@pytest.mark.parametrize(("share", "flow"), [(0.01, 0.10), (0.04, 0.20), (0.0625, 0.25),
                                             (0.25, 0.50)])
def test_a_root_is_taken_of_the_differential_pressure(share: float, flow: float) -> None:
    """1 % of the differential pressure is 10 % of flow, 4 % 20, 6.25 % 25, 25 % 50: handbook
    values of square-root extraction."""
    from simfan.kernel.devices import extracted, raw
    x = raw.py_func(flow, 1, 0.0, 0.0) if hasattr(raw, "py_func") else raw(flow, 1, 0.0, 0.0)
    take = getattr(extracted, "py_func", extracted)
    assert x == pytest.approx(share, rel=1e-12)
    assert take(x, 1, 0.0) == pytest.approx(flow, rel=1e-12)
    assert take(x, 1, flow + 1e-6) == 0.0


def test_noise_is_the_same_for_the_same_seed_and_another_for_another() -> None:
    def reading(seed: int) -> np.ndarray:
        case = damped(transmitter={"noise": 0.01},
                      run={"duration": 40.0, "starts_at": 40.0, "seed": seed})
        return simulate(case, "it").trace("measured_value")
    assert np.array_equal(reading(1), reading(1))
    assert not np.array_equal(reading(1), reading(2))
    span = 1.2 * 75.0
    assert np.std(reading(1) - 40.0) > 0.3 * 0.01 * span


def test_cold_air_misleads_an_uncompensated_reading() -> None:
    """A differential pressure shows ρQ²: the reading of a volume flow moves with √ρ. [calc]"""
    case = damped(transmitter={"density_compensated": False},
                  timeline=[{"at": 5.0, "ambient_temperature": 263.15}],
                  controller={"gain": 1e-6, "reset": 1e4})
    history = simulate(case, "it")
    ratio = history.trace("measured_value")[-1] / history.trace("true_value")[-1]
    assert ratio == pytest.approx(np.sqrt(303.15 / 263.15), rel=1e-3)


def test_mass_flow_is_held_as_mass() -> None:
    case = damped(control={"scan": 0.25, "flow_basis": "mass"},
                  run={"duration": 120.0, "starts_at": 45.0}, timeline=[
                      {"at": 5.0, "over": 20.0, "ambient_temperature": 273.15}])
    history = simulate(case, "it")
    assert history.trace("mass_flow", "fan")[-1] == pytest.approx(45.0, rel=2e-3)
    assert history.trace("fan_flow")[-1] < history.trace("fan_flow")[0]


VANES_AND_SPEED = {"inlet_vanes": {"stroke_time": 10.0},
                   "speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.4},
                   "controller": GAINS}


@pytest.mark.parametrize(("order", "first"), [("vanes first", "inlet vanes"),
                                              ("speed first", "speed")])
def test_the_sequence_says_which_falls_first(order: str, first: str) -> None:
    case = plain(strategies={"both": {**VANES_AND_SPEED, "sequence": {"order": order}}},
                 timeline=[{"at": 5.0, "manual_output": 1.0}, {"at": 40.0, "manual_output": 0.6}],
                 run={"duration": 120.0, "starts_at": 40.0})
    history = simulate(case, "both")
    other = "speed" if first == "inlet vanes" else "inlet vanes"
    assert history.trace("element_position", other)[-1] == pytest.approx(1.0, abs=1e-6)
    assert history.trace("element_position", first)[-1] < 0.7


def test_a_furnace_holds_its_draft() -> None:
    """An induced draft fan: more opening, less pressure; the loop acts directly."""
    case = plain(
        ductwork={"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0,
                  "volume_side": "inlet", "volume_temperature": 420.0,
                  "inlet": {"length": 20.0, "area": 4.0,
                            "resistance": {"flow": 45.0, "pressure": 1500.0}}},
        process={"fixed_pressure": 800.0, "design": {"flow": 45.0, "pressure": -50.0}},
        control={"scan": 0.25, "holds": "pressure", "measured_at": "volume",
                 "span": {"low": -500.0, "high": 500.0}},
        strategies={"vanes": {"inlet_vanes": {"stroke_time": 10.0},
                              "controller": {"gain": 0.3, "reset": 5.0}}},
        run={"duration": 120.0, "starts_at": -50.0},
        timeline=[{"at": 10.0, "setpoint": -100.0}])
    history = simulate(case, "vanes")
    assert history.facts.tuning["action"] == "direct"
    assert history.trace("true_value")[0] == pytest.approx(-50.0, abs=0.01)
    assert history.trace("true_value")[-1] == pytest.approx(-100.0, abs=1.0)
    position = history.trace("element_position")
    assert position[-1] > position[0]


@pytest.mark.parametrize(("criterion", "limit", "missed"), [
    ("highest_pressure", 2900.0, False), ("highest_pressure", 2500.0, True),
    ("lowest_pressure", 1000.0, False), ("lowest_pressure", 2500.0, True)])
def test_a_pressure_beyond_its_limit_is_a_miss(criterion: str, limit: float, missed: bool) -> None:
    """The process stands at 400 + 3100·(40/45)² = 2849 Pa, then at 400 + 3100·(36/45)² = 2384."""
    case = damped(criteria={criterion: limit})
    result = judged(simulate(case, "it"), case.criteria)
    assert (criterion in {m.criterion for m in result.misses}) is missed


def test_a_ramp_of_gas_temperature_pushes_steadily_and_books_its_mass() -> None:
    """dp = (p/T)·dT: the gas that a warming volume drives out is spread over the ramp, no saw teeth
    at the scans."""
    case = damped(run={"duration": 60.0, "starts_at": 40.0},
                  controller={"gain": 1e-6, "reset": 1e4},
                  timeline=[{"at": 10.0, "over": 40.0, "gas_temperature": 403.15}])
    history = simulate(case, "it")
    during = (history.time > 20.0) & (history.time < 49.0)
    pressure = history.trace("node_pressure", "volume")[during]
    steps = np.diff(pressure)
    assert np.abs(steps - steps.mean()).max() < 2.0  # a jump a scan would be some 150 Pa
    assert history.audit.mass_balance_residual < 1e-9
