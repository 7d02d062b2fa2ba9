"""What a campaign found, put together: verdicts, statements, files of the runs that break."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

import numpy as np

from simfan.errors import RunError
from simfan.history import History
from simfan.scenario import written
from simfan.simulate import simulate
from simfan.stress import noise, search
from simfan.stress.confidence import (
    CONFIDENCE,
    NO_BOUND,
    counted,
    failure_bound,
    runs_needed,
    statement,
)
from simfan.stress_answer import Array, Joint, StressAnswer, Trail, Verdict, Worst

if TYPE_CHECKING:
    from simfan.stress.campaign import Campaign

SHARE = 0.95
"""Of a space, which fewer runs than Wilks' number cannot show to pass."""
NO_RUN = "no run was laid out"
WITH_PROCEDURES = ("its runs have procedures, which wait for the plant: each was played in step "
                   "with it, which is slower than a run without")
UP_TO_THERE = ("a trip, or a start that fails, is a requirement of its own; the criteria judge "
               "such a run up to there")
ENDS = {"trips", "procedures"}
"""Requirements that are broken where a run is over before its time."""


def told(made: Campaign, nominal: Array) -> StressAnswer:
    """The answer; `nominal` (m,) distances of the scenario as it stands."""
    every, found, case = made.every(), made.found, made.case
    odd = [o for o in made.store.known.values() if o.why]
    facts = made.runs.shared.blank.facts
    no_map = made.move_range if isinstance(made.move_range, str) else made.plan.why_no_ramps
    return StressAnswer(
        title=case.title, strategy=made.strategy,
        method=case.strategies[made.strategy].method, holds=case.control.holds,
        held_kind=case.control.held_kind, runs=len(every.points), seed=made.wanted.seed,
        inputs=made.space.inputs, nominal=made.space.nominal,
        verdicts=_verdicts(made, every, nominal),
        sampling=made.sampling, fresh=found.fresh, searched=found.searched,
        sampled=found.sampled, stopped_early=found.stopped, broken_off=found.broken_off,
        not_run=len(odd),
        why_not_run=odd[0].why if odd else None,
        unreached=sum(not o.reached for o in made.runs.outcomes(every.points)),
        nominal_history=made.runs.nominal, budget=made.plan.words(made.sampling),
        joint=_joint(found.fresh, made.sampling),
        confidence_note=note(len(found.fresh.points), made.sampling),
        tolerances=tuple(found.tolerances),
        tolerance_runs=found.tolerance_runs, ramps=found.ramp_limits,
        ramp_table=tuple(found.ramp_table),
        why_no_ramps=f"no ramp limits: {no_map}" if no_map else None,
        ramps_over=found.ramps_over, ramp_table_over=tuple(found.ramp_table_over),
        why_no_ramps_over=(f"no ramp limits over plants of the space: {found.why_no_ramps_over}"
                           if found.why_no_ramps_over else None),
        sensitivity=tuple(found.matters),
        why_no_sensitivity=(f"no sensitivities: {made.plan.why_no_sensitivity}"
                            if made.plan.why_no_sensitivity else None),
        findings=(*facts.findings, *made.space.off_nominal,
                  *noise.told(case, made.runs.outcomes(every.points)),
                  *((WITH_PROCEDURES,) if case.procedures else ()),
                  *((UP_TO_THERE,) if ENDS & {r.name for r in made.runs.requirements} else ())),
        step_s=made.runs.nominal.audit.step_s,
        seconds=monotonic() - made.began)


def said(failures: int, runs: int, sampling: str) -> tuple[float | None, str]:
    """(bound, statement): what the runs laid out say of the space."""
    if not runs:
        return (1.0 if sampling == "random" else None), NO_RUN
    if sampling != "random":
        return None, f"{counted(failures, runs)}; {NO_BOUND[sampling]}"
    return failure_bound(failures, runs), statement(failures, runs)


def note(runs: int, sampling: str) -> str:
    """How statements from so many runs are to be read."""
    if not runs or sampling != "random":
        return ""
    least = runs_needed(SHARE)
    few = (f" Fewer than {least} runs cannot show {100.0 * SHARE:g} %, even if none fails."
           if runs < least else "")
    return ("Each statement is for its own requirement, so that all of them hold at once is less "
            "sure; what all keep in the same run is told last. They hold for a number of runs "
            f"chosen before the first: going on until a statement is good makes it untrue.{few}")


def _joint(fresh: Trail, sampling: str) -> Joint | None:
    n = len(fresh.points)
    failures = int(np.count_nonzero((fresh.distances < 0.0).any(axis=1)))
    return Joint(failures, n, *said(failures, n, sampling)) if n else None


def _verdicts(made: Campaign, every: Trail, nominal: Array) -> tuple[Verdict, ...]:
    """With the whole run of each that is broken; of none that is, of the one with least room."""
    found = [_verdict(made, k, every, nominal) for k in range(len(made.runs.requirements))]
    least = min(found, key=lambda v: v.worst.distance, default=None)
    return tuple(replace(v, history=_history(made, v.worst))
                 if v.worst.distance < 0.0 or v is least else v for v in found)


def _verdict(made: Campaign, column: int, every: Trail, nominal: Array) -> Verdict:
    fresh = made.found.fresh.distances[:, column]
    failures, n = int(np.count_nonzero(fresh < 0.0)), len(fresh)
    bound, words = said(failures, n, made.sampling)
    worst = search.worst(every, column)
    change = next((c for c in made.found.changes if c.requirement == column), None)
    name = made.runs.requirements[column].name
    broken = worst.distance < 0.0
    return Verdict(
        made.runs.requirements[column], failures, n, bound, CONFIDENCE, words, worst, change,
        bool(nominal[column] < 0.0),
        counterexample=_file(made, f"worst-{name}", worst.point, name) if broken else None,
        smallest=_file(made, f"smallest-{name}", change.breaks, name) if change else None,
        values=dict(zip([i.name for i in made.space.inputs], made.space.values(worst.point),
                        strict=True)))


def _history(made: Campaign, worst: Worst) -> History | None:
    """The worst run once more, whole; None where it does not run."""
    if made.store.known[np.ascontiguousarray(worst.point).tobytes()].why:
        return None
    return simulate(made.space.case_of(made.space.values(worst.point)), made.strategy)


def _file(made: Campaign, name: str, point: Array, requirement: str) -> str | None:
    """Write the scenario of one run; its path."""
    if made.wanted.folder is None:
        return None
    values = made.space.values(point)
    lines = "\n".join(f"  {i.name} = {v!r} {'SI' if i.kind else ''}".rstrip()
                      for i, v in zip(made.space.inputs, values, strict=True))
    head = (f"One run of a search by simfan stress, strategy {made.strategy}, that breaks "
            f"{requirement}.\nIt replays with: simfan run {name}.toml --strategy "
            f'"{made.strategy}"\nWhat varied:\n{lines}')
    path: Path = made.wanted.folder / f"{name}.toml"
    try:
        path.write_text(written.text(made.space.written(values), head), "utf-8")
    except OSError as why:
        raise RunError(f"{path} cannot be written: {why.strerror}; the runs finished before "
                       "are kept") from None
    return str(path)
