"""The same outlet damper at the same steady point, before and after a large volume.

Before the volume the damper's loss belongs to the fan's branch: its slope is F′ − 2Δp/Q, and where
that is negative the point is steady at any volume. After it the fan's own slope F′ is bare, and a
large volume surges (Greitzer 1976: dynamically stable while F′S′ < (ρc)²L/(AV)).
"""

import numpy as np
import pytest

from simfan.assemble import assemble
from simfan.history import History
from simfan.plant.case import Case
from simfan.simulate import simulate
from simfan.steady.balance import Rest, hold
from simfan.steady.bench import Bench
from tests.plants import plain
from tests.published.record import checked

WANTED = 18.0
DENSITY = 98600.0 / (287.05 * 303.15)
VOLUMES = [6.0, 60.0, 600.0, 6000.0]
SLACK = {"gain": 0.001, "reset": 3600.0}
"""A controller that leaves the plant to itself."""


def case(volume: float = 600.0, **changes: object) -> Case:
    ductwork = {"discharge": {"length": 20.0, "area": 4.0}, "volume": volume}
    return plain(ductwork=ductwork, control={"scan": 0.25, "controller": SLACK}, **changes)


def rest(place: str, volume: float = 600.0) -> tuple[Bench, Rest, np.ndarray]:
    """The point where the flow is as wanted, and the slopes of pressure and flow around it."""
    assembled = assemble(case(volume), place, 0.025, 0.25)
    found = hold(assembled, WANTED)
    bench = Bench(assembled)
    bench.stand(found.outputs)
    return bench, found, bench.jacobian(found.x)[:2, :2]


def fan_slope(bench: Bench, found: Rest) -> float:
    """F′ of the wheel alone at the point [Pa s/m³], from its rises on either side."""
    rises = []
    for side in (0.999, 1.001):
        x = found.x.copy()
        x[1] *= side
        bench.slopes(x)
        rises.append((bench.probe.fan.flow[0], bench.probe.fan.rise[0]))
    (q0, p0), (q1, p1) = rises
    return float((p1 - p0) / (q1 - q0))


def damper_drop(bench: Bench, found: Rest) -> float:
    """What the damper takes: the wheel's rise less what the process takes [Pa]."""
    bench.slopes(found.x)
    own = 400.0 + 3100.0 * (WANTED / 45.0) ** 2
    return float(bench.probe.fan.rise[0]) - own


def test_the_steady_point_is_the_same() -> None:
    (left, before, _), (right, after, _) = rest("before"), rest("after")
    assert before.held == checked(WANTED, "flow before [m³/s]", abs=1e-9)
    assert after.held == checked(WANTED, "flow after [m³/s]", abs=1e-9)
    left.slopes(before.x)
    right.slopes(after.x)
    assert left.probe.fan.rise[0] == checked(
        right.probe.fan.rise[0], "pressure rise [Pa]", rel=1e-9)
    assert left.probe.fan.rise[0] > 4000.0


def test_the_branch_slope_is_the_fans_less_twice_the_dampers_drop_over_the_flow() -> None:
    for place, with_damper in (("before", 1.0), ("after", 0.0)):
        bench, found, matrix = rest(place)
        slope = matrix[1, 1] * bench.plant.network.inertance[0] * DENSITY
        expected = fan_slope(bench, found)
        expected -= with_damper * 2.0 * damper_drop(bench, found) / WANTED
        # the damper sees air denser by the rise, 4 % of p; the incompressible formula does not
        assert slope == checked(expected, "slope [Pa s/m³]", rel=0.02)
        assert bool(slope < 0.0) is (place == "before")


@pytest.mark.parametrize("volume", VOLUMES)
def test_before_the_volume_it_is_steady_at_any_volume(volume: float) -> None:
    assert np.linalg.eigvals(rest("before", volume)[2]).real.max() < 0.0


@pytest.mark.parametrize(("volume", "grows"), [(6.0, False), (60.0, True), (600.0, True),
                                                (6000.0, True)])
def test_after_the_volume_it_is_steady_at_a_small_one_only(volume: float, grows: bool) -> None:
    assert bool(np.linalg.eigvals(rest("after", volume)[2]).real.max() > 0.0) is grows


@pytest.fixture(scope="module")
def runs() -> dict[str, History]:
    """Both places through a brief puff of back pressure, the controller asleep."""
    puff = [{"at": 5.0, "fixed_pressure": 450.0}, {"at": 7.0, "fixed_pressure": 400.0}]
    short = case(run={"duration": 90.0, "starts_at": WANTED}, timeline=puff)
    return {place: simulate(short, place) for place in ("before", "after")}


def test_a_puff_dies_out_before_the_volume_and_ends_in_surge_after_it(
        runs: dict[str, History]) -> None:
    late = {place: h.trace("fan_flow")[h.time > 60.0] for place, h in runs.items()}
    assert np.ptp(runs["before"].trace("fan_flow")) > 0.05
    assert np.ptp(late["before"]) < 0.02
    assert np.ptp(late["after"]) > 40.0
    assert late["after"].min() < 0.0
