"""Plants for the tests: three invented fans, a plain case, and bare networks for closed forms."""

import json
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import PPoly

from simfan.assemble import Assembled, assemble
from simfan.assemble.fan import tabulate
from simfan.assemble.schedule import schedule
from simfan.kernel import advance, layout
from simfan.kernel.layout import Schedule, State, Traces
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.steady.bench import Bench
from simfan.timeline import play

FANS: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "fans.json").read_text())
DAMPER = {"blades": "opposed", "area": 4.0, "stroke_time": 12.0}
GAINS = {"gain": 0.4, "reset": 8.0}


def fan(name: str) -> dict[str, Any]:
    """Description of an invented fan, SI."""
    f = FANS[name]
    return {
        "rated": {"speed": f["design"]["N_rpm"] * pi / 30.0, "density": f["design"]["rho"]},
        "flow": [p["Q_m3s"] for p in f["points"]],
        "static_pressure": [float(p["ps_Pa"]) for p in f["points"]],
        "shaft_power": [p["P_kW"] * 1e3 for p in f["points"]],
        "inertia": float(f["J_kgm2"]),
        "max_safe_speed": f["max_safe_rpm"] * pi / 30.0,
    }


def motor(name: str) -> dict[str, Any]:
    """Its motor; slip such that full load is at the fan's rated speed."""
    f = FANS[name]
    synchronous = 6000.0 / f["poles"]
    return {"rating": f["motor_kW"] * 1e3, "poles": f["poles"],
            "slip": 1.0 - f["design"]["N_rpm"] / synchronous}


def plain(**changes: Any) -> Case:
    """Fan B on a kiln's duct: damper after the volume, damper before it, variable speed."""
    description: dict[str, Any] = {
        "title": "plain case",
        "air": {"temperature": 303.15, "barometer": 98600.0},
        "fan": fan("B"), "motor": motor("B"),
        "ductwork": {"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0},
        "process": {"fixed_pressure": 400.0, "design": {"flow": 45.0, "pressure": 3500.0}},
        "control": {"scan": 0.25},
        "strategies": {
            "after": {"outlet_damper": {**DAMPER, "place": "after volume"}, "controller": GAINS},
            "before": {"outlet_damper": {**DAMPER, "place": "before volume"}, "controller": GAINS},
            "speed": {"speed": {"ramp_up": 40.0, "ramp_down": 60.0}, "controller": GAINS},
        },
        "run": {"duration": 120.0, "starts_at": 45.0},
        "timeline": [{"at": 10.0, "setpoint": 36.0}],
    }
    return Case.model_validate(description | changes)


def typed(case: Case, gain: float = 0.9, reset: float = 5.0) -> Case:
    """The case with these gains in every strategy."""
    gains = Controller(gain=gain, reset=reset)
    return case.model_copy(update={"strategies": {
        name: strategy.model_copy(update={"controller": gains})
        for name, strategy in case.strategies.items()}})


def analytic(name: str) -> PPoly:
    """A fan's printed analytic pressure curve [Pa] against flow [m³/s], its cubic continued into
    reverse flow: f0 + H(1 + 1.5z − .5z³), z = 2q/q_pk − 1, up to the peak; beyond it
    (f0 + 2H) − c2·x² − c3·x³, x = q − q_pk."""
    f = FANS[name]
    c, Qd, pd = f["curve"], f["design"]["Q_m3s"], f["design"]["ps_Pa"]
    w, H = c["q_peak"] * Qd / 2.0, c["H"] * pd
    peak = 2.0 * w
    # in t = Q + peak: z = (t − peak)/w − 1 = t/w − 3
    left = [-0.5 * H / w**3, 4.5 * H / w**3 * w, (1.5 - 13.5) * H / w,
            c["f0"] * pd + H * (1.0 - 4.5 + 13.5)]
    right = [-c["c3"] * pd / Qd**3, -c["c2"] * pd / Qd**2, 0.0, (c["f0"] + 2 * c["H"]) * pd]
    return PPoly(np.column_stack([left, right]), [-peak, peak, 1.5 * Qd])


def begin(case: Case, name: str, step: float, record: float | None = None,
          ) -> tuple[Assembled, Schedule, Traces]:
    """A strategy assembled, with the case's first conditions for every scan and empty traces."""
    assembled = assemble(case, name, step, record or step)
    quiet = case.model_copy(update={"timeline": ()})
    plan = schedule(assembled, case, play(quiet).dials)
    return assembled, plan, layout.traces(assembled.plant)


def run_from(assembled: Assembled, plan: Schedule, traces: Traces, state: State) -> int:
    """Advance to the last tick."""
    return advance.advance(assembled.plant, plan, state, traces, assembled.plant.last_tick)


def surge_rig(pressure: PPoly, *, length: float, area: float, volume: float, density: float,
              sound: float, loss: float, step: float, duration: float,
              lag: float = 0.0) -> Assembled:
    """A wheel at constant speed, a duct, a volume, a quadratic resistance, nothing else.

    Held against theories of incompressible flow, so the gas is taken to their limit: a barometer of
    1e9 Pa with the density and sound speed kept (γ small), where Δp/p vanishes.
    `loss` is Δp = loss·ṁ²/ρ [1/m⁴].
    """
    p0 = 1e9
    RT = p0 / density
    idle = PPoly(np.zeros((4, 1)), pressure.x[[0, -1]])
    table = tabulate([(pressure, idle, float(pressure.x[-1]))], float(pressure.x[0]),
                     float(pressure.x[-1]), density, np.array([np.nan]), lag)
    plant = layout.Plant(
        gas=layout.Gas(RT / 300.0, sound**2 / RT),
        network=layout.Network(
            volume=np.array([volume]),
            branch=layout.rows(layout.BRANCH, first=[1, 0], last=[0, 1]),
            inertance=np.array([length / area]), start=np.array([0, 1, 2]),
            element=layout.rows(layout.ELEMENT, kind=[layout.FAN, layout.LOSS], index=[0, 0],
                                quadratic=[0.0, loss], linear=[0.0, 0.0]),
            smoothing=1e-9, band=1e-9, push=0.0),
        fans=table,
        rotors=layout.Rotors(
            layout.rows(layout.ROTOR, mode=layout.UNPOWERED, rated_speed=1.0, momentum=1.0,
                        rated_torque=1.0, rated_power=1.0, synchronous=1.0, base_speed=1.0,
                        breakdown=1.0, breakdown_slip=1.0, current_limit=1.0, braking=0.0, lag=1.0,
                        actuator=-1),
            np.ones((1, 2)), np.array([[[0.0, 1.0], [0.0, 0.0]]])),
        dampers=layout.Dampers(layout.blank(layout.LOUVRE, 0), np.zeros((0, 3)),
                               np.zeros((0, 3, 4))),
        inlets=layout.blank(layout.INLET_ELEMENT, 0),
        shutters=layout.blank(layout.SHUTTER_ELEMENT, 0),
        actuators=layout.Actuators(layout.blank(layout.ACTUATOR, 0), np.zeros((0, 2, 2)),
                                   np.zeros((0, 2)), np.zeros((0, 2))),
        transmitters=layout.rows(
            layout.TRANSMITTER, place=0, index=0, branch=0, fan=0, scale=1.0, misled=0,
            design_density=1.0, surroundings=1, low=0.0, span=1.0, root=0, cut_off=0.0,
            quantum=0.0, lag=0.0, delay=0),
        loops=layout.rows(
            layout.LOOP, gain=1.0, reset=1.0, derivative=0.0, derivative_decay=0.0, weight=1.0,
            low=0.0, high=1.0, most_change=1.0, reset_from=layout.OUTPUT, actuator=0,
            source=-1, inner=-1, overrides=-1, select=0, most_aim=np.inf, gap=0.0, gap_share=0.0,
            feed=0, feed_share=1.0),
        feeds=np.zeros((1, 2, 1)), guards=layout.blank(layout.GUARD, 0),
        step=step, scan_steps=1, record_steps=1, last_tick=round(duration / step))
    base = Schedule(np.zeros((1, 1)), np.full((1, 1), -1.0), np.zeros((1, 1)), np.zeros((1, 0)),
                    np.full((1, 2), p0), np.full((1, 2), 300.0), np.ones((1, 2)), np.ones((1, 1)),
                    np.zeros((1, 1)), np.zeros((1, 1)), np.zeros((1, 0)), np.zeros((1, 0)),
                    np.zeros((1, 0)))
    return Assembled(plant, None, (), {}, None, base)  # type: ignore[arg-type]


def density_of(plant: layout.Plant) -> float:
    """Rated density of the first fan [kg/m³]; in the rig also that of all the air."""
    return float(plant.fans.each.density[0])


def swing(rig: Assembled, flow: float, pressure: float) -> Traces:
    """The rig from a flow [m³/s] and a rise of the volume over its surroundings [Pa]."""
    plant = rig.plant
    n = plant.last_tick + 1
    plan = Schedule(*[np.repeat(column, n, axis=0) for column in rig.base])
    state = layout.rest(plant)
    state.moving[:3] = 1e9 + pressure, flow * density_of(plant), 1.0
    state.moving[3] = float(np.nan_to_num(rise_at(rig, flow)))
    traces = layout.traces(plant)
    assert advance.advance(plant, plan, state, traces, plant.last_tick) == layout.DONE
    return traces


def rise_at(rig: Assembled, flow: float) -> float:
    """Steady pressure rise of the rig's wheel [Pa]."""
    bench = Bench(rig)
    x = np.zeros(bench.off.end)
    x[:3] = 1e9, flow * density_of(rig.plant), 1.0
    bench.stand(np.zeros(1))
    bench.slopes(x)
    return float(bench.probe.fan.rise[0])


def eigenvalues(rig: Assembled, flow: float, pressure: float) -> np.ndarray:
    """Of the air path (pressure and flow) at a point of the rig [rad/s]."""
    bench = Bench(rig, lagged=True)
    x = np.zeros(bench.off.end)
    x[:3] = 1e9 + pressure, flow * density_of(rig.plant), 1.0
    bench.stand(np.zeros(1))
    return np.linalg.eigvals(bench.jacobian(x)[:2, :2])


def period(time: np.ndarray, flow: np.ndarray) -> float:
    """Mean time between upward crossings of the middle of the swing, over the last half [s]."""
    half = time.size // 2
    t, q = time[half:], flow[half:]
    q = q - 0.5 * (q.max() + q.min())
    k = np.flatnonzero((q[:-1] < 0.0) & (q[1:] >= 0.0))
    crossings = t[k] - q[k] * (t[k + 1] - t[k]) / (q[k + 1] - q[k])
    return float(np.mean(np.diff(crossings)))
