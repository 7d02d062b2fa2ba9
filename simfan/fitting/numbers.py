"""What may be fitted: numbers of a scenario, how each is scaled and bounded."""

from collections.abc import Iterable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass
from math import exp, log
from typing import Any

from pydantic import BaseModel

from simfan.errors import Mistakes, PathPart, RunError
from simfan.plant.case import Case
from simfan.plant.held import kind_of
from simfan.plant.numbers import Limits, Plain, Quantity, mark_of
from simfan.plant.varied import found
from simfan.scenario import written

FACTOR = 30.0
"""A positive number is sought within so many times the scenario's, to either side. An
assumption."""
FIXED_PRESSURE, DESIGN = "process.fixed_pressure", "process.design.pressure"
JUMPING = ("dead_time", "backlash", "resolution", "low_flow_cutoff")
"""Keys of what a model's answer does not follow smoothly."""
RATES = ("stroke_time", "stroke_time_closing", "ramp_up", "ramp_down")
"""Keys of times that only show while an element moves at full rate."""
ELEMENTS = {"outlet_damper": "outlet damper", "inlet_box_damper": "inlet box damper",
            "inlet_vanes": "inlet vanes", "speed": "speed"}
"""Key of a strategy → the element's name in a history."""
WORDS = {
    "stroke_time": "stroke time", "stroke_time_closing": "closing stroke time",
    "turn": "turning of the gas κ", "leakage": "leakage shut", "area": "effective area",
    "shut_loss": "loss shut", "ramp_up": "ramp up", "ramp_down": "ramp down"}


@dataclass(frozen=True)
class Number:
    """One number of the scenario that is estimated. SI."""

    path: str
    """As it is written."""
    keys: tuple[PathPart, ...]
    label: str
    kind: str | None
    """Of its unit; None for a plain number."""
    before: float
    unit: float | None
    """Size that counts as much as a factor e [SI]; None for a positive number on a log scale."""
    low: float
    high: float
    element: str | None = None
    """Whose movement shows it."""
    over: str | None = None
    """Path of a number that it is counted from: the design pressure from the fixed one."""

    def x(self, value: float) -> float:
        """On the scale of the search: ln(θ/θ₀), or (θ − θ₀) over its unit, θ₀ the scenario's."""
        return log(value / self.before) if self.unit is None else (value - self.before) / self.unit

    def value(self, x: float) -> float:
        """Back again."""
        return self.before * exp(x) if self.unit is None else self.before + x * self.unit


def usual(case: Case, name: str) -> tuple[Number, ...]:
    """The few plant numbers that matter for a strategy."""
    strategy = case.strategies[name]
    paths = [DESIGN, FIXED_PRESSURE, "ductwork.volume", "fan.inertia",
             "control.transmitter.lag"]
    for key in ELEMENTS:
        device = getattr(strategy, key)
        if device is not None:
            paths += [f"strategies.{name}.{key}.{field}" for field in _of_device(key, device)]
    return tuple(number(case, path) for path in paths)


def _of_device(key: str, device: BaseModel) -> Iterator[str]:
    """Times of its stroke and numbers of its characteristic."""
    yield from ("ramp_up", "ramp_down") if key == "speed" else ("stroke_time",)
    if getattr(device, "stroke_time_closing", None) is not None:
        yield "stroke_time_closing"
    if key == "outlet_damper":
        yield "area"
        if "shut_loss" not in device.idle():  # type: ignore[attr-defined]
            yield "shut_loss"
    elif key != "speed" and "turn" not in device.idle():  # type: ignore[attr-defined]
        yield from ("turn", "leakage")


def chosen(case: Case, name: str, paths: Sequence[str]) -> tuple[Number, ...]:
    """The numbers at these paths, or the usual ones. RunError where one cannot be fitted."""
    made = [number(case, path) for path in dict.fromkeys(paths)] if paths else usual(case, name)
    for one in made:
        if one.keys[0] == "strategies" and one.keys[1] != name:
            raise RunError(f"{one.path} is of another strategy than {name}, whose trend it is")
    return tuple(made)


def number(case: Case, path: str) -> Number:
    """The number at a path. RunError, with what there is, where it cannot be fitted."""
    try:
        keys, field, value = found(case, path)
    except Mistakes as why:
        problem = why.problems[0]
        raise RunError(f"{path} cannot be fitted: got {problem.got}; allowed: {problem.allowed}"
                       + (f"; {problem.hint}" if problem.hint else "")) from None
    mark = mark_of(field)
    if isinstance(value, bool | int) or not isinstance(value, float) or not isinstance(
            mark, Quantity | Plain) or keys[0] == "timeline":
        raise RunError(f"{path} cannot be fitted: it is {'not given' if value is None else value!r}"
                       "; allowed: one number of the plant that the scenario gives, such as "
                       "ductwork.volume")
    if keys[-1] in JUMPING:
        raise RunError(f"{path} cannot be fitted: it acts in jumps, by which least squares cannot "
                       "find its way; try values by hand and compare what is left")
    kind = kind_of(value) or (mark.kind if isinstance(mark, Quantity) else None)
    if path == DESIGN:
        return _resistance(case, keys)
    if path == FIXED_PRESSURE:
        unit = _highest(case)
        return Number(path, keys, "fixed pressure", kind, value, unit, -unit, unit)
    return _positive(case, path, keys, kind, value, mark.limits)


def _resistance(case: Case, keys: tuple[PathPart, ...]) -> Number:
    """What the process takes at its design flow: the design pressure less the fixed one, counted
    positive on either side of the fan."""
    taken = abs(case.process.design.pressure - case.process.fixed_pressure)
    return Number(DESIGN, keys, "resistance at design flow", "pressure", taken, None,
                  taken / FACTOR, taken * FACTOR, over=FIXED_PRESSURE)


def _positive(case: Case, path: str, keys: tuple[PathPart, ...], kind: str | None, value: float,
              limits: Limits) -> Number:
    before = value
    if value == 0.0 and kind == "time":
        before = 0.5 * case.control.scan
    if before <= 0.0:
        raise RunError(f"{path} cannot be fitted: it is {value:g}, and is sought as a factor on "
                       "the scenario's value; give it a value above 0")
    low, high = before / FACTOR, before * FACTOR
    least = max(x for x in (limits.least, limits.above, 0.0) if x is not None)
    most = min((x for x in (limits.most, limits.below) if x is not None), default=high)
    return Number(path, keys, _label(path, keys), kind, before, None,
                  max(low, least * (1.0 + 1e-6)), min(high, most * (1.0 - 1e-6)), _element(keys))


def _element(keys: tuple[PathPart, ...]) -> str | None:
    return ELEMENTS.get(str(keys[2])) if keys[0] == "strategies" and len(keys) > 3 else None


def _label(path: str, keys: tuple[PathPart, ...]) -> str:
    named = {"ductwork.volume": "duct volume", "fan.inertia": "inertia",
             "control.transmitter.lag": "transmitter lag"}
    element = _element(keys)
    if element is None:
        return named.get(path, path)
    return f"{element}, {WORDS.get(str(keys[-1]), str(keys[-1]).replace('_', ' '))}"


def _highest(case: Case) -> float:
    """Of the fan's rated pressures [Pa]."""
    return max(case.fan.static_pressure or case.fan.total_pressure or ())


def with_values(made: dict[str, Any], case: Case, numbers: Sequence[Number],
                values: Iterable[float]) -> dict[str, Any]:
    """The tables of a scenario with these values in their places."""
    made = deepcopy(made)
    for one, value in zip(numbers, in_file(case, numbers, values), strict=True):
        here: Any = made
        for key in one.keys[:-1]:
            here = here.setdefault(key, {})
        here[one.keys[-1]] = written.quantity(value, one.kind) if one.kind else float(value)
    return made


def in_file(case: Case, numbers: Sequence[Number], values: Iterable[float]) -> list[float]:
    """The values as the scenario counts them [SI]: the design pressure with the fixed one in."""
    found = {one.path: float(value) for one, value in zip(numbers, values, strict=True)}
    fixed = found.get(FIXED_PRESSURE, case.process.fixed_pressure)
    side = -1.0 if case.ductwork.volume_side == "inlet" else 1.0
    return [fixed + side * value if one.path == DESIGN else value
            for one, value in zip(numbers, found.values(), strict=True)]
