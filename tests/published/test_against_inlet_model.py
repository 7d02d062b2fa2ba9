"""The default model of vanes and box damper against what was worked out from its formulas.

Euler's pre-swirl and a loss on the contracted area: values calculated beforehand from the printed
formulas for the invented fan B (analytic curve); laws by similarity.
"""

import numpy as np
import pytest

from simfan.assemble import assemble
from simfan.kernel import entry
from simfan.simulate import simulate
from simfan.steady.bench import Bench
from tests.plants import GAINS, fan, plain
from tests.published.record import checked

VANES = {"inlet_vanes": {"stroke_time": 10.0}, "controller": GAINS}
BOX = {"inlet_box_damper": {"stroke_time": 10.0}, "controller": GAINS}


def vanes(**changes: object) -> Bench:
    designed = fan("B") | {"design_flow": 50.0}  # the flow that the printed values scale by
    case = plain(strategies={"vanes": VANES}, fan=designed, **changes)
    return Bench(assemble(case, "vanes", 0.025, 0.025))


def stall(bench: Bench, closed_degrees: float) -> float:
    return float(entry.stall_flow(bench.plant, 0, 1.0, 1.0 - closed_degrees / 90.0))


def test_the_wheel_keeps_its_peak_until_the_vanes_are_65_degrees_closed() -> None:
    bench = vanes()
    assert stall(bench, 60.0) == checked(
        19.9, "stall flow at 60° [m³/s]", abs=0.15)  # from points, not the formula
    assert np.isfinite(stall(bench, 64.0))
    assert np.isnan(stall(bench, 68.0))


def test_the_stall_line_moves_left_as_the_vanes_close() -> None:
    bench = vanes()
    line = [stall(bench, angle) for angle in (0.0, 20.0, 40.0, 60.0)]
    assert line == sorted(line, reverse=True)
    assert line[0] == checked(29.2, "stall flow, open [m³/s]", abs=0.1)


@pytest.mark.parametrize("closed", [50.0, 60.0, 70.0])
def test_with_its_loss_the_branch_falls_everywhere_from_50_degrees(closed: float) -> None:
    bench = vanes()
    bench.stand(np.array([1.0 - closed / 90.0]))
    x = np.zeros(bench.off.end)
    rise = []
    for m in np.linspace(1.0, 55.0, 109):
        x[:3] = bench.p0, m, 1.0
        rise.append(bench.slopes(x)[1] * bench.coef.inertance[0])
    assert np.all(np.diff(rise) < 0.0)


def test_vanes_half_closed_do_not_surge_where_the_damper_does() -> None:
    low = plain(strategies={"vanes": VANES}, run={"duration": 60.0, "starts_at": 18.0},
                timeline=[])
    flow = simulate(low, "vanes").trace("fan_flow")
    assert np.ptp(flow[flow.size // 2:]) < 0.05


@pytest.mark.parametrize("strategy", [VANES, BOX])
@pytest.mark.parametrize("opening", [1.0, 0.7, 0.4, 0.15])
def test_the_fan_laws_hold_at_any_setting(strategy: dict, opening: float) -> None:
    """Δp(Q) scales with n², Q with n, torque with n²: [calc], to 1e-9.

    At a barometer so high, density kept, that the element's loss does not thin the air; each
    pressure taken by itself, since a difference of such barometers has no digits left.
    """
    case = plain(strategies={"any": strategy}, air={"temperature": 293.15, "barometer": 120e3})
    bench = Bench(assemble(case, "any", 0.025, 0.025))
    plant = bench.plant
    bench.plant = plant._replace(gas=plant.gas._replace(R=plant.gas.R * 1e9))
    bench.cond.pressure[:] *= 1e9
    bench.p0 *= 1e9
    bench.stand(np.array([opening]))
    found = []
    for n in (1.0, 0.6):
        x = np.zeros(bench.off.end)
        x[:3] = bench.p0, 30.0 * n, n
        bench.slopes(x)
        loss = float(bench.probe.drop[plant.inlets.element[0]])
        wheel = bench.probe.fan[0]
        found.append((wheel.rise / n**2, loss / n**2, wheel.torque / n**2))
    assert found[0][1] > 0.0 or opening == 1.0
    assert found[0] == checked(found[1], "rise, loss, torque over n²", rel=1e-9, abs=1e-9)


def test_vanes_shut_still_bleed_some_air() -> None:
    # common practice, no source
    case = plain(strategies={"vanes": VANES}, run={"duration": 60.0, "starts_at": 45.0},
                 timeline=[{"at": 1.0, "manual_output": 0.0}])
    flow = simulate(case, "vanes").trace("fan_flow")[-1]
    assert 0.5 < flow < 10.0


@pytest.mark.parametrize("share", [0.5, 0.7, 0.9])
def test_the_order_of_power_is_damper_box_vanes_speed(share: float) -> None:
    """Part-load tables of US state technical reference manuals, from memory: at equal flow the
    outlet damper takes most, then the inlet box damper, the vanes, and the speed least."""
    strategies = {
        "damper": {"outlet_damper": {"blades": "opposed", "area": 4.0, "stroke_time": 12.0,
                                     "place": "before volume"}, "controller": GAINS},
        "box": BOX, "vanes": VANES,
        "speed": {"speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.2},
                  "controller": GAINS}}
    case = plain(strategies=strategies, run={"duration": 4.0, "starts_at": 45.0 * share},
                 process={"design": {"flow": 45.0, "pressure": 3500.0}}, timeline=[])
    power = [simulate(case, name).trace("shaft_power")[0] for name in strategies]
    assert power == sorted(power, reverse=True)
