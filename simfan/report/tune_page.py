"""The page of `simfan tune`: its sections in order; and its part of another answer's page."""

from collections.abc import Callable, Iterable
from math import inf
from typing import Any

import numpy as np
from markupsafe import Markup
from rich.console import Group, RenderableType

from simfan.errors import SimfanError
from simfan.loop_answer import LoopAnswer, LoopTuning, StrategyLoop
from simfan.report import markup
from simfan.report.items import item
from simfan.report.sections import Fragment, Section
from simfan.report.tune_pictures import (
    PROCESS_DRAWN,
    RUNS_DRAWN,
    STRATEGIES_DRAWN,
    WAYS_DRAWN,
)
from simfan.report.tune_settings import settings
from simfan.report.tune_tables import ROBUST_ENOUGH, process, told, tunings
from simfan.report.tune_ways import ways
from simfan.units import System, show, significant

CAUTIONS = (
    "Margins are of small moves about points at rest, from a model. Tune on the plant with care, "
    "from the safe side, and by the rules of the site.",
    "Beyond the largest step an element's rate limit rules the loop, and the margins say too much.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
)


def _answer(answer: LoopAnswer, system: System) -> RenderableType:
    kind = answer.held_kind
    low, high = answer.span
    return Group(
        item(f"{show(answer.low, kind, system)} to {show(answer.high, kind, system)}, scan "
             f"{significant(answer.scan)} s; robust: tuned so that the largest |S| over the "
             f"range, Ms, stays within {significant(answer.target)}"),
        item(f"spans: measurement {show(low, kind, system)} to {show(high, kind, system)}, "
             "controller output 0 to 100 %; gains are % of output per % of span unless said"))


def _rules(answer: LoopAnswer, system: System) -> RenderableType | None:
    """What the rules were told, why of that point, and which could not be applied."""
    lines = _grouped((s.rule_point.why, s.name) for s in answer.strategies if s.rule_point)
    notes = [f"{', '.join(names)}: {why}" for why, names in lines.items()]
    if notes:
        notes.append("θ with half a scan for the hold; Ku, Pu where a proportional controller "
                     "alone begins to swing; τ1, τ2, θ2 the second order, for the rule "
                     "that asks for it")
    for found in answer.strategies:
        notes += [f"{found.name}: not applied: {', '.join(rules)}: {why}" for why, rules in
                  _grouped((why, rule) for rule, why in found.not_applied.items()).items()]
    if not notes:
        return None
    table = told(answer, system)
    return Group(*([table] if table else []), *map(item, notes))


def _grouped(pairs: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Reason → all that it holds for."""
    found: dict[str, list[str]] = {}
    for why, name in pairs:
        found.setdefault(why, []).append(name)
    return found


def _findings(answer: LoopAnswer, system: System) -> RenderableType | None:
    lines = [said for s in answer.strategies for said in (*s.findings, *_warned(s, answer, system))]
    return Group(*map(item, lines)) if lines else None


def _warned(found: StrategyLoop, answer: LoopAnswer, system: System) -> list[str]:
    """Tunings that are not to be trusted, those alike in one sentence."""
    high = [f"{t.name} ({significant(t.sensitivity)})" for t in found.tunings
            if t.sensitivity and t.sensitivity > ROBUST_ENOUGH]
    broken = [t.name for t in found.tunings if t.sensitivity is None]
    words = []
    if high:
        words.append(f"{found.name}: Ms above {significant(ROBUST_ENOUGH)}, little is needed to "
                     f"make it swing: {', '.join(high)}")
    if broken:
        words.append(f"{found.name}: unstable at a point of the range: {', '.join(broken)}")
    fast = [t.name for t in found.tunings
            if t.derivative > 0.0 and t.derivative / t.derivative_filter < answer.scan]
    if fast:
        words.append(f"{found.name}: the scan of {significant(answer.scan)} s is too slow for the "
                    f"filter of the derivative (Td/N): {', '.join(fast)}")
    return [*words, *_not_settled(found, answer, system)]


def _not_settled(found: StrategyLoop, answer: LoopAnswer, system: System) -> list[str]:
    """Good margins, and yet the running plant did not come to rest."""
    words = []
    for t in found.tunings:
        if t.sensitivity is None or t.run is None or t.run.settling is not None:
            continue
        step = abs(t.run.setpoint[-1] - t.run.setpoint[0])
        why = (f": the step of {show(step, answer.held_kind, system)} is beyond the largest of "
               f"{show(t.largest_step, answer.held_kind, system)}, where an element's rate limit "
               "rules; limit the rate of the setpoint, or tune slower"
               if step > t.largest_step else _moving(t, answer, system))
        words.append(f"{found.name}: with the tuning {t.name} the running plant did not settle "
                    f"after the setpoint step, whatever its margins{why}")
    return words


def _moving(t: LoopTuning, answer: LoopAnswer, system: System) -> str:
    """Where a robust loop stands at its setpoint on the average, and does not rest there."""
    run = t.run
    assert run is not None
    late = (run.time > 0.25 * run.step_at + 0.75 * run.load_at) & (run.time < run.load_at)
    beside, moves = (abs(float(np.mean((run.value - run.setpoint)[late]))),
                     float(np.std(run.value[late])))
    if beside > moves or (t.sensitivity or inf) > ROBUST_ENOUGH:
        return ""
    return (f": on the average it stands at the setpoint, and moves about it by "
            f"{show(moves, answer.held_kind, system)} (standard deviation), more than the settling "
            "band of this small step: the transmitter's noise, or an element that sticks")


def _lines(words: tuple[str, ...]) -> RenderableType:
    return Group(*map(item, words))


def _brief(answer: LoopAnswer, system: System) -> RenderableType:
    return Group(*(item(_line(s)) for s in answer.strategies))


def _line(found: StrategyLoop) -> str:
    """One strategy in a line."""
    best = found.recommended
    if best is None:
        return f"{found.name}: no tuning"
    ms = "unstable" if best.sensitivity is None else f"Ms {significant(best.sensitivity)}"
    derivative = f", derivative {significant(best.derivative)} s" if best.derivative else ""
    return (f"{found.name}: {best.name}, gain {significant(best.gain)}, reset "
            f"{significant(best.reset)} s{derivative}, {ms}")


ANSWER = Section("tune-answer", "Loops over the range common to all", text=_answer)
PROCESS = Section("tune-process", "What the loop has to control", text=process)
TUNINGS = Section("tune-tunings", "Tunings, their margins, and what they did in a run",
                  text=tunings)
RULES = Section("tune-rules", "What the rules were told", text=_rules)
SETTINGS = Section("tune-settings", "What to type in", text=settings)
WAYS = Section("tune-ways", "More than one gain: a schedule or a characteriser", text=ways)
FINDINGS = Section("tune-findings", "Worth knowing", text=_findings)
ASSUMED: Section[LoopAnswer] = Section(
    "tune-assumed", "Assumed", text=lambda answer, _: _lines(answer.assumed))
CAUTION: Section[LoopAnswer] = Section(
    "tune-cautions", "Be careful", text=lambda answer, _: _lines(CAUTIONS))
SAYS = "Each strategy's loop over the range that is common to all."
TUNE: tuple[Section[LoopAnswer], ...] = (
    ANSWER, PROCESS, PROCESS_DRAWN, TUNINGS, RULES, SETTINGS, WAYS, WAYS_DRAWN, FINDINGS,
    STRATEGIES_DRAWN, RUNS_DRAWN, ASSUMED, CAUTION)
QUIET: tuple[Section[LoopAnswer], ...] = (Section("tune-brief", "", text=_brief),)


def sections(answer: LoopAnswer) -> tuple[Section[LoopAnswer], ...]:
    """What a comparison's page shows of its loops: those that have something to say."""
    return (ANSWER, PROCESS, PROCESS_DRAWN, TUNINGS, SETTINGS, FINDINGS, STRATEGIES_DRAWN)


def in_a_report(made: Callable[[], LoopAnswer]) -> Section[Any]:
    """The loops as one section of another answer's page, made when the page is; where they cannot
    be looked at, the sentence why."""

    def html(_: Any, system: System) -> Fragment:
        from simfan.report import web

        try:
            answer = made()
        except SimfanError as why:
            return Fragment(markup.bullets([str(why)]))
        frame = Markup("<h3>{}</h3>{}")
        return Fragment(Markup("\n").join(
            frame.format(part.title, part.body) if part.title else part.body
            for part in web.parts(answer, system, sections(answer))))

    return Section("loops", "The loops over the range, and their tuning", html=html)
