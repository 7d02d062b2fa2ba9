"""Loss of louvre dampers against opening.

ASHRAE 825-RP (Haves, Norford, DeSimone & Mei 1998) with Legg's constants, read as quoted by others:
ζ = exp(a + b(1 − y)) in the middle, quadratics of ln ζ outside. Table calculated from that formula
beforehand with another program, shut 1e6 and open .45.
"""

import numpy as np
import pytest

from simfan.assemble import assemble
from simfan.steady.bench import Bench
from tests.plants import DAMPER, GAINS, plain
from tests.published.record import checked

OPENINGS = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]
EXPECTED = {
    "opposed": [2793.6, 424.11, 164.84, 64.072, 24.903, 9.6794, 3.9047, 1.7295, 0.84167, 0.45],
    "parallel": [699.11, 94.86, 44.46, 20.838, 9.7669, 4.5777, 2.1456, 1.0633, 0.6308, 0.45],
}


class Damper:
    """The outlet damper of the assembled plain case."""

    def __init__(self, blades: str, area: float = 3.0, shut: float = 1e6) -> None:
        damper = {**DAMPER, "blades": blades, "place": "before volume", "area": area,
                  "shut_loss": shut, "open_loss": 0.45}
        case = plain(strategies={"damper": {"outlet_damper": damper, "controller": GAINS}})
        self.bench = Bench(assemble(case, "damper", 0.025, 0.25))
        self.element = int(self.bench.plant.dampers.each.element[0])
        self.area = area

    def loss(self, opening: float) -> float:
        """ζ: the pressure it takes [Pa] over ½ρ(Q/A)², from the flow through the fan's branch."""
        bench = self.bench
        bench.stand(np.array([opening]))
        x = np.zeros(bench.off.end)
        flow = 1e-3  # [kg/s], small: the wheel must not change the density at the damper
        x[:3] = bench.p0, flow, 0.0
        bench.slopes(x)
        velocity_pressure = 0.5 * (flow / self.area) ** 2 / float(bench.probe.fan.density[0])
        return float(bench.probe.drop[self.element]) / velocity_pressure


@pytest.mark.parametrize("blades", EXPECTED)
def test_loss_table(blades: str) -> None:
    damper = Damper(blades)
    assert [damper.loss(y) for y in OPENINGS] == checked(EXPECTED[blades], "ζ", rel=1e-3)


@pytest.mark.parametrize("blades", EXPECTED)
def test_the_ends_are_those_given(blades: str) -> None:
    """Also for an unsealed industrial damper, 1e4 (from memory)."""
    for shut in (1e6, 1e4):
        damper = Damper(blades, shut=shut)
        assert damper.loss(0.0) == checked(shut, "ζ shut", rel=1e-9)
        assert damper.loss(1.0) == checked(0.45, "ζ open", rel=1e-9)


@pytest.mark.parametrize(("blades", "knots"), [("opposed", (15 / 90, 55 / 90)),
                                               ("parallel", (15 / 90, 65 / 90))])
@pytest.mark.parametrize("shut", [3e3, 1e4, 1e6])
def test_loss_is_continuous_in_value_and_slope(blades: str, knots: tuple[float, float],
                                               shut: float) -> None:
    """Two-sided differences of ln ζ at each knot; a jump of the slope would not shrink with d."""
    damper = Damper(blades, shut=shut)
    d = 1e-5
    for y in knots:
        left, here, right = (np.log(damper.loss(y + k * d)) for k in (-1, 0, 1))
        assert right - here == checked(here - left, "step of ln ζ", abs=1e-6)


@pytest.mark.parametrize("blades", EXPECTED)
@pytest.mark.parametrize("shut", [3e3, 1e4, 1e6])
def test_opening_never_raises_the_loss(blades: str, shut: float) -> None:
    damper = Damper(blades, shut=shut)
    losses = [damper.loss(y) for y in np.linspace(0.0, 1.0, 401)]
    assert all(np.diff(losses) < 0.0)


def test_a_tight_damper_leaks_as_its_class_allows() -> None:
    """Low-leak class, published: 4 cfm/ft² at 1 in. w.g. is .0203 m/s at 249 Pa, ζ = 1.0e6."""
    leak = 4.0 * 0.3048 / 60.0
    assert leak == checked(0.0203, "leak [m/s]", abs=5e-5)
    shut_loss = Damper("opposed").loss(0.0)
    assert shut_loss * 0.5 * 1.2 * leak**2 == checked(249.0, "pressure [Pa]", rel=0.01)
