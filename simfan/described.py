"""What `simfan check` tells of a case: the plant's main facts, and where each strategy starts."""

from collections.abc import Iterator
from math import pi, sqrt

from simfan.assemble import Assembled
from simfan.plant import slips
from simfan.plant.case import Case
from simfan.plant.fan import Fan
from simfan.plant.procedure_steps import THERE, there
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
            yield from _of_the_fan(case.fan, assembled)
        yield _start(case, name, assembled, going)
        yield from start_words(case, name)
        yield from slips.of_vanes(name, case.strategies[name])
        if case.procedures:
            yield from _of_the_play(name, assembled)


def _of_the_fan(fan: Fan, assembled: Assembled) -> Iterator[str]:
    curve = assembled.curve
    yield "fan at rated speed: " + (
        f"{curve.stall_basis} at {curve.stall_flow:.4g} m3/s" if curve.stall_flow
        else "no peak, so no stall line")
    yield _efficiency(fan)
    yield from slips.of_fan(fan)
    yield (f"duct and volume: Helmholtz frequency {helmholtz(assembled) / (2.0 * pi):.3g} Hz")


def _efficiency(fan: Fan) -> str:
    """η = Q·Δp/P over the points where the fan gives air power."""
    found = [(q * p / power, q) for q, p, power in
             zip(fan.flow, fan.pressure, fan.shaft_power, strict=True) if q * p > 0.0]
    kind = "static" if fan.static_pressure is not None else "total"
    if not found:
        return f"fan efficiency ({kind}): none, no point has flow and pressure"
    (best, at), (least, there) = max(found), min(found)
    return (f"fan efficiency ({kind}), over its points with flow: best {_percent(best)} at "
            f"{at:.4g} m3/s, lowest {_percent(least)} at {there:.4g} m3/s")


def _of_the_play(name: str, assembled: Assembled) -> Iterator[str]:
    """Elements that a procedure takes for where they are told in spite of more than its own."""
    for element in assembled.elements:
        if element.backlash or element.stick:
            within = there(element.backlash, element.stick)
            yield (f"{name}: {element.name} counts as there within {_percent(within)} of its "
                   f"stroke in procedures: {_percent(THERE)}, half its play and its resolution")


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"


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
