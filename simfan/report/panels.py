"""What the trends of a run show, panel by panel: the same for the picture and the page."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from simfan import units
from simfan.history import History
from simfan.report import ink
from simfan.signals import SIGNALS

HELD_AXES = {"mass flow": ("Held mass flow", "ṁ"), "pressure": ("Held pressure", "p")}
"""Name and symbol of what is held; a volume flow shares the panel of the fan's flow."""
STEADY = 0.02
"""A speed that moves less than this share of itself is shown from zero, or a motor's slip fills
the panel."""


@dataclass(frozen=True)
class Line:
    """One trace in the reader's unit."""

    name: str
    sign: str
    """Symbol."""
    values: np.ndarray
    """(n_samples,) in the panel's unit."""
    colour: str
    dash: Any = "-"
    """As matplotlib names it."""
    thin: bool = False
    main: bool = False
    """Stands for its strategy where several are laid over one another."""


@dataclass(frozen=True)
class Panel:
    """Lines over time against one axis."""

    name: str
    sign: str
    unit: str
    height: float
    """Share of the picture's height."""
    lines: tuple[Line, ...]
    limits: tuple[float, float] | None = None
    """Of the axis; None where the lines say it."""

    @property
    def axis(self) -> str:
        """Name, symbol and unit."""
        return ink.axis(self.name, self.sign, self.unit)


def panels(run: History, system: units.System) -> tuple[Panel, ...]:
    """From what is held at the top to motor load."""
    apart = run.facts.held_kind in HELD_AXES
    top = (_held(run, system),) if apart else ()
    return (*top, _flow(run, system, apart), _elements(run), _pressure(run, system),
            _speed(run, system), _load(run))  # fmt: skip


def stall_words(run: History) -> str:
    """What the stall line is, by what it rests on."""
    return "stall point" if "stall" in run.facts.fan_map.stall_basis else "peak of the curve"


def _line(run: History, system: units.System, trace: str, name: str, colour: str, **how: Any,
          ) -> Line:
    kind = SIGNALS[trace].kind
    values = ink.shown(run.trace(trace), run.facts.held_kind if kind == "held" else kind, system)
    return Line(name, SIGNALS[trace].symbol, values, colour, **how)


def _held(run: History, system: units.System) -> Panel:
    """A quantity that shares no axis with the fan's flow: true, measured and wanted."""
    name, sign = HELD_AXES[run.facts.held_kind]
    true = _line(run, system, "true_value", "true", ink.SKY, thin=True, main=True)
    return Panel(name, sign, units.preferred(run.facts.held_kind, system), 1.4,
                 (true, *_measured_and_wanted(run, system)))  # fmt: skip


def _measured_and_wanted(run: History, system: units.System) -> tuple[Line, Line]:
    return (_line(run, system, "measured_value", "measured", ink.BLUE),
            _line(run, system, "setpoint", "setpoint", ink.BLACK, dash="--", thin=True))


def _flow(run: History, system: units.System, alone: bool) -> Panel:
    lines = [_line(run, system, "fan_flow", "true fan flow", ink.SKY, thin=True, main=True)]
    if np.isfinite(run.trace("stall_flow")).any():
        lines.append(_line(run, system, "stall_flow", stall_words(run), ink.VERMILION, dash="-.",
                           thin=True))  # fmt: skip
    if not alone:
        lines += _measured_and_wanted(run, system)
    return Panel("Flow", "Q", units.preferred("volume flow", system), 1.2 if alone else 1.7,
                 tuple(lines))  # fmt: skip


SHUTTER_DASHES = ("-.", "--")
"""Of check and isolation damper."""


def _elements(run: History) -> Panel:
    return Panel("Element", "y", "%", 1.0, tuple(_of_elements(run)))


def _of_elements(run: History) -> Iterable[Line]:
    for i, name in enumerate(run.items["element"]):
        colour, dash = ink.ELEMENT_LINES[i % len(ink.ELEMENT_LINES)]
        demand, stands = (100.0 * run.trace(t, i) for t in ("element_demand", "element_position"))
        yield Line(f"{name}, demand", "u", demand, ink.GREY, ":")
        yield Line(name, "y", stands, colour, dash, main=True)
    for i, name in enumerate(run.items.get("shutter", ())):
        yield Line(name, SIGNALS["shutter_position"].symbol,
                   100.0 * run.trace("shutter_position", i), ink.BLACK, SHUTTER_DASHES[i % 2])


def _pressure(run: History, system: units.System) -> Panel:
    lines = [_line(run, system, "fan_pressure", "fan static pressure rise", ink.BLUE, main=True)]
    taken = run.traces["element_pressure"]
    for i, name in enumerate(run.items["element"]):
        if np.any(taken[:, i]):
            lines.append(Line(f"taken by {name}", SIGNALS["element_pressure"].symbol,
                              ink.shown(taken[:, i], "pressure", system), ink.ORANGE, "-.",
                              thin=True))  # fmt: skip
    return Panel("Pressure", "Δp", units.preferred("pressure", system), 1.0, tuple(lines))


def _speed(run: History, system: units.System) -> Panel:
    values = ink.shown(run.trace("speed_ratio") * run.facts.rated_speed, "rotation speed", system)
    steady = np.ptp(values) < STEADY * abs(np.mean(values))
    return Panel("Speed", "N", units.preferred("rotation speed", system), 0.8,
                 (Line("fan speed", "N", values, ink.BLUE, main=True),),
                 (0.0, 1.25 * float(np.max(values))) if steady else None)  # fmt: skip


def _load(run: History) -> Panel:
    sign, load = SIGNALS["motor_load"].symbol, 100.0 * run.trace("motor_load")
    most = Line("continuous rating", "", np.full_like(load, 100.0), ink.VERMILION, "-.",
                thin=True)  # fmt: skip
    return Panel("Motor load", sign, "%", 1.0,
                 (Line("motor load", sign, load, ink.BLUE, main=True), most))  # fmt: skip
