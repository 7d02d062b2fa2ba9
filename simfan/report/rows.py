"""The rows of the comparison table: what is shown of each strategy, in which unit, against what.

A row is a word, a unit, where the number stands in the result, and the criterion that limits it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from simfan.compare import Comparison, StrategyResult
from simfan.metrics import Measures
from simfan.units import System, convert, preferred, significant

Number = float | None
FOOT3 = 0.3048**3
"""[m³]."""


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    name: str
    unit: str
    value: Callable[[Measures], str]
    criterion: str = ""
    """Key of the criterion that this number is held against; "" for none."""
    limit: str = ""
    """What is allowed, in the row's unit; "" where no criterion was given."""

    def missed(self, result: StrategyResult) -> bool:
        """Whether the strategy misses this row's criterion."""
        return any(m.criterion == self.criterion for m in result.misses)


@dataclass(frozen=True)
class Block:
    """Rows under one heading."""

    title: str
    rows: tuple[Row, ...]


def blocks(comparison: Comparison, system: System) -> tuple[Block, ...]:
    """All rows, in the order in which they are read."""
    return (
        Block("Held the setpoint", _tracking(comparison)),
        Block("Energy", _energy(comparison, system)),
        Block("Stayed on the fan map", (*_excursions(comparison), *_pressures(comparison, system))),
        Block("Wear", _travel()),
    )


def _tracking(comparison: Comparison) -> tuple[Row, ...]:
    asked = comparison.criteria
    band = f"outside ±{_number(100 * asked.band)} %"
    return (
        Row("IAE", "% s", lambda m: _number(m.tracking.whole.iae_percent_s)),
        Row("largest deviation", "%",
            lambda m: _number(m.tracking.whole.largest_deviation_percent)),
        Row(band, "s", lambda m: _number(m.tracking.whole.time_outside_band_s),
            "time_outside_band", _most(asked.time_outside_band)),
        Row("worst overshoot", "%",
            lambda m: _worst([c.overshoot_percent for c in m.tracking.changes]),
            "overshoot", _most(_percent(asked.overshoot))),
        Row("slowest settling", "s", _settling, "settling_time", _most(asked.settling_time)),
    )  # fmt: skip


def _energy(comparison: Comparison, system: System) -> tuple[Row, ...]:
    currencies = {r.measures.energy.currency for r in comparison.strategies if r.measures}
    volume, scale = ("ft3", FOOT3) if system == "us" else ("m3", 1.0)
    rows = [
        Row("at the shaft", "kWh", lambda m: _number(m.energy.shaft_kwh)),
        Row("from the supply", "kWh", lambda m: _number(m.energy.electrical_kwh)),
        Row(f"per 1000 {volume}", "kWh",
            lambda m: _number(_times(m.energy.kwh_per_1000_m3, scale))),
        Row("fan efficiency", "%", lambda m: _number(m.energy.fan_efficiency_percent)),
    ]  # fmt: skip
    if any(r.measures and r.measures.energy.cost is not None for r in comparison.strategies):
        unit = next(iter(currencies), "")
        rows.append(Row("cost", unit, lambda m: _number(m.energy.cost)))
    return tuple(rows)


def _excursions(comparison: Comparison) -> tuple[Row, ...]:
    asked, facts = comparison.criteria, comparison.strategies[0].history.facts
    line = "peak" if "peak" in facts.fan_map.stall_basis else "stall line"
    speed = facts.max_safe_speed_ratio if asked.speed is None else asked.speed
    return (
        Row("lowest stall margin", "%",
            lambda m: _number(m.excursions.lowest_stall_margin_percent),
            "stall_margin", _least(_percent(asked.stall_margin))),
        Row(f"left of the {line}", "s", lambda m: _number(m.excursions.time_left_of_peak_s)),
        Row("surge cycles", "", lambda m: _number(m.excursions.surge_cycles),
            "surge_cycles", _most(asked.surge_cycles)),
        Row("reverse flow", "s", lambda m: _number(m.excursions.reverse_flow_s)),
        Row("highest motor load", "%", lambda m: _number(m.excursions.highest_motor_load_percent),
            "motor_load", _most(_percent(asked.motor_load))),
        Row("highest speed", "%", lambda m: _number(m.excursions.highest_speed_percent),
            "speed", _most(_percent(speed))),
    )  # fmt: skip


def _pressures(comparison: Comparison, system: System) -> Iterator[Row]:
    """Of the volume over its surroundings, where the scenario limits them."""
    asked, unit = comparison.criteria, preferred("pressure", system)

    def shown(value: Number) -> Number:
        return None if value is None else convert(value, "pressure", unit)

    if asked.highest_pressure is not None:
        yield Row("high pressure", unit,
                  lambda m: _number(shown(m.excursions.highest_pressure_pa)),
                  "highest_pressure", _most(shown(asked.highest_pressure)))  # fmt: skip
    if asked.lowest_pressure is not None:
        yield Row("low pressure", unit,
                  lambda m: _number(shown(m.excursions.lowest_pressure_pa)),
                  "lowest_pressure", _least(shown(asked.lowest_pressure)))  # fmt: skip


def _travel() -> tuple[Row, ...]:
    return (
        Row("element travel", "%",
            lambda m: " + ".join(_number(t.travel_percent) for t in m.travel.values())),
        Row("reversals", "", lambda m: " + ".join(_number(t.reversals) for t in m.travel.values())),
    )  # fmt: skip


def _number(value: Number) -> str:
    """Three digits; a dash where the number does not exist."""
    return "-" if value is None else significant(float(value))


def _most(limit: Number) -> str:
    return "" if limit is None else f"≤ {_number(limit)}"


def _least(limit: Number) -> str:
    return "" if limit is None else f"≥ {_number(limit)}"


def _percent(share: Number) -> Number:
    return None if share is None else 100.0 * share


def _times(value: Number, factor: float) -> Number:
    return None if value is None else value * factor


def _worst(values: list[Number]) -> str:
    found = [v for v in values if v is not None]
    return _number(max(found)) if found else "-"


def _settling(measures: Measures) -> str:
    """The slowest; "never" where one change did not settle before the next event."""
    judged = [c for c in measures.tracking.changes if c.overshoot_percent is not None]
    if any(c.settling_time_s is None for c in judged):
        return "never"
    return _worst([c.settling_time_s for c in judged])
