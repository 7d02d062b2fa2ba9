"""The front door for programs: load a scenario, run a strategy, compare several.

    case = load("kiln-air.toml")
    comparison = compare(case)
    comparison.strategies[0].verdict

Everything is SI; energies are in kWh. A comparison, one strategy's result and a history show
themselves as tables in a notebook and at a Python prompt. The simulator is loaded by the first
function that needs it.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import ModuleType

from simfan.bound import Bound
from simfan.choice import Choice
from simfan.compare import Comparison, ScenarioNote, StrategyResult
from simfan.compiled import cache_folder
from simfan.errors import Problem, RunError, ScenarioError, SimfanError, UnitError
from simfan.experiment_answer import (
    BumpTest,
    FittedModel,
    LimitCycle,
    PlantModel,
    Record,
    RelayTest,
)
from simfan.fit_answer import FitAnswer, FittedNumber, Search, SignalFit
from simfan.history import (
    Audit,
    Carried,
    Facts,
    FanMap,
    Guarded,
    Happening,
    History,
    SetpointChange,
)
from simfan.history import load as load_history
from simfan.loop_answer import LoopAnswer, LoopPoint, LoopTuning, StrategyLoop
from simfan.metrics import (
    Apart,
    Change,
    Energy,
    Event,
    Excursions,
    Measures,
    Miss,
    Surge,
    Tracking,
    Travel,
    Whole,
)
from simfan.operating_map import OperatingPoint, Setting
from simfan.overview import Overview, PartLoad
from simfan.plant.case import Case, Criteria, Strategy
from simfan.replayed import Replayed
from simfan.scenario import assumed, load, schema, starter
from simfan.sheets.sheet import Sheet
from simfan.shown import shown_by
from simfan.stress_answer import StressAnswer
from simfan.trends.answer import TrendJudgement
from simfan.trends.beside import Difference
from simfan.trends.sampling import Sampling
from simfan.trends.trend import Gap, Trend
from simfan.units import System

__all__ = [
    "Apart", "Audit", "Bound", "BumpTest", "Carried", "Case", "Change", "Choice", "Comparison",
    "Criteria", "Difference", "Energy", "Event", "Excursions", "Facts", "FanMap", "FitAnswer",
    "FittedModel", "FittedNumber", "Gap", "Guarded", "Happening", "History", "LimitCycle",
    "LoopAnswer", "LoopPoint", "LoopTuning", "Measures", "Miss", "OperatingPoint", "Overview",
    "PartLoad", "PlantModel", "Problem", "Record", "RelayTest", "Replayed", "RunError", "Sampling",
    "ScenarioError", "ScenarioNote", "Search", "SetpointChange", "Setting", "Sheet", "SignalFit",
    "SimfanError", "Strategy", "StrategyLoop", "StrategyResult", "StressAnswer", "Surge",
    "Tracking", "Travel", "Trend", "TrendJudgement", "UnitError", "Whole", "assumed", "bind",
    "bump_test", "compare", "describe", "fit", "is_compiled", "judge", "limit_cycles", "load",
    "load_history", "operating_map", "point_for", "points_at", "read_trend", "relay_test", "replay",
    "report", "run", "save", "schema", "setting_for", "starter", "stress", "stress_budget", "tune",
    "warm_up",
]  # fmt: skip

Progress = Callable[[str, float], None]
"""Is called with a strategy and the share of its work that is done [1]."""
REPORT_RUNS = 60
"""Of the search in a report."""


def run(case: Case, strategy: str, progress: Progress | None = None,
        audit: bool = False) -> History:
    """Run one strategy of a case; with `audit` also at half the step, the difference noted.

    Gains that the case does not give are sought first, see `compare`.
    `progress(strategy, share)` is called on the way. Raises RunError for a strategy the case does
    not have, ScenarioError for a plant that cannot be assembled.
    """
    from simfan.loops.equal import equal, run
    from simfan.simulate import against_half_step

    _known(case, [strategy])
    tuned = equal(case, [strategy])
    history = run(tuned, strategy, progress)
    halved = audit and strategy not in tuned.untuned
    return against_half_step(tuned.case, history) if halved else history


def compare(case: Case, strategies: list[str] | None = None,
            progress: Progress | None = None) -> Comparison:
    """Run every strategy, or the named ones, and judge them side by side. Raises as `run`.

    Each that gives no gains is tuned first to the same largest Ms over the range that all
    strategies of the case reach, see `Control.tuning`; the tunings stand in each result's `facts`.
    """
    from simfan import compared
    from simfan.loops.equal import equal

    names = strategies or list(case.strategies)
    _known(case, names)
    return compared.side_by_side(equal(case, names), names, progress)


def save(comparison: Comparison, folder: str | Path, units: System = "si") -> list[Path]:
    """Write what `simfan compare --out` writes, but for the operating map; the paths written.

    The page `report.html`, `result.json`, `summary.txt`, of each strategy its history and pictures.
    `units` ("si" or "us") are those of the table and pictures. Raises RunError, in words, where a
    file cannot be written.
    """
    from simfan.report import files

    return files.write(Path(folder), comparison, units)


def operating_map(case: Case, strategies: list[str] | None = None,
                  points: int | None = None, progress: Progress | None = None) -> Overview:
    """Every strategy, or the named ones, over its whole range; `points` points each, or 61.

    Raises RunError for an unknown strategy or a number of points out of range, ScenarioError for
    a plant that cannot be assembled.
    """
    from simfan import mapped

    names = strategies or list(case.strategies)
    _known(case, names)
    return mapped.overview(case, names, points, progress)


def point_for(case: Case, strategy: str, held: float) -> OperatingPoint | str:
    """The operating point at which a strategy holds a value [m³/s, kg/s or Pa], or the sentence why
    there is none. Raises RunError for an unknown strategy."""
    from simfan.steady import ask

    _known(case, [strategy])
    return ask.point_for(case, strategy, held)


def points_at(case: Case, strategy: str, positions: Mapping[str, float]
              ) -> tuple[OperatingPoint, ...]:
    """Every steady solution of a strategy with its elements at these positions (0 to 1; a drive:
    share of rated speed), by rising flow. Raises RunError for an unknown strategy or element."""
    from simfan.steady import ask

    _known(case, [strategy])
    return ask.points_at(case, strategy, positions)


def setting_for(case: Case, strategy: str, flow: float, pressure: float) -> Setting | str:
    """Where vanes and speed stand to give a flow [m³/s before the fan] and a pressure of the volume
    [Pa, gauge] at once at the least electrical power, or the sentence why nothing does.

    Raises RunError for an unknown strategy.
    """
    from simfan.steady import reach

    _known(case, [strategy])
    return reach.settings_for_both(case, strategy, flow, pressure)


def tune(case: Case, strategies: list[str] | None = None, max_sensitivity: float = 1.6,
         low: float | None = None, high: float | None = None, progress: Progress | None = None,
         rules: Sequence[str] = (), runs: bool = False, curves: bool = False,
         ways: bool = False) -> LoopAnswer:
    """The loops of every strategy, or the named ones, over one range of the held value, as given
    and tuned so that Ms stays within `max_sensitivity` [1].

    The range is what all of them reach within their limits, unless `low` and `high` [m³/s, kg/s or
    Pa] are given. `rules` are tuning rules to judge beside, by name or "all"; with `runs` every
    tuning is run through a setpoint step and a load step, with `ways` a gain schedule and a
    characteriser are sought where the process gain changes, with `curves` the answer carries what
    its pictures are drawn from. Raises RunError where there is no range, or for an unknown
    strategy or rule.
    """
    from simfan.loops import tune as loops
    from simfan.trials import with_runs

    names = strategies or list(case.strategies)
    _known(case, names)
    answer = loops.tune(case, names, max_sensitivity, low, high, progress, rules, curves,
                        ways)
    return with_runs(case, answer, progress) if runs else answer


def bump_test(case: Case, strategy: str, held: float, size: float | None = None,
              drift: float = 0.0, noise: float | None = None) -> BumpTest:
    """A two-way bump test in the simulated plant, in manual from rest at a held value [m³/s, kg/s
    or Pa]: the output up, back, down, back by `size` [1], models fitted to the reading.

    `drift` is that of the process resistance over the test [1], `noise` the transmitter's in place
    of the case's [1]. Raises RunError for an unknown strategy, where the strategy is not at rest
    there, where the move does not fit, or where the reading does not answer.
    """
    from simfan.loops import experiment

    _known(case, [strategy])
    return experiment.bump_test(case, strategy, held, size, drift, noise)


def relay_test(case: Case, strategy: str, held: float, size: float | None = None,
               hysteresis: float | None = None, drift: float = 0.0, noise: float | None = None
               ) -> RelayTest:
    """A relay test in the simulated plant: the output switched by ±`size` [1] whenever the reading
    leaves a band of ±`hysteresis` [m³/s, kg/s or Pa]. Raises as `bump_test`, and where no even
    swing comes about."""
    from simfan.loops import relay

    _known(case, [strategy])
    return relay.relay_test(case, strategy, held, size, hysteresis, drift, noise)


def limit_cycles(case: Case, strategy: str, held: float, gain: float | None = None,
                 reset: float | None = None) -> tuple[LimitCycle, ...]:
    """What stick and play of each element make the loop do about a held value [m³/s, kg/s or Pa],
    with the tuning a run would have or a PI of `gain` [%/%] and `reset` [s].

    Raises RunError for an unknown strategy, one without gains, or a value it does not reach.
    """
    from simfan.loops.equal import equal
    from simfan.loops.over_range import Loop
    from simfan.loops.trouble import limit_cycles as foretold

    _known(case, [strategy])
    if gain is not None and reset is not None:
        loop = Loop(case, strategy, held, held, n=1)
        return foretold(loop, loop.pid(gain, reset))
    tuned = equal(case, [strategy])
    if strategy in tuned.untuned:
        raise RunError(tuned.untuned[strategy])
    loop = Loop(tuned.case, strategy, held, held, n=1)
    return foretold(loop, loop.given())


def stress(case: Case, strategy: str | None = None, runs: int | None = None,
           seconds: float | None = None, seed: int | None = None, out: str | Path | None = None,
           threads: int = 1, progress: Progress | None = None, scheduler: str | None = None
           ) -> StressAnswer:
    """Search through varied runs of one strategy for those that break its requirements: runs at
    random, the worst found by searching, the smallest change that breaks each, ramp limits.

    What varies stands in the case's `stress`, and so do `runs` and `seed` where they are not given;
    `seconds` ends the search earlier. With `out` every run is kept in that folder, and the same
    call goes on from there; counterexamples are written there as scenarios. The same seed gives the
    same answer for any number of `threads`, and for the workers of the Dask `scheduler` at an
    address such as "tcp://192.0.2.7:8786". Raises RunError for an unknown strategy, where nothing
    varies, where no gains are found, where the folder holds other runs, where no scheduler with
    workers of the same versions answers, or for `threads` beside one; ScenarioError where an end
    of what varies makes no scenario.
    """
    from contextlib import closing

    from simfan.loops.equal import equal
    from simfan.stress import campaign
    from simfan.stress.cluster import Cluster
    from simfan.stress.local import Local

    if strategy is None and len(case.strategies) > 1:
        raise RunError(f"which strategy? name one of: {', '.join(case.strategies)}")
    if scheduler and threads != 1:
        raise RunError(f"threads: got {threads} with a scheduler, whose workers make the runs; "
                       "allowed: one of the two")
    name = strategy or next(iter(case.strategies))
    _known(case, [name])
    given = case.stress
    with closing(Cluster(scheduler) if scheduler else Local(threads)) as makers:
        tuned = equal(case, [name])
        if name in tuned.untuned:
            raise RunError(f"{name} cannot be run: {tuned.untuned[name]}")
        return campaign.stress(tuned.case, name, campaign.Wanted(
            _runs(case, runs), seconds,
            seed if seed is not None else given.seed if given else 0,
            None if out is None else Path(out), threads, makers), progress)


def stress_budget(case: Case, strategy: str | None = None, runs: int | None = None) -> str:
    """What `stress` would run, in words, before it does: runs laid out and searched, how many come
    on top at most and what for. Raises RunError where nothing varies or a grid does not fit."""
    from simfan.stress.campaign import Wanted
    from simfan.stress.campaign_plan import planned
    from simfan.stress.space import Space

    space, wanted = Space(case, strategy or next(iter(case.strategies))), _runs(case, runs)
    sampling, _, plan = planned(case, space, Wanted(wanted, None, 0).runs)
    return plan.words(sampling)


def _runs(case: Case, asked: int | None) -> int:
    """Of a search: as many as asked for, else as the case says."""
    return asked if asked is not None else case.stress.runs if case.stress else 1


def fit(case: Case, trend: Trend | str | Path, strategy: str | None = None,
        numbers: Sequence[str] = (), begin: float | None = None, end: float | None = None,
        driven_by: str | None = None, skip: float = 0.0, starts: int = 3,
        progress: Progress | None = None) -> FitAnswer:
    """Plant numbers estimated from a recorded trend, with their 95 % intervals: those at the paths
    `numbers`, such as "ductwork.volume", or the usual few of the strategy.

    A file is read as `read_trend` does; `begin` and `end` [s from the first sample] choose a part.
    The model is `driven_by` the recorded "controller output" or "setpoint"; left out, by the output
    where the trend has it. It begins at rest; the first `skip` [s] of the part are not compared.
    What the trend cannot tell is left as it is, with the reason. The search begins at the case's
    numbers and at `starts` − 1 other places. Raises RunError and ScenarioError as `read_trend`,
    RunError for a number that cannot be fitted or a trend that does not do.
    """
    from simfan.fitting.fit import fit
    from simfan.trends.mapping import strategy_of

    name = strategy_of(case, strategy)
    part = _part(case, trend, name, begin, end)
    return fit(case, name, part, numbers, driven_by, skip, starts, progress)


def read_trend(case: Case, file: str | Path, strategy: str | None = None) -> Trend:
    """A recorded trend, its columns as the case's `trend` says, in SI.

    Raises RunError where it is not told which strategy the plant ran, ScenarioError with all that
    is amiss with the file, by kind and line.
    """
    from simfan.trends.mapping import reading_of, strategy_of
    from simfan.trends.reader import read

    return read(file, reading_of(case, strategy_of(case, strategy)))


def judge(case: Case, trend: Trend | str | Path, strategy: str | None = None,
          begin: float | None = None, end: float | None = None, simulate: bool = True,
          noise: bool = False, progress: Progress | None = None) -> TrendJudgement:
    """A recorded trend judged by the measures and criteria of a run, beside the simulated run of
    the same setpoints, with the difference of each signal.

    A file is read as `read_trend` does. `begin` and `end` [s from the first sample] choose a part;
    `noise` lets the simulated transmitter have the case's noise. At most the first six hours are
    simulated. What cannot be judged, for want of a column or of samples, is None and has its reason
    in `not_judged`. Raises RunError and ScenarioError as `read_trend`, RunError for an empty part.
    """
    from simfan.trends.judge import judge
    from simfan.trends.mapping import strategy_of

    name = strategy_of(case, strategy)
    part = _part(case, trend, name, begin, end)
    return judge(case, part, name, simulate=simulate, noise=noise, progress=progress)


def bind(case: Case, strategies: list[str] | None = None, runs: int = REPORT_RUNS,
         note: ScenarioNote | None = None, units: System = "si",
         progress: Progress | None = None) -> Bound:
    """Every answer to a case: comparison, operating map, loops, a search of `runs` runs, and sheets
    to type from, for the strategy that the rule of `simfan.choice` gives, or for those named.

    All of it is made with the numbers of the sheets, rounded to what is typed in, in `units` ("si"
    or "us"). Raises RunError for an unknown strategy, ScenarioError for a plant that cannot be
    assembled.
    """
    from simfan import binding

    _known(case, strategies or [])
    return binding.bind(case, strategies, runs, units, note, progress)


def report(case: Case, folder: str | Path, strategies: list[str] | None = None,
           runs: int = REPORT_RUNS, note: ScenarioNote | None = None, units: System = "si",
           progress: Progress | None = None) -> list[Path]:
    """Write what `simfan report --out` writes: `report.html`, `report.pdf`, `result.json` and the
    folder `sheets`; the paths written. Raises as `bind`, and RunError, in words, where a file
    cannot be written."""
    from simfan.report import bound_files, files

    made = files.prepare(Path(folder))
    try:
        return bound_files.write(Path(folder), bind(case, strategies, runs, note, units, progress),
                                 units)
    finally:
        files.left(made)


def replay(folder: str | Path, progress: Progress | None = None) -> Replayed:
    """The sheets in a folder read back, the case built from them, every strategy on them run again:
    bit for bit as on record, or what was changed and what it does.

    Raises ScenarioError with every line of a sheet that cannot be read, is missing or was not
    there, RunError where the folder holds no sheets.
    """
    from simfan import handover
    from simfan.loops.equal import run

    return handover.replayed(Path(folder), lambda tuned, name: run(tuned, name, progress))


def _part(case: Case, trend: Trend | str | Path, strategy: str, begin: float | None,
          end: float | None) -> Trend:
    """The trend, read where it is a file, between two instants [s from the first sample]."""
    found = trend if isinstance(trend, Trend) else read_trend(case, trend, strategy)
    if begin is None and end is None:
        return found
    return found.part(begin or 0.0, float("inf") if end is None else end)


def _known(case: Case, names: list[str]) -> None:
    for name in names:
        if name not in case.strategies:
            raise RunError(f"no strategy {name!r} in this scenario; there are: "
                           f"{', '.join(case.strategies)}")


def describe(case: Case) -> list[str]:
    """The plant's main facts and where each strategy starts, in plain words.

    Raises ScenarioError for a plant that cannot be assembled.
    """
    from simfan.described import described

    return described(case)


def is_compiled() -> bool:
    """Whether the solver and the measures were compiled on this machine before."""
    kept = {path.name.split(".")[0] for path in cache_folder().glob("**/*.nbi")}
    return {"advance", "surge"} <= kept


def warm_up() -> None:
    """Compile all that a comparison needs, and keep it; on two cores where there are two."""
    from simfan import warmed

    warmed.warm_up()


def _display() -> ModuleType:
    from simfan.report import display

    return display


shown_by(_display)
