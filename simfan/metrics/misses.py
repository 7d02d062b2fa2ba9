"""Which criteria a run misses, by how much, in numbers and in words."""

from collections.abc import Iterator
from dataclasses import dataclass

from simfan.history import Facts, Robustness
from simfan.metrics.results import Change, Event, Excursions, Measures
from simfan.plant.case import Criteria
from simfan.signals import HELD_UNITS

LEFT = ("left of the peak", "below the stall line")
"""Kinds of event in which the stall margin is below zero."""


SWINGING = 25.0
"""Overshoot of a setpoint step [%] beyond what a loop of Ms up to 2 shows. An assumption."""


@dataclass(frozen=True)
class Miss:
    """One criterion that is not met. `got` is None where the wanted number does not exist."""

    criterion: str
    """The key in the scenario's criteria; or "max_sensitivity", "operation", "trips",
    "procedures", "locked_rotor_time", which are asked for without one."""
    got: float | None
    """[`unit`]; None where the wanted number does not exist."""
    limit: float
    """What the scenario allows [`unit`]."""
    unit: str
    """Of `got` and `limit`."""
    words: str
    """The miss as a sentence."""


def misses(measures: Measures, criteria: Criteria, facts: Facts) -> tuple[Miss, ...]:
    """All of them, in the order of the scenario's keys. A criterion left out is not judged."""
    return (
        *_above("time_outside_band", "outside the band for",
                measures.tracking.whole.time_outside_band_s, criteria.time_outside_band, "s"),
        *_overshoot(measures.tracking.changes, criteria.overshoot),
        *_settling(measures.tracking.changes, criteria.settling_time),
        *_margin(measures, criteria.stall_margin),
        *_above("surge_cycles", "surge cycles:",
                measures.excursions.surge_cycles, criteria.surge_cycles, ""),
        *_above("motor_load", "motor load up to",
                measures.excursions.highest_motor_load_percent, _percent(criteria.motor_load), "%",
                during=worst(measures.excursions, "motor overload")),
        *_above("speed", "speed up to", measures.excursions.highest_speed_percent,
                _percent(facts.max_safe_speed_ratio if criteria.speed is None else criteria.speed),
                "%", during=worst(measures.excursions, "overspeed")),
        *_above("highest_pressure", "pressure of the volume up to",
                measures.excursions.highest_pressure_pa, criteria.highest_pressure, "Pa"),
        *_below("lowest_pressure", "pressure of the volume down to",
                measures.excursions.lowest_pressure_pa, criteria.lowest_pressure, "Pa"),
    )  # fmt: skip


def robustness_misses(facts: Facts) -> tuple[Miss, ...]:
    """What was to be tuned and could not be, or not everywhere. Gains that the scenario gives are
    the user's own; they are warned of, not missed."""
    found = facts.robustness
    if found is None or not found.sought or (found.gains and not found.unstable_at):
        return ()
    words = (unstable_words(facts) if found.gains else
             f"not run, for it could not be tuned: {found.why}")
    return (Miss("max_sensitivity", None, found.target, "", words),)


def unstable_words(facts: Facts) -> str:
    """Where in the range a tuning does not hold; "" for nowhere."""
    found = facts.robustness
    if found is None or not found.unstable_at:
        return ""
    low, high = (f"{figure(edge(found.unstable_at))}" for edge in (min, max))
    where = f"at {low}" if low == high else f"from {low} to {high}"
    return f"the loop is unstable {where} {HELD_UNITS[facts.held_kind]}"


def beyond_words(measures: Measures | None, facts: Facts) -> str:
    """The setpoint change that overshoots by more than sought gains promise, and why; "" for none,
    and where the fan surges."""
    found = facts.robustness
    if not (found and found.sought and measures) or measures.excursions.surge_cycles:
        return ""
    over, worst = max(((c.overshoot_percent or 0.0, c) for c in measures.tracking.changes),
                      key=lambda pair: pair[0], default=(0.0, None))
    if worst is None or over <= SWINGING:
        return ""
    ending = "" if worst.settling_time_s is not None else " and has not settled at its end"
    return f"{_step(worst)} overshoots by {figure(over)} %{ending}{_because(worst, found)}"


def _because(change: Change, found: Robustness) -> str:
    """What of the change the tuning did not reckon with; "" where nothing is known.

    A change is too fast that is a step beyond the largest step, or a ramp also faster than the
    fastest.
    """
    unit, ends = HELD_UNITS[change.held_kind], (change.start, change.end)
    if found.low is not None and found.high is not None and not (
            found.low <= min(ends) and max(ends) <= found.high):
        return (f": it leaves the {figure(found.low)} to {figure(found.high)} {unit} over which "
                "the loop was tuned")
    limit = found.largest_step
    if limit is not None and abs(change.end - change.start) > max(
            limit, (found.fastest_ramp or 0.0) * change.over_s):
        return (f": beyond {figure(limit)} {unit} at once a rate limit rules the loop, not its Ms")
    return ""


def figure(value: float) -> str:
    """A number in a sentence: three digits, or all before the point."""
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def instant(time: float) -> float:
    """A time as it is told: no finer than a tenth of a second."""
    return round(time, 1)


def figures(got: float, limit: float) -> tuple[str, str]:
    """A number and its limit, with as many more digits as tell them apart."""
    if figure(got) != figure(limit) or got == limit:
        return figure(got), figure(limit)
    for digits in range(4, 17):
        pair = f"{got:.{digits}g}", f"{limit:.{digits}g}"
        if pair[0] != pair[1]:
            return pair
    return figure(got), figure(limit)


def lasting(seconds: float) -> str:
    """A length of time in a sentence."""
    return f"{figure(instant(seconds))} s" if instant(seconds) else "less than 0.1 s"


def cause(event: Event) -> str:
    """After which change an event began, and what was moving then."""
    words = f"after {event.after}"
    return words if event.moving == "nothing" else f"{words}, {event.moving}"


def worst(found: Excursions, kind: str) -> str:
    """How long the deepest event of this kind lasted and whence it came; "" for none."""
    seen = [e for e in found.events if e.kind == kind]
    if not seen:
        return ""
    deepest = max(seen, key=lambda e: e.depth or 0.0)
    return f"for {lasting(deepest.duration_s)} {cause(deepest)}"


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _with(number: str, unit: str) -> str:
    return f"{number} {unit}" if unit else number


def _above(
    criterion: str, lead: str, got: float | None, limit: float | None, unit: str, tail: str = "",
    during: str = "",
) -> Iterator[Miss]:  # fmt: skip
    """`tail` follows the number, `during` the limit."""
    if limit is None or got is None or got <= limit:
        return
    shown = instant(got) if unit == "s" and instant(got) > limit else got
    told, allowed = (_with(n, unit) for n in figures(shown, limit))
    words = f"{lead} {told}{tail}, allowed {allowed}" + (f", {during}" if during else "")
    yield Miss(criterion, float(got), float(limit), unit, words)


def _below(criterion: str, lead: str, got: float | None, limit: float | None, unit: str,
           ) -> Iterator[Miss]:
    if limit is None or got is None or got >= limit:
        return
    told, allowed = (_with(n, unit) for n in figures(got, limit))
    yield Miss(criterion, float(got), float(limit), unit, f"{lead} {told}, allowed {allowed}")


def _step(change: Change) -> str:
    unit = HELD_UNITS[change.held_kind]
    return f"{change.start:g} → {change.end:g} {unit} at {instant(change.at_s):g} s"


def _overshoot(changes: tuple[Change, ...], limit: float | None) -> Iterator[Miss]:
    seen = [(c.overshoot_percent, c) for c in changes if c.overshoot_percent is not None]
    if seen:
        got, change = max(seen, key=lambda pair: pair[0])
        small = change.judged_step > abs(change.end - change.start)
        of = (f"{figure(change.judged_step)} {HELD_UNITS[change.held_kind]} at" if small else "")
        tail = f" of {of or 'the step'} {_step(change)}"
        yield from _above("overshoot", "overshoot", got, _percent(limit), "%", tail)


def _settling(changes: tuple[Change, ...], limit: float | None) -> Iterator[Miss]:
    if limit is None:
        return
    judged = [c for c in changes if c.overshoot_percent is not None]
    for change in judged:
        if change.settling_time_s is None:
            why = change.reasons["settling_time_s"]
            yield Miss("settling_time", None, limit, "s", f"{_step(change)}: {why}")
            return
    if judged:
        worst = max(judged, key=lambda c: c.settling_time_s or 0.0)
        lead = f"{_step(worst)}: settled after"
        yield from _above("settling_time", lead, worst.settling_time_s, limit, "s")


def _margin(measures: Measures, limit: float | None) -> Iterator[Miss]:
    found = measures.excursions
    if limit is None or found.lowest_flow_over_stall_percent is None:
        return
    got, wanted = found.lowest_stall_margin_percent, 100.0 * limit
    if got is None:
        why = found.reasons["lowest_stall_margin_percent"]
        yield Miss("stall_margin", None, wanted, "%", f"no stall margin: {why}")
    elif got < wanted:
        told, allowed = figures(got, wanted)
        words = f"stall margin down to {told} %, wanted {allowed} %{_left(found)}"
        yield Miss("stall_margin", got, wanted, "%", words)


def _left(found: Excursions) -> str:
    """How long the point stayed left of the line, or when it came nearest to it."""
    for kind in LEFT:
        if during := worst(found, kind):
            return f", {kind} {during}"
    at = found.lowest_stall_margin_at_s
    return "" if at is None else f", at {figure(instant(at))} s"
