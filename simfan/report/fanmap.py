"""The fan map of one run: the curves, the system, the stall line, and the path of the point.

Curves follow the fan laws Δp = (ρ/ρ₀)·n²·f(Q/n) from the rated curve f, at the mean density that
the wheel's inlet had in the run, so that the path lies on the curves it came from. The stall line
is the parabola on which Q/n is the stall flow.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes

from simfan import units
from simfan.history import History
from simfan.report import ink
from simfan.report.marks import Point, left_of_stall
from simfan.report.panels import stall_words

SLOWEST = 0.2
"""A wheel that turns slower than this share of its rated speed gets no curve of its own."""
SPEEDS_APART = 0.05
"""Curves closer together than this in speed ratio are drawn once."""


def density_ratio(run: History) -> float:
    """ρ/ρ₀ of the curves: the run's mean at the wheel; 1 where the rated density is not known."""
    rated = run.facts.fan_map.density
    return 1.0 if rated is None else float(np.nanmean(run.trace("fan_density"))) / rated


def density_words(run: History, system: units.System) -> str:
    """At which density the curves are drawn."""
    if run.facts.fan_map.density is None:
        return "curves at rated density"
    mean = float(np.nanmean(run.trace("fan_density")))
    return f"curves at the run's mean density {units.show(mean, 'density', system)}"


def draw(
    axes: Axes, run: History, points: Sequence[Point], system: units.System, flat: bool
) -> None:
    """Fill the axes; with `flat` the path is a bitmap, for runs too long to draw as lines."""
    pen = _Pen(axes, system)
    ratio = density_ratio(run)
    _curves(pen, run, [p.speed_ratio for p in points], ratio)
    _system(pen, run)
    _stall(pen, run, ratio)
    _path(pen, run, flat)
    _points(pen, points)
    axes.set_xlabel(ink.axis("Flow at the fan inlet", "Q", units.preferred("volume flow", system)))
    axes.set_ylabel(
        ink.axis("Fan static pressure rise", "Δp", units.preferred("pressure", system))
    )
    _frame(pen, _limits(run, ratio))
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, columnspacing=1.5)


class _Pen:
    """Draws SI values on axes of the reader's units."""

    def __init__(self, axes: Axes, system: units.System) -> None:
        self.axes, self.system = axes, system

    def xy(self, flow: object, rise: object) -> tuple[np.ndarray, np.ndarray]:
        """Both coordinates in the reader's units."""
        return (
            np.asarray(ink.shown(np.asarray(flow), "volume flow", self.system)),
            np.asarray(ink.shown(np.asarray(rise), "pressure", self.system)),
        )

    def line(self, flow: object, rise: object, **how: object) -> None:
        """A line through SI points."""
        self.axes.plot(*self.xy(flow, rise), **how)  # type: ignore[arg-type]


def speeds_used(at_points: Sequence[float]) -> list[float]:
    """Speed ratios worth a curve of their own beside the rated one, fastest first."""
    used: list[float] = []
    for n in sorted(at_points, reverse=True):
        if n > SLOWEST and all(abs(n - other) > SPEEDS_APART for other in [1.0, *used]):
            used.append(n)
    return used


def _curves(pen: _Pen, run: History, at_points: Sequence[float], ratio: float) -> None:
    flow, rise = np.array(run.facts.fan_map.flow), ratio * np.array(run.facts.fan_map.pressure)
    used = speeds_used(at_points)
    pen.line(flow, rise, color=ink.BLACK, lw=1.4, label="fan at rated speed")
    for n in used:
        label = "fan at speeds of the points" if n == used[0] else None
        pen.line(n * flow, n**2 * rise, color=ink.BLACK, lw=0.7, label=label)
    for n in [1.0, *used] if used else []:
        _name(pen, n, n * flow, n**2 * rise, _limits(run, ratio))


def _name(pen: _Pen, n: float, flow: np.ndarray, rise: np.ndarray, limits: "_Limits") -> None:
    """The speed, near the end of its curve that is in sight."""
    seen = (flow < 0.97 * limits.right) & (rise > 0.05 * limits.top)
    if not seen.any():
        return
    last = int(np.flatnonzero(seen)[-1])
    x, y = pen.xy(flow[last], rise[last])
    pen.axes.annotate(f"{100 * n:.0f} %", (float(x), float(y)), fontsize=6.5, ha="center",
                      va="center", bbox={"fc": "white", "ec": "none", "pad": 0.8})  # fmt: skip


def _system(pen: _Pen, run: History) -> None:
    curve = run.facts.fan_map
    pen.line(curve.system_flow, curve.system_pressure, color=ink.GREEN, ls="--", lw=1.2,
             label="process, at the start")  # fmt: skip


def _stall(pen: _Pen, run: History, ratio: float) -> None:
    curve = run.facts.fan_map
    if curve.stall_flow is None:
        return
    top = ratio * np.interp(curve.stall_flow, curve.flow, curve.pressure)
    n = np.linspace(0.0, max(1.0, float(np.nanmax(run.trace("speed_ratio")))), 60)
    pen.line(n * curve.stall_flow, n**2 * top, color=ink.VERMILION, ls="-.", lw=1.2,
             label=f"{stall_words(run)}, all speeds{_inlet_words(run)}")  # fmt: skip


def _inlet_words(run: History) -> str:
    """Vanes and box damper move the line as they close; the one drawn is that of the open inlet."""
    in_inlet = any(name.startswith("inlet") for name in run.items["element"])
    return ", inlet open" if in_inlet else ""


def _path(pen: _Pen, run: History, flat: bool) -> None:
    flow, rise = run.trace("fan_flow"), run.trace("fan_pressure")
    left = left_of_stall(run)
    pen.line(flow, rise, color=ink.BLUE, lw=0.9, alpha=0.9, rasterized=flat,
             label="path of the run")  # fmt: skip
    if left.any():
        pen.line(np.where(left, flow, np.nan), np.where(left, rise, np.nan), color=ink.VERMILION,
                 lw=1.5, rasterized=flat, label="path, left of that line")  # fmt: skip


def _points(pen: _Pen, points: Sequence[Point]) -> None:
    if not points:
        return
    x, y = pen.xy([p.flow for p in points], [p.pressure for p in points])
    pen.axes.plot(x, y, ls="none", marker="o", ms=5, mfc="white", mec=ink.BLACK, mew=1.0,
                  zorder=5, label="just before the next event")  # fmt: skip
    for marks, place in _together(points):
        px, py = pen.xy(place.flow, place.pressure)
        pen.axes.annotate(", ".join(marks), (float(px), float(py)), xytext=(5, -9),
                          textcoords="offset points", fontsize=6.5, zorder=6,
                          bbox={"fc": "white", "ec": "none", "pad": 0.3, "alpha": 0.8})  # fmt: skip


def _together(points: Sequence[Point]) -> list[tuple[list[str], Point]]:
    """Marks of points that lie on one another, gathered at the first of them."""
    wide, high = max(p.flow for p in points), max(p.pressure for p in points)
    found: list[tuple[list[str], Point]] = []
    for point in points:
        for marks, place in found:
            near = abs(point.flow - place.flow) < 0.03 * wide
            if near and abs(point.pressure - place.pressure) < 0.03 * high:
                marks.append(point.mark)
                break
        else:
            found.append(([point.mark], point))
    return found


class _Limits(NamedTuple):
    """What is in sight. SI."""

    left: float
    right: float
    low: float
    top: float


def _limits(run: History, ratio: float) -> _Limits:
    """Forward flow always; reverse flow and suction only where the run went there."""
    flow, rise = run.trace("fan_flow"), run.trace("fan_pressure")
    top = 1.12 * ratio * max(run.facts.fan_map.pressure)
    return _Limits(
        left=min(0.0, 1.1 * float(np.nanmin(flow))),
        right=max(*run.facts.fan_map.system_flow, 1.05 * float(np.nanmax(flow))),
        low=min(0.0, 1.1 * float(np.nanmin(rise))),
        top=max(top, 1.05 * float(np.nanmax(rise))),
    )


def _frame(pen: _Pen, limits: _Limits) -> None:
    x, y = pen.xy([limits.left, limits.right], [limits.low, limits.top])
    pen.axes.set_xlim(*x)
    pen.axes.set_ylim(*y)
    if limits.left < 0.0:
        pen.axes.axvline(0.0, color=ink.GREY, lw=0.7)
