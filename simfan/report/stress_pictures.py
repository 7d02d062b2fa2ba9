"""The pictures of `simfan stress`, for its folder and its page."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from simfan.report.names import file_names
from simfan.report.sections import Drawing, Fragment, Section
from simfan.report.stress_words import axis, required, value, varied
from simfan.stress_answer import STOPPED, StressAnswer, Trail, Verdict
from simfan.units import System, significant

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TOLD = 4
"""Inputs named over a worst run."""
ACROSS = 76
"""Letters in a line over it."""
FOLDER = "stress"
"""Of the pictures, beside stress.json."""


def names(answer: StressAnswer, system: System) -> list[str]:
    """The requirements in words."""
    return [required(v.requirement, system) for v in answer.verdicts]


def all_runs(answer: StressAnswer) -> Trail:
    """Even sample, search and fresh runs."""
    return Trail(np.vstack([answer.searched.points, answer.fresh.points]),
                 np.vstack([answer.searched.distances, answer.fresh.distances]))


def broken(answer: StressAnswer) -> list[int]:
    """Columns of the requirements that a run broke, whether it came to its end or not."""
    return [k for k, v in enumerate(answer.verdicts) if v.worst.distance < 0.0]


def _distances(answer: StressAnswer, system: System) -> Iterable[Drawing]:
    if answer.verdicts:
        yield Drawing(f"{FOLDER}/distances", partial(_distances_of, answer, system))


def _distances_of(answer: StressAnswer, system: System, flat: bool) -> Figure:
    from simfan.report.stress_histograms import picture

    fresh = len(answer.fresh.points) > 0
    sample = (answer.fresh.distances if fresh else answer.searched.distances[:answer.sampled])
    drawn = {"random": "drawn at random", "grid": "on a grid"}.get(
        answer.sampling if fresh else "sobol", "spread evenly")
    return picture(answer.title, f"{answer.strategy}: how far {len(sample)} runs {drawn} stay from "
                   "each limit", names(answer, system), sample)


def _regions(answer: StressAnswer, system: System) -> Iterable[Drawing]:
    for k in broken(answer):
        name = answer.verdicts[k].requirement.name
        yield Drawing(f"{FOLDER}/region-{name}", partial(_region_of, answer, k, system))


def _region_of(answer: StressAnswer, column: int, system: System, flat: bool) -> Figure:
    from simfan.report.stress_region import most_important, picture

    runs, found = all_runs(answer), answer.verdicts[column]
    indices = next((s for s in answer.sensitivity if s.requirement == column), None)
    pair = most_important(indices, runs, column)
    return picture(answer.title, f"{answer.strategy}, {names(answer, system)[column]}: "
                   f"{len(runs.points)} runs, laid out and searched",
                   [axis(one, system) for one in answer.inputs], runs, column, pair,
                   answer.nominal, found.worst, found.broken_at_nominal, found.change)


def _ramps(answer: StressAnswer, system: System) -> Iterable[Drawing]:
    if answer.ramps is not None:
        yield Drawing(f"{FOLDER}/ramps", partial(_ramps_of, answer, system))


def _ramps_of(answer: StressAnswer, system: System, flat: bool) -> Figure:
    from simfan.report.stress_ramps import picture

    assert answer.ramps is not None
    return picture(answer.title, f"{answer.strategy}: how fast the setpoint may move",
                   names(answer, system),
                   [(answer.ramps, answer.ramp_table),
                    *([(answer.ramps_over, answer.ramp_table_over)] if answer.ramps_over else [])],
                   answer.held_kind, system)


def worst_runs(answer: StressAnswer) -> list[list[int]]:
    """Columns of the requirements whose worst run is worth a picture, those with the same run
    together: the broken ones, or else the one with the least room."""
    columns = [k for k in broken(answer) if answer.verdicts[k].history is not None]
    if not columns:
        kept = [k for k, v in enumerate(answer.verdicts) if v.history is not None]
        columns = sorted(kept, key=lambda k: answer.verdicts[k].worst.distance)[:1]
    found: list[list[int]] = []
    for k in columns:
        for group in found:
            if np.array_equal(_point(answer, group[0]), _point(answer, k)):
                group.append(k)
                break
        else:
            found.append([k])
    return found


def _point(answer: StressAnswer, column: int) -> np.ndarray:
    return answer.verdicts[column].worst.point


def _worst(answer: StressAnswer, system: System) -> Iterable[Drawing]:
    groups = worst_runs(answer)
    files = file_names([answer.verdicts[g[0]].requirement.name for g in groups])
    for group, file in zip(groups, files, strict=True):
        yield Drawing(f"{FOLDER}/worst-{file}", partial(_worst_of, answer, group, system))


def _worst_of(answer: StressAnswer, columns: list[int], system: System, flat: bool) -> Figure:
    from simfan.report.stress_worst import picture

    verdicts = [answer.verdicts[k] for k in columns]
    run = verdicts[0].history
    assert run is not None
    told = "; ".join(f"{required(v.requirement, system)}: {room(v)}" for v in verdicts)
    return picture(answer.title, f"{answer.strategy}, worst run beside the nominal one. {told}",
                   ("Nominal", answer.nominal_history),
                   (f"Worst found\n{_differs(answer, columns[0], system)}", run), system, flat)


def _differs(answer: StressAnswer, column: int, system: System) -> str:
    """The inputs furthest from nominal, in the worst run of a requirement."""
    away = np.abs(_point(answer, column) - answer.nominal)
    order = [k for k in np.argsort(-away, kind="stable") if away[k] > 0.0][:TOLD]
    values, inputs = answer.verdicts[column].values, [answer.inputs[k] for k in order]
    return "\n".join(wrap(", ".join(f"{one.name} {value(one, values[one.name], system)}"
                                    for one in inputs), ACROSS))


def room(verdict: Verdict) -> str:
    """Such as "12 % beyond", of the limit's scale."""
    distance = verdict.worst.distance
    if distance <= STOPPED:
        return "stopped on its numbers"
    return f"{significant(abs(100.0 * distance))} % {'beyond' if distance < 0.0 else 'of room'}"


def _sensitivity(answer: StressAnswer, system: System) -> Iterable[Drawing]:
    if any(not np.isnan(s.total).all() for s in answer.sensitivity):
        yield Drawing(f"{FOLDER}/sensitivity", partial(_sensitivity_of, answer, system))


def _sensitivity_of(answer: StressAnswer, system: System, flat: bool) -> Figure:
    from simfan.report.stress_bars import picture

    drawn = picture(answer.title, f"{answer.strategy}: which inputs make the room to a limit vary; "
                    f"{answer.sensitivity[0].runs} runs",
                    names(answer, system), [varied(one) for one in answer.inputs],
                    answer.sensitivity)
    assert drawn is not None
    return drawn


def _html(drawings: Callable[[StressAnswer, System], Iterable[Drawing]], what: str
          ) -> Callable[[StressAnswer, System], Fragment | None]:
    """The drawings on a page, each named after its file."""
    def made(answer: StressAnswer, system: System) -> Fragment | None:
        from markupsafe import Markup

        from simfan.report.inline import figure

        drawn = [figure(d, what) for d in drawings(answer, system)]
        return Fragment(Markup("").join(drawn)) if drawn else None

    return made


DISTANCES = Section("stress-distances", "How far the runs stay from each limit",
                    drawings=_distances, html=_html(_distances, "A histogram for each limit"))
REGIONS = Section("stress-regions", "Where it fails", drawings=_regions,
                  html=_html(_regions, "All runs over the two inputs that matter most"))
RAMPS = Section("stress-ramps-drawn", "How fast the setpoint may move", drawings=_ramps,
                html=_html(_ramps, "The fastest ramp from where to where"))
WORST = Section("stress-worst", "The worst run", drawings=_worst,
                html=_html(_worst, "The worst run found beside the nominal one"))
SENSITIVITY = Section("stress-sensitivity", "Which inputs matter", drawings=_sensitivity,
                      html=_html(_sensitivity, "Share of each input in how the room varies"))
DRAWN = (RAMPS, DISTANCES, REGIONS, WORST, SENSITIVITY)
"""In the order of the page."""
