"""All sheets of a case; and the case with the numbers as the sheets have them."""

from collections.abc import Iterable
from math import inf

from simfan.plant.case import Case, Strategy
from simfan.plant.control import Span
from simfan.plant.held import Held
from simfan.plant.sequence import Sequence
from simfan.sheets.alarms import alarms, cause_and_effect
from simfan.sheets.basis import basis
from simfan.sheets.devices import devices
from simfan.sheets.known import Known
from simfan.sheets.overrides import overrides
from simfan.sheets.procedures import procedures
from simfan.sheets.ramps import ramps
from simfan.sheets.record import record
from simfan.sheets.sequence import sequence
from simfan.sheets.sheet import Path, Sheet, Typed
from simfan.sheets.tuning import tuning
from simfan.sheets.typed import rounded, with_typed
from simfan.units import System, convert, parse, preferred

MADE = (tuning, sequence, ramps, overrides, alarms, cause_and_effect, devices, procedures, record,
        basis)
"""One for each sheet, in the order in which they are bound."""
Points = dict[str, tuple[tuple[float, float], ...]]


def sheets(known: Known) -> tuple[Sheet, ...]:
    """All of them."""
    return tuple(make(known) for make in MADE)


def cells(made: Iterable[Sheet]) -> dict[Path, Typed]:
    """Every cell that is typed in, by its place in the scenario."""
    return {cell.path: cell for one in made for row in one.rows for cell in row.typed.values()}


def as_typed(case: Case, system: System = "si") -> Case:
    """The case with every number of its sheets rounded to what is typed in, in the units in which
    it is typed. Raises ScenarioError where that makes no valid case."""
    return with_typed(case, cells(sheets(Known(case, tuple(case.strategies), system))))


def with_span(case: Case, ends: tuple[float, float], system: System) -> Case:
    """The case with its span written out, since it is typed in; `ends` [held unit] are the span it
    has. The high end is rounded upward, so that nothing is cut off."""
    kind = case.control.held_kind
    unit = preferred(kind, system)
    low, high = (parse(f"{rounded(convert(x, kind, unit), up)} {unit}", kind)
                 for x, up in zip(ends, (False, True), strict=True))
    span = Span(low=Held(low, kind), high=Held(high, kind))
    control = case.control.model_copy(update={"span": span})
    return case.model_copy(update={"control": control})


def with_tables(case: Case, points: dict[str, Points]) -> Case:
    """The case with every order of two elements written out as the table that it stands for.

    `points`: strategy → element → (output, demand) breakpoints [1].
    """
    changed = {name: strategy.model_copy(update={"sequence": _table(points[name])})
               for name, strategy in case.strategies.items()
               if strategy.sequence and not strategy.sequence.output}
    return case.model_copy(update={"strategies": {**case.strategies, **changed}})


def with_own_controllers(case: Case) -> Case:
    """The case with a controller in each strategy, where one stands for all of them."""
    def own(strategy: Strategy) -> Strategy:
        given = case.control.given(strategy.controller)
        return strategy.model_copy(update={"controller": given}) if given else strategy

    return case.model_copy(update={"strategies": {
        name: own(strategy) for name, strategy in case.strategies.items()}})


def _table(points: Points) -> Sequence:
    """Both elements at every breakpoint of either, outputs to a tenth of a percent."""
    at = sorted({round(x, 3) for line in points.values() for x, _ in line})
    return Sequence(output=tuple(at), **{
        name.replace(" ", "_"): tuple(_on(line, x) for x in at) for name, line in points.items()})


def _on(line: tuple[tuple[float, float], ...], x: float) -> float:
    """Straight lines between points, the ends held."""
    before = (-inf, line[0][1])
    for point in line:
        if x <= point[0]:
            (a, low), (b, high) = before, point
            return high if a == -inf else low + (high - low) * (x - a) / (b - a)
        before = point
    return line[-1][1]
