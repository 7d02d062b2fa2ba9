"""How well the setpoint was held, for the whole run and for each setpoint change.

Judged on `true_value` of the first loop: a damped transmitter hides swings.
100 % in the integrals of error is the largest setpoint of the run, which is the same for every
strategy of a scenario and needs no transmitter. Where a pressure is held it is the span of the
transmitter, since the largest setpoint may be zero or below; the band is then of the span, too.
"""

from typing import Any, NamedTuple

import numpy as np

from simfan.history import History, SetpointChange
from simfan.measures import change as change_fold
from simfan.measures import tracking as tracking_fold
from simfan.metrics.columns import Array, clock, column, number
from simfan.metrics.results import Change, Tracking, Whole
from simfan.signals import HELD_UNITS

Run = tuple[Array, Array, Array]
"""Time [s], wanted and true value [SI]."""
STAY_SHARE = 0.05
"""Share of its window a value must stay in the band to be settled. Our choice; no source."""


def tracking(history: History, band: float) -> Tracking:
    """Everything about the setpoint. `band` is a share of the setpoint, in settling of the step; a
    step smaller than the band about 100 % counts as one of that size."""
    time = clock(history)
    wanted, actual = column(history, "setpoint"), column(history, "true_value")
    scale = scaled(history, wanted, band)
    run = (time, wanted, actual)
    return Tracking(
        whole=_whole(run, scale),
        changes=tuple(_change(c, history, run, scale) for c in history.facts.changes),
        percent_of=f"{scale.hundred:g} {HELD_UNITS[history.facts.held_kind]}, {scale.what}",
    )


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


def scaled(history: History, wanted: Array, band: float) -> Scale:
    """By the largest setpoint; for a pressure by the transmitter's span, where the run tells it."""
    facts = history.facts
    low, high = (facts.tuning.get(name) for name in ("span_low", "span_high"))
    if facts.held_kind == "pressure" and isinstance(low, float) and isinstance(high, float):
        width = high - low
        return Scale(width, "the span of the transmitter", band, 0.0, band * width)
    return Scale(largest_setpoint(history, wanted), "the largest setpoint of the run", band,
                 band, 0.0)  # fmt: skip


def largest_setpoint(history: History, wanted: Array) -> float:
    """Largest |setpoint| of the whole plan, so that a run that stopped early has the same scale."""
    planned = [abs(v) for c in history.facts.changes for v in (c.start, c.end)]
    return max([float(np.abs(wanted).max()), *planned])


def _integrals(time: Array, wanted: Array, actual: Array, since: float, scale: Scale) -> Any:
    numbers = map(float, (since, scale.of_setpoint, scale.fixed))
    state = tracking_fold.start(tracking_fold.Params(*numbers))
    return tracking_fold.result(tracking_fold.over(state, time[0], time, wanted, actual))


def _whole(run: Run, scale: Scale) -> Whole:
    sums = _integrals(*run, run[0][0], scale)
    p = percent(scale.hundred)
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
    half = 0.5 * float(np.diff(time).min())
    first = int(np.searchsorted(time, since - half))
    last = len(time) if is_last else int(np.searchsorted(time, until - half))
    return slice(first, last)


def _change(plan: SetpointChange, history: History, run: Run, scale: Scale) -> Change:
    time, wanted, actual = run
    end = float(time[-1])
    part = window(time, plan.at_s, plan.until_s, plan.until_s >= history.facts.duration_s)
    known: dict[str, Any] = {
        "at_s": plan.at_s, "until_s": plan.until_s, "over_s": plan.over_s,
        "held_kind": history.facts.held_kind, "start": plan.start, "end": plan.end,
        "settling_band_percent": 100.0 * scale.band, "judged_step": judged_step(plan, scale),
    }  # fmt: skip
    if part.stop - part.start < 2:
        ended = f"the run ended at {round(end, 1):g} s"
        return _unseen(known, f"{ended}, before this change could be judged")
    sums = _integrals(time[part], wanted[part], actual[part], plan.at_s, scale)
    p = percent(scale.hundred)
    known |= {
        "iae_percent_s": float(sums.iae * p),
        "ise_percent2_s": float(sums.ise * p * p),
        "itae_percent_s2": float(sums.itae * p),
        "time_outside_band_s": float(sums.outside),
    }
    until = min(plan.until_s, end)
    return Change(**known, **_answer(plan, time[part], actual[part], scale, until))


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


def _answer(
    plan: SetpointChange, time: Array, actual: Array, scale: Scale, end: float
) -> dict[str, Any]:
    if plan.start == plan.end:
        why = "the setpoint did not change: there is no step to measure by"
        return {**dict.fromkeys(_ANSWER), "reasons": dict.fromkeys(_ANSWER, why)}
    stay = STAY_SHARE * float(time[-1] - time[0])
    share = abs(plan.end - plan.start) / judged_step(plan, scale)
    numbers = map(float, (arrival(plan), plan.start, plan.end, scale.band / share, stay))
    params = change_fold.Params(*numbers)
    got = change_fold.result(change_fold.over(change_fold.start(params), time[0], time, actual))
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
