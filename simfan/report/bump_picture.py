"""The record of a bump or relay test drawn: reading with its models, output and positions below."""

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.experiment_answer import BumpTest, FittedModel, LoopTest, Record, RelayTest
from simfan.report import ink
from simfan.report.map_pens import plain_numbers, sheet
from simfan.units import System, preferred, show, significant

CAUTION = "A test on a model: the maker's curve, local codes and licensed practice rule."
ROOM = 0.5
"""Of the output's range, by which positions may leave it and share its scale."""
FIT_LINES = ((ink.VERMILION, "-"), (ink.BLUE, (0, (5, 1.5))))


def picture(test: BumpTest | RelayTest, system: System) -> Figure:
    """Reading above, output and positions of the elements below."""
    with mpl.rc_context(ink.STYLE):
        figure = sheet()
        above = figure.add_axes((0.09, 0.45, 0.66, 0.42))
        below = figure.add_axes((0.09, 0.12, 0.66, 0.27), sharex=above)
        _reading(above, test, system)
        if isinstance(test, BumpTest):
            _fits(above, test, system)
        else:
            _band(above, test, system)
        _output(below, test)
        for axes in (above, below):
            plain_numbers(axes)
            axes.legend(loc="upper left", bbox_to_anchor=(1.01 if axes is above else 1.09, 1.0),
                        borderaxespad=0.0)
        above.tick_params(labelbottom=False)
        _head_and_foot(figure, test, system)
    return figure


def _reading(axes: Axes, test: LoopTest, system: System) -> None:
    """At every scan, held until the next."""
    record, kind = test.record, test.held_kind
    axes.step(record.time, ink.shown(record.reading, kind, system), where="post", color=ink.BLACK,
              lw=0.8, label="reading")
    axes.set_ylabel(f"Reading [{ink.typeset(preferred(kind, system))}]")
    axes.set_xlim(0.0, float(record.time[-1]))


def _fits(axes: Axes, test: BumpTest, system: System) -> None:
    kind, time = test.held_kind, test.record.time
    for fit, (colour, dashes) in zip(test.fits, FIT_LINES, strict=False):
        ends = [ink.shown(fit.curve + side * fit.band, kind, system) for side in (-1.0, 1.0)]
        axes.fill_between(time, *ends, color=colour, alpha=0.18, lw=0.0)
        axes.plot(time, ink.shown(fit.curve, kind, system), color=colour, ls=dashes,
                  label=_words(fit))


def _words(fit: FittedModel) -> str:
    """A model in the legend, its 95 % bands behind it."""
    def said(name: str, sign: str, unit: str) -> str:
        value = getattr(fit.model, name)
        return f"\n  {sign} {significant(value)} ± {significant(fit.half_width[name], 2)}{unit}"

    second = fit.model.second_lag is not None
    return (("second" if second else "first") + " order, 95 % band"
            + said("gain", "K", " % per %") + said("lag", "τ₁" if second else "τ", " s")
            + (said("second_lag", "τ₂", " s") if second else "") + said("dead_time", "θ", " s"))


def _band(axes: Axes, test: RelayTest, system: System) -> None:
    """The band in which the relay does not switch, and the swing."""
    kind = test.held_kind
    low, high = (ink.shown(test.held + side * test.hysteresis, kind, system)
                 for side in (-1.0, 1.0))
    axes.axhspan(low, high, color=ink.ORANGE, alpha=0.25, lw=0.0,
                 label=f"band ±{ink.typeset(show(test.hysteresis, kind, system))}")
    for side in (-1.0, 1.0):
        axes.axhline(ink.shown(test.held + side * test.swing, kind, system), color=ink.VERMILION,
                     lw=0.8, ls=(0, (4, 2)), label=None if side < 0.0 else _swing(test, system))


def _swing(test: RelayTest, system: System) -> str:
    return (f"swing ±{ink.typeset(show(test.swing, test.held_kind, system))}\n"
            f"  period {significant(test.ultimate_period)} s\n"
            f"  gain {significant(test.ultimate_gain)} % per %")


def _output(axes: Axes, test: LoopTest) -> None:
    record = test.record
    axes.step(record.time, 100.0 * record.output, where="post", color=ink.BLACK, label="output")
    alike = _alike(record)
    other = axes if alike else axes.twinx()
    if not alike:
        other.grid(False)
        other.spines["right"].set_visible(True)
        other.set_ylabel("Position [%]")
        plain_numbers(other)
    for name, column, (colour, dashes) in zip(test.elements, record.position.T, ink.ELEMENT_LINES,
                                              strict=False):
        if np.ptp(column) > 0.0:
            other.plot(record.time, 100.0 * column, color=colour, ls=dashes)
            axes.plot([], [], color=colour, ls=dashes, label=name + ("" if alike else " (right)"))
    axes.set_ylabel("Output and position [%]" if alike else "Output [%]")
    axes.set_xlabel("Time [s]")


def _alike(record: Record) -> bool:
    """Whether one scale serves output and positions: all that move do so in the same range."""
    low, high = float(record.output.min()), float(record.output.max())
    room = ROOM * (high - low)
    moving = record.position[:, np.ptp(record.position, axis=0) > 0.0]
    return bool((moving > low - room).all() and (moving < high + room).all())


def _head_and_foot(figure: Figure, test: LoopTest, system: System) -> None:
    from simfan import __version__

    height, kind = figure.get_figheight(), test.held_kind
    what = "Bump test" if isinstance(test, BumpTest) else "Relay test"
    figure.text(0.015, 1.0 - 0.1 / height, ink.literal(test.title), va="top", fontsize=10.5,
                fontweight="bold")
    figure.text(0.015, 1.0 - 0.34 / height, ink.literal(
        f"{what}: {test.strategy} at {ink.typeset(show(test.held, kind, system))}, output "
        f"±{significant(100.0 * test.size)} %"), va="top", fontsize=8.5)
    figure.text(0.015, 0.08 / height, f"simfan {__version__}. {CAUTION}", fontsize=6.5,
                color="#444444")
