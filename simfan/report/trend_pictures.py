"""Pictures of a judged trend: recorded over simulated, panel by panel; and the difference below."""

from collections.abc import Iterable, Sequence
from functools import partial
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.report import ink
from simfan.report.names import signal_words
from simfan.report.sections import Drawing
from simfan.report.thinning import kept
from simfan.trends.answer import TrendJudgement
from simfan.trends.beside import simulated, told_as
from simfan.trends.trend import Array, Trend
from simfan.units import System, preferred

SIZE_IN = (8.3, 2.1)
"""Width of a picture, and height of one panel."""
BUCKETS = 1500
ORDER = ("setpoint", "measured_value", "true_value", "controller_output", "element_position",
         "fan_flow", "fan_pressure", "volume_pressure", "speed_ratio", "shaft_power",
         "electrical_power", "motor_load")
OF_THE_LOOP = ("setpoint", "measured_value", "true_value")
HATCHED: dict[str, Any] = {"facecolor": "#F1F1F1", "edgecolor": "#9A9A9A", "hatch": "////",
                           "lw": 0.0}
NO_SAMPLES = "no good samples"
SEEN = {
    "loop": "Of the loop, from above: how the setpoint was held, what the controller asked for, "
            "where the elements stood; dotted is the setpoint.",
    "fan": "Of the fan, panel by panel: pressure, speed and power, as far as they were recorded."}
BESIDE = (" Solid is what the plant recorded, dashed the simulated run of the same setpoints: "
          "where they part, something moved that the scenario does not know, or one of its "
          "numbers is another.")
ALONE = " What the plant recorded; no run was simulated beside it."
GAP = " Hatched: no good samples; nothing is judged there."


def drawings(answer: TrendJudgement, system: System) -> Iterable[Drawing]:
    """What the loop did, and what the fan did."""
    names = [name for part in ORDER for name in answer.trend.signals if name.startswith(part)]
    loop = [n for n in names if n.startswith((*OF_THE_LOOP, "controller", "element"))]
    fan = [n for n in names if n not in loop]
    for name, signals in (("loop", loop), ("fan", fan)):
        if signals:
            yield Drawing(f"judge/{name}", partial(_picture, answer, signals, system),
                          _seen(answer, name, signals))


def _seen(answer: TrendJudgement, name: str, signals: Sequence[str]) -> str:
    """What to see in a picture."""
    hatched = any(gap.signal in ("", *signals) for gap in answer.trend.gaps)
    return SEEN[name] + (BESIDE if answer.simulated else ALONE) + (GAP if hatched else "")


def _picture(answer: TrendJudgement, signals: Sequence[str], system: System, flat: bool) -> Figure:
    rows = _rows(signals)
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=(SIZE_IN[0], SIZE_IN[1] * len(rows) + 0.6), dpi=170,
                        layout="constrained")
        stack = list(figure.subplots(len(rows), 1, sharex=True, squeeze=False)[:, 0])
        for axes, row in zip(stack, rows, strict=True):
            _panel(axes, answer, row, system, flat)
        stack[-1].set_xlabel(ink.axis("Time", "t", "s"))
        stack[-1].set_xlim(float(answer.trend.time[0]), float(answer.trend.time[-1]))
    return figure


def _rows(signals: Sequence[str]) -> list[list[str]]:
    """The held value and its setpoint share a panel; every other signal has its own."""
    held = [name for name in signals if name in OF_THE_LOOP]
    return ([held] if held else []) + [[name] for name in signals if name not in OF_THE_LOOP]


def _panel(axes: Axes, answer: TrendJudgement, row: Sequence[str], system: System, flat: bool
           ) -> None:
    run = answer.simulated.history if answer.simulated else None
    history = answer.recorded.history
    kind, _ = told_as(row[0], history)
    unit = preferred(kind, system)
    for name in row:
        is_setpoint = name == "setpoint"
        style: dict[str, Any] = {"rasterized": flat,
                                 "color": ink.BLACK if is_setpoint else ink.BLUE}
        alone = len(row) == 1
        label = "setpoint" if is_setpoint else "recorded" if alone or name != "true_value" else (
            "recorded, undamped")
        if name == "true_value" and not alone:
            style["color"] = ink.SKY
        _line(axes, answer.trend.time, ink.shown(_open(answer.trend, name), kind, system),
              ls=":" if is_setpoint else "-", label=label, **style)
        if run is not None and not is_setpoint and (other := simulated(run, name)) is not None:
            _line(axes, run.time, ink.shown(other, kind, system), color=ink.VERMILION,
                  ls=(0, (5, 1.5)), label="simulated" if name == row[-1] else None, lw=0.9,
                  rasterized=flat)
    words = [n for n in row if n != "setpoint"] or list(row)
    axes.set_ylabel(f"{signal_words(words[0])}\n[{ink.typeset(unit)}]")
    _breaks(axes, answer.trend, row)
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 0.99), ncols=5, borderaxespad=0.0)
    axes.margins(y=0.08)


def _line(axes: Axes, time: Array, values: Array, label: str | None, **style: Any) -> None:
    """Thinned to what a picture can show, every swing kept."""
    stay = kept(time, values, BUCKETS)
    axes.plot(time[stay], values[stay], label=label, **style)


def _open(trend: Trend, name: str) -> Array:
    """The signal with a break at each gap."""
    values = trend.signals[name].copy()
    ends = np.flatnonzero(np.diff(trend.time) > trend.longest_interval_s) + 1
    values[ends] = np.nan
    return values


def _breaks(axes: Axes, trend: Trend, row: Sequence[str]) -> None:
    """Gaps of the file and of the panel's own signals hatched, with their place in the legend."""
    label = NO_SAMPLES
    for gap in trend.gaps:
        if gap.signal in ("", *row):
            axes.axvspan(gap.start_s, gap.end_s, zorder=0.1, label=label, **HATCHED)
            label = "_more"
