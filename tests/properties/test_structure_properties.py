"""What holds for every tuning and limit of a structure: no winding up, no bump, no break."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simfan.kernel import control
from simfan.plant.case import Case
from simfan.simulate import simulate
from tests.loops import Controllers, Lagged
from tests.plants import DAMPER, begin, plain

DT = 0.1
SPEED = {"speed": {"ramp_up": 1.0, "ramp_down": 1.0, "minimum": 0.0}}
gains, resets = st.floats(0.5, 5.0), st.floats(1.0, 20.0)
shares = st.floats(0.0, 1.0)


def overridden(gain: float, reset: float, limit: float, limit_gain: float, limit_reset: float
               ) -> Controllers:
    """A load limiter above a flow loop; the limit is a share of the limiter's span."""
    override = {"motor_load": 2.0 * limit, "controller": {"gain": limit_gain, "reset": limit_reset}}
    strategy = {**SPEED, "controller": {"gain": gain, "reset": reset}, "overrides": [override]}
    return Controllers(DT, strategy, 0.3, 0.3)


@settings(max_examples=30, deadline=None)
@given(gains, resets, gains, resets, st.floats(0.1, 0.9),
       st.lists(st.tuples(shares, shares, shares, st.integers(1, 400)), min_size=1, max_size=6))
def test_no_integral_of_selected_controllers_ever_leaves_the_range_of_the_output(
    gain: float, reset: float, limit_gain: float, limit_reset: float, limit: float,
    course: list[tuple[float, float, float, int]],
) -> None:
    """Whatever is wanted and read, and for however long: external reset makes each integral an
    average of outputs that were given."""
    loops = overridden(gain, reset, limit, limit_gain, limit_reset)
    for wanted, value, load, scans in course:
        for _ in range(scans):
            loops.scan(wanted, value, load)
            assert loops.state.loop.integral.min() >= -1e-9
            assert loops.state.loop.integral.max() <= 1.0 + 1e-9


@settings(max_examples=15, deadline=None)
@given(gains, resets, gains, resets, st.floats(0.15, 0.5), st.floats(0.05, 0.3))
def test_after_any_time_at_its_limit_the_main_loop_has_the_output_again_at_once(
    gain: float, reset: float, limit_gain: float, limit_reset: float, limit: float, less: float,
) -> None:
    """The load follows the output, so the limiter holds it at its limit while the flow's controller
    wants more. Asked for less than there is, that one moves the output in the same scan, by its
    whole proportional part."""
    loops = overridden(gain, reset, limit, limit_gain, limit_reset)
    load = Lagged(DT, 1.0, 5.0, starts=0.3)
    for _ in range(round(20.0 * max(reset, limit_reset) / min(limit_gain, 1.0) / DT)):
        output = loops.scan(0.9, 0.6, load.value)
        load.move(output)
    assert output == pytest.approx(limit, abs=5e-3)
    eased = loops.scan(0.6 - less, 0.6, load.value)
    assert eased == pytest.approx(max(output - gain * less, 0.0), abs=2e-2)


@settings(max_examples=40, deadline=None)
@given(gains, resets, gains, resets, st.floats(0.05, 0.9), shares)
def test_a_limiter_gives_way_within_two_scans_once_its_limit_is_far_away(
    gain: float, reset: float, limit_gain: float, limit_reset: float, limit: float, wanted: float,
) -> None:
    """The load is gone: the output is the lower of the two, and the main one's own wherever the
    limiter's proportional part is the larger by the whole range of the integrals."""
    loops = overridden(gain, reset, limit, limit_gain, limit_reset)
    for _ in range(500):
        loops.scan(wanted, 0.3, min(limit + 0.05, 1.0))
    for _ in range(2):
        loops.scan(wanted, 0.3, 0.0)
    main, limiter = np.clip(loops.state.loop.unlimited, 0.0, 1.0)
    assert loops.state.loop.output[0] == pytest.approx(min(main, limiter), abs=1e-12)
    if limit_gain * limit > gain * (wanted - 0.3) + 1.0:
        assert loops.state.loop.output[0] == pytest.approx(main, abs=1e-12)


# -- gap, setpoint rate

@given(st.floats(-1.0, 1.0), st.floats(1e-3, 0.5), shares, st.floats(1e-9, 1e-3))
def test_the_gapped_error_is_continuous_rises_and_keeps_its_gain_outside(
    error: float, gap: float, share: float, step: float
) -> None:
    here, there = (control.gapped(e, gap, share) for e in (error, error + step))
    assert -1e-12 <= there - here <= step + 1e-12
    assert abs(control.gapped(-error, gap, share) + here) < 1e-15
    if abs(error) <= gap:
        assert here == share * error
    else:
        assert abs(error) - abs(here) == pytest.approx((1.0 - share) * gap, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(gains, st.floats(0.01, 0.2), st.floats(0.0, 0.9), st.floats(-0.4, 0.4))
def test_the_static_gain_within_a_gap_is_cut_to_its_share(
    gain: float, gap: float, share: float, error: float
) -> None:
    """Proportional action alone: a reset of a day."""
    controller = {"gain": gain, "reset": 86400.0, "gap": gap, "gap_gain": share}
    loops = Controllers(DT, {**SPEED, "controller": controller}, 0.5, 0.5)
    got = loops.scan(0.5, 0.5 - error)
    inner = share * np.clip(error, -gap, gap)
    outer = error - np.clip(error, -gap, gap)
    assert got == pytest.approx(float(np.clip(0.5 + gain * (inner + outer), 0.0, 1.0)), abs=1e-5)


@settings(max_examples=30, deadline=None)
@given(st.floats(1.0, 600.0), shares, shares)
def test_the_working_setpoint_moves_no_faster_than_its_limit_and_arrives(
    full_span: float, first: float, last: float
) -> None:
    controller = {"gain": 1.0, "reset": 10.0, "setpoint_full_span": full_span}
    loops = Controllers(DT, {**SPEED, "controller": controller}, 0.5, first)
    loops.state.loop.aim[0] = first
    went = [first]
    for _ in range(round(full_span * abs(last - first) / DT) + 2):
        loops.scan(last, first)
        went.append(float(loops.state.loop.aim[0]))
    assert np.abs(np.diff(went)).max() <= DT / full_span + 1e-12
    assert went[-1] == pytest.approx(last, abs=1e-12)


# -- manual and automatic in any order

PI = {"gain": 0.6, "reset": 6.0}
VANES = {"inlet_vanes": {"stroke_time": 10.0}}
DRIVE = {"speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.3}}
SLOW = {"gain": 0.3, "reset": 60.0}
STRUCTURES: dict[str, dict[str, Any]] = {
    "one loop": {**DRIVE, "controller": PI},
    "rate of setpoint": {**DRIVE, "controller": {**PI, "setpoint_full_span": 60.0}},
    "gap": {**DRIVE, "controller": {**PI, "gap": 0.02}},
    "split range": {**VANES, **DRIVE, "sequence": {"order": "speed first"}, "controller": PI},
    "mid-ranging": {**VANES, **DRIVE, "controller": PI,
                    "mid_ranging": {"target": 0.7, "controller": SLOW}},
    "cascade": {**DRIVE, "controller": PI,
                "cascade": {"holds": "speed", "controller": {"gain": 1.0, "reset": 5.0}}},
    "two loops": {"outlet_damper": {**DAMPER, "place": "after volume"}, **DRIVE, "controller": PI,
                  "second_loop": {"holds": "pressure", "measured_at": "volume", "span": 8000.0,
                                  "setpoint": 3000.0, "moves": "speed",
                                  "controller": {"gain": 0.5, "reset": 10.0}}},
    "overrides": {**DRIVE, "controller": PI,
                  "overrides": [{"motor_load": 1.5, "controller": SLOW}]},
    "feedforward": {**DRIVE, "controller": PI, "feedforward": {"share": 0.9, "lag": 2.0}},
    "stall floor": {"outlet_damper": {**DAMPER, "place": "before volume"}, "controller": PI,
                    "stall_floor": {"margin": 0.05}},
}
SCAN = 0.25
changes = st.lists(st.one_of(st.none(), st.floats(0.55, 0.95)), min_size=1, max_size=3)


def _switched(name: str, orders: list[float | None], wanted: float) -> Case:
    """Every 15 s to manual at an output, or to automatic where None; at last to automatic. The
    setpoint changes meanwhile."""
    events: list[dict[str, Any]] = []
    manual = False
    for k, order in enumerate([*orders, None], 1):
        if order is not None:
            events.append({"at": 15.0 * k, "manual_output": order})
        elif manual:
            events.append({"at": 15.0 * k, "automatic": True})
        manual = order is not None
    events.append({"at": 7.5, "setpoint": wanted})
    duration = 15.0 * (len(orders) + 2)
    return plain(strategies={name: STRUCTURES[name]},
                 timeline=sorted(events, key=lambda e: float(e["at"])),
                 run={"duration": duration, "starts_at": 36.0, "record": SCAN})


@settings(max_examples=4, deadline=None)
@given(changes, st.floats(30.0, 40.0))
@pytest.mark.parametrize("name", STRUCTURES)
def test_automatic_takes_over_without_a_bump_in_any_order_of_changes(
    name: str, orders: list[float | None], wanted: float
) -> None:
    """In the first scan in automatic no output moves by more than its controller's own answer to
    one scan: Kc·Δy + Kc·e·dt/Ti, of every loop. The limits are out of the way."""
    case = _switched(name, orders, wanted)
    history = simulate(case, name)
    output, reading, aim = (history.traces[key] for key in
                            ("controller_output", "measured_value", "setpoint"))
    plant_ = begin(case, name, 0.025, SCAN)[0].plant
    tuning, span = plant_.loops, plant_.transmitters.span
    for event in case.timeline:
        if not event.automatic:
            continue
        k = round(event.at / SCAN)
        for i in range(tuning.size):
            if tuning[i].overrides >= 0:
                continue
            gain, error = abs(tuning[i].gain), (aim[k, i] - reading[k, i]) / span[i]
            own = gain * (abs(np.diff(reading[k - 1:k + 2, i])).max() / span[i]
                          + abs(np.diff(aim[k - 1:k + 2, i])).max() / span[i]
                          + 2.0 * abs(error) * SCAN / tuning[i].reset)
            if np.isfinite(tuning[i].most_aim):  # the working setpoint, which is not recorded
                own += gain * tuning[i].most_aim
            assert np.abs(np.diff(output[k - 1:k + 2, i])).max() <= own + 0.002, (i, event.at)


@pytest.mark.parametrize("name", STRUCTURES)
def test_in_manual_the_output_is_the_one_that_was_set(name: str) -> None:
    case = _switched(name, [0.8], 34.0)
    history = simulate(case, name)
    hand = 1 if name == "cascade" else 0
    stood = (history.time > 15.0) & (history.time < 29.9)
    assert history.traces["controller_output"][stood, hand] == pytest.approx(0.8, abs=1e-12)
