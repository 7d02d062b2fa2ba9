"""From a trend and a scenario to the answer: read, judged, simulated, set beside."""

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from simfan.compare import ScenarioNote, StrategyResult
from simfan.compare import judged as judged_run
from simfan.errors import RunError, ScenarioError
from simfan.history import Facts, History
from simfan.loops.equal import equal
from simfan.loops.equal import run as run_tuned
from simfan.metrics import Surge, misses, verdict
from simfan.metrics.tracking import peaks, scaled
from simfan.plant.case import Case, Criteria
from simfan.simulate import not_run, prepare
from simfan.trends import beside, plausible, setpoints
from simfan.trends.answer import TrendJudgement
from simfan.trends.derived import Derived, derived
from simfan.trends.judgement import OF_CRITERION, Judged, judged
from simfan.trends.recorded import Plant, whole
from simfan.trends.room import finite
from simfan.trends.sampling import Sampling, held, sampling
from simfan.trends.setpoints import Move
from simfan.trends.trend import Trend
from simfan.trends.trial import Trial

LONGEST_RUN_S = 6 * 3600.0
"""Of a trend so much at most is simulated beside; a run of more takes minutes and gigabytes. Our
choice; no source."""
SURGE = "excursions.surge_cycles"
CHARGED = 0.01
"""Share of the IAE from which on it is told. Our choice; no source."""
FAR_OUT = 3.0
"""So many spans beyond the span a reading is of another unit. Our choice; no source."""
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Beside:
    """The simulated run, or why there is none."""

    history: History | None
    facts: Facts
    why: str
    notes: tuple[str, ...]


def judge(case: Case, trend: Trend, strategy: str, *, simulate: bool = True, noise: bool = False,
          longest_run_s: float = LONGEST_RUN_S, progress: Progress | None = None
          ) -> TrendJudgement:
    """The trend judged as what the plant did under this strategy. Raises ScenarioError for a plant
    that cannot be assembled."""
    assembled, _ = prepare(case, strategy)
    moves = setpoints.moves(trend, case.control.scan)
    run = _run(case, trend, strategy, moves, simulate, noise, longest_run_s, progress)
    found = derived(trend, case, strategy, assembled)
    changes = setpoints.changes(moves, float(trend.time[-1]))
    plant = Plant(run.facts, assembled.items["loop"][0], assembled.items["element"],
                  case.air.barometer)
    trial = Trial(trend, found, plant, changes, case.criteria)
    shown = _sampling(trend, found, case, run.facts)
    told = _honest(judged(trial), shown)
    history = whole(trend, found, plant, changes)
    on_measured = "true_value" in found.made
    simulated = _simulated(run, case, on_measured)
    unlike = plausible.doubts(trend, case, strategy)
    notes = (*unlike.values(), *trend.notes, *found.notes, *_doubts(trend, case, unlike),
             *held(trend, case.control.scan), *told.notes, *_swing_note(shown, told),
             *_charge_note(moves, history, told),
             *run.notes, *(["the run is judged on its measured value, too"] if on_measured and
                           simulated else []))
    return TrendJudgement(
        scenario=ScenarioNote(case.title), criteria=case.criteria, trend=trend,
        recorded=_recorded(trial, history, told), not_judged=told.not_judged, sampling=shown,
        notes=notes, simulated=simulated, why_not_simulated=run.why,
        differences=beside.differences(trend, run.history) if run.history else ())


def _run(case: Case, trend: Trend, name: str, moves: tuple[Move, ...], wanted: bool, noise: bool,
         longest_s: float, progress: Progress | None) -> Beside:
    """The same setpoints simulated; where that cannot be, the plant's facts alone."""
    if not wanted:
        return Beside(None, not_run(case, name).facts, "it was not asked for", ())
    try:
        played, notes = setpoints.played(case, trend, moves, longest_s, noise)
        tuned = equal(played, [name])
        if name in tuned.untuned:
            raise RunError(f"no gains were found: {tuned.untuned[name]}")
        history = run_tuned(tuned, name, progress)
    except (RunError, ScenarioError) as why:
        return Beside(None, not_run(case, name).facts, str(why), ())
    gains = ("the gains of the run were sought, the scenario gives none",) if (
        name in case.untuned) else ()
    return Beside(history, history.facts, "", (*notes, *gains))


def _simulated(run: Beside, case: Case, on_measured: bool) -> StrategyResult | None:
    """The run judged as the trend is: on the measured value where the trend has no better."""
    history = run.history
    if history is None:
        return None
    seen = {**history.traces, "true_value": history.traces["measured_value"]}
    found = judged_run(replace(history, traces=seen) if on_measured else history, case.criteria)
    return replace(found, name="simulated", history=history)


def _sampling(trend: Trend, found: Derived, case: Case, facts: Facts) -> Sampling:
    """By the flow that stands for the fan's."""
    flow = found.signals.get("fan_flow")
    of_loop = "fan_flow" in found.made and "true_value" in found.made
    lag = case.control.transmitter.lag if of_loop else 0.0
    stall = facts.fan_map.stall_flow
    return sampling(trend, flow, lag, facts.natural_period_s, stall,
                    case.criteria.surge_swing * (stall or 0.0))


def _honest(told: Judged, shown: Sampling) -> Judged:
    """No surge seen where none could be seen is no count of zero; nor are cycles that straight
    lines between samples far apart seem to make a count."""
    excursions = told.measures.excursions
    if not shown.blind or (excursions.surge_cycles and not shown.too_coarse):
        return told
    reasons = {**excursions.reasons, "surge_cycles": shown.blind, "surge_swing_m3_s": shown.blind}
    blank = replace(excursions, surge_cycles=None, surge_swing_m3_s=None, reasons=reasons,
                    events=tuple(e for e in excursions.events if not isinstance(e, Surge)))
    return replace(told, measures=replace(told.measures, excursions=blank),
                   not_judged={**told.not_judged, SURGE: shown.blind})


def _swing_note(shown: Sampling, told: Judged) -> list[str]:
    """From which swing on the trend shows surge."""
    cycles = told.measures.excursions.surge_cycles
    if shown.smallest_swing is None or cycles is None:
        return []
    if shown.blind:
        return [f"{cycles} surge cycles were seen, more may have been missed: {shown.blind}"]
    unknown = "" if shown.lag_s else ", a lag of its transmitter left out"
    return [f"surge: swings of the fan's flow from {shown.smallest_swing:.3g} m3/s on are seen for "
            f"sure, {100.0 * (shown.seen or 0.0):.3g} % of a swing in {shown.period_s:.2g} s shows "
            f"in this trend{unknown}; lowest flow and margin between samples may have been worse"]


def _charge_note(moves: tuple[Move, ...], history: History, told: Judged) -> list[str]:
    """What the trapezoid charges for steps between samples, ½·Σ|step|·Δt, where it counts."""
    tracked = told.measures.tracking.whole
    steps = sum(abs(m.end - m.start) for m in moves if m.over_s == 0.0)
    if not steps or not tracked.iae_percent_s:
        return []
    hundred = scaled(history, peaks(history), 1.0).hundred
    charge = 0.5 * 100.0 * steps / hundred * history.facts.record_s
    return [f"IAE: up to {charge:.3g} % s of it lie between the samples before and after a step of "
            "the setpoint"] if charge > CHARGED * tracked.iae_percent_s else []


def _recorded(trial: Trial, history: History, told: Judged) -> StrategyResult:
    """The trend as a judged run; what could not be judged is said with the verdict."""
    asked = _asked(trial.criteria)
    lacking = {name: told.not_judged[measure] for name, measure in OF_CRITERION.items()
               if measure in told.not_judged}
    unknown = [name for name in asked if name in lacking]
    judgeable = trial.criteria.model_copy(update=dict.fromkeys(unknown))
    missed = misses(told.measures, judgeable, trial.plant.facts)
    said = verdict(told.measures, missed, (), None)
    if unknown:
        words = ", ".join(name.replace("_", " ") for name in unknown)
        head = said if missed else "misses no criterion that could be judged"
        said = f"{head}; not judged: {words}"
    return StrategyResult(
        name="recorded", method=trial.plant.facts.method,
        history=history, criteria=trial.criteria, measures=told.measures, misses=missed,
        findings=(), verdict=said, decidable=bool(missed) or not unknown)


def _asked(criteria: Criteria) -> list[str]:
    """Criteria that are judged; speed always is."""
    return [name for name in OF_CRITERION
            if getattr(criteria, name) is not None or name == "speed"]


def _doubts(trend: Trend, case: Case, known: Collection[str]) -> list[str]:
    """Single readings far out, of signals whose usual size is not doubted already."""
    said = []
    for name, values in trend.signals.items():
        if name in known:
            continue
        low, high = _sane(name, case)
        ends = [(block.min(), block.max()) for block in finite(values) if block.size]
        least = min((end[0] for end in ends), default=low)
        most = max((end[1] for end in ends), default=high)
        if least < low or most > high:
            said.append(f"{name} goes from {least:.4g} to {most:.4g} (SI): is the "
                        "column's unit right?")
    return said


def _sane(name: str, case: Case) -> tuple[float, float]:
    """Between what a signal may lie without a doubt [SI]."""
    if name in ("setpoint", "measured_value", "true_value") and (ends := case.control.span_ends):
        beyond = FAR_OUT * (ends[1] - ends[0])
        return ends[0] - beyond, ends[1] + beyond
    if name == "speed_ratio" or name.endswith("of speed"):
        return -0.1, 2.0
    if name == "controller_output" or name.startswith("element_position"):
        return -0.1, 1.1
    return float("-inf"), float("inf")
