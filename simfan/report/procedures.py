"""What came of start, stop and restart, and the steps that they took."""

from collections.abc import Iterator

from rich.console import Group, RenderableType

from simfan.compare import Comparison, StrategyResult
from simfan.history import Carried
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.report.wording import reworded
from simfan.units import System

CAUTION = ("Starts, trips and purges of a real plant follow the makers' data, lock-out rules, "
           "local codes and licensed practice; the model knows none of them.")

BY_EVENT = ("start", "stop")
"""Procedures that an event of the timeline begins."""


def _outcomes(comparison: Comparison, system: System) -> RenderableType | None:
    said = [reworded(line, system) for r in comparison.strategies for line in told(r)]
    said += [f"{name}: described, and never begun in this run: nothing tells whether it works; "
             f'an event `procedure = "{name}"` plays it' for name in never_begun(comparison)]
    return Group(*map(item, said), item(CAUTION)) if said else None


def never_begun(comparison: Comparison) -> list[str]:
    """Start and stop that are described and that no run begins; the others wait for their cause."""
    begun = {c.name for r in comparison.strategies for c in r.history.facts.procedures}
    described = comparison.strategies[0].history.facts.procedure_steps
    return [name for name in BY_EVENT if name in described and name not in begun]


def told(result: StrategyResult) -> Iterator[str]:
    """One line for each procedure that was begun."""
    for carried in result.history.facts.procedures:
        yield f"{result.name}: {words(carried)}"


def words(carried: Carried) -> str:
    """Such as "start at 2 s complete after 75.5 s; speed reached in 9.5 s, …"."""
    lasted = "" if carried.ended_s is None else f" after {carried.ended_s - carried.begun_s:.4g} s"
    said = [f"{carried.name} at {carried.begun_s:g} s {carried.outcome}{lasted}"
            + (f": {carried.why}" if carried.why else "")]
    if carried.speed_after_s is not None:
        said.append(f"speed reached in {carried.speed_after_s:.3g} s")
    if carried.locked_s is not None:
        said.append(f"rotor heated like {carried.locked_s:.3g} s locked, {_allowed(carried)}")
    if carried.standstill_after_s is not None:
        said.append(f"standstill {carried.standstill_after_s:.3g} s after the motor went off")
    return "; ".join(said)


def _allowed(carried: Carried) -> str:
    if carried.allowed_s is None or carried.margin_percent is None:
        return "what its maker allows is not given"
    state = "hot" if carried.hot else "cold"
    warning = "warning: " if carried.margin_percent < 0.0 else ""
    return (f"{warning}{carried.allowed_s:.3g} s allowed {state}, margin "
            f"{carried.margin_percent:.3g} %")


def _steps(comparison: Comparison, system: System) -> RenderableType | None:
    steps = comparison.strategies[0].history.facts.procedure_steps
    said = [item(f"{name}: {reworded(line, system)}") for name, lines in steps.items()
            for line in lines]
    return Group(*said) if said else None


PROCEDURES = Section("procedures", "Start, stop and restart", text=_outcomes)
STEPS = Section("steps", "Step by step", text=_steps)
