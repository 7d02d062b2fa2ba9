"""A fit drawn: measured, before and fitted; residuals in time, by size, and against their
neighbours."""

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.fit_answer import FitAnswer, SignalFit
from simfan.report import ink
from simfan.report.map_pens import plain_numbers, sheet
from simfan.report.names import signal_words
from simfan.units import System, preferred, significant

CAUTION = ("A fit holds where the trend was: the maker's data, local codes and licensed practice "
           "rule.")
SIZE = (8.6, 6.2)
BINS = 31
FAR_APART, FAR_SHARE = 5.0, 0.01
"""A line is broken between samples further apart: usual intervals, and share of the trend."""
WITHIN = 1.96
"""Standard deviations about the mean with 95 % of normal numbers."""
SEEN = ("Above: the trend (grey), the model with the scenario's numbers (dashed) and with the "
        "fitted ones (solid), broken where nothing was compared. Below it what the fitted model "
        "leaves, in units of the noise: noise alone stays in the band 95 % of the time, and drifts "
        "nowhere. At the bottom left its sizes beside those of noise alone, at the bottom right "
        "how alike residuals are so many samples apart: bars far outside the band are something "
        "that the model does not know.")


def picture(answer: FitAnswer, signal: SignalFit, system: System, flat: bool = False) -> Figure:
    """One signal, four axes."""
    with mpl.rc_context(ink.STYLE):
        figure = sheet(SIZE)
        above = figure.add_axes((0.085, 0.56, 0.89, 0.335))
        middle = figure.add_axes((0.085, 0.345, 0.89, 0.17), sharex=above)
        sizes = figure.add_axes((0.085, 0.09, 0.38, 0.165))
        near = figure.add_axes((0.595, 0.09, 0.38, 0.165))
        _values(above, signal, system)
        _in_time(middle, signal)
        _by_size(sizes, signal)
        _alike(near, signal)
        for axes in figure.axes:
            plain_numbers(axes)
            axes.set_rasterized(flat and axes in (above, middle))
        above.tick_params(labelbottom=False)
        _head_and_foot(figure, answer, signal)
    return figure


def seen(signal: SignalFit) -> str:
    """What to see in the picture of a signal."""
    return f"{name_of(signal)}. {SEEN}"


def name_of(signal: SignalFit) -> str:
    """As a head has it."""
    words = signal_words(signal.name)
    return words[:1].upper() + words[1:]


def _values(axes: Axes, signal: SignalFit, system: System) -> None:
    def shown(values: np.ndarray) -> np.ndarray:
        return np.asarray(ink.shown(values, signal.kind, system))

    _line(axes, signal.time, shown(signal.measured), color=ink.GREY, lw=2.0, alpha=0.55,
          label="measured")
    _line(axes, signal.time, shown(signal.modelled_before), color=ink.VERMILION, ls=(0, (5, 2)),
          label="model, scenario's numbers")
    _line(axes, signal.time, shown(signal.modelled), color=ink.BLUE, label="model, fitted numbers")
    unit = preferred(signal.kind, system)
    axes.set_ylabel(f"{name_of(signal)} [{ink.typeset(unit)}]")
    axes.set_xlim(float(signal.time[0]), float(signal.time[-1]))
    _legend(axes)


def _legend(axes: Axes) -> None:
    """Above the axes, where it covers nothing."""
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3, borderaxespad=0.1)


def _line(axes: Axes, time: np.ndarray, values: np.ndarray, **style: Any) -> None:
    """Broken where nothing was compared for long."""
    far = max(FAR_APART * float(np.median(np.diff(time))), FAR_SHARE * float(time[-1] - time[0]))
    ends = np.flatnonzero(np.diff(time) > far) + 1
    axes.plot(np.insert(time, ends, time[ends]), np.insert(values, ends, np.nan), **style)


def _in_time(axes: Axes, signal: SignalFit) -> None:
    axes.axhspan(-WITHIN, WITHIN, color=ink.SKY, alpha=0.35, lw=0.0, label="noise alone, 95 %")
    _line(axes, signal.time, signal.residual, color=ink.BLACK, lw=0.5, label="residual")
    _legend(axes)
    axes.set_ylabel("Residual / noise")
    axes.set_xlabel("Time [s]")


def _by_size(axes: Axes, signal: SignalFit) -> None:
    """The histogram beside the normal curve of the noise."""
    far = max(4.0, float(np.quantile(np.abs(signal.residual), 0.995)))
    axes.hist(np.clip(signal.residual, -far, far), bins=BINS, range=(-far, far), density=True,
              color=ink.GREY, alpha=0.6, label="residuals")
    x = np.linspace(-far, far, 201)
    axes.plot(x, np.exp(-0.5 * x**2) / np.sqrt(2.0 * np.pi), color=ink.BLUE, label="noise alone")
    axes.set_xlabel("Residual / noise")
    axes.set_ylabel("Density")
    _legend(axes)


def _alike(axes: Axes, signal: SignalFit) -> None:
    """The autocorrelation, and the band of 95 % of a residual without memory."""
    lags = np.arange(1, signal.correlation.size)
    band = WITHIN / np.sqrt(signal.samples)
    axes.axhspan(-band, band, color=ink.SKY, alpha=0.35, lw=0.0, label="without memory, 95 %")
    axes.vlines(lags, 0.0, signal.correlation[1:], color=ink.BLACK, lw=0.9)
    axes.axhline(0.0, color=ink.BLACK, lw=0.6)
    axes.set_xlim(0.0, max(2.0, float(signal.correlation.size)))
    largest = float(np.max(np.abs(signal.correlation[1:]), initial=0.0))
    axes.set_ylim(-max(0.3, 1.1 * largest), max(0.3, 1.1 * largest))
    axes.set_xlabel("Samples apart")
    axes.set_ylabel("Autocorrelation")
    _legend(axes)


def _head_and_foot(figure: Figure, answer: FitAnswer, signal: SignalFit) -> None:
    from simfan import __version__

    height = figure.get_figheight()
    figure.text(0.015, 1.0 - 0.1 / height, ink.literal(answer.title), va="top", fontsize=10.5,
                fontweight="bold")
    verdict = "noise explains it" if signal.explained else "noise does not explain it"
    figure.text(0.015, 1.0 - 0.34 / height, ink.literal(
        f"{name_of(signal)}, {answer.strategy}: residual {significant(signal.before, 2)} times the "
        f"noise before, {significant(signal.left, 2)} after: {verdict}"), va="top", fontsize=8.5)
    figure.text(0.015, 0.08 / height, f"simfan {__version__}. {CAUTION}", fontsize=6.5,
                color="#444444")
