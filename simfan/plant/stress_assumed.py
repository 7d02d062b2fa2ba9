"""What is varied where a report searches and the scenario does not say what may vary."""

from collections.abc import Iterator

from simfan.plant.case import Case
from simfan.plant.stress import Moves, Stress, Vary
from simfan.plant.varied import stress_amiss
from simfan.units import System, show

SPREADS = (("process.design.pressure", 0.08), ("fan.static_pressure", 0.03),
           ("fan.shaft_power", 0.07))
"""Path and half width of its spread. An assumption: fouling, and tolerances of a fan's sheet."""
LONGEST = 60.0
"""Of a ramp [s]. An assumption."""
SETTLED = 30.0
"""Before a move [s], where the timeline has no setpoint. An assumption."""
AFTER = 240.0
"""Of a run, from the beginning of the move on [s]: what comes later in the timeline is left out. An
assumption."""


def with_stress(case: Case, system: System = "si") -> tuple[Case, str]:
    """The case with something to vary, and the sentence that says what was assumed; as it is, and
    "", where the scenario says it."""
    if case.stress:
        return case, ""
    moves = _moves(case)
    vary = tuple(v for v in (Vary(of=of, plus_minus=share) for of, share in SPREADS)
                 if not any(stress_amiss(case, Stress(vary=(v,)))))
    if not vary and moves is None:
        return case, ""
    made = Stress(vary=vary, moves=moves) if moves else Stress(vary=vary)
    if any(stress_amiss(case, made)):
        made, moves = Stress(vary=vary), None
    searched = _shortened(case, moves) if moves else case
    return searched.model_copy(update={"stress": made}), _said(searched, vary, moves, system)


def _shortened(case: Case, moves: Moves) -> Case:
    """Up to some time after the move."""
    end = min(case.run.duration, moves.at + AFTER)
    return case.model_copy(update={
        "run": case.run.model_copy(update={"duration": end}),
        "timeline": tuple(e for e in case.timeline if e.at < end)})


def _moves(case: Case) -> Moves | None:
    """Any setpoint of the timeline to any, in a step or a ramp; none where the fan must be started
    first, since a move says nothing of a fan at rest."""
    if case.run.from_standstill:
        return None
    values = [float(case.run.first_setpoint), *(float(e.setpoint) for e in case.timeline
                                           if e.setpoint is not None)]
    low, high = min(values), max(values)
    first = next((e.at for e in case.timeline if e.setpoint is not None), SETTLED)
    longest = min(LONGEST, 0.5 * (case.run.duration - first))
    if low == high or longest <= 0.0:
        return None
    return Moves(start=(low, high), end=(low, high), over=(0.0, longest), at=first)


def _said(case: Case, vary: tuple[Vary, ...], moves: Moves | None, system: System) -> str:
    return ("The scenario has no [stress] table, so it is an assumption of this report what varies:"
            f" {', '.join(_parts(case, vary, moves, system))}. Write [stress] for the moves, days "
            "and tolerances of the plant.")


def _parts(case: Case, vary: tuple[Vary, ...], moves: Moves | None, system: System
           ) -> Iterator[str]:
    if moves:
        low, high = (show(x, case.control.held_kind, system) for x in moves.start)
        yield (f"one setpoint move from anywhere to anywhere between {low} and {high}, in a step "
               f"or a ramp of up to {moves.over[1]:g} s, at {moves.at:g} s of runs of "
               f"{case.run.duration:g} s")
    for one in vary:
        yield f"{one.of} ± {100.0 * (one.plus_minus or 0.0):g} %"
