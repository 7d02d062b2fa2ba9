"""How far the answers move over the coldest and hottest day and the curve's tolerance."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from simfan.operating_map import Band, OperatingPoint, column
from simfan.plant.case import Case, Strategy
from simfan.plant.quantities import Description
from simfan.steady.path import Day, ground, range_points, turndown

Described = TypeVar("Described", bound=Description)
POINTS = 31
"""Of the range in each case; the ends are found by halving."""


@dataclass(frozen=True)
class Variant:
    """One case to ask again."""

    what: str
    case: Case
    day: Day | None


def bands(case: Case, name: str) -> dict[str, Band]:
    """By the name of the answer; empty where neither days nor a tolerance are stated."""
    asked = list(_variants(case))
    if len(asked) < 2:
        return {}
    answers = [_answers(v, name) for v in asked]
    found = {}
    for answer, kind in (("highest", case.control.held_kind), ("lowest", case.control.held_kind),
                         ("power at design flow", "power"), ("highest motor load", "fraction")):
        values = np.array([a[answer] for a in answers])
        known = np.flatnonzero(np.isfinite(values))
        if known.size:
            low, high = known[np.argmin(values[known])], known[np.argmax(values[known])]
            found[answer] = Band(float(values[low]), float(values[high]), asked[low].what,
                                 asked[high].what, kind)
    return found


def _variants(case: Case) -> Iterator[Variant]:
    """The scenario as it stands, and every day with every curve."""
    t = case.fan.tolerance
    curves = [("", case)]
    if t:
        curves += [("curve low", _scaled(case, 1.0 - t)), ("curve high", _scaled(case, 1.0 + t))]
    for day_word, day in (("", None), *_days(case)):
        for curve_word, changed in curves:
            what = ", ".join(filter(None, (day_word, curve_word))) or "as stated"
            yield Variant(what, changed, day)


def _days(case: Case) -> Iterator[tuple[str, Day]]:
    for word, stated in (("coldest day", case.days.coldest), ("hottest day", case.days.hottest)):
        if stated is not None:
            follows = case.ductwork.volume_temperature or stated.ambient
            yield word, Day(stated.ambient, stated.gas or follows)


def _scaled(case: Case, factor: float) -> Case:
    """Pressure and power of the maker's points, of a measured family too, at equal flow, times a
    factor."""
    strategies = {name: _scaled_family(strategy, factor)
                  for name, strategy in case.strategies.items()}
    return case.model_copy(update={"fan": _points_scaled(case.fan, factor),
                                   "strategies": strategies})


def _points_scaled(curve: Described, factor: float) -> Described:
    scaled = {key: tuple(factor * v for v in values)
              for key in ("static_pressure", "total_pressure", "shaft_power")
              if (values := getattr(curve, key, None)) is not None}
    return curve.model_copy(update=scaled)


def _scaled_family(strategy: Strategy, factor: float) -> Strategy:
    changed = {}
    for key in ("inlet_vanes", "inlet_box_damper"):
        element = getattr(strategy, key)
        if element is not None and element.family:
            rows = tuple(_points_scaled(row, factor) for row in element.family)
            changed[key] = element.model_copy(update={"family": rows})
    return strategy.model_copy(update=changed)


def _answers(variant: Variant, name: str) -> dict[str, float]:
    here = ground(variant.case, name, day=variant.day)
    points = range_points(here, POINTS)
    ends = turndown(here, points)
    return {"highest": ends.highest.held if ends.highest else np.nan,
            "lowest": ends.lowest.held if ends.lowest else np.nan,
            "power at design flow": _at(points, variant.case.process.design.flow),
            "highest motor load": float(column(points, "motor_load").max())}


def _at(points: tuple[OperatingPoint, ...], flow: float) -> float:
    """Electrical power at a flow [W]; nan outside the range."""
    return float(np.interp(flow, column(points, "flow")[::-1],
                           column(points, "electrical_power")[::-1], left=np.nan, right=np.nan))
