"""The steps of a procedure, one after the other: what is printed, and what is carried out."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from simfan.plant.procedure import Procedures, Restart, Start, Stop
from simfan.units import show

Action = Literal["damper", "by hand", "permit", "switch on", "run up", "purge", "release",
                 "setpoint", "switch off", "coast", "wait"]
THERE = 0.005
"""An element's stem stands where it is told within this, of its stroke. Our choice; no source."""
ELEMENTS_THERE = f", elements there (within {100.0 * THERE:g} % of stroke, besides play and stick)"
"""What a step by hand waits for."""
UP = 0.98
"""Of synchronous speed, or of a drive's reference: up to speed. Our choice; no source."""
UP_OF = "the speed it is run up to (synchronous on the line, its reference on a drive)"
DAMPER_TRAVELS = 120.0
"""An isolation damper that is not there after so long has failed [s]. Our choice; no source."""


@dataclass(frozen=True)
class Step:
    """One step: what is done, what must hold, how long it may take. SI."""

    action: Action
    """What kind of step it is."""
    words: str
    """For the page and the log."""
    permissives: tuple[str, ...] = ()
    """What must hold before it is done, in words."""
    to: float = 0.0
    """Output or opening [1], or setpoint [held unit]."""
    over: float = 0.0
    """Length of its ramp [s]."""
    flow: float = 0.0
    """To be proven [m³/s]."""
    lasts: float = 0.0
    """How long [s]."""
    within: float | None = None
    """Given up after so long [s]."""
    failure: str = ""
    """What is told then; `{}` is what was seen."""
    goes_on: bool = False
    """Whether the procedure goes on all the same."""


def start_steps(start: Start, kind: str, isolated: bool) -> tuple[Step, ...]:
    """A start-up; `kind` is that of the setpoint, `isolated` whether there is such a damper."""
    return (_by_hand(start.output, 0.0, start.permissives_within),
            *_run_up(start, kind, isolated))


def _run_up(start: Start, kind: str, isolated: bool) -> Iterator[Step]:
    shut = start.isolation_damper == "shut"
    if isolated:
        yield _damper(not shut)
    yield Step("permit", "permissives", (
        "no more starts than the motor's maker permits", "the motor's heat below its trip",
        f"the wheel not faster backwards than {_percent(start.backspin)}"),
        to=start.backspin, within=start.permissives_within, failure="permissives missing: {}")
    yield Step("switch on", "trips reset, motor on")
    yield Step("run up", f"wait for {_percent(UP)} of {UP_OF}", within=start.speed_within,
               failure=f"speed not reached in {start.speed_within:g} s{{}}")
    if isolated and shut:
        yield _damper(True)
    if purge := start.purge:
        least = show(purge.flow, "volume flow", digits=4)
        yield _by_hand(purge.output, 0.0, purge.within)
        yield Step("purge", f"purge: {least} or more for {purge.lasts:g} s", flow=purge.flow,
                   lasts=purge.lasts, within=purge.within,
                   failure=f"purge not proven in {purge.within:g} s{{}}")
    yield Step("release", "release to automatic, setpoint where the reading is",
               ("no run-back or trip holds the output",), failure="not released: {}")
    yield _setpoint(start.setpoint, start.over, kind)


def stop_steps(stop: Stop, isolated: bool) -> tuple[Step, ...]:
    """A normal stop. It goes on whatever is not where it should be: the motor must come off."""
    return tuple(replace(step, goes_on=step.within is not None) for step in _stop(stop, isolated))


def _stop(stop: Stop, isolated: bool) -> Iterator[Step]:
    yield _by_hand(stop.output, stop.over, stop.over + DAMPER_TRAVELS)
    yield Step("switch off", "motor off")
    if isolated and stop.isolation_damper == "shut":
        yield _damper(False)
    yield Step("coast", f"wait for standstill, below {_percent(stop.at_rest)} of rated speed",
               to=stop.at_rest, within=stop.standstill_within)


def restart_steps(restart: Restart, start: Start, kind: str, isolated: bool) -> tuple[Step, ...]:
    """By hand at once, so that the loop does not wind up; a wait after the trip; then the start."""
    below = restart.speed_below
    first = Step("wait", f"wait {restart.wait:g} s after the trip",
                 () if below is None else (f"the wheel below {_percent(below)} of rated speed",),
                 to=float("inf") if below is None else below, lasts=restart.wait,
                 within=restart.wait + start.permissives_within,
                 failure="the wheel does not come down{}")
    return (_by_hand(start.output, 0.0, start.permissives_within), first,
            *_run_up(start, kind, isolated))


def described(procedures: Procedures, kind: str, isolated: bool) -> dict[str, tuple[Step, ...]]:
    """Every procedure of a scenario by name, step by step; run-backs as one step each."""
    found: dict[str, tuple[Step, ...]] = {}
    if start := procedures.start:
        found["start"] = start_steps(start, kind, isolated)
    if stop := procedures.stop:
        found["stop"] = stop_steps(stop, isolated)
    if procedures.restart and start:
        found["restart"] = restart_steps(procedures.restart, start, kind, isolated)
    for number, row in enumerate(procedures.run_back, start=1):
        step = _setpoint(row.setpoint, row.over, kind)
        found[f"run-back {number}"] = (Step(step.action, step.words, (row.words,), step.to,
                                            step.over),)
    return found


def there(backlash: float, resolution: float) -> float:
    """Within this of where it is told an element counts as there, of its stroke [1].

    Half of its play and one step of its resolution are what it may be off for ever with its stem
    where it is told, so:  THERE + backlash/2 + resolution.
    """
    return THERE + 0.5 * backlash + resolution


def lines(steps: tuple[Step, ...]) -> list[str]:
    """Numbered, for a page or a terminal."""
    return [f"{number}. {step.words}" + _if(step) + _limit(step)
            for number, step in enumerate(steps, start=1)]


def _if(step: Step) -> str:
    return f"; only if: {', '.join(step.permissives)}" if step.permissives else ""


def _limit(step: Step) -> str:
    on = ", then on all the same" if step.goes_on else ""
    return f"; at most {step.within:g} s{on}" if step.within is not None else ""


def _damper(opens: bool) -> Step:
    word = "open" if opens else "shut"
    return Step("damper", f"isolation damper {word}", to=1.0 if opens else 0.0,
                within=DAMPER_TRAVELS, failure=f"isolation damper not {word}{{}}")


def _by_hand(output: float, over: float, within: float) -> Step:
    slowly = f" over {over:g} s" if over else ""
    return Step("by hand", f"controller to manual, output to {_percent(output)}{slowly}"
                f"{ELEMENTS_THERE}", to=output, over=over, within=within,
                failure="elements not there{}")


def _setpoint(setpoint: float, over: float, kind: str) -> Step:
    slowly = f" over {over:g} s" if over else ""
    return Step("setpoint", f"setpoint to {show(float(setpoint), kind, digits=4)}{slowly}",
                to=float(setpoint), over=over)


def _percent(share: float) -> str:
    return f"{100.0 * share:.4g} %"
