"""Judgements of stretches of one trend put together: sums add, extremes are of all."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

from simfan.metrics import Change, Energy, Excursions, Tracking, Travel

Part = TypeVar("Part")
Number = float | None


def tracking(found: Sequence[tuple[float, Tracking]]) -> Tracking:
    """Of (start [s], judgement) of each stretch; ITAE counts from the first one's start."""
    begin, first = found[0]
    if len(found) == 1:
        return first
    wholes = [one.whole for _, one in found]
    itae = [_plus(w.itae_percent_s2, (start - begin) * (w.iae_percent_s or 0.0))
            for (start, _), w in zip(found, wholes, strict=True)]
    changes: tuple[Change, ...] = sum((one.changes for _, one in found), ())
    return replace(first, changes=changes, whole=replace(
        first.whole, iae_percent_s=_sum(w.iae_percent_s for w in wholes),
        ise_percent2_s=_sum(w.ise_percent2_s for w in wholes), itae_percent_s2=_sum(itae),
        largest_deviation_percent=_most(w.largest_deviation_percent for w in wholes),
        time_outside_band_s=_sum(w.time_outside_band_s for w in wholes)))


def energy(found: Sequence[Energy]) -> Energy:
    """Sums of all stretches, and the ratios of the sums."""
    first = found[0]
    if len(found) == 1:
        return first
    shaft, supply = _sum(e.shaft_kwh for e in found), _sum(e.electrical_kwh for e in found)
    volume = _sum(e.volume_m3 for e in found)
    to_air = _sum((e.fan_efficiency_percent or 0.0) * (e.shaft_kwh or 0.0) for e in found)
    forward = volume is not None and volume > 0.0 and supply is not None
    return replace(
        first, shaft_kwh=shaft, electrical_kwh=supply, volume_m3=volume,
        cost=None if first.cost is None else _sum(e.cost for e in found),
        kwh_per_1000_m3=1000.0 * supply / volume if forward and supply and volume else None,
        fan_efficiency_percent=to_air / shaft if shaft and to_air else None)


def excursions(found: Sequence[Excursions]) -> Excursions:
    """The worst of each number, every event."""
    first = found[0]
    if len(found) == 1:
        return first
    nearest = min(found, key=lambda e: _or(e.lowest_flow_over_stall_percent, 1e99))
    margins = ("lowest_stall_margin_percent", "lowest_stall_margin_at_s",
               "lowest_flow_over_stall_percent")
    return replace(
        first, **{name: getattr(nearest, name) for name in margins},
        time_left_of_peak_s=_sum(e.time_left_of_peak_s for e in found),
        surge_cycles=_whole(_sum(e.surge_cycles for e in found)),
        reverse_flow_s=_sum(e.reverse_flow_s for e in found),
        highest_motor_load_percent=_most(e.highest_motor_load_percent for e in found),
        highest_speed_percent=_most(e.highest_speed_percent for e in found),
        highest_pressure_pa=_most(e.highest_pressure_pa for e in found),
        lowest_pressure_pa=_least(e.lowest_pressure_pa for e in found),
        events=sum((e.events for e in found), ()),
        events_not_listed=sum(e.events_not_listed for e in found),
        reasons=nearest.reasons)


def travel(found: Sequence[Travel]) -> Travel:
    """Sums of all stretches."""
    return replace(found[0], travel_percent=_sum(t.travel_percent for t in found),
                   reversals=_whole(_sum(t.reversals for t in found)),
                   time_at_limits_s=_sum(t.time_at_limits_s for t in found))


def _sum(values: Iterable[Number]) -> Number:
    return _of(sum, values)


def _most(values: Iterable[Number]) -> Number:
    return _of(max, values)


def _least(values: Iterable[Number]) -> Number:
    return _of(min, values)


def _of(how: Callable[[list[float]], float], values: Iterable[Number]) -> Number:
    """Of the numbers that exist; None where none does."""
    known = [value for value in values if value is not None]
    return how(known) if known else None


def _whole(value: Number) -> int | None:
    return None if value is None else int(value)


def _or(value: Number, otherwise: float) -> float:
    return otherwise if value is None else value


def _plus(value: Number, more: float) -> Number:
    return None if value is None else value + more
