"""The front door for programs: load a scenario, run a strategy, compare several.

    case = load("kiln-air.toml")
    comparison = compare(case)
"""

from pathlib import Path
from typing import Any

from simfan import __version__
from simfan.compare import Comparison
from simfan.compare import compare as _side_by_side
from simfan.errors import RunError
from simfan.history import History
from simfan.plant.case import Case
from simfan.scenario import load
from simfan.simulate import Progress, against_half_step, prepare, simulate

__all__ = ["Case", "Comparison", "History", "compare", "describe", "load", "run"]


def run(case: Case, strategy: str, progress: Progress | None = None,
        audit: bool = False) -> History:
    """Run one strategy. With `audit` also at half the step, the difference noted.

    Raises RunError for a strategy the case does not have.
    """
    _known(case, [strategy])
    history = simulate(case, strategy, progress)
    return against_half_step(case, history) if audit else history


def compare(case: Case, strategies: list[str] | None = None,
            progress: Progress | None = None) -> Comparison:
    """Run every strategy (or the named ones) and judge them side by side."""
    names = strategies or list(case.strategies)
    _known(case, names)
    return _side_by_side([simulate(case, name, progress) for name in names], case.criteria)


def _known(case: Case, names: list[str]) -> None:
    for name in names:
        if name not in case.strategies:
            raise RunError(f"no strategy {name!r} in this scenario; there are: "
                           f"{', '.join(case.strategies)}")
