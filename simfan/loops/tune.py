"""Every strategy's loop over one common range: as given, and tuned to one robustness."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from math import inf

from simfan.assemble.control import controller
from simfan.assemble.transmitter import span
from simfan.errors import RunError
from simfan.loop_answer import GIVEN, ROBUST, LoopAnswer, LoopPoint, LoopTuning, StrategyLoop
from simfan.loops.allowed import MOST_MT
from simfan.loops.by_rule import by_rule, chosen
from simfan.loops.common_range import drawn_in, reach
from simfan.loops.curves import curves
from simfan.loops.legs import legs, words
from simfan.loops.margins import Controller, Margins
from simfan.loops.over_range import MOST_NOISE_GAIN, MOST_STIRRED, Loop
from simfan.loops.pairing import pairing
from simfan.loops.trouble import warnings_for
from simfan.loops.ways import ways
from simfan.plant.case import Case
from simfan.units import show

ASSUMED = (
    "small moves about each point: no rate limit, backlash or stick in the margins (assumed)",
    "the robust tuning is a PI, the one with the least Ti/Kc (integral of the error after a load "
    f"step) that keeps Ms, Mt of {MOST_MT:g} and a noise gain Kc of {MOST_NOISE_GAIN:g}, less "
    "where the transmitter's noise would move the output by more than "
    f"{100.0 * MOST_STIRRED:g} % (standard deviation; assumed); derivative action is not sought",
    "with a tuning that was sought or comes from a rule the output goes no faster than the "
    "elements follow (full travel), unless the scenario says how fast",
    "points whose plant is unstable with its elements standing still are told, and not tuned for",
)
FOR_RULES = ("a rule is told the process at one point of the range, with half a scan added to its "
             "dead time for the hold; what it gives is rounded to three digits and judged over the "
             "whole range")
LETTERS = {"flow": "FIC", "pressure": "PIC"}
"""After ISA-5.1: indicating controller of a flow or a pressure."""
Progress = Callable[[str, float], None]


def tune(case: Case, names: Sequence[str], target: float, low: float | None = None,
         high: float | None = None, progress: Progress | None = None,
         asked: Sequence[str] = (), drawn: bool = False, more_ways: bool = False) -> LoopAnswer:
    """The loops of these strategies over one range of the held value.

    The range is that which all of them reach within their limits, unless its ends are given.
    `asked` are tuning rules to try beside, by name; with `more_ways` a gain schedule and a
    characteriser are sought where the process gain changes; with `drawn` the answer carries what
    its pictures are drawn from. Raises RunError where there is no range or no such rule,
    ScenarioError for a plant that cannot be assembled.
    """
    rules = chosen(asked)
    ends = _common(case, names) if low is None or high is None else (low, high)
    low, high = (ends[0] if low is None else low), (ends[1] if high is None else high)
    if not low < high:
        kind = case.control.held_kind
        raise RunError(f"no range is common to these strategies: the lowest end is "
                       f"{show(low, kind, digits=4)}, the highest {show(high, kind, digits=4)}; "
                       "name fewer with --strategy, or give --from and --to")
    found = []
    for k, name in enumerate(names):
        found.append(_one(case, name, target, (low, high), rules, drawn, more_ways))
        if progress:
            progress(name, (k + 1) / len(names))
    start, width = span(case)
    return LoopAnswer(case.title, case.control.holds, case.control.held_kind,
                      (start, start + width), case.control.scan, low, high, target, tuple(found),
                      assumed=(*ASSUMED, FOR_RULES) if rules else ASSUMED)


def _common(case: Case, names: Sequence[str]) -> tuple[float, float]:
    """The held values that every strategy reaches within its limits."""
    low, high = -inf, inf
    for name in names:
        try:
            ends = reach(case, name)
        except RunError as why:
            raise RunError(f"{name}: {why}, so there is no common range; leave it out, or give "
                           "--from and --to") from None
        low, high = max(low, ends[0]), min(high, ends[1])
    return drawn_in(low, high)


def _one(case: Case, name: str, target: float, ends: tuple[float, float],
         rules: Sequence[str], drawn: bool, more_ways: bool) -> StrategyLoop:
    loop = Loop(case, name, *ends)
    controllers = {} if name in case.untuned else {GIVEN: loop.given()}
    findings = list(_unstable(loop))
    try:
        controllers[ROBUST] = loop.robust(target)
    except RunError as why:
        findings.append(str(why))
    ruled = by_rule(loop, rules)
    controllers |= {key: loop.pid(*tuning) for key, tuning in ruled.tunings.items()}
    judged = {key: loop.margins(c) for key, c in controllers.items()}
    shown = {key: curves(loop, c, judged[key]) for key, c in controllers.items()} if drawn else {}
    other, why_not = ways(loop, target, drawn) if more_ways else ((), ())
    best = controllers.get(ROBUST) or controllers.get(GIVEN)
    both, two = pairing(loop, best) if best else None, legs(loop, target)
    findings += [f"{name}: {said}" for said in (
        *(warnings_for(loop, best) if best else ()), *(both.said if both else ()),
        *([words(two)] if two else []))]
    travel = None if controller(case, case.strategies[name]).full_travel else full_travel(loop)
    return StrategyLoop(
        name=name, method=case.strategies[name].method,
        action="reverse" if loop.sign > 0.0 else "direct", points=_points(loop, judged),
        tunings=tuple(replace(_tuning(loop, key, c, judged[key]), curves=shown.get(key),
                              full_travel=None if key == GIVEN else travel)
                      for key, c in controllers.items()),
        findings=(*findings, *why_not), rule_point=ruled.point, not_applied=ruled.not_applied,
        structure=case.strategies[name].structure, ways=other, pairing=both,
        tag=case.tags.loop or f"{LETTERS[case.control.holds]}-1")


def full_travel(loop: Loop) -> float | None:
    """Shortest time in which the output may go from 0 to 100 % so that every element follows, at
    every stable point, to three digits [s]; None where nothing limits an element's rate."""
    each = loop.assembled.plant.actuators.each
    times = [abs(lin.share[a]) / min(each[a].rate_up, each[a].rate_down)
             for lin, u in zip(loop.linear, loop.unstable, strict=True) if not u
             for a in range(each.size)]
    longest = max(times, default=0.0)
    return float(f"{longest:.3g}") if longest > 0.0 else None


def _unstable(loop: Loop) -> Iterator[str]:
    """Where the plant is unstable by itself, in a sentence."""
    unstable = [p.held for p in loop.processes if p.unstable]
    if unstable:
        kind = loop.case.control.held_kind
        yield (f"{loop.name}: from {show(max(unstable), kind)} to {show(min(unstable), kind)} "
               "the plant is unstable with its elements standing still; it was tuned for the rest")


def _points(loop: Loop, judged: dict[str, tuple[Margins, ...]]) -> tuple[LoopPoint, ...]:
    return tuple(
        LoopPoint(held=float(p.held), flow=float(p.flow), output=float(p.output), gain=p.gain,
                  lag=p.lag if p.lag == p.lag else None,
                  dead_time=p.dead_time if p.dead_time == p.dead_time else None,
                  stable=not p.unstable,
                  sensitivity={key: m[k].sensitivity if m[k].stable else None
                               for key, m in judged.items()})
        for k, p in enumerate(loop.processes))


def _tuning(loop: Loop, name: str, c: Controller, found: tuple[Margins, ...]) -> LoopTuning:
    """The worst of each margin over the points whose plant is stable."""
    some = [(h, m) for h, m, u in zip(loop.held, found, loop.unstable, strict=True) if not u]
    bad = tuple(float(h) for h, m in zip(loop.held, found, strict=True) if not m.stable)
    broken = any(not m.stable for _, m in some) or not some
    worst = max(some, key=lambda pair: pair[1].sensitivity, default=(float("nan"), found[0]))

    def least(what: str) -> float | None:
        values = [v for _, m in some if (v := getattr(m, what)) is not None]
        return None if broken or not values else float(min(values))

    return LoopTuning(
        name=name, gain=abs(c.gain), reset=c.reset, derivative=c.derivative,
        derivative_filter=c.filter, sensitivity=None if broken else worst[1].sensitivity,
        worst_at=float(worst[0]),
        complementary=None if broken else max(m.complementary for _, m in some),
        gain_margin=least("gain_margin"), phase_margin=least("phase_margin"),
        delay_margin=least("delay_margin"), unstable_at=bad,
        largest_step=largest_step(loop, c, found))


def largest_step(loop: Loop, c: Controller, found: tuple[Margins, ...]) -> float:
    """Least over points and elements of rate/(share·Kc·ω_c), times the span [held unit]."""
    each, width = loop.assembled.plant.actuators.each, span(loop.case)[1]
    steps = [width * min(each[a].rate_up, each[a].rate_down)
             / (abs(lin.share[a]) * abs(c.gain) * m.crossover)
             for lin, m in zip(loop.linear, found, strict=True) if m.crossover
             for a in range(each.size) if lin.share[a] != 0.0]
    return float(min(steps, default=inf))
