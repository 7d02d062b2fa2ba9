"""What a year of a load profile takes from the supply, and what one strategy saves over another.

The electrical power of a strategy at a demand lies on straight lines between the steady points of
its operating map. A demand outside the range of the map is counted as not reachable; nothing is
clipped to the nearest point, and no hours are scaled to a year.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from simfan.metrics.demand import Met, met, power_error
from simfan.operating_map import StrategyMap
from simfan.plant.case import Case, Energy
from simfan.plant.year import HOURS, Year

MOST_SINGLE = 12
"""Demands of a profile up to which each has a bin of its own."""
BINS = 10
"""Of equal width, where a profile has more demands."""
ROUNDING = 1e-6
"""Of the baseline's energy: a smaller difference is none."""
NO_PRICE = "energy.price_per_kwh is not given, or zero"
BESIDE = ("hours_compared", "saved_kwh", "saving", "payback_years")
"""What is counted from the baseline."""
NO_HOURS = "the strategy reaches no demand of the load profile"


@dataclass(frozen=True)
class YearBin:
    """The hours at demands of about one size, and what they take."""

    low: float
    """Least demand [held unit: m³/s, kg/s or Pa]."""
    high: float
    """Largest demand; as `low` for a bin of one demand [held unit: m³/s, kg/s or Pa]."""
    hours: float
    """In the profile [h]."""
    electrical_kwh: float | None
    """From the supply, over the hours that are reachable [kWh]; None where none is."""
    hours_not_reachable: float
    """Outside the range of the strategy [h]."""
    hours_out_of_criteria: float
    """Reachable, but beyond a limit [h]."""
    reasons: Mapping[str, str] = field(default_factory=dict)
    """Why a number does not exist."""


@dataclass(frozen=True)
class YearEnergy:
    """What one strategy takes over the hours of the load profile, beside the baseline.

    Energy, volume, cost and carbon dioxide are those of the hours served, out of criteria or not.
    """

    hours: float
    """Of the profile [h]."""
    hours_standing: float
    """At a demand of no flow, when the fan stands and takes nothing [h]."""
    hours_served: float
    """Within the range of the strategy, or standing [h]."""
    hours_not_reachable: float
    """Outside the range of the strategy [h]."""
    hours_out_of_criteria: float
    """Of those served: beyond a limit at the operating point [h]."""
    electrical_kwh: float | None
    """E = Σ P_el·t, from the supply [kWh]; None where no demand is reachable."""
    shaft_kwh: float | None
    """Σ P_shaft·t [kWh]."""
    kwh_per_1000_m3: float | None
    """E over the volume at the wheel's inlet [kWh/1000 m³]."""
    cost: float | None
    """E times the price [currency]."""
    co2_kg: float | None
    """E times the carbon dioxide of a kilowatt hour [kg]."""
    interpolation_error_percent: float | None
    """Largest 100·|P_line/P − 1| [%] at the points left out when every second point of the map is.
    With all points the error is about a quarter of it where the curve is smooth."""
    bins: tuple[YearBin, ...]
    baseline: str | None
    """Strategy that the rest is counted from."""
    currency: str
    hours_compared: float | None = None
    """Served by this strategy and by the baseline [h]."""
    saved_kwh: float | None = None
    """E_baseline − E over the hours compared [kWh]."""
    saving: float | None = None
    """saved_kwh times the price, in the hours compared, taken as those of a year [currency]."""
    payback_years: float | None = None
    """(installed cost − installed cost of the baseline)/saving [a], without interest, upkeep and
    change of prices; 0 where it costs no more than the baseline."""
    notes: tuple[str, ...] = ()
    """What to know about the numbers, in plain words."""
    reasons: Mapping[str, str] = field(default_factory=dict)
    """Why a number does not exist."""


@dataclass(frozen=True)
class _Asked:
    """The load profile and what stands beside it in the scenario."""

    demand: np.ndarray
    """(n,) [held unit]."""
    hours: np.ndarray
    """(n,) [h]."""
    year: Year
    energy: Energy
    installed: Mapping[str, float | None]
    """By strategy [currency]."""


def years(maps: Iterable[StrategyMap], case: Case) -> dict[str, YearEnergy]:
    """By strategy, over the load profile of the case; empty where it has none."""
    year = case.year
    if year is None or year.profile is None:
        return {}
    asked = _Asked(np.array(year.profile.demand), np.array(year.profile.hours), year, case.energy,
                   {name: s.installed_cost for name, s in case.strategies.items()})
    found = {m.name: (m, met(m, asked.demand, case.control.holds == "flow")) for m in maps}
    base = found[year.baseline][1] if year.baseline in found else None
    return {name: _beside(year_energy(one, here, asked), name, here, base, asked)
            for name, (one, here) in found.items()}


def year_energy(found: StrategyMap, here: Met, asked: _Asked) -> YearEnergy:
    """One strategy over the load profile, not yet beside the baseline."""
    demand, hours, year, energy = asked.demand, asked.hours, asked.year, asked.energy
    served = here.served
    reached = served & ~here.standing
    electrical, shaft, volume = (
        float(np.sum(values[reached] * hours[reached])) if reached.any() else None
        for values in (here.kw, here.shaft_kw, 3600.0 * here.flow))
    if electrical is None and here.standing.any():
        electrical = shaft = 0.0
    price, co2 = energy.price_per_kwh, year.co2_per_kwh
    made = YearEnergy(
        hours=float(hours.sum()), hours_standing=float(hours[here.standing].sum()),
        hours_served=float(hours[served].sum()),
        hours_not_reachable=float(hours[~served].sum()),
        hours_out_of_criteria=float(hours[served & here.missed].sum()),
        electrical_kwh=electrical, shaft_kwh=shaft,
        kwh_per_1000_m3=1e3 * electrical / volume if volume and electrical is not None else None,
        cost=price * electrical if price and electrical is not None else None,
        co2_kg=co2 * electrical if co2 is not None and electrical is not None else None,
        interpolation_error_percent=power_error(found), bins=tuple(_bins(here, demand, hours)),
        baseline=year.baseline, currency=energy.currency)
    return replace(made, notes=_notes(made, here), reasons=_reasons(made, year))


def _bins(here: Met, demand: np.ndarray, hours: np.ndarray) -> Iterable[YearBin]:
    """One for each demand, or ten of equal width; those without hours are left out."""
    values = np.unique(demand)
    single = values.size <= MOST_SINGLE
    edges = values if single else np.linspace(values[0], values[-1], BINS + 1)
    place = np.searchsorted(edges, demand, side="right") - 1
    place = np.minimum(place, edges.size - (1 if single else 2))
    for k in np.unique(place[hours > 0.0]):
        mine = place == k
        kwh = (here.kw * hours)[mine & here.served]
        yield YearBin(
            float(edges[k]), float(edges[k if single else k + 1]), float(hours[mine].sum()),
            float(kwh.sum()) if kwh.size else None, float(hours[mine & ~here.served].sum()),
            float(hours[mine & here.served & here.missed].sum()),
            {} if kwh.size else {"electrical_kwh": "outside the range of the strategy"})


def _notes(made: YearEnergy, here: Met) -> tuple[str, ...]:
    found = []
    if abs(made.hours - HOURS) > 0.5:
        found.append(f"the load profile has {made.hours:g} h, a year 8760 h: all numbers are of "
                     "the profile's hours")
    if made.hours_not_reachable:
        found.append(f"{made.hours_not_reachable:g} h are at a demand that the strategy cannot "
                     "give: they are in no sum")
    if made.hours_out_of_criteria:
        found.append(f"{made.hours_out_of_criteria:g} h are beyond a limit ({here.limits}): "
                     "counted with the power of the steady point")
    if here.turns_back:
        found.append("what is held turns back over the range: points beyond the turn are left out")
    return tuple(found)


def _reasons(made: YearEnergy, year: Year) -> dict[str, str]:
    none = made.electrical_kwh is None
    why = {
        "electrical_kwh": NO_HOURS, "shaft_kwh": NO_HOURS,
        "kwh_per_1000_m3": NO_HOURS if none else "no flow in any hour served",
        "cost": NO_PRICE if not none else NO_HOURS,
        "co2_kg": "year.co2_per_kwh is not given" if year.co2_per_kwh is None else NO_HOURS,
        "interpolation_error_percent": "too few points on the map to leave any out",
        "baseline": "year.baseline is not given",
    }
    return {key: words for key, words in why.items() if getattr(made, key) is None}


def _beside(made: YearEnergy, name: str, here: Met, base: Met | None, asked: _Asked) -> YearEnergy:
    """With saving and payback against the baseline, or why there are none."""
    if base is None or name == made.baseline:
        why = ("year.baseline is not given" if made.baseline is None
               else f"the baseline, {made.baseline}, is not on this map" if base is None
               else "it is the baseline")
        return _told(_warned(made) if base is not None else made, dict.fromkeys(BESIDE, why))
    both = here.served & base.served
    compared = float(asked.hours[both].sum())
    if compared == 0.0:
        why = f"no hour is served by both this strategy and {made.baseline}"
        return _told(replace(made, hours_compared=0.0), dict.fromkeys(BESIDE[1:], why))
    made = replace(made, hours_compared=compared, notes=(*made.notes, *_part(made, compared)))
    one, other = (float(np.sum((m.kw * asked.hours)[both])) for m in (here, base))
    same = abs(other - one) < ROUNDING * abs(other)
    return _saving(made, name, 0.0 if same else other - one, asked)


def _warned(made: YearEnergy) -> YearEnergy:
    """Of the baseline, where it is beyond a limit."""
    if not made.hours_out_of_criteria:
        return made
    note = (f"it is the baseline: what others save in those {made.hours_out_of_criteria:g} h they "
            "save over a plant that could not be run so")
    return replace(made, notes=(*made.notes, note))


def _part(made: YearEnergy, compared: float) -> Iterable[str]:
    if compared < made.hours - 1e-6:
        yield (f"compared with {made.baseline} on {compared:g} h, which both serve, of "
               f"{made.hours:g} h")


def _saving(made: YearEnergy, name: str, saved: float, asked: _Asked) -> YearEnergy:
    price, installed = asked.energy.price_per_kwh, asked.installed
    if not price:
        return _told(replace(made, saved_kwh=saved), dict.fromkeys(BESIDE[2:], NO_PRICE))
    payback, why = _payback(saved * price, installed.get(name), installed.get(made.baseline or ""))
    made = replace(made, saved_kwh=saved, saving=saved * price, payback_years=payback)
    return _told(made, {} if payback is not None else {"payback_years": why})


def _told(made: YearEnergy, why: Mapping[str, str]) -> YearEnergy:
    return replace(made, reasons={**made.reasons, **why})


def _payback(saving: float, cost: float | None, base: float | None) -> tuple[float | None, str]:
    """(cost − base)/saving [a], not below zero; None with a reason."""
    if saving <= 0.0:
        return None, "it saves nothing against the baseline"
    if cost is None or base is None:
        which = "the strategy" if cost is None else "the baseline"
        return None, f"installed_cost of {which} is not given"
    return max(0.0, cost - base) / saving, ""
