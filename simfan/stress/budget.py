"""What a campaign may run, told before it starts: half its runs laid out, half searched, and on top
at most three times as many for what is asked of single inputs, ramps and sensitivities.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from simfan.errors import RunError
from simfan.stress import ramps, ramps_over
from simfan.stress.sensitivity import LEAST, runs_of
from simfan.stress.space import grid_levels

LAID = 0.5
"""Share of the runs that are laid out before the search."""
ON_TOP = 3
"""Runs on top, at most, for each of the runs."""
SENSITIVITY = 0.4
"""Share of those on top that sensitivities may take; with less than they need they are left out."""
CHANGES, TOLERANCES, RAMPS = 0.25, 0.15, 0.25
"""Shares of what is left on top for the smallest changes, for tuning and actuators, and for the
ramp limits of the plant as given. Over plants of the space go the rest and what others leave."""
FEWEST_PLANTS = 3
MOST_PLANTS = 16
MOST_SETPOINTS = 5


@dataclass(frozen=True)
class Plan:
    """Runs [1], each but `laid` and `searched` at most."""

    laid: int
    searched: int
    on_top: int
    changes: int
    tolerances: int
    ramps: int
    """0 where there is no map."""
    setpoints: int
    """Of the map."""
    sensitivity: int
    """0 where there are none."""
    why_no_ramps: str | None
    why_no_sensitivity: str | None

    @property
    def most(self) -> int:
        """All of them."""
        return self.laid + self.searched + self.on_top

    def words(self, how: str) -> str:
        """The budget in a paragraph; `how` the runs are laid out."""
        return " ".join(self._sentences(how))

    def _sentences(self, how: str) -> Iterator[str]:
        laid = {"random": "at random", "sobol": "evenly (Sobol)", "grid": "on a grid"}[how]
        yield (f"{self.laid + self.searched} runs: {self.laid} {laid}, {self.searched} searched; "
               f"and at most {self.on_top} on top:")
        parts = [(self.changes, "smallest changes"), (self.tolerances, "tuning and actuators"),
                 (self.ramps, "ramp limits of the plant as given"),
                 (self.sensitivity, "sensitivities")]
        yield ", ".join(f"{n} for {what}" for n, what in parts if n) + (
            ", the rest for ramp limits over plants of the space." if self.ramps else ".")
        for what, why in (("ramp limits", self.why_no_ramps),
                          ("sensitivities", self.why_no_sensitivity)):
            if why:
                yield f"No {what}: {why}."


def plan(runs: int, inputs: int, sampling: str, over: tuple[float, float] | None) -> Plan:
    """For so many runs and inputs; `over` the shortest and longest ramp [s], None where there is no
    map of ramps. Raises RunError for a grid that does not fit."""
    laid, on_top = max(1, round(LAID * runs)), ON_TOP * runs
    if sampling == "grid":
        laid = _grid(laid, inputs)
    sensitivity = _sensitivity(runs, inputs)
    setpoints = 0 if over is None else _setpoints(runs, inputs, over)
    left = on_top - sensitivity
    return Plan(
        laid, runs - laid, on_top, int(CHANGES * left), int(TOLERANCES * left),
        ramps.most_runs(setpoints, *over) if over and setpoints else 0, setpoints, sensitivity,
        None if setpoints or over is None else
        f"a map takes up to {ramps.most_runs(2, *over)} runs, more than {runs} runs in all leave "
        f"for it; {_enough(runs, lambda n: _setpoints(n, inputs, over))} would do",
        None if sensitivity else
        f"they take at least {LEAST * (inputs + 2)} runs, more than {runs} runs in all leave for "
        f"them; {_enough(runs, lambda n: _sensitivity(n, inputs))} would do")


def _sensitivity(runs: int, inputs: int) -> int:
    return runs_of(inputs, int(SENSITIVITY * ON_TOP * runs))


def _setpoints(runs: int, inputs: int, over: tuple[float, float]) -> int:
    """The most that fit; 0 for none."""
    share = RAMPS * (ON_TOP * runs - _sensitivity(runs, inputs))
    return next((k for k in range(MOST_SETPOINTS, 1, -1) if ramps.most_runs(k, *over) <= share), 0)


def _enough(runs: int, found: Callable[[int], int]) -> int:
    """The next ten of runs with which there is something."""
    while not found(runs := runs // 10 * 10 + 10):
        pass
    return runs


def plants(left: int, setpoints: int, over: tuple[float, float]) -> int:
    """Over how many plants a map goes that has so many runs; 0 for too few to be worth it."""
    found = ramps_over.most_plants(setpoints, left, *over)
    return 0 if found < FEWEST_PLANTS else min(found, MOST_PLANTS)


def _grid(laid: int, inputs: int) -> int:
    levels = grid_levels(laid, inputs)
    if levels < 2:
        raise RunError(f'sampling = "grid": {inputs} inputs make at least {2**inputs} runs, two '
                       f"values each, and {laid} are laid out; give {round(2**inputs / LAID)} runs "
                       'or more, vary less, or use sampling = "sobol"')
    return int(levels**inputs)
