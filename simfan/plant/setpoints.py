"""Whether setpoints and spans are of the kind that a loop holds, and setpoints within its reach."""

from collections.abc import Iterator, Mapping

from simfan.errors import PathPart, Problem
from simfan.plant.control import Control, Span
from simfan.plant.events import Event
from simfan.plant.held import kind_amiss
from simfan.plant.run import Run
from simfan.plant.strategy import Strategy
from simfan.plant.structure import Cascade, SecondLoop
from simfan.units import show

Path = tuple[PathPart, ...]


def setpoints_amiss(
    control: Control | None, run: Run | None, timeline: Mapping[int, Event]
) -> Iterator[Problem]:
    """Of the run's start and of every event; silent where `control` is missing."""
    if control is None:
        return
    if run:
        yield from _start_amiss(run, control)
    for place, event in timeline.items():
        if event.setpoint is not None:
            yield from setpoint_amiss(("timeline", place, "setpoint"), event.setpoint, control)
        if event.profile is not None:
            yield from _profile_amiss(("timeline", place, "profile", "setpoint"),
                                      event.profile.setpoint, control)


def beside_amiss(control: Control, name: str, strategy: Strategy) -> Iterator[Problem]:
    """Of the loop below or beside the first one of a strategy."""
    for key in ("cascade", "second_loop"):
        loop: Cascade | SecondLoop | None = getattr(strategy, key)
        if loop is None or loop.holds == "speed":
            continue
        path: Path = ("strategies", name, key)
        wrong = [*_span_amiss(path, loop, loop.as_control(control))]
        yield from wrong
        if isinstance(loop, SecondLoop) and not wrong:
            yield from setpoint_amiss((*path, "setpoint"), loop.setpoint, loop.as_control(control),
                              f"strategies.{name}.{key}")


def _span_amiss(path: Path, loop: Cascade | SecondLoop, seen: Control) -> Iterator[Problem]:
    """Of the kind held, and above zero."""
    why = f'holds = "{loop.holds}"'
    if isinstance(loop.span, Span):
        yield from kind_amiss((*path, "span", "low"), loop.span.low, seen.held_kind, why)
    elif loop.span is not None:
        wrong = [*kind_amiss((*path, "span"), loop.span, seen.held_kind, why)]
        yield from wrong
        if not wrong and loop.span <= 0.0:
            yield Problem((*path, "span"), show(loop.span, seen.held_kind), "above zero",
                          'a span that ends at zero is { low = "-500 Pa", high = "0 Pa" }')


def _start_amiss(run: Run, control: Control) -> Iterator[Problem]:
    for problem in (amiss := [*run.setpoint_amiss()]):
        yield Problem(("run", *problem.path), problem.got, problem.allowed, problem.hint)
    if amiss:
        return
    path, kind = ("run", "setpoint" if run.from_standstill else "starts_at"), control.held_kind
    wrong = [*setpoint_amiss(path, run.first_setpoint, control)]
    yield from wrong
    if not wrong and control.holds == "flow" and run.starts_at == 0.0:
        yield Problem(path, show(0.0, kind), f"above {show(0.0, kind)}",
                      "a run starts settled, with the fan turning")


def _profile_amiss(
    path: Path, values: tuple[float, ...], control: Control
) -> Iterator[Problem]:
    """All of one kind, since they share a unit; of the others the first that is out of range."""
    for place, value in enumerate(values):
        if wrong := [*setpoint_amiss((*path, "values", place), value, control)]:
            yield from wrong
            return


def setpoint_amiss(path: Path, value: float, control: Control, section: str = "control"
                   ) -> Iterator[Problem]:
    """Of the kind that the loop holds, and within the transmitter's span."""
    why = control.said.replace("control", section, 1)
    wrong = [*kind_amiss(path, value, control.held_kind, why)]
    yield from wrong or _out_of_range(path, value, control, section)


def _out_of_range(path: Path, value: float, control: Control, section: str) -> Iterator[Problem]:
    """A setpoint beyond the transmitter's span could never be seen to be reached."""
    kind = control.held_kind
    low, high = control.span_ends or (None, None)
    key = f"{section}.span.high" if isinstance(control.span, Span) else f"{section}.span"
    if control.holds == "flow" and value < 0.0:
        yield Problem(path, show(value, kind), "zero or more, for a flow")
    elif high is not None and value > high:
        yield Problem(path, show(value, kind), f"at most {key}, {show(high, kind)}")
    elif low is not None and value < low:
        yield Problem(path, show(value, kind),
                      f"at least the low end of {section}.span, {show(low, kind)}")
