"""A trend judged by the measures of a run: each measure from the samples in which all that it needs
is good, and no measure at all where a column is missing."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from math import nan
from typing import Any

import numpy as np

from simfan.metrics import Change, Event, Excursions, Measures, Surge, Tracking, Travel
from simfan.metrics.energy import energy
from simfan.metrics.excursions import excursions
from simfan.metrics.tracking import peaks, scaled, tracking
from simfan.metrics.travel import travel
from simfan.trends import together
from simfan.trends.derived import Derived
from simfan.trends.recorded import whole
from simfan.trends.scatter import hidden, scatter
from simfan.trends.stretch import Stretch
from simfan.trends.trend import of_element
from simfan.trends.trial import Trial

MARGIN = ("fan_flow", "stall_flow")
NEEDS: Mapping[str, tuple[str, ...]] = {
    "tracking": ("setpoint", "true_value"),
    "energy.shaft_kwh": ("shaft_power",),
    "energy.electrical_kwh": ("electrical_power",),
    "energy.cost": ("electrical_power",),
    "energy.volume_m3": ("fan_flow",),
    "energy.kwh_per_1000_m3": ("electrical_power", "fan_flow"),
    "energy.fan_efficiency_percent": ("fan_flow", "fan_pressure", "shaft_power"),
    "excursions.lowest_stall_margin_percent": MARGIN,
    "excursions.lowest_stall_margin_at_s": MARGIN,
    "excursions.lowest_flow_over_stall_percent": MARGIN,
    "excursions.time_left_of_peak_s": MARGIN,
    "excursions.surge_cycles": MARGIN,
    "excursions.reverse_flow_s": ("fan_flow",),
    "excursions.highest_motor_load_percent": ("motor_load",),
    "excursions.highest_speed_percent": ("speed_ratio",),
    "excursions.highest_pressure_pa": ("volume_pressure",),
    "excursions.lowest_pressure_pa": ("volume_pressure",),
}
"""Measure, as in `result.json` → signals that it is made of."""
EVENTS: Mapping[str, tuple[str, ...]] = {
    "left of the peak": MARGIN, "below the stall line": MARGIN, "surge": MARGIN,
    "reverse flow": ("fan_flow",), "motor overload": ("motor_load",),
    "overspeed": ("speed_ratio",), "controller at limit": ("controller_output",),
}
"""Kind of event → signals by which it is seen."""
CHANGES = "tracking.changes"
OF_CRITERION: Mapping[str, str] = {
    "time_outside_band": "tracking", "overshoot": CHANGES, "settling_time": CHANGES,
    "stall_margin": "excursions.lowest_stall_margin_percent",
    "surge_cycles": "excursions.surge_cycles",
    "motor_load": "excursions.highest_motor_load_percent",
    "speed": "excursions.highest_speed_percent",
    "highest_pressure": "excursions.highest_pressure_pa",
    "lowest_pressure": "excursions.lowest_pressure_pa",
}
"""Criterion → the measure that is held against it."""
NO_NUMBERS = ("iae_percent_s", "ise_percent2_s", "itae_percent_s2", "largest_deviation_percent",
              "time_outside_band_s")


@dataclass(frozen=True)
class Judged:
    """What can be said of a trend, and of what nothing can."""

    measures: Measures
    not_judged: Mapping[str, str]
    """Measure → why there is none."""
    notes: tuple[str, ...]


def judged(trial: Trial) -> Judged:
    """All measures of the trend."""
    known: dict[tuple[str, ...], str] = {}
    reasons = {name: why for name, needs in NEEDS.items()
               if (why := known.setdefault(needs, _missing(trial, needs)))}
    base = _zeros(trial)
    measures = Measures(
        tracking=_tracking(trial, base, reasons), energy=_energy(trial, base, reasons),
        excursions=_excursions(trial, base, reasons), travel=_travel(trial, base, reasons),
        audit=base.audit)
    return Judged(measures, reasons, tuple(_pieces_told(trial, reasons)))


def _missing(trial: Trial, needs: tuple[str, ...]) -> str:
    """Why measures made of these signals cannot be told; "" where they can."""
    signals, without = trial.found.signals, trial.found.without
    lacking = [name for name in needs if name not in signals]
    if lacking:
        return "; ".join(without.get(name, f"the trend has no {name}") for name in lacking)
    if not trial.spans(needs).each:
        return f"no two samples one after the other have a good {' and '.join(needs)}"
    return ""


def _zeros(trial: Trial) -> Measures:
    """The measures of two rows: the frame into which numbers are put."""
    history = whole(trial.trend, Derived({}), trial.plant, (), slice(0, 2))
    return Measures(tracking(history, trial.criteria.band), energy(history),
                    excursions(history, trial.criteria), travel(history), history.audit)


@dataclass
class _Once:
    """One part of the judgement, made once for each set of good rows."""

    trial: Trial
    part: Callable[[Stretch], Any]
    put_together: Callable[[list[Any]], Any]
    known: dict[bytes, Any] = field(default_factory=dict)

    def of(self, needs: tuple[str, ...]) -> Any:
        """From the rows in which these signals are good."""
        key = self.trial.spans(needs).good
        if key not in self.known:
            self.known[key] = self.put_together([self.part(h) for h in self.trial.pieces(needs)])
        return self.known[key]


def _tracking(trial: Trial, base: Measures, reasons: dict[str, str]) -> Tracking:
    """What hides the answers to setpoint changes goes into `reasons`."""
    pieces, hundreds, _ = ([], [], 0) if "tracking" in reasons else _with_a_percent(trial)
    if not pieces:
        reasons.setdefault("tracking", "the setpoint is zero all the time, and errors are told in "
                           "percent of the largest")
        reasons[CHANGES] = reasons["tracking"]
        none: dict[str, Any] = dict.fromkeys(NO_NUMBERS)
        return replace(base.tracking, whole=replace(base.tracking.whole, **none), changes=(),
                       percent_of="nothing")
    found = [(float(h.time[0]), _scaled(tracking(h, trial.criteria.band), hundred / max(hundreds)))
             for h, hundred in zip(pieces, hundreds, strict=True)]
    whole = together.tracking(found)
    largest = found[int(np.argmax(hundreds))][1].percent_of
    changes, why = hidden(_all_changes(trial, whole.changes),
                          scatter(trial.found.signals["true_value"]))
    if why:
        reasons[CHANGES] = why
    return replace(whole, changes=changes, percent_of=largest)


def _with_a_percent(trial: Trial) -> tuple[list[Stretch], list[float], int]:
    """Stretches in which errors can be told, what 100 % is in each [SI], and how many others there
    are: those of a plant at a standstill, with its setpoint at zero."""
    pieces = list(trial.pieces(NEEDS["tracking"]))
    hundreds = [scaled(h, peaks(h), trial.criteria.band).hundred for h in pieces]
    known = [k for k, hundred in enumerate(hundreds) if hundred > 0.0]
    return [pieces[k] for k in known], [hundreds[k] for k in known], len(pieces) - len(known)


def _scaled(one: Tracking, by: float) -> Tracking:
    """Percent of the largest setpoint of the whole trend in place of the stretch's own."""
    if by == 1.0:
        return one
    power = {"iae_percent_s": 1, "ise_percent2_s": 2, "itae_percent_s2": 1,
             "largest_deviation_percent": 1}

    def times(part: Any) -> Any:
        return replace(part, **{name: value * by**n for name, n in power.items()
                                if (value := getattr(part, name, None)) is not None})

    return replace(one, whole=times(one.whole), changes=tuple(map(times, one.changes)))


def _all_changes(trial: Trial, seen: tuple[Change, ...]) -> tuple[Change, ...]:
    """Those that were seen, with a word where a gap cut them short."""
    until = {c.at_s: c.until_s for c in trial.changes}
    return tuple(
        replace(change, reasons={**change.reasons, "until_s": "a gap of the trend ends its window"})
        if change.until_s < until.get(change.at_s, change.until_s) - 1e-9 else change
        for change in seen)


def _energy(trial: Trial, base: Measures, reasons: Mapping[str, str]) -> Any:
    over = _Once(trial, energy, together.energy)
    values: dict[str, Any] = {}
    why: dict[str, str] = {}
    for name, needs in NEEDS.items():
        key = name.removeprefix("energy.")
        if key == name:
            continue
        if name in reasons:
            values[key], why[key] = None, reasons[name]
            continue
        found = over.of(needs)
        values[key] = getattr(found, key)
        if values[key] is None:
            why[key] = found.reasons.get(key, "there is no such number")
    return replace(base.energy, **values, reasons=why)


def _excursions(trial: Trial, base: Measures, reasons: Mapping[str, str]) -> Excursions:
    over = _Once(trial, lambda h: excursions(h, trial.criteria), together.excursions)
    of = over.of
    values: dict[str, Any] = {}
    why: dict[str, str] = {}
    for name, needs in NEEDS.items():
        key = name.removeprefix("excursions.")
        if key == name:
            continue
        values[key] = None if name in reasons else getattr(of(needs), key)
        if values[key] is None:
            why[key] = reasons.get(name) or of(needs).reasons.get(key, "no such number")
    swing = None if values["surge_cycles"] is None else of(MARGIN).surge_swing_m3_s
    if swing is None:
        why["surge_swing_m3_s"] = why["surge_cycles"]
    events = _events(trial, of)
    return replace(base.excursions, **values, surge_swing_m3_s=swing, events=events, reasons=why,
                   events_not_listed=sum(e.events_not_listed for e in over.known.values()))


def _events(trial: Trial, of: Callable[[tuple[str, ...]], Excursions]) -> tuple[Event, ...]:
    """Of the kinds that can be seen, in the order of time."""
    found: list[Event] = []
    for needs in dict.fromkeys(EVENTS.values()):
        if not _missing(trial, needs):
            found += [e for e in of(needs).events if EVENTS.get(e.kind) == needs]
    if "fan_pressure" not in trial.found.signals:
        found = [replace(e, pressure_swing_pa=nan) if isinstance(e, Surge) else e for e in found]
    return tuple(sorted(found, key=lambda e: (e.start_s, e.kind, e.where)))


def _travel(trial: Trial, base: Measures, reasons: dict[str, str]) -> dict[str, Travel]:
    """Of each element; why there is none goes into `reasons`."""
    found = {}
    for name, blank in base.travel.items():
        needs = (of_element(name),)
        if why := _missing(trial, needs):
            reasons[f"travel.{name}"] = why
            found[name] = replace(blank, travel_percent=None, reversals=None, time_at_limits_s=None)
        else:
            found[name] = together.travel([travel(h)[name] for h in trial.pieces(needs)])
    return found


def _pieces_told(trial: Trial, reasons: Mapping[str, str]) -> list[str]:
    """How many stretches there are, and what was left out."""
    said = []
    seen, lost = trial.spans(()).each, trial.spans(()).left_out
    if len(seen) > 1:
        time = trial.trend.time
        lasts = sum(float(time[span.last] - time[span.first]) for span in seen)
        said.append(f"{len(seen)} stretches between gaps are judged each for itself, and put "
                    f"together: sums such as energy are of {lasts:.6g} s of {time[-1]:.6g} s")
    if lost:
        said.append(f"{lost} short stretches are left out of the judgement")
    if "tracking" not in reasons:
        if still := _with_a_percent(trial)[2]:
            said.append(f"{still} stretches with the setpoint at zero are left out of what tells "
                        "how it was held")
        told = sum(len(h.facts.changes) for h in trial.pieces(NEEDS["tracking"]))
        if told < len(trial.changes):
            said.append(f"{len(trial.changes) - told} of {len(trial.changes)} setpoint changes "
                        "fell into gaps and are not judged")
    return said
