"""The rated points become a curve over every flow, then a table for the kernel.

     Δp │      peak
        │   ⌒‾‾‾⌒⌒          given points: a spline with continuous curvature
     ╲  │⌣        ╲
      ╲ │          ╲        left of the points: a cubic to shut-off (assumed)
       ╲│           ╲       reverse flow: the cubic continued, then a rising parabola (assumed)
    ────┼────────────╲── Q  right of the points: a falling parabola (assumed)
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator, PPoly
from scipy.optimize import brentq

from simfan.kernel.layout import WHEEL, Fans, rows
from simfan.plant.fan import Fan
from simfan.plant.slips import of_fan

N_CELLS = 256


@dataclass(frozen=True)
class Assumption:
    """What is taken for the parts of the curve that the maker does not give."""

    shutoff_share: float
    """Pressure at shut-off over that of the first point."""
    reverse: float
    """Steepness in reverse flow over that of the cubic."""
    runout: float
    """How hard the pressure bends down beyond the last point, over the bend that it ends with."""


ASSUMPTIONS = {"low": Assumption(0.80, 0.5, 2.0), "nominal": Assumption(0.90, 1.0, 1.0),
               "high": Assumption(0.98, 2.0, 0.5)}
"""From memory: backward-curved and airfoil wheels show .80 to .98 of their peak at shut-off. The
spread in reverse flow and beyond the last point is our own, not validated."""
SHUTOFF_TORQUE_SHARE = 0.60
"""Torque at shut-off over that at the first point; from memory, not validated."""
REVERSE_SPAN = 0.5
"""The cubic runs this far into reverse flow, of the peak's flow; a parabola takes over."""

BACKWARD_PRESSURE = 0.5
"""Pressure at shut-off of a wheel turned backwards, over that of the same wheel turned forwards: a
radial wheel throws the air outwards either way. From memory of pumps; not validated."""

Curve = Callable[[np.ndarray | float, int], np.ndarray]
"""Value (second argument 0) or derivative of that order against flow, like scipy's PPoly."""


@dataclass(frozen=True)
class RatedCurve:
    """The whole curve at rated speed and density. Flow [m³/s]."""

    pressure: PPoly
    """[Pa]"""
    torque: PPoly
    """[N m]"""
    stall_flow: float | None
    stall_basis: str
    first_flow: float
    last_flow: float
    """Of the given points."""
    assumed: tuple[str, ...]


@lru_cache(maxsize=4)
def rated_curve(fan: Fan, assumption: str = "nominal") -> RatedCurve:
    """The curve through the maker's points and, in plain words, what was assumed beyond them.

    `assumption` is "low", "nominal" or "high": how far pressure is taken to fall at shut-off and to
    rise in reverse flow, where the maker says nothing. Beyond the last point `tabulate` takes over,
    with the same assumption's bend.
    """
    pressure = np.array(fan.static_pressure or _static(fan))
    curve = curve_through(np.array(fan.flow), pressure,
                          np.array(fan.shaft_power) / fan.rated.speed, fan.stall_flow,
                          fan.shutoff_pressure, assumption)
    return replace(curve, assumed=(*of_fan(fan), *curve.assumed))


def curve_through(flow: np.ndarray, pressure: np.ndarray, torque: np.ndarray,
                  stall_flow: float | None, shutoff: float | None,
                  assumption: str) -> RatedCurve:
    """A whole curve through points of flow, pressure and torque at rated speed."""
    assumed = ASSUMPTIONS[assumption]
    spline, notes = _interpolate(flow, pressure, "pressure")
    shaft, more = _interpolate(flow, torque, "power")
    notes += more
    if flow[0] > 0.0:
        spline, words = _to_shutoff(spline, shutoff, assumed.shutoff_share)
        shaft, _ = _to_shutoff(shaft, None, SHUTOFF_TORQUE_SHARE)
        notes.append(words)
    peak = _peak(spline, flow[-1])
    stall, basis = (peak, "peak of the curve") if stall_flow is None else (
        stall_flow, "the maker's stall point")
    notes.append("fan, reverse flow: pressure continues the cubic of the stalled side, then a "
                 "rising parabola; not from the maker, not validated")
    notes.append(f"fan, beyond {flow[-1]:.4g} m3/s: falling parabolas of pressure and torque; "
                 "not from the maker, not validated")
    if stall_flow is None and peak is not None:
        notes.append("fan.stall_flow not given: the peak of the curve stands for the stall line; "
                     "left of it is a warning, not proof of stall")
    width = REVERSE_SPAN * (peak or 0.5 * flow[-1])
    return RatedCurve(
        pressure=_reversed(spline, _reverse_pressure(spline, peak, assumed.reverse), width),
        torque=_reversed(shaft, _reverse_torque(shaft, flow[-1]), width),
        stall_flow=stall, stall_basis=basis, first_flow=float(flow[0]),
        last_flow=float(flow[-1]), assumed=tuple(notes))


def _static(fan: Fan) -> np.ndarray:
    """Static from total pressure: p_s = p_t − ½ρ(Q/A)²."""
    assert fan.total_pressure is not None and fan.outlet_area is not None
    velocity = np.array(fan.flow) / fan.outlet_area
    return np.array(fan.total_pressure) - 0.5 * fan.rated.density * velocity**2


def _interpolate(flow: np.ndarray, value: np.ndarray, what: str) -> tuple[PPoly, list[str]]:
    """A cubic spline; where it turns more often than the points do, PCHIP and a word of it.

    At an end which it would leave against the points' own first step it is level instead: points
    that begin level at shut-off are no swing.
    """
    steps = np.diff(value)
    free = CubicSpline(flow, value)
    spline = CubicSpline(flow, value, bc_type=tuple(
        (1, 0.0) if free(end, 1) * step < 0.0 else "not-a-knot"
        for end, step in ((flow[0], steps[0]), (flow[-1], steps[-1]))))
    fine = spline(np.linspace(flow[0], flow[-1], 2001)[1:-1], 1)
    turns = np.count_nonzero(np.diff(np.sign(fine[fine != 0.0])))
    if turns <= np.count_nonzero(np.diff(np.sign(steps[steps != 0.0]))):
        return PPoly(spline.c, spline.x), []
    shape_kept = PchipInterpolator(flow, value)
    doubt = ("; its slope near the peak, and so the critical volume, may be a third off"
             if what == "pressure" else "")
    return PPoly(shape_kept.c, shape_kept.x), [
        f"fan, {what}: a smooth spline would swing between the points, so a shape-keeping curve "
        f"is used (assumed){doubt}"]


def _to_shutoff(curve: PPoly, given: float | None, share: float) -> tuple[PPoly, str]:
    """A cubic from zero flow, level there, to the first point."""
    q, value, slope = curve.x[0], float(curve(curve.x[0])), float(curve(curve.x[0], 1))
    shutoff = share * value if given is None else given
    rise = value - shutoff
    cubic = [(slope * q - 2.0 * rise) / q**3, (3.0 * rise - slope * q) / q**2, 0.0, shutoff]
    source = "assumed" if given is None else "fan.shutoff_pressure"
    return (PPoly(np.column_stack([cubic, curve.c]), np.concatenate([[0.0], curve.x])),
            f"fan, stalled side below {q:.4g} m3/s: a cubic to {shutoff:.4g} Pa at shut-off "
            f"({source}); ask the maker for points there")


def _peak(curve: PPoly, last: float) -> float | None:
    """Flow of the last local peak of pressure; None where the curve only falls."""
    grid = np.linspace(0.0, last, 2001)
    near = last_peak(grid, curve(grid))
    if np.isnan(near):
        return None
    width = grid[1]
    return float(brentq(lambda q: curve(q, 1), max(near - width, 0.0), min(near + width, last)))


def last_peak(flow: np.ndarray, pressure: np.ndarray) -> float:
    """Flow of the last point higher than both its neighbours; nan where there is none."""
    inside = pressure[1:-1]
    peaks = np.flatnonzero((inside > pressure[:-2]) & (inside >= pressure[2:]))
    return float(flow[peaks[-1] + 1]) if peaks.size else float("nan")


def _reverse_pressure(curve: PPoly, peak: float | None, steeper: float) -> list[float]:
    """Cubic in q left of zero flow, highest power first.

    Value and slope of the curve at shut-off; curvature and third derivative of the cubic
    f₀ + H(1 + 3z/2 − z³/2), z = 2q/q_peak − 1 (Moore & Greitzer 1985), H half the rise to the peak,
    here times `steeper`.
    """
    f0, slope = float(curve(0.0)), float(curve(0.0, 1))
    if peak is None:
        return [0.0, steeper * f0 / curve.x[-1] ** 2, slope, f0]
    H = steeper * 0.5 * (float(curve(peak)) - f0)
    return [-4.0 * H / peak**3, 6.0 * H / peak**2, slope, f0]


def _reverse_torque(curve: PPoly, last: float) -> list[float]:
    """Torque rises with the square of the reverse flow, by shut-off torque at the last flow."""
    g0 = float(curve(0.0))
    return [0.0, g0 / last**2, float(curve(0.0, 1)), g0]


def _reversed(curve: PPoly, cubic: list[float], width: float) -> PPoly:
    """The curve with one more piece, left of zero flow."""
    a, b, c, d = cubic
    at_left = [a, b - 3 * a * width, c - 2 * b * width + 3 * a * width**2,
               d - c * width + b * width**2 - a * width**3]
    return PPoly(np.column_stack([at_left, curve.c]), np.concatenate([[-width], curve.x]))


def tabulate(curves: list[tuple[Curve, Curve, float]], low: float, high: float, density: float,
             stall: np.ndarray, lag: float = 0.0, floor: float = 0.0, inlet: int = -1,
             runout_bend: float = 1.0) -> Fans:
    """One fan's table from curves of (pressure, torque, last flow), one for each setting.

    Cubics on equal cells keep value and slope; parabolas follow beyond each curve's last flow and
    before `low`. `stall` is Q/n of the stall line at equally spaced inlet openings. `runout_bend`
    is how hard the pressure bends down beyond, over the bend that it ends with.
    """
    q = np.linspace(low, high, N_CELLS + 1)
    parts = [_setting(pressure, torque, last, q, runout_bend)
             for pressure, torque, last in curves]
    cells, reverse, runout = (np.array(part)[None] for part in zip(*parts, strict=True))
    wheel = rows(WHEEL, low=low, per_cell=N_CELLS / (high - low), density=density, lag=lag,
                 floor=floor, inlet=inlet)
    shutoff = [(BACKWARD_PRESSURE * float(pressure(0.0, 0)), max(float(torque(0.0, 0)), 0.0))
               for pressure, torque, _ in curves]
    return Fans(wheel, cells, reverse, runout, np.array([shutoff]),
                np.array([stall], dtype=float))


def _setting(pressure: Curve, torque: Curve, last: float, q: np.ndarray, runout_bend: float,
             ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cells, reverse and run-out parabolas of one setting."""
    cells, reverse, runout = [], [], []
    for curve, bend, harder in ((pressure, 0.25, runout_bend), (torque, 0.1, 1.0)):
        given = q[q <= last]
        least = bend * float(np.max(np.abs(curve(given, 0)))) / last**2
        beyond = _parabola(curve, last, -least, harder)
        cells.append(_hermite(_continued(curve, last, beyond), q))
        reverse.append(_parabola(curve, float(q[0]), least))
        runout.append(beyond)
    return np.hstack(cells), np.concatenate(reverse), np.concatenate(runout)


def _continued(curve: Curve, last: float, parabola: np.ndarray) -> Curve:
    """The curve, and beyond its last flow the parabola."""
    def value(q: np.ndarray | float, order: int) -> np.ndarray:
        a, b, c = parabola
        q = np.asarray(q)
        beyond = a + b * q + c * q * q if order == 0 else b + 2.0 * c * q
        return np.where(q <= last, curve(np.minimum(q, last), order), beyond)
    return value


def _hermite(curve: Curve, q: np.ndarray) -> np.ndarray:
    """(n_cells, 4) cubics in t = 0..1 across each cell."""
    value, slope = np.asarray(curve(q, 0)), np.asarray(curve(q, 1)) * (q[1] - q[0])
    rise = np.diff(value)
    return np.column_stack([value[:-1], slope[:-1], 3.0 * rise - 2.0 * slope[:-1] - slope[1:],
                            slope[:-1] + slope[1:] - 2.0 * rise])


def _parabola(curve: Curve, q: float, least: float, harder: float = 1.0) -> np.ndarray:
    """a + b·q + c·q² that leaves the curve with its value, slope and, bent at least so far,
    its curvature times `harder`."""
    value, slope = float(curve(q, 0)), float(curve(q, 1))
    c = 0.5 * float(curve(q, 2))
    c = harder * (max(c, least) if least > 0.0 else min(c, least))
    return np.array([value - slope * q + c * q * q, slope - 2.0 * c * q, c])
