"""The front door for programs: load a scenario, run a strategy, compare several.

    case = load("kiln-air.toml")
    comparison = compare(case)
    comparison.strategies[0].verdict
"""

from math import pi, sqrt

from simfan.compare import Comparison, StrategyResult, judged, together, weighed
from simfan.compiled import cache_folder
from simfan.errors import RunError
from simfan.history import History
from simfan.plant.case import Case
from simfan.scenario import assumed, load, schema, starter
from simfan.scenario.starter import starter_case
from simfan.simulate import Progress, against_half_step, prepare, simulate
from simfan.steady.balance import hold
from simfan.steady.pace import helmholtz
from simfan.steady.start import start_words
from simfan.units import show

__all__ = ["assumed", "compare", "describe", "is_compiled", "load", "run", "schema", "starter",
           "warm_up"]


def run(case: Case, strategy: str, progress: Progress | None = None,
        audit: bool = False) -> History:
    """Run one strategy of a case; with `audit` also at half the step, the difference noted.

    `progress(strategy, share)` is called on the way. Raises RunError for a strategy the case does
    not have, ScenarioError for a plant that cannot be assembled.
    """
    _known(case, [strategy])
    history = simulate(case, strategy, progress)
    return against_half_step(case, history) if audit else history


def compare(case: Case, strategies: list[str] | None = None,
            progress: Progress | None = None) -> Comparison:
    """Run every strategy, or the named ones, and judge them side by side. Raises as `run`."""
    names = strategies or list(case.strategies)
    _known(case, names)
    return together([_weighed(case, name, progress) for name in names], case.criteria)


def _weighed(case: Case, name: str, progress: Progress | None) -> StrategyResult:
    """One strategy judged; where it rests on assumed parts of the fan's curve, for a low and a high
    assumption too."""
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
