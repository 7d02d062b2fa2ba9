"""Limits to type in, on the page of `simfan stress`: what tuning and actuators bear, how fast the
setpoint may move."""

from rich.console import Group, RenderableType

from simfan.report.stress_words import left_out, required, rounded_down, value, value_within
from simfan.report.terminal import Words
from simfan.report.tune_tables import Rows
from simfan.stress_answer import RampLimits, RampRow, StressAnswer, Tolerance, stands_for
from simfan.units import System, convert, preferred, show


def tolerances(answer: StressAnswer, system: System) -> RenderableType | None:
    """How far gain, reset and strokes may go, each alone."""
    if not answer.tolerances:
        return None
    heads = ("Changed alone", "as it\nstands", "holds\nto", "times", "broken\nat", "what breaks")
    rows = [_tolerance(t, answer, system) for t in answer.tolerances]
    note = ("from the scenario's own move, in even steps and then halved; requirements that it "
            "misses as it stands are left out. A window of failures narrower than a step can be "
            "missed.")
    return Group(Rows(heads, lambda miss: rows), Words(note, style="dim"))


def _tolerance(found: Tolerance, answer: StressAnswer, system: System) -> list[str]:
    """The holding value is rounded to the nominal side."""
    one = found.input
    name = one.name.removeprefix(f"strategies.{answer.strategy}.")
    times = f"{found.factor:.3g}"
    shown = [value(one, found.nominal, system),
             value_within(one, found.holds, found.nominal, system)]
    if found.breaks is None or found.requirement is None:
        return [name, *shown, times, "-", "none found"]
    return [name, *shown, times, value(one, found.breaks, system),
            required(answer.verdicts[found.requirement].requirement, system)]


def ramps(answer: StressAnswer, system: System) -> RenderableType | None:
    if answer.ramps is None:
        return None
    names = [required(v.requirement, system) for v in answer.verdicts]
    parts = [_ramp_rows(answer.ramps, answer.ramp_table, answer.held_kind, names, system)]
    if answer.ramps_over is not None:
        parts.append(_ramp_rows(answer.ramps_over, answer.ramp_table_over, answer.held_kind,
                                names, system))
    note = ("to every setpoint beyond, all requirements kept. ≥: nothing broke, faster was not "
            "run. *: a move that holds faster breaks at this rate, see the map. To "
            f"{100.0 * answer.ramps.tolerance:.3g} % of the time.")
    return Group(*parts, Words(note, style="dim"))


def _ramp_rows(limits: RampLimits, table: tuple[RampRow, ...], kind: str, names: list[str],
               system: System) -> RenderableType:
    unit = preferred(kind, system)
    heads = ("Leaving", *(f"{way} at most\n{unit} per s" for way in ("upward", "downward")))

    def rate(most: float | None, free: bool, kept: bool) -> str:
        if most is None:
            return "-"
        if most == 0.0:
            return "no ramp that was run"
        said = rounded_down(convert(most, kind, unit) - convert(0.0, kind, unit))
        return f"{'≥ ' if free else ''}{said}{'' if kept else ' *'}"

    rows = [[show(r.setpoint, kind, system), rate(r.up, r.up_free, r.up_kept),
             rate(r.down, r.down_free, r.down_kept)] for r in table]
    return Group(Words(f"{stands_for(limits).capitalize()}, {limits.runs} runs:"),
                 Rows(heads, lambda miss: rows), *map(Words, left_out(limits, names)))
