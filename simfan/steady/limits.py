"""What a point may not do, and what ends a method's range."""

from collections.abc import Iterator

import numpy as np

from simfan.operating_map import OperatingPoint
from simfan.plant.case import Case, Strategy
from simfan.plant.drive import SpeedDrive
from simfan.steady.bench import Array
from simfan.units import show

NEAR = 1e-6
"""An element this close to its end stands at it; the same share of a limit is rounding."""
SKIPPED = "skip band of the drive"


def missed(case: Case, strategy: Strategy, point: OperatingPoint, stall_basis: str
           ) -> tuple[str, ...]:
    """Limits the point is beyond, in plain words. The criteria of the scenario, where they are
    given; else no point left of the stall line, above the wheel's safe speed, or unstable."""
    return (*_air(case, point, stall_basis), *_machine(case, point), *_skipped(strategy, point))


def _air(case: Case, point: OperatingPoint, stall_basis: str) -> Iterator[str]:
    criteria, margin = case.criteria, point.stall_margin
    least = criteria.stall_margin or 0.0
    if margin is not None and margin < least - NEAR:
        yield (f"stall margin below {show(least, 'fraction')}" if least
               else f"left of the {stall_basis}")
    if point.flow <= 0.0:
        yield "no forward flow"
    if not point.stable:
        yield point.stability
    for limit, sign, word in ((criteria.highest_pressure, 1.0, "above"),
                              (criteria.lowest_pressure, -1.0, "below")):
        if limit is not None and sign * (point.volume_pressure - limit) > NEAR * abs(limit):
            yield f"pressure of the volume {word} {show(limit, 'pressure')}"


def _machine(case: Case, point: OperatingPoint) -> Iterator[str]:
    load, criteria = case.criteria.motor_load, case.criteria
    if load is not None and point.motor_load > load * (1.0 + NEAR):
        yield f"motor load above {show(load, 'fraction')}"
    safe = criteria.speed or case.fan.max_safe_speed / case.fan.rated.speed
    if point.speed > safe * (1.0 + NEAR):
        yield f"speed above {show(safe, 'fraction')}"


def _skipped(strategy: Strategy, point: OperatingPoint) -> Iterator[str]:
    skip = strategy.speed.skip if strategy.speed else None
    if skip and skip.low < point.positions["speed"] < skip.high:
        yield (f"{SKIPPED}, {show(skip.low, 'fraction')} to {show(skip.high, 'fraction')}")


def inside(case: Case, margin: Array, load: Array, speed: Array) -> Array:
    """(n,) whether stall margin (nan: no line), motor load and speed are within the limits that
    `missed` knows; for settings whatever process they meet."""
    criteria = case.criteria
    safe = criteria.speed or case.fan.max_safe_speed / case.fan.rated.speed
    good = ~(margin < (criteria.stall_margin or 0.0) - NEAR) & (speed <= safe * (1.0 + NEAR))
    if criteria.motor_load is None:
        return good
    return good & (load <= criteria.motor_load * (1.0 + NEAR))


def pressed(case: Case, pressure: Array) -> Array:
    """(n,) whether the volume's pressure [Pa] is within the criteria."""
    low, high = case.criteria.lowest_pressure, case.criteria.highest_pressure
    good = np.isfinite(pressure)
    if high is not None:
        good &= pressure - high <= NEAR * abs(high)
    return good if low is None else good & (low - pressure <= NEAR * abs(low))


def skipped(drive: SpeedDrive | None, reference: Array) -> Array:
    """(n,) whether a speed reference lies where the drive may not rest."""
    if drive is None or drive.skip is None:
        return np.zeros(reference.shape, dtype=bool)
    return (reference > drive.skip.low) & (reference < drive.skip.high)


def in_skip_band(point: OperatingPoint) -> bool:
    """Whether the drive may not rest where the point needs it."""
    return any(limit.startswith(SKIPPED) for limit in point.missed)


def end_words(strategy: Strategy, point: OperatingPoint, top: bool) -> str:
    """Why the range goes no further, where the last point is within all limits."""
    said: list[str] = []
    for name, position in point.positions.items():
        if name == "speed":
            said += _speed_words(strategy, point, position, top)
        elif top and position > 1.0 - NEAR:
            said.append(f"{name} wide open")
        elif not top and position < NEAR:
            said.append(f"{name} shut: what passes is its leakage")
    if not said and not top and point.output > NEAR:
        return "no forward flow below"
    return " and ".join(said) or f"controller output at {100 if top else 0} %"


def _speed_words(strategy: Strategy, point: OperatingPoint, position: float, top: bool
                 ) -> Iterator[str]:
    drive = strategy.speed
    if drive is None:
        return
    if top and point.speed < position - 1e-3:
        yield "torque limit of the drive"
    elif top and position > drive.maximum - NEAR:
        yield f"highest speed, {show(drive.maximum, 'fraction')} of rated"
    elif not top and position < drive.minimum + NEAR:
        yield f"minimum speed, {show(drive.minimum, 'fraction')} of rated"
