"""Tuning rules on one strategy's loop: each is told the point of the range that bears the least
gain, and what it gives is rounded for the sheet."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from math import inf, isfinite, pi

import numpy as np

from simfan.errors import RunError
from simfan.loop_answer import RulePoint
from simfan.loops import rules
from simfan.loops.identify import fit_second_order
from simfan.loops.margins import ultimate
from simfan.loops.models import FirstOrder, SecondOrder, Ultimate
from simfan.loops.over_range import Loop
from simfan.plant.tuning import Standard

NAMES = (*rules.FROM_PROCESS, *rules.FROM_ULTIMATE)
ALL = "all"
OTHER_NAMES = {"ultimate": "zieglernicholsultimate", "relay": "tyreusluyben"}
SAMPLES, FOLDED = 160, 4
"""Of the step answer to which a second order is fitted; and how much longer it is followed."""
LAGS_FOLLOWED = 6.0


@dataclass
class ByRule:
    """What the rules gave for a loop."""

    point: RulePoint | None = None
    tunings: dict[str, Standard] = field(default_factory=dict)
    not_applied: dict[str, str] = field(default_factory=dict)


def chosen(asked: Sequence[str]) -> tuple[str, ...]:
    """The rules meant by what was typed: a name, the beginning of several, or "all".

    Raises RunError for what names none.
    """
    found: dict[str, None] = {}
    for text in asked:
        plain = _plain(text)
        begin = OTHER_NAMES.get(plain, plain)
        exact = [name for name in NAMES if _plain(name) == begin]
        meant = exact or [name for name in NAMES
                          if begin and (plain == ALL or _plain(name).startswith(begin))]
        if not meant:
            raise RunError(_unknown(text))
        found |= dict.fromkeys(meant)
    return tuple(found)


def _plain(name: str) -> str:
    return re.sub(r"[^a-z]", "", name.casefold())


def _unknown(text: str) -> str:
    near = get_close_matches(_plain(text), {_plain(n): n for n in NAMES}, n=1, cutoff=0.5)
    hint = next((f'did you mean "{n}"? ' for n in NAMES if near and _plain(n) == near[0]), "")
    return (f'there is no tuning rule "{text}"; {hint}There are: {", ".join(NAMES)}; or the '
            "beginning of several, relay, or all")


def by_rule(loop: Loop, names: Sequence[str]) -> ByRule:
    """Each rule's tuning, or the sentence why there is none."""
    if not names:
        return ByRule()
    k, told, why = _point(loop)
    if k is None:
        return ByRule(not_applied=dict.fromkeys(names, why))
    here, half = loop.processes[k], 0.5 * loop.scan
    plain = FirstOrder(abs(here.gain), here.lag, here.dead_time + half)
    second = _second_order(loop, k) if "SIMC PID" in names else None
    found = ByRule(RulePoint(
        held=float(here.held), flow=float(here.flow), gain=float(here.gain), lag=plain.lag,
        dead_time=plain.dead_time,
        second=_times(second) if second else None,
        ultimate_gain=told.gain if told else None, ultimate_period=told.period if told else None,
        why=why))
    for name in names:
        try:
            found.tunings[name] = rules.for_sheet(_given_by(name, plain, second, told))
        except RunError as reason:
            found.not_applied[name] = str(reason)
    return found


def _times(second: SecondOrder) -> tuple[float, float, float]:
    return float(second.lag), float(second.second_lag), float(second.dead_time)


def _given_by(name: str, plain: FirstOrder, second: SecondOrder | None, told: Ultimate | None
              ) -> Standard:
    if name in rules.FROM_PROCESS:
        return rules.FROM_PROCESS[name](second if second and name == "SIMC PID" else plain)
    if told is None:
        raise RunError(f"{name}: the rule needs the gain at which the loop swings, and no gain "
                       "makes it swing there")
    return rules.FROM_ULTIMATE[name](told)


def _point(loop: Loop) -> tuple[int | None, Ultimate | None, str]:
    """(place of the point, where it swings, why that one)."""
    stable = [k for k, p in enumerate(loop.processes)
              if not p.unstable and isfinite(p.lag) and p.gain]
    if not stable:
        return None, None, (f"{loop.name}: no point of the range has a stable process of which a "
                            "rule could be told")
    swings = {k: _ultimate(loop, k) for k in stable}
    least = {k: u.gain if u else inf for k, u in swings.items()}
    if any(isfinite(g) for g in least.values()):
        k = min(least, key=lambda k: least[k])
        return k, swings[k], ("the point of the range that begins to swing at the least gain: what "
                              "is right there should be slow elsewhere; the margins over the "
                              "range tell")
    k = max(stable, key=lambda k: abs(loop.processes[k].gain))
    return k, None, ("the point of the range with the largest process gain; no point begins to "
                     "swing with a proportional controller alone")


def _ultimate(loop: Loop, k: int) -> Ultimate | None:
    try:
        return ultimate(_signed(loop, k), pi / loop.scan)
    except RunError:
        return None


def _signed(loop: Loop, k: int) -> Callable[..., np.ndarray]:
    """G at the scans, taken so that it is positive at rest."""
    sign, here = loop.sign, loop.linear[k]
    if loop.beside:
        return lambda omega: sign * loop.process(omega)[k]
    return lambda omega: sign * here.sampled(omega, loop.scan)


def _second_order(loop: Loop, k: int) -> SecondOrder | None:
    """Fitted to the point's own step answer, with half a scan for the hold; None where none fits.

    The answer at instants dt is Σ of the inverse Fourier transform of G(e^{jωdt}).
    """
    here = loop.processes[k]
    dt = LAGS_FOLLOWED * (here.lag + here.dead_time) / SAMPLES
    n = FOLDED * SAMPLES
    seen = loop.sign * loop.linear[k].sampled(2.0 * pi * np.arange(n // 2 + 1) / (n * dt), dt)
    answer = np.cumsum(np.fft.irfft(seen, n))[:SAMPLES]
    time = dt * np.arange(-1, SAMPLES)
    try:
        fit = fit_second_order(time, np.append(0.0, answer), (time >= 0.0).astype(float))
    except RunError:
        return None
    found = fit.process
    assert isinstance(found, SecondOrder)
    return SecondOrder(abs(found.gain), found.lag, found.second_lag,
                       found.dead_time + 0.5 * loop.scan)
