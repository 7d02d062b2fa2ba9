"""The answers of one scenario, made and bound: what `simfan report` stands on."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from simfan import __version__
from simfan.bound import Bound
from simfan.choice import choose
from simfan.compare import Comparison, ScenarioNote
from simfan.compared import side_by_side
from simfan.errors import RunError, ScenarioError
from simfan.handover import HEAD, Prepared, fingerprint
from simfan.handover import prepared as typed_case
from simfan.loop_answer import LoopAnswer
from simfan.mapped import overview
from simfan.overview import Overview
from simfan.plant.case import Case
from simfan.plant.stress_assumed import with_stress
from simfan.scenario.assumed import assumed
from simfan.sheets.bundle import sheets
from simfan.sheets.known import Known
from simfan.sheets.sheet import Sheet
from simfan.stress_answer import StressAnswer
from simfan.units import System

Progress = Callable[[str, float], None] | None
NOT_CHOSEN = "no strategy was chosen, so none was searched; name one with --strategy"


@dataclass(frozen=True)
class Found:
    """The case as it is typed in, run and looked at."""

    prepared: Prepared
    comparison: Comparison
    overview: Overview


def bind(case: Case, names: list[str] | None, runs: int, system: System,
         note: ScenarioNote | None, progress: Progress) -> Bound:
    """Every answer to a case, made with the numbers of the sheets."""
    made = prepared(case, system, note)
    typed, every = made.tuned.case, list(case.strategies)
    found = Found(made, side_by_side(made.tuned, every, progress),
                  overview(typed, every, progress=progress))
    return bound(found, names, runs, system, note, progress)


def prepared(case: Case, system: System, note: ScenarioNote | None) -> Prepared:
    """The case as it is typed in; its file says where it came from."""
    origin = f"{HEAD}\nFrom {note.file}, content {note.fingerprint}." if note and note.file else ""
    return typed_case(case, system, origin)


def bound(found: Found, names: list[str] | None, runs: int, system: System,
          note: ScenarioNote | None, progress: Progress) -> Bound:
    """Loops, search and sheets beside what was found, for the strategies named or the one that the
    rule gives."""
    case = found.prepared.tuned.case
    comparison = replace(found.comparison, scenario=note or found.comparison.scenario)
    choice = choose(comparison, found.overview.years)
    wanted = tuple(dict.fromkeys(names)) if names else ((choice.name,) if choice.name else ())
    loops, why_no_loops = _loops(found, progress)
    stress, why_no_stress, said = _stress(found, wanted, runs, system, note, progress)
    marks = {r.name: fingerprint(r.history) for r in comparison.strategies}
    made = Bound(
        comparison, replace(found.overview, note=note), loops, stress, choice, wanted, (),
        tuple(assumed(case)), {n: float(s.installed_cost) for n, s in case.strategies.items()
                               if s.installed_cost is not None},
        why_no_loops, why_no_stress, said, marks, found.prepared.text,
        found.prepared.sought)
    return replace(made, sheets=_sheets(made, case, system)) if wanted else made


def _loops(found: Found, progress: Progress) -> tuple[LoopAnswer | None, str]:
    """Every strategy's loop with the gains as typed."""
    from simfan.loops import tune

    case = found.prepared.tuned.case
    if case.by_hand:
        return None, "the whole run is by hand, so no loop is judged"
    try:
        names = [n for n in case.strategies if n not in found.prepared.tuned.untuned]
        return tune.tune(case, names, case.control.max_sensitivity, None, None, progress, (), True,
                         False), ""
    except (RunError, ScenarioError) as why:
        return None, str(why)


def _stress(found: Found, wanted: tuple[str, ...], runs: int, system: System,
            note: ScenarioNote | None, progress: Progress
            ) -> tuple[StressAnswer | None, str, str]:
    """A small search of the first strategy of the sheets."""
    from simfan.stress import campaign

    if not wanted:
        return None, NOT_CHOSEN, ""
    case, said = with_stress(found.prepared.tuned.case, system)
    if case.stress is None:
        return None, "nothing in this scenario can be varied without a [stress] table", ""
    if wanted[0] in found.prepared.tuned.untuned:
        return None, found.prepared.tuned.untuned[wanted[0]], ""
    try:
        answer = campaign.stress(case, wanted[0], campaign.Wanted(runs, None, case.stress.seed),
                                 progress)
    except (RunError, ScenarioError) as why:
        return None, str(why), said
    traced = replace(answer, file=note.file, fingerprint=note.fingerprint) if note else answer
    return traced, "", said


def _sheets(made: Bound, case: Case, system: System) -> tuple[Sheet, ...]:
    loops = {s.name: s for s in made.loops.strategies} if made.loops else {}
    searched = {made.stress.strategy: made.stress} if made.stress else {}
    return sheets(Known(
        case, made.names, system, made.comparison.scenario,
        {r.name: r for r in made.comparison.strategies}, loops, searched, made.sought,
        made.fingerprints, __version__))

