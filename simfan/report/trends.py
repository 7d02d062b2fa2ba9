"""Trends of one run: stacked panels over one time axis."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from simfan import units
from simfan.history import History
from simfan.report import ink
from simfan.report.marks import Event, Span
from simfan.signals import SIGNALS

BELOW = (1.0, 1.0, 0.8, 1.0)
"""Heights of the panels of elements, pressure, speed and motor load."""
HELD_AXES = {"mass flow": ("Held mass flow", "ṁ"), "pressure": ("Held pressure", "p")}
"""Name and symbol of what is held; a volume flow shares the panel of the fan's flow."""


def heights(run: History) -> tuple[float, ...]:
    """Of the panels from the top: one more where what is held has an axis of its own."""
    return (1.4, 1.2, *BELOW) if run.facts.held_kind in HELD_AXES else (1.7, *BELOW)


def draw(
    panels: Sequence[Axes],
    run: History,
    events: Sequence[Event],
    spans: Sequence[Span],
    system: units.System,
) -> None:
    """Fill axes that share their time axis, from what is held at the top to motor load.

    There are as many as `heights` has numbers.
    """
    top, *flow, elements, pressure, speed, load = panels
    if flow:
        _held(top, run, system)
    _flow(flow[0] if flow else top, run, system, with_held=not flow)
    _elements(elements, run)
    _pressure(pressure, run, system)
    _speed(speed, run, system)
    _load(load, run)
    for axes in panels:
        _mark(axes, events, spans)
        axes.set_xlim(run.time[0], run.time[-1])
        axes.margins(y=0.08)
        high = 1.05 if axes is top else 0.99
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, high), ncols=4, borderaxespad=0.0)
        axes.tick_params(labelbottom=axes is load)
    _number(top, events)
    load.set_xlabel(ink.axis("Time", "t", "s"))


def _line(
    axes: Axes, run: History, system: units.System, trace: str, label: str, **how: Any
) -> None:
    kind = SIGNALS[trace].kind
    values = ink.shown(run.trace(trace), run.facts.held_kind if kind == "held" else kind, system)
    axes.plot(run.time, values, label=f"{label} {ink.symbol(trace)}", **how)


def _held(axes: Axes, run: History, system: units.System) -> None:
    """A quantity that shares no axis with the fan's flow: true, measured and wanted."""
    kind = run.facts.held_kind
    _line(axes, run, system, "true_value", "true", color=ink.SKY, lw=0.9)
    _measured_and_wanted(axes, run, system)
    name, sign = HELD_AXES[kind]
    axes.set_ylabel(ink.axis(name, sign, units.preferred(kind, system)))


def _measured_and_wanted(axes: Axes, run: History, system: units.System) -> None:
    _line(axes, run, system, "measured_value", "measured", color=ink.BLUE)
    _line(axes, run, system, "setpoint", "setpoint", color=ink.BLACK, ls="--", lw=0.9)


def _flow(axes: Axes, run: History, system: units.System, with_held: bool) -> None:
    _line(axes, run, system, "fan_flow", "true fan flow", color=ink.SKY, lw=0.9)
    if np.isfinite(run.trace("stall_flow")).any():
        _line(axes, run, system, "stall_flow", stall_words(run), color=ink.VERMILION, ls="-.",
              lw=0.9)  # fmt: skip
    if with_held:
        _measured_and_wanted(axes, run, system)
    axes.set_ylabel(ink.axis("Flow", "Q", units.preferred("volume flow", system)))


def stall_words(run: History) -> str:
    """What the stall line is, by what it rests on."""
    basis = run.facts.fan_map.stall_basis
    return "stall point" if "stall" in basis else "peak of the curve"


def _elements(axes: Axes, run: History) -> None:
    for i, name in enumerate(run.items["element"]):
        colour, line = ink.ELEMENT_LINES[i % len(ink.ELEMENT_LINES)]
        demand = 100.0 * run.trace("element_demand", i)
        stands = 100.0 * run.trace("element_position", i)
        axes.plot(run.time, demand, color=ink.GREY, ls=":", label=f"{name}, demand u")
        axes.plot(run.time, stands, color=colour, ls=line, label=f"{name}, position y")
    axes.set_ylabel(ink.axis("Element", "y", "%"))


def _pressure(axes: Axes, run: History, system: units.System) -> None:
    rise = ink.shown(run.trace("fan_pressure"), "pressure", system)
    axes.plot(run.time, rise, color=ink.BLUE, label="fan static pressure rise Δp")
    taken = run.traces["element_pressure"]
    for i, name in enumerate(run.items["element"]):
        if np.any(taken[:, i]):
            loss = ink.shown(taken[:, i], "pressure", system)
            label = f"taken by {name} {ink.symbol('element_pressure')}"
            axes.plot(run.time, loss, color=ink.ORANGE, ls="-.", lw=0.9, label=label)
    axes.set_ylabel(ink.axis("Pressure", "Δp", units.preferred("pressure", system)))


def _speed(axes: Axes, run: History, system: units.System) -> None:
    unit = units.preferred("rotation speed", system)
    speed = run.trace("speed_ratio") * run.facts.rated_speed
    values = ink.shown(speed, "rotation speed", system)
    axes.plot(run.time, values, color=ink.BLUE, label="fan speed N")
    axes.set_ylabel(ink.axis("Speed", "N", unit))
    if np.ptp(values) < 0.02 * abs(np.mean(values)):  # or the slip of a motor fills the panel
        axes.set_ylim(0.0, 1.25 * np.max(values))


def _load(axes: Axes, run: History) -> None:
    load = 100.0 * run.trace("motor_load")
    axes.plot(run.time, load, color=ink.BLUE, label=f"motor load {ink.symbol('motor_load')}")
    axes.axhline(100.0, color=ink.VERMILION, ls="-.", lw=0.9, label="may be given for good")
    axes.set_ylabel(ink.axis("Motor load", ink.symbol("motor_load"), "%"))


def _mark(axes: Axes, events: Sequence[Event], spans: Sequence[Span]) -> None:
    for event in events:
        axes.axvline(event.at_s, color=ink.GREY, lw=0.6, ls=(0, (1, 2)), zorder=0.5)
    for span in spans:
        axes.axvspan(span.start_s, span.end_s, facecolor="#F1F1F1", edgecolor="#CFCFCF",
                     hatch="////", lw=0.0, zorder=0.1)  # fmt: skip


def _number(axes: Axes, events: Sequence[Event]) -> None:
    for event in events:
        axes.annotate(
            event.mark, (event.at_s, 1.0), xycoords=("data", "axes fraction"), va="center",
            ha="center", fontsize=6.5,
            bbox={"boxstyle": "circle,pad=0.2", "fc": "white", "ec": ink.GREY, "lw": 0.6},
        )  # fmt: skip
