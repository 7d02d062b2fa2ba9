"""Which strategy to take, by a rule that is said and nothing besides.

    1  meets every criterion of the scenario in the run, every setpoint within reach, decidable
    2  of those: serves every hour of the load profile within the limits, where there is one
    3  of those: takes the least energy from the supply, over the profile, else over the run

What is within `EQUAL` of the least counts as equal to it and is named. Where none meets step 1 none
is chosen.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from simfan.compare import Comparison, StrategyResult
from simfan.metrics.year import YearEnergy

EQUAL = 0.02
"""Energies no further apart count as equal. An assumption: curves and efficiencies are not known
better."""
RULE = (
    "The rule: first, every criterion met in the run; of those, the strategies that serve every "
    "hour of the load profile within the limits, where the scenario has one; of those, the least "
    "energy from the supply, over the profile, else over the run. Energies within 2 % of the "
    "least count as equal and are named. Nothing else is weighed: not price, wear, noise or room."
)


@dataclass(frozen=True)
class Choice:
    """The outcome of the rule."""

    name: str | None
    """The strategy; None where none meets the criteria."""
    over: str
    """"year": energies are those of the load profile; "run": those of the run."""
    energy_kwh: Mapping[str, float] = field(default_factory=dict)
    """Strategy that came so far → energy from the supply [kWh], the least first."""
    equal: tuple[str, ...] = ()
    """Others whose energy counts as equal to that of `name`."""
    out: Mapping[str, str] = field(default_factory=dict)
    """Strategy → the sentence why it was set aside."""
    notes: tuple[str, ...] = ()
    """What else the rule met."""


def choose(comparison: Comparison, years: Mapping[str, YearEnergy]) -> Choice:
    """Apply the rule."""
    out = {r.name: r.verdict for r in comparison.strategies if not r.meets_criteria}
    good = [r for r in comparison.strategies if r.meets_criteria]
    serving = {r.name for r in good if _serves(years.get(r.name))}
    if serving:
        out |= {r.name: _unserved(years.get(r.name)) for r in good if r.name not in serving}
        return _least({n: float(years[n].electrical_kwh or 0.0) for n in serving}, "year", out)
    known = {r.name: _of_run(r) for r in good}
    notes = ("no strategy that meets the criteria serves every hour of the load profile within the "
             "limits; the energies are those of the run",) if good and years else ()
    return _least({n: e for n, e in known.items() if e is not None}, "run", out, notes)


def _least(energies: Mapping[str, float], over: str, out: Mapping[str, str],
           notes: tuple[str, ...] = ()) -> Choice:
    ranked = dict(sorted(energies.items(), key=lambda pair: pair[1]))
    if not ranked:
        return Choice(None, over, out=out, notes=notes)
    first, least = next(iter(ranked.items()))
    near = tuple(n for n, e in ranked.items() if n != first and e <= (1.0 + EQUAL) * least)
    return Choice(first, over, ranked, near, out, notes)


def _serves(year: YearEnergy | None) -> bool:
    return year is not None and year.electrical_kwh is not None and _hours_amiss(year) == 0.0


def _unserved(year: YearEnergy | None) -> str:
    hours = _hours_amiss(year) if year else 0.0
    return (f"meets the criteria in the run, but cannot serve {hours:g} h of the load profile "
            "within the limits")


def _hours_amiss(year: YearEnergy) -> float:
    """Out of reach, or served beyond a limit [h]."""
    return year.hours_not_reachable + year.hours_out_of_criteria


def _of_run(result: StrategyResult) -> float | None:
    return result.measures.energy.electrical_kwh if result.measures else None
