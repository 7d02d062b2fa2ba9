"""Variable inlet vanes and inlet box damper: the default model or a measured family."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from simfan.assemble.fan import (
    ASSUMPTIONS,
    Curve,
    RatedCurve,
    curve_through,
    last_peak,
    tabulate,
)
from simfan.kernel.inlet import MOST_SWIRL
from simfan.kernel.layout import INLET_ELEMENT, Fans, blank, rows
from simfan.plant.fan import Fan
from simfan.plant.inlet import InletElement, MeasuredCurve

N_SETTINGS = 33
"""A measured family is laid out at so many openings, close enough for straight lines between."""
N_OPENINGS = 65
"""Points of the stall line over the opening."""


@dataclass(frozen=True)
class Design:
    """The point that the vane model is scaled by."""

    flow: float
    pressure: float
    power: float

    @property
    def efficiency(self) -> float:
        """η_d = Q_d·p_d/P_d."""
        return self.flow * self.pressure / self.power


def design_point(fan: Fan, curve: RatedCurve) -> Design:
    """The user's design flow, else the point of best static efficiency."""
    flow = fan.design_flow
    if flow is None:
        q = np.linspace(curve.first_flow, curve.last_flow, 2001)[1:]
        flow = float(q[np.argmax(q * curve.pressure(q) / curve.torque(q))])
    return Design(flow, float(curve.pressure(flow)), float(curve.torque(flow)) * fan.rated.speed)


def fan_table(fan: Fan, curve: RatedCurve, element: InletElement | None, actuator: int,
              assumption: str) -> Fans:
    """The kernel's table of the fan, with what stands in its inlet."""
    low, density = float(curve.pressure.x[0]), fan.rated.density
    bend = ASSUMPTIONS[assumption].runout
    if element is not None and element.family:
        curves = [_measured(fan, row, assumption) for row in element.family]
        high = max(c.last_flow for c in curves)
        low = min(float(c.pressure.x[0]) for c in curves)
        opening = np.array([row.opening for row in element.family])
        settings = _settings(curves, opening, low)
        stall = _over_opening(opening, [c.stall_flow for c in curves], N_OPENINGS)
        return tabulate(settings, low, high, density, stall, fan.pressure_lag, 0.0, actuator, bend)
    whole = [(curve.pressure, curve.torque, curve.last_flow)]
    stall = np.array([np.nan if curve.stall_flow is None else curve.stall_flow])
    if element is not None:
        stall = stall_line(fan, curve, element)
    floor = fan.power_floor * float(curve.torque(0.0))
    return tabulate(whole, low, curve.last_flow, density, stall, fan.pressure_lag, floor, actuator,
                    bend)


def inlets(fan: Fan, curve: RatedCurve, element: InletElement | None, actuator: int,
           place: int) -> np.recarray:
    """The kernel's table of the default model; empty with a measured family or nothing there."""
    if element is None or element.family:
        return blank(INLET_ELEMENT, 0)
    d = design_point(fan, curve)
    return rows(
        INLET_ELEMENT, actuator=actuator, element=place, fan=0, turn=element.turn,
        rise=element.swirl * d.pressure / d.flow,
        torque=element.swirl * d.efficiency * d.power / fan.rated.speed / d.flow**2,
        loss=element.loss * d.pressure / (fan.rated.density * d.flow**2),
        leakage=element.leakage)


def stall_line(fan: Fan, curve: RatedCurve, element: InletElement) -> np.ndarray:
    """(N_OPENINGS,) Q/n of the stall line against opening: the peak of the wheel's own curve with
    its pre-swirl, the loss of the element not counted; nan where that only falls.

    A stall point from the maker shifts the whole line in proportion.
    """
    d = design_point(fan, curve)
    q = np.linspace(0.0, curve.last_flow, 4001)
    wheel = curve.pressure(q)
    opening = np.linspace(0.0, 1.0, N_OPENINGS)
    swirl = np.minimum(element.turn * 0.5 * np.pi * (1.0 - opening), MOST_SWIRL)
    taken = element.swirl * d.pressure / d.flow * np.tan(swirl)
    peaks = np.array([last_peak(q, wheel - t * q) for t in taken])
    if curve.stall_flow is not None:
        peaks *= curve.stall_flow / peaks[-1]
    return peaks


def _measured(fan: Fan, row: MeasuredCurve, assumption: str) -> RatedCurve:
    return curve_through(np.array(row.flow), np.array(row.static_pressure),
                         np.array(row.shaft_power) / fan.rated.speed, row.stall_flow, None,
                         assumption)


def _settings(curves: list[RatedCurve], opening: np.ndarray, low: float,
              ) -> list[tuple[Curve, Curve, float]]:
    """The family at N_SETTINGS openings, smooth in the opening at every share of its flow range."""
    last = PchipInterpolator(opening, [c.last_flow for c in curves])
    share = np.linspace(low / curves[-1].last_flow, 1.0, 401)
    sheets = [PchipInterpolator(opening, [getattr(c, what)(share * c.last_flow) for c in curves])
              for what in ("pressure", "torque")]
    settings = []
    for y in np.linspace(0.0, 1.0, N_SETTINGS):
        at = float(np.clip(y, opening[0], opening[-1]))
        end = float(last(at))
        pressure, torque = (PchipInterpolator(share * end, sheet(at)) for sheet in sheets)
        settings.append((pressure, torque, end))
    return settings


def _over_opening(opening: np.ndarray, values: list[float | None], n: int) -> np.ndarray:
    """(n,) straight lines between the openings that have a value; nan outside those."""
    given = [(y, v) for y, v in zip(opening, values, strict=True) if v is not None]
    if not given:
        return np.full(n, np.nan)
    ys, vs = zip(*given, strict=True)
    return np.interp(np.linspace(0.0, 1.0, n), ys, vs, left=np.nan, right=np.nan)
