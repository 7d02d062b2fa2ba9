"""A measured family of vane curves, overspeed with vanes, and pressure held in three places."""

import numpy as np
import pytest

from simfan import api
from simfan.assemble import assemble
from simfan.compare import judged, weighed
from simfan.metrics import assumed_part_s
from simfan.simulate import simulate
from simfan.steady.bench import Bench
from tests.plants import DAMPER, GAINS, fan, plain


def measured() -> dict:
    """Three curves: the fan's own when open, less pressure, flow and power as the vanes close."""
    own = fan("B")
    rows = []
    for opening, flow, pressure, power in ((0.0, 0.15, 0.60, 0.5), (0.5, 0.6, 0.80, 0.75),
                                           (1.0, 1.0, 1.0, 1.0)):
        rows.append({"opening": opening, "flow": [flow * q for q in own["flow"]],
                     "static_pressure": [pressure * p for p in own["static_pressure"]],
                     "shaft_power": [power * p for p in own["shaft_power"]]})
    return {"inlet_vanes": {"stroke_time": 10.0, "family": rows}, "controller": GAINS}


def rise_and_torque(opening: float, flow: float) -> tuple[float, float]:
    bench = Bench(assemble(plain(strategies={"it": measured()}), "it", 0.025, 0.25))
    bench.stand(np.array([opening]))
    x = np.zeros(bench.off.end)
    density = 98600.0 / (287.05 * 303.15)
    x[:3] = bench.p0, flow * density, 1.0
    bench.slopes(x)
    ratio = density / 1.2
    return (float(bench.probe.fan.rise[0]) / ratio, float(bench.probe.fan.torque[0]) / ratio)


@pytest.mark.parametrize(("opening", "share", "pressure", "power"), [
    (1.0, 1.0, 1.0, 1.0), (0.5, 0.6, 0.80, 0.75), (0.0, 0.15, 0.60, 0.5)])
def test_the_family_gives_back_its_curves(opening: float, share: float, pressure: float,
                                          power: float) -> None:
    own = fan("B")
    speed = own["rated"]["speed"]
    rise, torque = rise_and_torque(opening, share * 40.0)
    assert rise == pytest.approx(pressure * 4642.0, rel=2e-3)
    assert torque * speed == pytest.approx(power * 220.5e3, rel=2e-3)


def test_between_the_curves_it_goes_smoothly_and_one_way() -> None:
    rises = np.array([rise_and_torque(y, 15.0)[0] for y in np.linspace(0.3, 1.0, 15)])
    assert np.all(np.diff(rises) > 0.0)


def test_a_family_runs_and_bleeds_at_shut() -> None:
    case = plain(strategies={"it": measured()}, run={"duration": 60.0, "starts_at": 40.0},
                 timeline=[{"at": 1.0, "manual_output": 0.0}])
    flow = simulate(case, "it").trace("fan_flow")[-1]
    assert 1.0 < flow < 12.0


def test_above_base_speed_the_vanes_hold_the_motor_load() -> None:
    small = {"rating": 250e3, "poles": 6, "slip": 0.01}
    sequence = {"output": [0.0, 0.9, 1.0], "inlet_vanes": [0.2, 1.0, 0.4],
                "speed": [0.4, 1.0, 1.1]}
    both = {"inlet_vanes": {"stroke_time": 10.0}, "controller": GAINS, "sequence": sequence,
            "speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.4, "maximum": 1.15}}
    free = {**both, "sequence": sequence | {"inlet_vanes": [0.2, 1.0, 1.0]}}
    case = plain(strategies={"held": both, "free": free}, motor=small,
                 air={"temperature": 273.15, "barometer": 101325.0},
                 run={"duration": 120.0, "starts_at": 40.0},
                 timeline=[{"at": 1.0, "manual_output": 1.0}])
    held, free_run = simulate(case, "held"), simulate(case, "free")
    assert held.trace("speed_ratio")[-1] > 1.05
    assert held.trace("motor_load")[-1] < 1.0 < free_run.trace("motor_load")[-1]


def push_and_power(n: float, opening: float, flow: float) -> tuple[float, float]:
    """Pressure [Pa] the fan's branch gives to the volume and shaft power [W], duct without loss."""
    vanes = {"inlet_vanes": {"stroke_time": 10.0}, "controller": GAINS}
    case = plain(strategies={"it": vanes}, air={"temperature": 293.15, "barometer": 101325.0})
    bench = Bench(assemble(case, "it", 0.025, 0.25))
    bench.stand(np.array([opening]))
    x = np.zeros(bench.off.end)
    x[:3] = bench.p0, 1.204 * flow, n
    push = float(bench.slopes(x)[1] * bench.coef.inertance[0])
    return push, float(bench.probe.fan.torque[0]) * n * case.fan.rated.speed


def test_overspeed_with_vanes_gives_more_pressure_at_the_same_flow_and_motor() -> None:
    """Against rated speed and open vanes, within the same motor rating: common practice, no
    source."""
    rating, flow = 315e3, 60.0
    open_push, open_power = push_and_power(1.0, 1.0, flow)
    assert open_power < rating < push_and_power(1.1, 1.0, flow)[1]  # the vanes are needed
    within = [push for push, power in (push_and_power(1.1, y, flow)
                                       for y in np.linspace(0.5, 1.0, 51)) if power <= rating]
    assert max(within) > 1.1 * open_push


@pytest.mark.parametrize(("place", "damper", "action"), [
    ("fan", "after volume", "direct"), ("volume", "after volume", "direct"),
    ("volume", "before volume", "reverse"), ("process", "after volume", "reverse")])
def test_pressure_is_held_where_it_is_measured(place: str, damper: str, action: str) -> None:
    wanted = {"fan": 4400.0, "volume": 4400.0 if damper == "after volume" else 2800.0,
              "process": 2500.0}[place]
    case = plain(
        control={"scan": 0.25, "holds": "pressure", "measured_at": place, "span": 6000.0},
        strategies={"it": {"outlet_damper": {**DAMPER, "place": damper},
                           "controller": {"gain": 0.5, "reset": 5.0}}},
        run={"duration": 150.0, "starts_at": wanted},
        timeline=[{"at": 5.0, "setpoint": wanted + 100.0}])
    history = simulate(case, "it")
    assert history.facts.tuning["action"] == action
    assert history.trace("true_value")[0] == pytest.approx(wanted, abs=0.1)
    assert history.trace("true_value")[-1] == pytest.approx(wanted + 100.0, abs=5.0)


def test_a_verdict_that_turns_with_the_assumption_is_not_decidable() -> None:
    case = plain(run={"duration": 20.0, "starts_at": 40.0}, timeline=[])
    calm = judged(simulate(case, "before"), case.criteria)
    strict = case.criteria.model_copy(update={"motor_load": 0.1})
    bad = judged(calm.history, strict)
    assert weighed(calm, {"low": calm, "high": calm}).decidable
    turned = weighed(calm, {"low": calm, "high": bad})
    assert not turned.decidable and not turned.meets_criteria
    assert turned.verdict.startswith("not decidable from the points given")
    assert "ask the maker" in turned.verdict


def test_a_clogging_inlet_filter_and_a_falling_barometer_thin_the_air() -> None:
    duct = {"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0,
            "inlet_filter": {"flow": 45.0, "pressure": 300.0}}
    for event in ({"inlet_resistance": 4.0}, {"barometer": 94000.0}):
        case = plain(ductwork=duct, timeline=[{"at": 5.0, "over": 20.0, **event}],
                     run={"duration": 90.0, "starts_at": 40.0})
        density = simulate(case, "before").trace("fan_density")
        assert density[-1] < 0.995 * density[0]


def beyond(assumption: str, flow: float) -> float:
    """Pressure of fan B's wheel at rated speed and density, as the kernel's table has it [Pa]."""
    case = plain(fan=fan("B"))
    fans = assemble(case, next(iter(case.strategies)), 0.025, 0.25, assumption).plant.fans
    a, b, c = fans.runout[0, 0, :3]
    return float(a + b * flow + c * flow * flow)


def test_beyond_the_last_point_low_falls_harder_than_high_and_all_leave_it_alike() -> None:
    last = fan("B")["flow"][-1]
    low, nominal, high = (beyond(a, 1.2 * last) for a in ("low", "nominal", "high"))
    assert low < nominal < high
    assert beyond("low", last) == pytest.approx(beyond("high", last), abs=1e-6)
    slopes = [(beyond(a, last + 1e-4) - beyond(a, last)) / 1e-4 for a in ("low", "high")]
    assert slopes[0] == pytest.approx(slopes[1], abs=0.01)


def test_a_run_beyond_the_last_point_rests_on_the_assumption() -> None:
    """Fan B with hardly any resistance runs out to where its curve was never measured."""
    case = plain(fan=fan("B"), process={"design": {"flow": 80.0, "pressure": 100.0}},
                 run={"duration": 5.0, "starts_at": 76.0}, timeline=[])
    low, high = (simulate(case, "before", assumption=a) for a in ("low", "high"))
    assert all(assumed_part_s(history) > 4.0 for history in (low, high))
    outputs = [float(history.trace("controller_output")[-1]) for history in (low, high)]
    assert 1.0 > outputs[0] > outputs[1]  # less pressure there: the damper opens more


def test_a_run_that_rests_on_the_run_out_is_repeated_low_and_high() -> None:
    """And one within the points is not."""
    case = plain(fan=fan("B"), process={"design": {"flow": 80.0, "pressure": 100.0}},
                 run={"duration": 5.0, "starts_at": 76.0}, timeline=[])
    (beyond_points,) = api.compare(case, ["before"]).strategies
    assert set(beyond_points.otherwise) == {"low", "high"}
    assert any(f"beyond {fan('B')['flow'][-1]:g} m3/s" in line
               for line in beyond_points.history.facts.assumed)
    inside = case.model_copy(update={
        "run": case.run.model_copy(update={"starts_at": 70.0})})
    (within,) = api.compare(inside, ["before"]).strategies
    assert within.assumed_part_s == 0.0 and not within.otherwise
