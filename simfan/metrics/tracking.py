"""How well the setpoint was held, for the whole run and for each setpoint change.

Judged on `true_value` of the first loop: a damped transmitter hides swings.
100 % in the integrals of error is the largest setpoint of the run, which is the same for every
strategy of a scenario and needs no transmitter. Where a pressure is held it is the span of the
transmitter, since the largest setpoint may be zero or below; the band is then of the span, too.
"""

from typing import Any, NamedTuple

import numpy as np

from simfan.history import SetpointChange
from simfan.measures import change as change_fold
from simfan.measures import tracking as tracking_fold
from simfan.metrics.columns import (
    Array,
    Folded,
    Run,
    blocks,
    clock,
    column,
    number,
    shortest,
)
from simfan.metrics.results import Change, Tracking, Whole
from simfan.signals import HELD_UNITS

STAY_SHARE = 0.05
"""Share of its window a value must stay in the band to be settled. Our choice; no source."""


def tracking(run: Run, band: float) -> Tracking:
    """Everything about the setpoint. `band` is a share of the setpoint, in settling of the step; a
    step smaller than the band about 100 % counts as one of that size."""
    scale = scaled(run, peaks(run), band)
    half = 0.5 * shortest(run.time)
    return Tracking(
        whole=_whole(run, scale),
        changes=tuple(_change(c, run, scale, half) for c in run.facts.changes),
        percent_of=f"{scale.hundred:.4g} {HELD_UNITS[run.facts.held_kind]}, {scale.what}",
    )


def peaks(run: Run) -> Array:
    """Largest |setpoint| of each block of the run."""
    return np.array([np.abs(block.trace("setpoint")).max() for block in blocks(run)])


class Scale(NamedTuple):
    """What 100 % is, and the half width of the band: a share of the setpoint plus a fixed part."""

    hundred: float
    """[SI]."""
    what: str
    band: float
    """As given [1]."""
    of_setpoint: float
    """[1]."""
    fixed: float
    """[SI]."""


def scaled(run: Run, wanted: Array, band: float) -> Scale:
    """By the largest setpoint; for a pressure by the transmitter's span, where the run tells it."""
    facts = run.facts
    low, high = (facts.tuning.get(name) for name in ("span_low", "span_high"))
    if facts.held_kind == "pressure" and isinstance(low, float) and isinstance(high, float):
        width = high - low
        return Scale(width, "the span of the transmitter", band, 0.0, band * width)
    return Scale(largest_setpoint(run, wanted), "the largest setpoint of the run", band,
                 band, 0.0)  # fmt: skip


def largest_setpoint(run: Run, wanted: Array) -> float:
    """Largest |setpoint| of the whole plan, so that a run that stopped early has the same scale.

    Where procedures take the loop, what the setpoint tracked for them is left out: it is another
    for every strategy."""
    changes = run.facts.changes
    if run.facts.procedures:
        begin = column(run.rows(slice(0, 1)), "setpoint")
        if asked := max([abs(float(begin[0])), *(abs(c.end) for c in changes)]):
            return asked
    planned = [abs(v) for c in changes for v in (c.start, c.end)]
    return max([float(np.abs(wanted).max()), *planned])


def _integrals(since: float, scale: Scale) -> Folded:
    numbers = map(float, (since, scale.of_setpoint, scale.fixed))
    return Folded(tracking_fold, tracking_fold.start(tracking_fold.Params(*numbers)))


def _whole(run: Run, scale: Scale) -> Whole:
    errors = _integrals(run.time[0], scale)
    for block in blocks(run):
        errors.take(clock(block), column(block, "setpoint"), column(block, "true_value"))
    sums, p = errors.result(), percent(scale.hundred)
    return Whole(
        iae_percent_s=float(sums.iae * p),
        ise_percent2_s=float(sums.ise * p * p),
        itae_percent_s2=float(sums.itae * p),
        largest_deviation_percent=float(sums.largest * p),
        time_outside_band_s=float(sums.outside),
        band_percent=100.0 * scale.band,
    )


def percent(hundred: float) -> float:
    """Factor from a value to percent; 0 where every setpoint is zero and no percent exists."""
    return 100.0 / hundred if hundred > 0.0 else 0.0


def window(time: Array, since: float, until: float, is_last: bool) -> slice:
    """Samples from one event up to, not including, the next; the run's last sample included."""
    return _window(time, 0.5 * shortest(time), since, until, is_last)


def _window(time: Array, half: float, since: float, until: float, is_last: bool) -> slice:
    first = int(np.searchsorted(time, since - half))
    last = len(time) if is_last else int(np.searchsorted(time, until - half))
    return slice(first, last)


def _change(plan: SetpointChange, run: Run, scale: Scale, half: float) -> Change:
    facts, end = run.facts, float(run.time[-1])
    part = _window(run.time, half, plan.at_s, plan.until_s, plan.until_s >= facts.duration_s)
    known: dict[str, Any] = {
        "at_s": plan.at_s, "until_s": plan.until_s, "over_s": plan.over_s,
        "held_kind": facts.held_kind, "start": plan.start, "end": plan.end,
        "settling_band_percent": 100.0 * scale.band, "judged_step": judged_step(plan, scale),
    }  # fmt: skip
    if part.stop - part.start < 2:
        ended = f"the run ended at {round(end, 1):g} s"
        return _unseen(known, f"{ended}, before this change could be judged")
    stay = STAY_SHARE * float(run.time[part.stop - 1] - run.time[part.start])
    errors, answer = _integrals(plan.at_s, scale), _answering(plan, scale, stay)
    for block in blocks(run, part):
        time, actual = clock(block), column(block, "true_value")
        errors.take(time, column(block, "setpoint"), actual)
        if answer is not None:
            answer.take(time, actual)
    sums, p = errors.result(), percent(scale.hundred)
    known |= {
        "iae_percent_s": float(sums.iae * p),
        "ise_percent2_s": float(sums.ise * p * p),
        "itae_percent_s2": float(sums.itae * p),
        "time_outside_band_s": float(sums.outside),
    }
    return Change(**known, **_answer(plan, answer, scale, stay, min(plan.until_s, end)))


_ANSWER = ("overshoot_percent", "undershoot_percent", "rise_time_s", "settling_time_s")
_SUMS = ("iae_percent_s", "ise_percent2_s", "itae_percent_s2", "time_outside_band_s")


def _unseen(known: dict[str, Any], why: str) -> Change:
    names = _SUMS + _ANSWER
    known |= dict.fromkeys(names)
    return Change(**known, reasons=dict.fromkeys(names, why))


def judged_step(plan: SetpointChange, scale: Scale) -> float:
    """max(|to − from|, band·100 %) [SI]: what overshoot and settling are shares of. A move within
    the band would else be judged by a share of nearly nothing. Our choice; no source."""
    return max(abs(plan.end - plan.start), scale.band * scale.hundred)


def arrival(plan: SetpointChange) -> float:
    """When the setpoint is where it was sent to [s]."""
    return plan.at_s + plan.over_s


def _answering(plan: SetpointChange, scale: Scale, stay: float) -> Folded | None:
    """None where there is no step to measure by."""
    if plan.start == plan.end:
        return None
    band = scale.band / _share(plan, scale)
    numbers = map(float, (arrival(plan), plan.start, plan.end, band, stay))
    return Folded(change_fold, change_fold.start(change_fold.Params(*numbers)))


def _share(plan: SetpointChange, scale: Scale) -> float:
    """The step, of the judged one [1]."""
    return abs(plan.end - plan.start) / judged_step(plan, scale)


def _answer(plan: SetpointChange, answer: Folded | None, scale: Scale, stay: float, end: float
            ) -> dict[str, Any]:
    if answer is None:
        why = "the setpoint did not change: there is no step to measure by"
        return {**dict.fromkeys(_ANSWER), "reasons": dict.fromkeys(_ANSWER, why)}
    got, share = answer.result(), _share(plan, scale)
    reasons = {}
    if np.isnan(got.rise_time):
        reasons["rise_time_s"] = f"90 % of the step was not reached by {round(end, 1):g} s"
    if np.isnan(got.settling_time):
        reasons["settling_time_s"] = not_settled(got.inside_for, stay, end)
    return {
        "overshoot_percent": round(float(100.0 * got.overshoot * share), 9),
        "undershoot_percent": float(100.0 * got.undershoot * share),
        "rise_time_s": number(got.rise_time),
        "settling_time_s": number(got.settling_time),
        "reasons": reasons,
    }


def not_settled(inside_for: float, stay: float, end: float) -> str:
    """Why there is no settling time."""
    if inside_for == 0.0:
        return f"not settled: still outside the band at {round(end, 1):g} s, the end of its window"
    return (
        f"not settled: in the band for only the last {inside_for:.2g} s of its window, "
        f"less than the {stay:.2g} s asked for"
    )
