"""The page of `simfan stress`: what was found of each requirement, what breaks it, how sure."""

from collections.abc import Iterator
from math import ceil
from pathlib import Path

import numpy as np
from rich.console import Group, RenderableType

from simfan.report.items import hanging, item
from simfan.report.sections import Section
from simfan.report.stress_limits import ramps, tolerances
from simfan.report.stress_pictures import DRAWN
from simfan.report.stress_words import required, rounded, value, varied
from simfan.report.terminal import Words
from simfan.report.tune_tables import Rows
from simfan.report.wording import reworded
from simfan.stress_answer import (
    STOPPED,
    Sensitivity,
    SmallestChange,
    StressAnswer,
    Verdict,
)
from simfan.units import System, significant

CAUTIONS = (
    "Runs of a model: that none was found to fail does not mean that none fails, and a share of "
    "this space is no share of what a plant may meet.",
    "Statements of confidence hold for the space as it is written under [stress], and for runs at "
    "random alone; searched runs are left out of them.",
    "Ramp limits are a beginning for the control system, to be proved on the plant with the stall "
    "line, motor and draft watched; they are no protection.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
)

ROOM = ("room: distance to the limit as a share of it; for a settling time of the settling band's "
        "half width, for stall margin and surge of the flow at the stall line; below zero the "
        "requirement is broken.")
LAID = {"random": "at random", "sobol": "evenly (Sobol)", "grid": "on a grid"}
"""How runs were laid out before the search, in words."""


def _what(answer: StressAnswer, system: System) -> RenderableType:
    more = f", and {answer.tolerance_runs} of tuning and actuators" if answer.tolerance_runs else ""
    lines = [f"{answer.strategy} ({answer.method}): {answer.runs} runs, of them "
             f"{len(answer.fresh.points)} {LAID[answer.sampling]}{more}; seed {answer.seed}"]
    if answer.stopped_early:
        lines.append(f"ended early: {answer.stopped_early}; this is what was done by then")
    return Group(*map(Words, lines))


def _varied(answer: StressAnswer, system: System) -> RenderableType:
    heads = ("Varied", "lowest", "highest", "nominal\nrun", "spread")
    rows = [[varied(one), *(value(one, one.value(u), system) for u in (0.0, 1.0, float(at))),
             one.form] for one, at in zip(answer.inputs, answer.nominal, strict=True)]
    return Rows(heads, lambda miss: rows)


def _table(answer: StressAnswer, system: System) -> RenderableType:
    heads = ("Requirement", "worst\nroom %", f"failed\n{LAID[answer.sampling]}",
             "may fail\nup to %", "smallest change\nthat breaks it")

    def rows(miss: str) -> list[list[str]]:
        found = [[required(v.requirement, system), _room(v, miss), f"{v.failures} of {v.fresh}",
                  _bound(v.failure_bound), _smallest(v, answer, system)]
                 for v in answer.verdicts]
        if answer.joint:
            found.append(["Any of them", "", f"{answer.joint.failures} of {answer.joint.runs}",
                          _bound(answer.joint.bound), ""])
        return found

    confidence = answer.verdicts[0].confidence if answer.verdicts else 0.95
    may = (f"May fail: the largest share of this space that the runs at random leave believable, "
           f"with {100.0 * confidence:g} % confidence." if answer.sampling == "random" else
           "Only runs at random say how much may fail.")
    note = f"{ROOM} {may}"
    return Group(Rows(heads, rows), Words(note, style="dim"))


def _bound(share: float | None) -> str:
    return "-" if share is None else _up(100.0 * share)


def _room(found: Verdict, miss: str) -> str:
    distance = found.worst.distance
    if distance <= STOPPED:
        return f"{miss} no run"
    sign = f"{miss} " if distance < 0.0 else ""
    return f"{sign}{significant(100.0 * distance)}"


def _up(percent: float) -> str:
    """To three digits, rounded to the doubtful side."""
    return significant(rounded(percent, 3, ceil)) if percent > 0.0 else "0"


def _smallest(found: Verdict, answer: StressAnswer, system: System) -> str:
    if found.broken_at_nominal:
        return "none needed"
    if found.change is None:
        return "none found" if found.worst.distance >= 0.0 else "see worst"
    return _changed(found.change, answer, system)


def _changed(change: SmallestChange, answer: StressAnswer, system: System) -> str:
    """Such as "to 3.2 m3/s" of one input, or how many move."""
    if change.input is None:
        moved = sum(a != b for a, b in zip(change.breaks, answer.nominal, strict=True))
        return f"{moved} inputs at once"
    one = answer.inputs[change.input]
    return f"{one.name} {value(one, one.value(float(change.breaks[change.input])), system)}"


def _statements(answer: StressAnswer, system: System) -> RenderableType:
    """What a statistician would sign: each requirement by itself, and all of them together."""
    lines: list[RenderableType] = [item(f"{required(v.requirement, system)}: {v.statement}")
                                   for v in answer.verdicts]
    if answer.joint:
        lines.append(item(f"all requirements in the same run: {answer.joint.statement}"))
    if answer.confidence_note:
        lines.append(Words(answer.confidence_note, style="dim"))
    return Group(*lines)


def _broken(answer: StressAnswer, system: System) -> RenderableType | None:
    lines = [line for v in answer.verdicts for line in _one_broken(v, answer, system)]
    return Group(*lines) if lines else item(f"none found in {answer.runs} runs")


def _one_broken(found: Verdict, answer: StressAnswer, system: System
                ) -> Iterator[RenderableType]:
    if found.worst.distance >= 0.0:
        return
    at = [f"{varied(i)} {value(i, found.values[i.name], system)}" for i in answer.inputs]
    yield item(f"{required(found.requirement, system)}, worst: {', '.join(at)}")
    if found.change is not None:
        at = [f"{varied(i)} {value(i, i.value(float(u)), system)}"
              for i, u in zip(answer.inputs, found.change.breaks, strict=True)]
        yield item(f"{required(found.requirement, system)}, smallest change seen to break it: "
                   f"{', '.join(at)}")
    for path in (found.counterexample, found.smallest):
        if path:
            yield hanging("", f"simfan run {Path(path)} --strategy \"{answer.strategy}\"", 2, 4)


def _sensitivities(answer: StressAnswer, system: System) -> RenderableType | None:
    """The inputs that matter most to each requirement, with their bands."""
    moving = [s for s in answer.sensitivity if not np.isnan(s.total).all()]
    if not moving:
        return None
    lines: list[RenderableType] = [
        item(f"{required(answer.verdicts[s.requirement].requirement, system)}: "
             f"{', '.join(_matters(answer, s))}") for s in moving]
    note = (f"share of the variance of the room that would be left if all others were known, and "
            f"its band of {100.0 * moving[0].confidence:g} %; {moving[0].runs} runs. A "
            "requirement left out here changes by less than a thousandth of its limit.")
    return Group(*lines, Words(note, style="dim"))


def _matters(answer: StressAnswer, found: Sensitivity) -> Iterator[str]:
    for k in np.argsort(-found.total, kind="stable")[:MATTER]:
        low, high = np.clip(100.0 * found.total_band[k], 0.0, 100.0)
        if found.total[k] >= SMALL:
            yield (f"{varied(answer.inputs[k])} {100.0 * min(found.total[k], 1.0):.0f} % "
                   f"({low:.0f} to {high:.0f})")


def _worth_knowing(answer: StressAnswer, system: System) -> RenderableType | None:
    lines = [reworded(line, system) for line in answer.findings]
    if answer.not_run:
        lines.append(f"{answer.not_run} runs could not be made and count as failed; the first: "
                     f"{answer.why_not_run}")
    if answer.unreached:
        lines.append(f"{answer.unreached} runs began at the nearest value to their setpoint that "
                     "the strategy holds, for it was out of reach")
    lines += [why for why in (answer.why_no_ramps, answer.why_no_ramps_over,
                              answer.why_no_sensitivity) if why]
    return Group(*map(item, lines)) if lines else None


WHAT = Section("stress-what", "", text=_what)
TABLE = Section("stress-table", "Requirements", text=_table)
MATTER = 3
"""Inputs told for each requirement."""
SMALL = 0.05
"""Share of the variance below which an input is not told."""
SAYS = "One strategy, many runs."
STRESS: tuple[Section[StressAnswer], ...] = (
    WHAT,
    Section("stress-varied", "What varies", text=_varied),
    TABLE,
    Section("stress-broken", "What breaks them", text=_broken),
    Section("stress-confidence", "How sure", text=_statements),
    Section("stress-tolerances", "How far tuning and actuators may go", text=tolerances),
    Section("stress-ramps", "Ramp limits", text=ramps),
    Section("stress-matters", "What matters", text=_sensitivities),
    Section("stress-findings", "Worth knowing", text=_worth_knowing),
    *DRAWN,
    Section("stress-cautions", "Be careful", text=lambda answer, _: Group(*map(item, CAUTIONS))),
)
QUIET: tuple[Section[StressAnswer], ...] = (TABLE,)
