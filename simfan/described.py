"""What `simfan check` tells of a case: the plant's main facts, and where each strategy starts."""

from collections.abc import Iterator
from math import pi, sqrt

from simfan.assemble import Assembled
from simfan.plant.case import Case
from simfan.plant.procedure_steps import lines as step_lines
from simfan.simulate import prepare
from simfan.steady.balance import hold
from simfan.steady.pace import Pace, helmholtz
from simfan.steady.start import start_words
from simfan.units import show


def described(case: Case) -> list[str]:
    """In plain words, line by line. Raises ScenarioError for a plant that cannot be assembled."""
    return [*_of_the_air(case), *_of_the_strategies(case), *_of_what_watches(case)]


def _of_the_air(case: Case) -> Iterator[str]:
    air = case.air
    c = sqrt(air.heat_capacity_ratio * air.gas_constant * air.temperature)
    yield f"air at the fan: {air.density:.4g} kg/m3, speed of sound {c:.4g} m/s"


def _of_the_strategies(case: Case) -> Iterator[str]:
    for k, name in enumerate(case.strategies):
        assembled, going = prepare(case, name)
        if k == 0:
            yield from _of_the_fan(assembled)
        yield _start(case, name, assembled, going)
        yield from start_words(case, name)


def _of_the_fan(assembled: Assembled) -> Iterator[str]:
    curve = assembled.curve
    yield "fan at rated speed: " + (
        f"{curve.stall_basis} at {curve.stall_flow:.4g} m3/s" if curve.stall_flow
        else "no peak, so no stall line")
    yield (f"duct and volume: Helmholtz frequency {helmholtz(assembled) / (2.0 * pi):.3g} Hz")


def _start(case: Case, name: str, assembled: Assembled, going: Pace) -> str:
    start, kind = hold(assembled, case.run.first_setpoint), case.control.held_kind
    begins = "starts at standstill, settles at" if case.run.from_standstill else "starts at"
    found = "" if start.reached else f", not {show(case.run.first_setpoint, kind, digits=4)},"
    return (f"{name} ({case.strategies[name].method}): {begins} "
            f"{show(start.held, kind, digits=4)}{found} with {100.0 * start.outputs[0]:.3g} % "
            f"controller output; inner step {1e3 * going.step:.3g} ms, recorded every "
            f"{1e3 * going.record:.3g} ms")


def _of_what_watches(case: Case) -> Iterator[str]:
    """Protection, procedures, and gains that are still to be sought."""
    for row in case.protection:
        yield "protection: {}: {}; reset {}".format(*row.words, row.reset_words)
    for name, steps in case.procedure_steps.items():
        yield from (f"{name}: {line}" for line in step_lines(steps))
    if case.untuned and not case.by_hand:
        names = "no strategy" if len(case.untuned) == len(case.strategies) else ", ".join(
            case.untuned)
        yield f"tuning: {names} gives gains; compare and run seek them first"
