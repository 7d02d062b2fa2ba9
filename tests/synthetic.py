"""Runs drawn by hand, for tests of what is said about a run. No simulator behind them.

The curve is a cubic like that of a large backward-curved fan; the point follows the setpoint with
a lag, and surges as a plain sine between two instants where asked.
"""

from itertools import pairwise

import numpy as np

from simfan.history import Audit, Facts, FanMap, Happening, History, SetpointChange

RATED_SPEED = 990.0 * 2.0 * np.pi / 60.0
RATED_DENSITY = 1.2
STALL_FLOW = 29.0
SETPOINTS = ((0.0, 45.0), (60.0, 36.0), (120.0, 27.0), (180.0, 18.0), (260.0, 45.0))
CLOGS_AT = 320.0
DURATION = 380.0


def fan_curve(flow: np.ndarray) -> np.ndarray:
    """Pressure rise [Pa] at rated speed and density, with a peak at 29 m³/s."""
    left = flow / (STALL_FLOW / 2.0) - 1.0
    right = flow / 50.0 - 0.58
    return np.where(
        flow < STALL_FLOW,
        4000.0 * (1.04 + 0.09 * (1.0 + 1.5 * left - 0.5 * left**3)),
        4000.0 * (1.22 - 1.2094 * right**2 - 0.0899 * right**3),
    )


def system_curve(flow: np.ndarray) -> np.ndarray:
    """Pressure the process asks for [Pa]."""
    return 400.0 + 3100.0 * (flow / 45.0) * np.abs(flow / 45.0)


def history(
    strategy: str = "outlet-damper",
    method: str = "outlet damper",
    surge: tuple[float, float] | None = None,
    stopped: str | None = None,
    record_s: float = 0.05,
) -> History:
    """A run over the setpoints above; `surge` is the span [s] in which the flow swings."""
    time = np.arange(0.0, DURATION + record_s / 2.0, record_s)
    setpoint = np.interp(time, *_staircase())
    flow = _lagged(setpoint, record_s, 6.0)
    measured = _lagged(flow, record_s, 1.0)
    density = np.full_like(time, 1.133)
    by_speed = method == "variable speed"
    speed = _speed_for(flow) if by_speed else np.full_like(time, 0.995)
    element = speed if by_speed else np.interp(flow, [0.0, 45.0], [0.05, 0.8])
    if surge is not None:
        flow = flow + _swing(time, surge, 28.0, 0.0)
    pressure = density / RATED_DENSITY * speed**2 * fan_curve(flow / speed)
    if surge is not None:
        pressure = pressure + _swing(time, surge, 900.0, np.pi / 2.0)
    power = np.abs(flow) * pressure / 0.8 + 40e3 * speed**3
    one = {
        "setpoint": setpoint, "measured_value": measured, "true_value": flow,
        "controller_output": element, "element_demand": element, "element_position": element,
        "element_pressure": np.zeros_like(time), "fan_flow": flow, "fan_pressure": pressure,
        "fan_density": density, "stall_flow": STALL_FLOW * speed, "speed_ratio": speed,
        "shaft_power": power, "motor_load": power / 315e3, "electrical_power": power / 0.93,
        "mass_flow": density * flow, "node_pressure": 98.6e3 + pressure,
    }  # fmt: skip
    return History(
        time=time,
        traces={name: values[:, None] for name, values in one.items()},
        items={"loop": ("flow",), "element": ("speed" if by_speed else "outlet damper",),
               "fan": ("fan",), "branch": ("discharge",), "node": ("volume",)},
        log=_log(),
        facts=_facts(strategy, method),
        audit=Audit(step_s=0.01, steps=int(DURATION / 0.01), fastest_time_constant_s=0.16,
                    mass_balance_residual=3e-12, stiff_steps=0, stopped=stopped),
    )  # fmt: skip


def _staircase() -> tuple[list[float], list[float]]:
    at, value = [], []
    for (start, level), (end, _) in zip(SETPOINTS, (*SETPOINTS[1:], (DURATION, 0.0)), strict=True):
        at += [start, end - 1e-9]
        value += [level, level]
    return at, value


def _lagged(values: np.ndarray, step: float, lag: float) -> np.ndarray:
    out = np.empty_like(values)
    out[0] = values[0]
    share = 1.0 - np.exp(-step / lag)
    for i in range(1, len(values)):
        out[i] = out[i - 1] + share * (values[i - 1] - out[i - 1])
    return out


def _swing(time: np.ndarray, span: tuple[float, float], size: float, phase: float) -> np.ndarray:
    inside = (time >= span[0]) & (time <= span[1])
    grown = np.clip((time - span[0]) / 5.0, 0.0, 1.0)
    return np.where(inside, size * grown * np.sin(2.0 * np.pi * (time - span[0]) + phase), 0.0)


def _speed_for(flow: np.ndarray) -> np.ndarray:
    """Speed ratio that balances the system curve at this flow, by bisection."""
    low, high = np.full_like(flow, 0.2), np.full_like(flow, 1.3)
    for _ in range(40):
        n = (low + high) / 2.0
        short = n**2 * fan_curve(flow / n) * 1.133 / RATED_DENSITY < system_curve(flow)
        low, high = np.where(short, n, low), np.where(short, high, n)
    return (low + high) / 2.0


def _log() -> tuple[Happening, ...]:
    steps = pairwise(SETPOINTS)
    lines = [Happening(b[0], f"setpoint {a[1]:g} → {b[1]:g} m3/s") for a, b in steps]
    return (*lines, Happening(CLOGS_AT, "process resistance 1 → 1.25: filter clogs"))


def _facts(strategy: str, method: str) -> Facts:
    ends = [at for at, _ in SETPOINTS[2:]] + [CLOGS_AT]
    pairs = zip(SETPOINTS, SETPOINTS[1:], ends, strict=False)
    flow, system = np.linspace(-10.0, 76.0, 173), np.linspace(0.0, 55.0, 56)
    return Facts(
        title="Kiln combustion air: which way to hold the flow",
        strategy=strategy, method=method, holds="flow",
        held_kind="volume flow", known_flow=(0.0, 75.0), duration_s=DURATION, record_s=0.05,
        rated_speed=RATED_SPEED, max_safe_speed_ratio=1150.0 / 990.0, motor_rating=315e3,
        price_per_kwh=0.12, currency="EUR",
        fan_map=FanMap(
            flow=tuple(flow), pressure=tuple(fan_curve(flow)),
            system_flow=tuple(system), system_pressure=tuple(system_curve(system)),
            stall_flow=STALL_FLOW, stall_basis="peak of the curve", density=RATED_DENSITY,
        ),
        changes=tuple(
            SetpointChange(at_s=b[0], until_s=end, start=a[1], end=b[1]) for a, b, end in pairs
        ),
        events_at_s=(*(at for at, _ in SETPOINTS[1:]), CLOGS_AT),
        tuning={"gain": 0.8, "reset_s": 12.0, "reset from": "output"},
        sequence={"outlet damper": ((0.0, 0.0), (1.0, 1.0))},
        assumed=(
            "air.gas_constant: 287.05 J/(kg K), dry air",
            "fan.flow: the curve was taken as running on in reverse flow as the maker's cubic",
        ),
    )  # fmt: skip
