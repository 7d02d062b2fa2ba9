"""One strategy run with every tuning: the setpoint step and the load step at mid-range."""

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from simfan.loop_answer import GIVEN, ROBUST, LoopAnswer, LoopRun, LoopTuning, StrategyLoop
from simfan.report import ink, map_pens
from simfan.report.map_rows import number
from simfan.report.wording import reworded
from simfan.units import System, preferred, significant

SIZE_IN = (11.69, 6.4)
BEFORE = 2.0
"""Shown before a step [s]."""
SHOWN = 25.0
"""Time shown after a step, of the longest lag and dead time together."""
ROOM = 0.12
SYMBOLS = {"flow": "Q", "pressure": "p"}
MOST_IN_FULL = 9
"""Tunings whose figures stand in the legend; those of more are in the table alone."""
HOW = {GIVEN: {"color": ink.GREY, "ls": (0, (6, 1.5)), "lw": 1.4},
       ROBUST: {"color": ink.BLACK, "ls": "-", "lw": 1.6}}
OTHERS = [{"color": c, "ls": d, "lw": 1.1} for c, d in zip(
    (*map_pens.COLOURS[1:7], *map_pens.COLOURS[1:7]),
    (*map_pens.DASHES[1:7], *["-"] * 6), strict=True)]


def picture(answer: LoopAnswer, found: StrategyLoop, system: System) -> Figure:
    """Held value above, output below; setpoint step on the left, load step on the right."""
    tunings = [t for t in found.tunings if t.run]
    how = _pens(tunings)
    with mpl.rc_context(ink.STYLE):
        figure = map_pens.sheet(SIZE_IN)
        grid = figure.subplots(2, 2, sharex="col", sharey="row", height_ratios=(1.35, 1.0))
        figure.subplots_adjust(left=0.065, right=0.735, top=0.865, bottom=0.095, hspace=0.12,
                               wspace=0.06)
        for t, line in zip(tunings, how, strict=True):
            assert t.run is not None
            _draw(grid, t.run, line, answer, system)
        _finish(grid, answer, found, tunings, system)
        _legend(grid[0, 1], tunings, how)
        map_pens.head_and_foot(figure, answer.title, ink.literal(ink.typeset(
            f"{found.name} ({found.method}), {found.tag}, in the running plant: "
            f"{reworded(answer.runs, system)}")))
    return figure


def _pens(tunings: list[LoopTuning]) -> list[dict]:
    """One that is unstable somewhere is thin, so that it does not hide the rest."""
    others = iter(OTHERS * 2)
    return [{**(HOW[t.name] if t.name in HOW else next(others)),
             **({"lw": 0.6} if t.sensitivity is None else {})} for t in tunings]


def _draw(grid: np.ndarray, run: LoopRun, line: dict, answer: LoopAnswer, system: System) -> None:
    value = ink.shown(np.asarray(run.value), answer.held_kind, system)
    for column, at in enumerate((run.step_at, run.load_at)):
        part = slice(*np.searchsorted(run.time, (at - BEFORE, _until(run, column))))
        since = np.asarray(run.time)[part] - at
        grid[0, column].plot(since, value[part], **line)
        grid[1, column].plot(since, 100.0 * np.asarray(run.output)[part], **line)


def _until(run: LoopRun, column: int) -> float:
    return run.load_at if column == 0 else float(run.time[-1])


def _finish(grid: np.ndarray, answer: LoopAnswer, found: StrategyLoop, tunings: list[LoopTuning],
            system: System) -> None:
    run = tunings[0].run
    assert run is not None
    here = found.points[len(found.points) // 2]
    room = run.load_at - run.step_at
    seen = min(room, SHOWN * ((here.lag or 1.0) + (here.dead_time or 0.0)))
    wanted = ink.shown(np.asarray(run.setpoint), answer.held_kind, system)
    for column, (at, words) in enumerate(((run.step_at, "Setpoint step"),
                                          (run.load_at, "Load step"))):
        part = slice(*np.searchsorted(run.time, (at - BEFORE, _until(run, column))))
        grid[0, column].plot(np.asarray(run.time)[part] - at, wanted[part], color=ink.VERMILION,
                             lw=0.9, ls=":", zorder=1)
        grid[0, column].set_title(words, loc="left", fontsize=8)
        grid[1, column].set_xlabel(f"Time after the {words.lower()} t [s]")
        grid[1, column].set_xlim(-BEFORE, seen)
    grid[0, 0].set_ylabel(ink.axis(f"True {answer.holds}", SYMBOLS[answer.holds],
                                        preferred(answer.held_kind, system)))
    grid[1, 0].set_ylabel(ink.axis("Controller output", "CO", "%"))
    for axes in grid[0]:
        _limit(axes, [ink.shown(np.asarray(t.run.value), answer.held_kind, system)
                      for t in _calm(tunings) if t.run])
    for axes in grid[1]:
        _limit(axes, [100.0 * np.asarray(t.run.output) for t in _calm(tunings) if t.run])


def _calm(tunings: list[LoopTuning]) -> list[LoopTuning]:
    """Those that set the axes: stable ones, so that one that swings does not hide the rest."""
    return [t for t in tunings if t.sensitivity is not None] or tunings


def _limit(axes: Axes, columns: list[np.ndarray]) -> None:
    low, high = min(float(c.min()) for c in columns), max(float(c.max()) for c in columns)
    room = ROOM * max(high - low, 1e-6)
    axes.set_ylim(low - room, high + room)
    map_pens.plain_numbers(axes)


def _legend(axes: Axes, tunings: list[LoopTuning], how: list[dict]) -> None:
    """Each tuning with its figures from the run."""
    handles = [Line2D([], [], **line) for line in how]
    handles.append(Line2D([], [], color=ink.VERMILION, lw=0.9, ls=":"))
    axes.legend(handles, [*(_words(t, len(tunings) <= MOST_IN_FULL) for t in tunings),
                             "setpoint"], loc="upper left",
                bbox_to_anchor=(1.02, 1.03), borderaxespad=0.0, labelspacing=0.7)


def _words(t: LoopTuning, in_full: bool) -> str:
    run = t.run
    assert run is not None
    derivative = f", Td {number(t.derivative)} s" if t.derivative else ""
    if not in_full:
        return f"{t.name}{'' if t.sensitivity is not None else ': unstable in the range'}"
    settles = f"settles {significant(run.settling)} s" if run.settling is not None else \
        "does not settle"
    broken = "" if t.sensitivity is not None else "; unstable in the range"
    return (f"{t.name}: Kc {number(t.gain)}, Ti {number(t.reset)} s{derivative}\n"
            f"overshoot {_short(run.overshoot)} %, {settles}\n"
            f"load IAE {_short(run.load_iae)} % s{broken}")


def _short(value: float | None) -> str:
    return number(None if value is None else round(value, 2))
