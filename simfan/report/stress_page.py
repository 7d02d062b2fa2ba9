"""The page of `simfan stress`: what was found of each requirement, what breaks it, how sure."""

from collections.abc import Iterator
from pathlib import Path

from rich.console import Group, RenderableType

from simfan.report.items import hanging, item
from simfan.report.sections import Section
from simfan.report.stress_pictures import DRAWN
from simfan.report.stress_words import required, rounded_down, varied
from simfan.report.terminal import Words
from simfan.report.tune_tables import Rows
from simfan.report.wording import reworded
from simfan.stress_answer import STOPPED, Input, SmallestChange, StressAnswer, Verdict
from simfan.units import System, convert, preferred, show, significant

CAUTIONS = (
    "Runs of a model: that none was found to fail does not mean that none fails, and a share of "
    "this space is no share of what a plant may meet.",
    "Statements of confidence hold for the space as it is written under [stress], and for runs at "
    "random alone; searched runs are left out of them.",
    "Ramp limits are a beginning for the control system, to be proved on the plant with the stall "
    "line, motor and draft watched; they are no protection.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
)


def _value(one: Input, value: float, system: System) -> str:
    return show(value, one.kind, system, digits=4) if one.kind else significant(value, 4)


def _what(answer: StressAnswer, system: System) -> RenderableType:
    lines = [f"{answer.strategy} ({answer.method}): {answer.runs} runs, of them "
             f"{len(answer.fresh.points)} at random, seed {answer.seed}"]
    if answer.stopped_early:
        lines.append(f"ended early: {answer.stopped_early}; this is what was done by then")
    return Group(*map(Words, lines))


def _varied(answer: StressAnswer, system: System) -> RenderableType:
    heads = ("Varied", "lowest", "highest", "as it\nstands", "spread")
    rows = [[varied(one), *(_value(one, one.value(u), system) for u in (0.0, 1.0, float(at))),
             one.form] for one, at in zip(answer.inputs, answer.nominal, strict=True)]
    return Rows(heads, lambda miss: rows)


def _table(answer: StressAnswer, system: System) -> RenderableType:
    heads = ("Requirement", "worst\nroom %", "failed of\nat random", "may fail\nup to %",
             "smallest change\nthat breaks it")

    def rows(miss: str) -> list[list[str]]:
        return [[required(v.requirement, system), _room(v, miss), f"{v.failures} of {v.fresh}",
                 _up(100.0 * v.failure_bound), _smallest(v, answer, system)]
                for v in answer.verdicts]

    confidence = answer.verdicts[0].confidence if answer.verdicts else 0.95
    note = ("room: of the limit's own size; below zero the requirement is broken. May fail: the "
            f"largest share of this space that the runs at random leave believable, with "
            f"{100.0 * confidence:g} % confidence.")
    return Group(Rows(heads, rows), Words(note, style="dim"))


def _room(found: Verdict, miss: str) -> str:
    distance = found.worst.distance
    if distance <= STOPPED:
        return f"{miss} no run"
    sign = f"{miss} " if distance < 0.0 else ""
    return f"{sign}{significant(100.0 * distance)}"


def _up(percent: float) -> str:
    """To three digits, rounded to the doubtful side."""
    told = float(f"{percent:.3g}")
    return significant(told if told >= percent else told * 1.001 + 1e-9)


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
    return f"{one.name} {_value(one, one.value(float(change.breaks[change.input])), system)}"


def _statements(answer: StressAnswer, system: System) -> RenderableType:
    """What a statistician would sign, one line for each requirement."""
    return Group(*(item(f"{required(v.requirement, system)}: {v.statement}")
                   for v in answer.verdicts))


def _broken(answer: StressAnswer, system: System) -> RenderableType | None:
    lines = [line for v in answer.verdicts for line in _one_broken(v, answer, system)]
    return Group(*lines) if lines else item(f"none found in {answer.runs} runs")


def _one_broken(found: Verdict, answer: StressAnswer, system: System
                ) -> Iterator[RenderableType]:
    if found.worst.distance >= 0.0:
        return
    at = [f"{varied(i)} {_value(i, found.values[i.name], system)}" for i in answer.inputs]
    yield item(f"{required(found.requirement, system)}, worst: {', '.join(at)}")
    if found.change is not None:
        at = [f"{varied(i)} {_value(i, i.value(float(u)), system)}"
              for i, u in zip(answer.inputs, found.change.breaks, strict=True)]
        yield item(f"{required(found.requirement, system)}, smallest change seen to break it: "
                   f"{', '.join(at)}")
    for path in (found.counterexample, found.smallest):
        if path:
            yield hanging("", f"simfan run {Path(path)} --strategy \"{answer.strategy}\"", 2, 4)


def _ramps(answer: StressAnswer, system: System) -> RenderableType | None:
    if answer.ramps is None:
        return None
    kind = answer.held_kind
    unit = preferred(kind, system)
    heads = ("Leaving", *(f"{way} at most\n{unit} per s" for way in ("upward", "downward")))

    def rate(value: float | None, free: bool, kept: bool) -> str:
        if value is None:
            return "-"
        if value == 0.0:
            return "no ramp that was run"
        said = rounded_down(convert(value, kind, unit) - convert(0.0, kind, unit))
        return f"{'≥ ' if free else ''}{said}{'' if kept else ' *'}"

    rows = [[show(r.setpoint, kind, system), rate(r.up, r.up_free, r.up_kept),
             rate(r.down, r.down_free, r.down_kept)] for r in answer.ramp_table]
    note = ("to every setpoint beyond, all requirements kept, the plant as the scenario has it. "
            "≥: nothing broke, faster was not run. *: a move that holds faster breaks at this "
            f"rate, see the map. {answer.ramps.runs} runs, to "
            f"{100.0 * answer.ramps.tolerance:.3g} % of the time.")
    return Group(Rows(heads, lambda miss: rows), Words(note, style="dim"))


def _worth_knowing(answer: StressAnswer, system: System) -> RenderableType | None:
    lines = [reworded(line, system) for line in answer.findings]
    if answer.not_run:
        lines.append(f"{answer.not_run} runs could not be made and count as failed; the first: "
                     f"{answer.why_not_run}")
    if answer.unreached:
        lines.append(f"{answer.unreached} runs began at the nearest value to their setpoint that "
                     "the strategy holds, for it was out of reach")
    if answer.ramps is None and answer.why_no_ramps:
        lines.append(answer.why_no_ramps)
    return Group(*map(item, lines)) if lines else None


WHAT = Section("stress-what", "", text=_what)
TABLE = Section("stress-table", "Requirements", text=_table)
SAYS = "One strategy, many runs."
STRESS: tuple[Section[StressAnswer], ...] = (
    WHAT,
    Section("stress-varied", "What varies", text=_varied),
    TABLE,
    Section("stress-broken", "What breaks them", text=_broken),
    Section("stress-confidence", "How sure", text=_statements),
    Section("stress-ramps", "Ramp limits", text=_ramps),
    Section("stress-findings", "Worth knowing", text=_worth_knowing),
    *DRAWN,
    Section("stress-cautions", "Be careful", text=lambda answer, _: Group(*map(item, CAUTIONS))),
)
QUIET: tuple[Section[StressAnswer], ...] = (TABLE,)
