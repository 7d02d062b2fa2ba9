"""What a campaign sets out with: its budget, the runs before the search, what names its folder."""

from simfan.plant.case import Case
from simfan.scenario import written
from simfan.stress import budget, campaign_ramps
from simfan.stress.program import program
from simfan.stress.space import Space, grid_levels, grid_points, random_points, sobol_points
from simfan.stress.store import content
from simfan.stress.tally import Array


def planned(case: Case, space: Space, runs: int
            ) -> tuple[str, campaign_ramps.MoveRange | str, budget.Plan]:
    """How runs are laid out, what a map of ramps goes over or why there is none, and the budget.
    Raises RunError for a grid that does not fit."""
    sampling = case.stress.sampling if case.stress else "random"
    found = campaign_ramps.move_range(space, case.control.scan)
    over = None if isinstance(found, str) else found.over
    return sampling, found, budget.plan(runs, len(space.inputs), sampling, over)


def laid(sampling: str, seed: int, runs: int, inputs: int) -> Array:
    """(n, inputs) points of the runs before the search."""
    if sampling == "grid":
        return grid_points(grid_levels(runs, inputs), inputs)
    return (sobol_points(seed, runs, inputs) if sampling == "sobol" else
            random_points(seed, 0, runs, inputs))


def about(space: Space, strategy: str) -> dict[str, str]:
    """What runs in one folder have in common."""
    spread = "\n".join(f"{i.name} {i.form} {i.numbers!r}" for i in space.inputs)
    moves = repr(space.moves)
    apart = ({"noise": "told from the loop"} if space.case.control.transmitter.noise else {})
    return apart | {"simfan": program()["simfan"], "strategy": strategy,
            "scenario": content(f"{written.text(space.tables)}{spread}{moves}")}
