"""Tuning rules: from a simple process to a tuning in the standard form.

A rule is a start, made for a class of processes and no other; what it is worth on this plant its
margins tell. Rules from memory are marked so.
"""

from collections.abc import Callable, Mapping

from simfan.errors import RunError
from simfan.loops.models import FirstOrder, Integrating, Process, SecondOrder, Ultimate
from simfan.plant.tuning import Series, Standard, from_series

DIGITS = 3
"""Of a tuning on a sheet."""
LAMBDA = 3.0
"""Closed-loop time constant of the lambda rule, in dead times. Common practice, no source."""


def simc_pi(process: Process, closed_loop: float | None = None) -> Standard:
    """Kc = τ₁/(K(τc + θ)), Ti = min(τ₁, 4(τc + θ)); integrating Kc = 1/(k'(τc + θ)).

    A second lag is shared out by the half rule: τ₁ + τ₂/2, θ + τ₂/2; all of it goes to θ where the
    process integrates. τc [s] is θ unless given. Skogestad, J. Process Control 13 (2003) 291.
    Raises RunError without a dead time and without τc.
    """
    if isinstance(process, Integrating):
        whole = Integrating(process.gain, process.dead_time + process.second_lag)
        both = _horizon("SIMC", whole.dead_time, closed_loop)
        return Standard(1.0 / (whole.gain * both), 4.0 * both)
    plain = first_order(process)
    both = _horizon("SIMC", plain.dead_time, closed_loop)
    return Standard(plain.lag / (plain.gain * both), min(plain.lag, 4.0 * both))


def simc_pid(process: Process, closed_loop: float | None = None) -> Standard:
    """The same of τ₁ and θ as they are, with Td = τ₂ of the series form, turned to the standard.

    Same source. Raises RunError for a process without a second lag.
    """
    second = 0.0 if isinstance(process, FirstOrder) else process.second_lag
    if second <= 0.0:
        raise RunError("SIMC PID: the rule takes its derivative time from a second lag, and this "
                       "process has none; use SIMC PI")
    if isinstance(process, Integrating):
        pi = simc_pi(Integrating(process.gain, process.dead_time), closed_loop)
    else:
        pi = simc_pi(FirstOrder(process.gain, process.lag, process.dead_time), closed_loop)
    return from_series(Series(pi.gain, pi.reset, second))


def lambda_pi(process: Process, closed_loop: float | None = None) -> Standard:
    """Kc = τ/(K(λ + θ)), Ti = τ; λ [s] is 3θ unless given. Textbooks; from memory.

    Raises RunError for an integrating process.
    """
    plain = _self_regulating("lambda", process)
    given = LAMBDA * plain.dead_time if closed_loop is None else closed_loop
    both = _horizon("lambda", plain.dead_time, given)
    return Standard(plain.lag / (plain.gain * both), plain.lag)


def amigo_pi(process: Process) -> Standard:
    """Kc = (0.15 + (0.35 − θτ/(θ + τ)²)τ/θ)/K, Ti = 0.35θ + 13θτ²/(τ² + 12θτ + 7θ²);
    integrating Kc = 0.35/(k'θ), Ti = 13.4θ.

    Åström & Hägglund, Advanced PID Control (2006); from memory.
    """
    if isinstance(process, Integrating):
        dead = _dead_time("AMIGO", process.dead_time + process.second_lag)
        return Standard(0.35 / (process.gain * dead), 13.4 * dead)
    plain = first_order(process)
    lag, dead = plain.lag, _dead_time("AMIGO", plain.dead_time)
    gain = 0.15 + (0.35 - dead * lag / (dead + lag) ** 2) * lag / dead
    reset = 0.35 * dead + 13.0 * dead * lag**2 / (lag**2 + 12.0 * dead * lag + 7.0 * dead**2)
    return Standard(gain / plain.gain, reset)


def amigo_pid(process: Process) -> Standard:
    """Kc = (0.2 + 0.45τ/θ)/K, Ti = θ(0.4θ + 0.8τ)/(θ + 0.1τ), Td = 0.5θτ/(0.3θ + τ);
    integrating Kc = 0.45/(k'θ), Ti = 8θ, Td = 0.5θ.

    Åström & Hägglund, Advanced PID Control (2006); from memory.
    """
    if isinstance(process, Integrating):
        dead = _dead_time("AMIGO", process.dead_time + process.second_lag)
        return Standard(0.45 / (process.gain * dead), 8.0 * dead, 0.5 * dead)
    plain = first_order(process)
    lag, dead = plain.lag, _dead_time("AMIGO", plain.dead_time)
    return Standard((0.2 + 0.45 * lag / dead) / plain.gain,
                    dead * (0.4 * dead + 0.8 * lag) / (dead + 0.1 * lag),
                    0.5 * dead * lag / (0.3 * dead + lag))


def ziegler_nichols_pi(process: Process) -> Standard:
    """Kc = 0.9/(aθ), Ti = θ/0.3, a = K/τ the steepest slope. Textbooks; from memory."""
    slope, dead = _slope("Ziegler–Nichols", process)
    return Standard(0.9 / (slope * dead), dead / 0.3)


def ziegler_nichols_pid(process: Process) -> Standard:
    """Kc = 1.2/(aθ), Ti = 2θ, Td = θ/2. Textbooks; from memory."""
    slope, dead = _slope("Ziegler–Nichols", process)
    return Standard(1.2 / (slope * dead), 2.0 * dead, 0.5 * dead)


def cohen_coon_pi(process: Process) -> Standard:
    """Kc = (τ/θ)(0.9 + θ/12τ)/K, Ti = θ(30 + 3θ/τ)/(9 + 20θ/τ). Textbooks; from memory.

    Raises RunError for an integrating process.
    """
    plain = _self_regulating("Cohen–Coon", process)
    share = _dead_time("Cohen–Coon", plain.dead_time) / plain.lag
    return Standard((0.9 + share / 12.0) / share / plain.gain,
                    plain.dead_time * (30.0 + 3.0 * share) / (9.0 + 20.0 * share))


def ultimate_pi(ultimate: Ultimate) -> Standard:
    """Ziegler–Nichols, 0.45·Ku, Pu/1.2. Textbooks; from memory."""
    return Standard(0.45 * ultimate.gain, ultimate.period / 1.2)


def ultimate_pid(ultimate: Ultimate) -> Standard:
    """Ziegler–Nichols, 0.6·Ku, Pu/2, Pu/8. Textbooks; from memory."""
    return Standard(0.6 * ultimate.gain, 0.5 * ultimate.period, 0.125 * ultimate.period)


def relay_pi(ultimate: Ultimate) -> Standard:
    """Tyreus–Luyben, Ku/3.2, 2.2·Pu: what a relay test is mostly followed by. Textbooks; from
    memory."""
    return Standard(ultimate.gain / 3.2, 2.2 * ultimate.period)


def relay_pid(ultimate: Ultimate) -> Standard:
    """Tyreus–Luyben, Ku/2.2, 2.2·Pu, Pu/6.3. Textbooks; from memory."""
    return Standard(ultimate.gain / 2.2, 2.2 * ultimate.period, ultimate.period / 6.3)


FROM_PROCESS: Mapping[str, Callable[[Process], Standard]] = {
    "SIMC PI": simc_pi, "SIMC PID": simc_pid, "lambda PI": lambda_pi,
    "AMIGO PI": amigo_pi, "AMIGO PID": amigo_pid, "Cohen–Coon PI": cohen_coon_pi,
    "Ziegler–Nichols PI": ziegler_nichols_pi, "Ziegler–Nichols PID": ziegler_nichols_pid,
}
FROM_ULTIMATE: Mapping[str, Callable[[Ultimate], Standard]] = {
    "Ziegler–Nichols ultimate PI": ultimate_pi, "Ziegler–Nichols ultimate PID": ultimate_pid,
    "Tyreus–Luyben PI": relay_pi, "Tyreus–Luyben PID": relay_pid,
}


def split_point(first_gain: float, second_gain: float) -> float:
    """Share of the output that the first of two legs takes so that both look alike: k₁/(k₁ + k₂).

    k are the process gains of each leg over its own whole travel [1], of one sign. After Reyes-Lúa,
    Zotică & Skogestad 2019; from memory. Raises RunError where the legs pull against each other.
    """
    if first_gain * second_gain <= 0.0:
        raise RunError(f"split point: the legs' gains are {first_gain:g} and {second_gain:g}; both "
                       "must move the value, and the same way")
    return first_gain / (first_gain + second_gain)


def for_sheet(tuning: Standard) -> Standard:
    """The tuning to three digits, as it is typed in."""
    return Standard(*(float(f"{x:.{DIGITS}g}") for x in tuning))


def first_order(process: FirstOrder | SecondOrder) -> FirstOrder:
    """By the half rule: τ₁ + τ₂/2 and θ + τ₂/2. Skogestad, J. Process Control 13 (2003) 291."""
    if isinstance(process, FirstOrder):
        return process
    half = 0.5 * process.second_lag
    return FirstOrder(process.gain, process.lag + half, process.dead_time + half)


def _self_regulating(rule: str, process: Process) -> FirstOrder:
    if isinstance(process, Integrating):
        raise RunError(f"{rule}: the rule is for a process that comes to rest by itself, and this "
                       "one integrates; use SIMC or AMIGO")
    return first_order(process)


def _slope(rule: str, process: Process) -> tuple[float, float]:
    """(K/τ or k' [1/s], dead time [s])."""
    if isinstance(process, Integrating):
        return process.gain, _dead_time(rule, process.dead_time + process.second_lag)
    plain = first_order(process)
    return plain.gain / plain.lag, _dead_time(rule, plain.dead_time)


def _dead_time(rule: str, dead_time: float) -> float:
    if dead_time <= 0.0:
        raise RunError(f"{rule}: the rule divides by the dead time, and this process has none; "
                       "give SIMC or lambda a closed-loop time")
    return dead_time


def _horizon(rule: str, dead_time: float, closed_loop: float | None) -> float:
    """τc + θ [s]."""
    both = dead_time + (dead_time if closed_loop is None else closed_loop)
    if both <= 0.0:
        raise RunError(f"{rule}: without a dead time a closed-loop time must be given, above 0 s")
    return both
