"""Whether a trend's readings have the size that the scenario's plant can give them: doubts, never a
refusal. A wrong unit or factor of a column makes every measure of it wrong, and none looks so.

Usual and largest size are the middle and the 95th percentile of |reading|. A largest size far above
what the plant can do is doubted always; one far below only while another signal shows that the fan
runs, for a plant at a standstill reads next to nothing, too. Shares that are doubted: our choice,
no source; a factor of 3.6 or less may pass unseen.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from simfan import units
from simfan.errors import ScenarioError
from simfan.plant.case import Case
from simfan.signals import HELD_UNITS, SIGNALS
from simfan.trends.mapping import KINDS as KINDS_OF
from simfan.trends.mapping import Column, reading_of, share_of
from simfan.trends.room import finite
from simfan.trends.trend import Array, Trend, of_element

LOOKED_AT = 100_000
"""Samples of a long trend, evenly spread, by which a size is told."""
LARGEST = 95.0
"""Percentile that stands for the largest size: a start's current or a bad reading is above it."""
LIKELY = (0.3, 1.1)
"""Shares of what the plant can do between which most trends' largest sizes lie; from memory."""
TENS = (10.0, 100.0, 1e3, 1e4, 1e5, 1e6)
CURVE_END = "the end of the fan's curve at its safe speed"
CURVE_PEAK, SPAN_END = "the peak of the fan's curve", "the end of the transmitter's span"
HELD = ("setpoint", "measured_value", "true_value")
FOLLOWS = 0.2
"""Of the setpoint: a measured value that stays so near to it is held by a loop at work."""


@dataclass(frozen=True)
class Expected:
    """What a signal's largest size may be, of what the plant can do [SI]."""

    most: float
    """What the plant can do."""
    what: str
    """In words."""
    low: float | None
    """Share of it below which a running plant is doubted; None for a signal that may be nothing."""
    high: float
    """Share of it above which any plant is doubted."""
    fits: tuple[float, float]
    """Shares of it between which a unit would fit."""


def doubts(trend: Trend, case: Case, strategy: str) -> dict[str, str]:
    """Signal → why its size is doubted, with the unit that would fit where one does."""
    columns = _columns(case, strategy)
    sizes = {name: size for name, values in trend.signals.items() if (size := _size(values))}
    found = {}
    for name, (usual, largest) in sizes.items():
        one = _expected(name, case)
        if one is None:
            continue
        small = one.low is not None and 0.0 < largest < one.low * one.most and _runs(
            name, trend, case, sizes)
        if small or largest > one.high * one.most:
            found[name] = _words(name, usual, largest, one, columns.get(name), case)
    return found


def _size(values: Array) -> tuple[float, float] | None:
    """(usual, largest) |reading| of the good samples; None where there is none."""
    every = max(1, len(values) // LOOKED_AT)
    good = [np.abs(block) for block in finite(values[::every])]
    seen = np.concatenate(good) if good else np.zeros(0)
    return (float(np.median(seen)), float(np.percentile(seen, LARGEST))) if seen.size else None


def _expected(name: str, case: Case) -> Expected | None:
    """None for a signal of which nothing is expected."""
    if name in HELD:
        return _held(case)
    peak, rating = max(case.fan.pressure), case.motor.rating
    usual = {
        "fan_flow": Expected(_most_flow(case), CURVE_END, 0.02, 1.5, (0.08, 1.1)),
        "fan_pressure": Expected(peak, CURVE_PEAK, 0.01, 2.5, (0.05, 1.5)),
        "volume_pressure": Expected(peak, CURVE_PEAK, None, 3.0, (0.005, 1.5)),
        "shaft_power": Expected(rating, "the motor's rating", 0.005, 3.0, (0.03, 1.3)),
        "electrical_power": Expected(rating, "the motor's rating", 0.005, 3.0, (0.03, 1.3)),
        "motor_load": Expected(1.0, "the motor's rated load", 0.005, 5.0, (0.05, 1.5)),
        "speed_ratio": Expected(1.0, "the fan's rated speed", 0.02, 1.5, (0.15, 1.2)),
        of_element("speed"): Expected(1.0, "the fan's rated speed", 0.02, 1.5, (0.15, 1.2)),
    }
    share = name == "controller_output" or name.startswith(of_element(""))
    return usual.get(name, Expected(1.0, "the whole range", 0.0101, 1.5, (0.02, 1.01)) if share
                     else None)


def _held(case: Case) -> Expected:
    """Of what the loop holds: by the curve, or by the span where that is wider."""
    kind, ends = case.control.held_kind, case.control.span_ends or (0.0,)
    span = max(map(abs, ends))
    if kind == "pressure":
        most = max(case.fan.pressure)
        return Expected(max(most, span), SPAN_END if span > most else CURVE_PEAK, None, 3.0,
                        (0.005, 1.5))
    most = _most_flow(case) * (case.fan.rated.density if kind == "mass flow" else 1.0)
    return Expected(max(most, span), SPAN_END if span > most else CURVE_END, 0.02, 1.5,
                    (0.08, 1.1))


def _most_flow(case: Case) -> float:
    """The end of the curve at the wheel's safe speed [m³/s]."""
    return max(case.fan.flow) * case.fan.max_safe_speed / case.fan.rated.speed


def _runs(name: str, trend: Trend, case: Case, sizes: Mapping[str, tuple[float, float]]) -> bool:
    """Whether another signal shows a fan at work: pressure, power, load or speed; else a loop that
    holds its setpoint."""
    for other in ("fan_pressure", "shaft_power", "electrical_power", "motor_load", "speed_ratio"):
        one = _expected(other, case)
        if other != name and other in sizes and one and sizes[other][1] > 0.05 * one.most:
            return True
    if name in HELD or not {"setpoint", "measured_value"} <= sizes.keys():
        held = {"setpoint", "measured_value"} <= sizes.keys()
        return held and _follows(trend)
    one = _expected("measured_value", case)
    return bool(one and sizes["measured_value"][1] > 0.05 * one.most and _follows(trend))


def _follows(trend: Trend) -> bool:
    """Whether the measured value is near a setpoint that is not zero, in most samples."""
    every = max(1, len(trend.time) // LOOKED_AT)
    wanted, actual = (trend.signals[n][::every] for n in ("setpoint", "measured_value"))
    both = np.isfinite(wanted) & np.isfinite(actual) & (wanted != 0.0)
    near = np.abs(actual[both] - wanted[both]) < FOLLOWS * np.abs(wanted[both])
    return bool(near.size and np.mean(near) > 0.5 and np.mean(both) > 0.5)


def _columns(case: Case, strategy: str) -> dict[str, Column]:
    """Signal → its column, where the scenario says which it is."""
    try:
        return {c.signal: c for c in reading_of(case, strategy).columns} if case.trend else {}
    except ScenarioError:
        return {}


def _words(name: str, usual: float, largest: float, one: Expected, column: Column | None,
           case: Case) -> str:
    unit = _unit(name, case)
    side = "below" if largest < one.most else "above"
    written = f", column {units.quoted(column.text)}," if column else ""
    return (f"DOUBTFUL: {name}{written} is usually {usual:.3g} {unit} and at most {largest:.3g} "
            f"{unit}, far {side} {one.most:.3g} {unit}, {one.what}: is its unit right under "
            f"trend.columns, or its factor?{_fitting(largest, one, column, case)}")


def _unit(name: str, case: Case) -> str:
    if name in HELD:
        return HELD_UNITS[case.control.held_kind]
    signal = SIGNALS.get(name.split(" of ")[0])
    unit = signal.unit if signal else "Pa"
    return "(share of 1)" if unit == "1" else unit


def _fitting(largest: float, one: Expected, column: Column | None, case: Case) -> str:
    """What would fit, in words; "" where nothing does."""
    low, high = (share * one.most for share in one.fits)
    fits = {name: largest * factor / one.most for name, factor in _others(column, case)
            if low <= largest * factor <= high}
    if fits:
        first = sorted(fits, key=lambda name: not LIKELY[0] <= fits[name] <= LIKELY[1])
        return f" In {' or '.join(first[:2])} it would fit."
    tens = [t for t in (*TENS, *(1.0 / t for t in TENS)) if low <= largest * t <= high]
    if not tens:
        return ""
    best = min(tens, key=lambda t: abs(np.log(largest * t / (0.6 * one.most))))
    times = f"{best:.0f} times as much" if best > 1.0 else f"1/{1.0 / best:.0f} of it"
    return f" {times} would fit."


def _others(column: Column | None, case: Case) -> Iterator[tuple[str, float]]:
    """Every other unit that the column may be written in, and what it makes of its numbers now."""
    if column is None:
        return
    key = next((k for k in KINDS_OF if k in (column.key, column.signal)), column.key)
    for kind in KINDS_OF[key]:
        of = case.control.held_kind if kind == "held" else kind
        scale = share_of(of, case) if len(KINDS_OF[key]) > 1 else 1.0
        for name, unit in units.KINDS[of].items():
            if name != column.unit:
                yield name, unit.factor * scale / column.factor
