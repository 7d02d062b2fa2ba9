"""The plant about a point is the plant that runs, for small moves, and another library's too."""

from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import NamedTuple

import control
import numpy as np
import pytest
from scipy.signal import cont2discrete

from simfan import api
from simfan.kernel import layout
from simfan.loops.linear import Linear, linear
from simfan.loops.margins import Controller, margins
from simfan.plant.case import Case
from simfan.simulate import prepare
from simfan.steady.balance import hold, starting_state
from simfan.steady.bench import Array
from tests.plants import DAMPER, begin, plain, run_from

SCENARIOS = {path.stem: api.load(path)
             for path in sorted((Path(__file__).parents[1] / "scenarios").glob("*.toml"))}
LATE = plain(
    control={"scan": 0.25, "transmitter": {"lag": 0.6, "dead_time": 0.4}},
    strategies={"it": {"outlet_damper": {**DAMPER, "place": "before volume", "dead_time": 0.7,
                                         "lag": 1.5}, "controller": {"gain": 0.4, "reset": 8.0}}})
AT_ONCE = plain(
    control={"scan": 0.25, "transmitter": {"lag": 0.0}},
    strategies={"it": {"inlet_vanes": {"stroke_time": 10.0}, "controller": {"gain": 0.4,
                                                                          "reset": 8.0}}})
PLACES: list[tuple[Case, str, float]] = [
    *[(SCENARIOS["kiln-air"], name, held) for name, held in (
        ("damper-at-kiln", 42.0), ("damper-at-fan", 33.0), ("inlet-box-damper", 33.0),
        ("inlet-vanes", 40.0), ("variable-speed", 33.0), ("vanes-then-speed", 25.0),
        ("speed-then-vanes", 40.0), ("vanes-with-speed", 36.0))],
    (SCENARIOS["bed-air"], "inlet-vanes", 40.0), (SCENARIOS["bed-air"], "variable-speed", 40.0),
    (SCENARIOS["furnace-draft"], "inlet-vanes", -50.0), (SCENARIOS["dryer-us"], "drive", 3.5),
    (LATE, "it", 36.0), (AT_ONCE, "it", 36.0),
]
NAMES = [f"{case.title[:12]} {name}" for case, name, _ in PLACES]
SECONDS = 40.0


@cache
def about(k: int) -> Linear:
    """The plant about the k-th place."""
    case, name, held = PLACES[k]
    assembled, _ = prepare(case, name)
    return linear(assembled, hold(assembled, held))


class Answer(NamedTuple):
    """Of the running plant, at each scan."""

    value: Array
    """Reading above its start, for a unit of output, on spans."""
    lin: Linear
    """The plant about the same point."""
    step: float
    """[s]."""
    each: int
    """Steps in a scan."""


def stepped(case: Case, name: str, held: float, move: float, finer: int = 4) -> Answer:
    """In manual from a steady point, the output moved at once. A run sees an element without a lag,
    the reference of a drive, half an inner step late; here its steps are made finer."""
    case = case.model_copy(update={
        "timeline": (), "run": case.run.model_copy(update={"duration": SECONDS})})
    _, pace = prepare(case, name)
    assembled, plan, traces = begin(case, name, pace.step / finer)
    rest = hold(assembled, held)
    plan.manual[:] = rest.outputs[0] + move
    state = starting_state(assembled, rest, held)
    assert run_from(assembled, plan, traces, state) == layout.DONE
    plant = assembled.plant
    value = traces.measured_value[::plant.scan_steps, 0] / plant.transmitters[0].span / move
    return Answer(value - value[0], linear(assembled, rest), plant.step, plant.scan_steps)


def through(lin: Linear, element: int) -> tuple[Array, Array, Array, Array]:
    """(A, B, C, D) from the output through one element to the reading, without dead times."""
    n, share, lag = lin.a.shape[0], lin.share[element], lin.lag[element]
    b, d = share * lin.b[:, element], share * lin.d[element]
    if lag <= 0.0:
        return lin.a, b[:, None], lin.c[None, :], np.array([[d]])
    a = np.block([[lin.a, b[:, None]], [np.zeros((1, n)), np.array([[-1.0 / lag]])]])
    return (a, np.append(np.zeros(n), 1.0 / lag)[:, None], np.append(lin.c, d)[None, :],
            np.zeros((1, 1)))


def step_answer(lin: Linear, step: float, n: int) -> Array:
    """(n,) of the linear plant to a unit step of the output at zero, at each step."""
    total = np.zeros(n)
    for k, dead_time in enumerate(lin.dead_time):
        a, b, c, d, _ = cont2discrete(through(lin, k), step, "zoh")
        x = np.zeros((a.shape[0], 1))
        for i in range(round((dead_time + lin.reading_dead_time) / step), n):
            total[i] += (c @ x + d)[0, 0]
            x = a @ x + b
    return total


@pytest.mark.parametrize(("case", "name", "held"), PLACES, ids=NAMES)
def test_a_small_step_of_the_running_plant_is_the_linear_one(case: Case, name: str, held: float,
                                                             ) -> None:
    """Within 1 % of the whole change at every scan of 40 s. 0.2 % of output; a drive's ramp would
    take 0.08 s of the run for that, and 0.02 % is taken."""
    ramped = case.strategies[name].speed is not None
    value, lin, step, each = stepped(case, name, held, 2e-4 if ramped else 2e-3)
    expected = step_answer(lin, step, each * (value.size - 1) + 1)[::each]
    assert np.abs(expected[-1] - lin.gain) < 0.01 * abs(lin.gain)
    assert np.max(np.abs(value - expected)) < 0.01 * abs(lin.gain)


@pytest.mark.parametrize("name", ["damper-at-kiln", "inlet-vanes"])
def test_what_is_left_is_the_curve_and_shrinks_with_the_move(name: str) -> None:
    """A quarter of the move leaves a quarter of the difference: no fault of the slopes is left."""
    left = []
    for move in (4e-3, 1e-3):
        value, lin, step, each = stepped(SCENARIOS["kiln-air"], name, 40.0, move)
        expected = step_answer(lin, step, each * (value.size - 1) + 1)[::each]
        left.append(np.max(np.abs(value - expected)))
    assert left[1] == pytest.approx(0.25 * left[0], rel=0.15)


def prompt(lin: Linear) -> Linear:
    """The same without dead times."""
    return replace(lin, dead_time=np.zeros_like(lin.dead_time), reading_dead_time=0.0)


def theirs(lin: Linear) -> control.StateSpace:
    """The same as another library has it: the paths through each element side by side."""
    return sum((control.ss(*through(lin, k)) for k in range(1, lin.share.size)),
               control.ss(*through(lin, 0)))


ALL = pytest.mark.parametrize("k", range(len(PLACES)), ids=NAMES)


@ALL
def test_state_space_has_the_same_gain_poles_and_response(k: int) -> None:
    """python-control's `ss`, `dcgain`, `poles` and evaluation at jω."""
    lin, omega = prompt(about(k)), np.geomspace(1e-3, 1e3, 60)
    system = theirs(lin)
    assert system.dcgain() == pytest.approx(lin.gain, rel=1e-8)
    assert np.all(system.poles().real < 0.0) == np.all(lin.poles.real < 0.0)
    apart = np.abs(system.poles()[:, None] - lin.poles[None, :]).min(axis=0)
    assert np.max(apart / np.abs(lin.poles)) < 1e-6
    seen = system(1j * omega)
    assert np.max(np.abs(lin.response(omega) / seen - 1.0)) < 1e-7
    late = seen * np.exp(-1j * omega * 1.1)
    delayed = replace(lin, dead_time=np.full_like(lin.dead_time, 0.7), reading_dead_time=0.4)
    assert np.max(np.abs(delayed.response(omega) / late - 1.0)) < 1e-7


@ALL
def test_as_the_scans_see_it_it_is_the_held_plant(k: int) -> None:
    """python-control's `c2d` with a hold; whole scans of dead time are powers of 1/z."""
    lin, scan = prompt(about(k)), PLACES[k][0].control.scan
    omega = np.geomspace(1e-3, 1.0, 60) * np.pi / scan
    z = np.exp(1j * omega * scan)
    seen = control.c2d(theirs(lin), scan, "zoh")(z)
    assert np.max(np.abs(lin.sampled(omega, scan) - seen)) < 1e-7 * abs(lin.gain)
    late = replace(lin, dead_time=np.full_like(lin.dead_time, 2.0 * scan), reading_dead_time=scan)
    assert np.max(np.abs(late.sampled(omega, scan) - seen / z**3)) < 1e-7 * abs(lin.gain)


@pytest.mark.parametrize("k", [3, len(PLACES) - 2], ids=lambda k: NAMES[k])
@pytest.mark.parametrize("scan", [0.25, 0.4])
def test_a_dead_time_of_no_whole_scans_is_exact_too(k: int, scan: float) -> None:
    """G(z) = Σ h(kT)·z^−k, h the answer to an output held for one scan, of 0.35 and 0.4 s."""
    lin, n = replace(about(k), dead_time=np.array([0.35]), reading_dead_time=0.4), 1200
    omega = np.geomspace(1e-3, 1.0, 40) * np.pi / scan
    steps = step_answer(lin, 0.05, round(scan / 0.05) * n)[::round(scan / 0.05)]
    pulse = np.diff(steps, prepend=0.0)
    seen = (pulse * np.exp(-1j * omega[:, None] * scan * np.arange(n))).sum(axis=1)
    assert np.max(np.abs(lin.sampled(omega, scan) - seen)) < 1e-6 * abs(lin.gain)


@pytest.mark.parametrize("k", range(1, len(PLACES), 2), ids=NAMES[1::2])
@pytest.mark.parametrize(("gain", "reset"), [(0.5, 5.0), (1.5, 2.0)])
def test_margins_are_those_of_another_library(k: int, gain: float, reset: float) -> None:
    """python-control: poles of the closed loop by `feedback`, Ms as the greatest gain of S by
    `norm`, phase margin by `stability_margins`; a gain 0.1 % beyond the margin swings."""
    lin, scan = prompt(about(k)), PLACES[k][0].control.scan
    pi = Controller(np.sign(lin.gain) * gain / abs(lin.gain), reset, scan)
    ours = margins(partial(lin.sampled, scan=scan), pi)
    z = control.tf("z")
    z.dt = scan
    law = pi.gain * (1.0 + scan / reset / (z - 1.0))
    plant = control.c2d(theirs(lin), scan, "zoh")

    def dies_out(factor: float) -> bool:
        closed = control.feedback(factor * control.ss(law) * plant)
        return bool(np.max(np.abs(closed.poles())) < 1.0)

    assert ours.stable == dies_out(1.0)
    if not ours.stable:
        return
    sensitivity = control.feedback(control.ss([], [], [], 1.0, scan), control.ss(law) * plant)
    assert ours.sensitivity == pytest.approx(control.norm(sensitivity, "inf"), rel=1e-4)
    omega = np.geomspace(1e-4, 1.0, 4000) * np.pi / scan
    seen = law(np.exp(1j * omega * scan)) * plant(np.exp(1j * omega * scan))
    _, phase_margin, *_ = control.stability_margins(control.frd(seen, omega))
    assert ours.phase_margin is not None
    assert np.degrees(ours.phase_margin) == pytest.approx(phase_margin, abs=0.05)
    assert ours.gain_margin is not None
    assert dies_out(0.999 * ours.gain_margin) and not dies_out(1.001 * ours.gain_margin)
