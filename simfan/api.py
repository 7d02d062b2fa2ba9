"""The front door for programs: load a scenario, run a strategy, compare several.

    case = load("kiln-air.toml")
    comparison = compare(case)
    comparison.strategies[0].verdict

Everything is SI; energies are in kWh. A comparison, one strategy's result and a history show
themselves as tables in a notebook and at a Python prompt. The simulator is loaded by the first
function that needs it.
"""

from collections.abc import Callable, Mapping
from math import pi, sqrt
from pathlib import Path
from types import ModuleType

from simfan.compare import (
    Comparison,
    ScenarioNote,
    StrategyResult,
    judged,
    together,
    weighed,
)
from simfan.compiled import cache_folder
from simfan.errors import Problem, RunError, ScenarioError, SimfanError, UnitError
from simfan.history import Audit, Facts, FanMap, Happening, History, SetpointChange
from simfan.history import load as load_history
from simfan.loop_answer import LoopAnswer, LoopPoint, LoopTuning, StrategyLoop
from simfan.metrics import (
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
from simfan.overview import SHARES, Overview, PartLoad
from simfan.plant.case import Case, Criteria, Strategy
from simfan.scenario import assumed, load, schema, starter
from simfan.scenario.starter import starter_case
from simfan.shown import shown_by
from simfan.units import System, show

__all__ = [
    "Audit", "Case", "Change", "Comparison", "Criteria", "Energy", "Event", "Excursions",
    "Facts", "FanMap", "Happening", "History", "LoopAnswer", "LoopPoint", "LoopTuning",
    "Measures", "Miss", "OperatingPoint", "Overview", "PartLoad", "Problem", "RunError",
    "ScenarioError", "ScenarioNote", "SetpointChange", "Setting", "SimfanError", "Strategy",
    "StrategyLoop", "StrategyResult", "Surge", "Tracking", "Travel", "UnitError", "Whole",
    "assumed", "compare", "describe", "is_compiled", "load", "load_history", "operating_map",
    "point_for", "points_at", "run", "save", "schema", "setting_for", "starter", "tune",
    "warm_up",
]  # fmt: skip

Progress = Callable[[str, float], None]
"""Is called with a strategy and the share of its work that is done [1]."""
FEWEST_POINTS, MOST_POINTS = 5, 2001
"""Of each strategy on its operating map."""


def run(case: Case, strategy: str, progress: Progress | None = None,
        audit: bool = False) -> History:
    """Run one strategy of a case; with `audit` also at half the step, the difference noted.

    `progress(strategy, share)` is called on the way. Raises RunError for a strategy the case does
    not have, ScenarioError for a plant that cannot be assembled.
    """
    from simfan.simulate import against_half_step, simulate

    _known(case, [strategy])
    history = simulate(case, strategy, progress)
    return against_half_step(case, history) if audit else history


def compare(case: Case, strategies: list[str] | None = None,
            progress: Progress | None = None) -> Comparison:
    """Run every strategy, or the named ones, and judge them side by side. Raises as `run`."""
    names = strategies or list(case.strategies)
    _known(case, names)
    return together([_weighed(case, name, progress) for name in names], case.criteria)


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
    from simfan.metrics.year import years
    from simfan.steady import map as steady_map

    names = strategies or list(case.strategies)
    _known(case, names)
    points = steady_map.POINTS if points is None else points
    if not FEWEST_POINTS <= points <= MOST_POINTS:
        raise RunError(f"a map of {points} points cannot be made; allowed: {FEWEST_POINTS} to "
                       f"{MOST_POINTS} points a strategy, {steady_map.POINTS} unless told")
    found = steady_map.operating_map(case, names, points, progress)
    return Overview(found, case.criteria, _part_load(case, names), years(found.strategies, case))


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
         low: float | None = None, high: float | None = None, progress: Progress | None = None
         ) -> LoopAnswer:
    """The loops of every strategy, or the named ones, over one range of the held value, as given
    and tuned so that Ms stays within `max_sensitivity` [1].

    The range is what all of them reach within their limits, unless `low` and `high` [m³/s, kg/s or
    Pa] are given. Raises RunError where there is none, or for an unknown strategy.
    """
    from simfan.loops import tune as loops

    names = strategies or list(case.strategies)
    _known(case, names)
    return loops.tune(case, names, max_sensitivity, low, high, progress)


def _part_load(case: Case, names: list[str]) -> PartLoad:
    """Each strategy at the same shares of the process's design flow."""
    from simfan.assemble.ductwork import inlet_density
    from simfan.steady.path import ground

    flow = case.process.design.flow
    whole, grounds = inlet_density(case) * flow, {name: ground(case, name) for name in names}
    return PartLoad(flow, {name: tuple(here.at_flow(share * whole) for share in SHARES)
                           for name, here in grounds.items()})


def _weighed(case: Case, name: str, progress: Progress | None) -> StrategyResult:
    """One strategy judged; where it rests on assumed parts of the fan's curve, for a low and a high
    assumption too."""
    from simfan.simulate import simulate

    nominal = judged(simulate(case, name, progress), case.criteria)
    if nominal.assumed_part_s == 0.0:
        return nominal
    return weighed(nominal, {
        assumption: judged(simulate(case, name, progress, assumption=assumption), case.criteria)
        for assumption in ("low", "high")})


def _known(case: Case, names: list[str]) -> None:
    for name in names:
        if name not in case.strategies:
            raise RunError(f"no strategy {name!r} in this scenario; there are: "
                           f"{', '.join(case.strategies)}")


def describe(case: Case) -> list[str]:
    """The plant's main facts and where each strategy starts, in plain words.

    Raises ScenarioError for a plant that cannot be assembled.
    """
    from simfan.simulate import prepare
    from simfan.steady.balance import hold
    from simfan.steady.pace import helmholtz
    from simfan.steady.start import start_words

    air = case.air
    c = sqrt(air.heat_capacity_ratio * air.gas_constant * air.temperature)
    lines = [f"air at the fan: {air.density:.4g} kg/m3, speed of sound {c:.4g} m/s"]
    for name in case.strategies:
        assembled, going = prepare(case, name)
        if len(lines) == 1:
            curve = assembled.curve
            lines.append("fan at rated speed: " + (
                f"{curve.stall_basis} at {curve.stall_flow:.4g} m3/s" if curve.stall_flow
                else "no peak, so no stall line"))
            lines.append(f"duct and volume: Helmholtz frequency "
                         f"{helmholtz(assembled) / (2.0 * pi):.3g} Hz")
        start = hold(assembled, case.run.starts_at)
        kind = case.control.held_kind
        found = "" if start.reached else f", not {show(case.run.starts_at, kind, digits=4)},"
        lines.append(f"{name} ({case.strategies[name].method}): starts at "
                     f"{show(start.held, kind, digits=4)}{found} with "
                     f"{100.0 * start.outputs[0]:.3g} % controller output; "
                     f"inner step {1e3 * going.step:.3g} ms, recorded every "
                     f"{1e3 * going.record:.3g} ms")
        lines += start_words(case, name)
    return lines


def is_compiled() -> bool:
    """Whether the solver and the measures were compiled on this machine before."""
    kept = {path.name.split(".")[0] for path in cache_folder().glob("**/*.nbi")}
    return {"advance", "surge"} <= kept


def warm_up() -> None:
    """Compile all that a comparison needs, and keep it."""
    case = starter_case()
    short = case.run.model_copy(update={"duration": 8.0 * case.control.scan})
    compare(case.model_copy(update={"timeline": (), "run": short}), list(case.strategies)[:1])


def _display() -> ModuleType:
    from simfan.report import display

    return display


shown_by(_display)
