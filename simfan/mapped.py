"""The strategies of a case over their whole range, at rest: what `simfan map` stands on."""

from simfan.assemble.ductwork import inlet_density
from simfan.errors import RunError
from simfan.metrics.year import years
from simfan.overview import SHARES, Overview, PartLoad
from simfan.plant.case import Case
from simfan.simulate import Progress
from simfan.steady.map import POINTS, operating_map
from simfan.steady.path import ground

FEWEST_POINTS, MOST_POINTS = 5, 2001
"""Of each strategy on its operating map."""


def overview(case: Case, names: list[str], points: int | None = None,
             progress: Progress | None = None) -> Overview:
    """The strategies named, `points` points each. Raises RunError for a number of points out of
    range, ScenarioError for a plant that cannot be assembled."""
    points = POINTS if points is None else points
    if not FEWEST_POINTS <= points <= MOST_POINTS:
        raise RunError(f"a map of {points} points cannot be made; allowed: {FEWEST_POINTS} to "
                       f"{MOST_POINTS} points a strategy, {POINTS} unless told")
    found = operating_map(case, names, points, progress)
    return Overview(found, case.criteria, _part_load(case, names), years(found.strategies, case))


def _part_load(case: Case, names: list[str]) -> PartLoad:
    """Each strategy at the same shares of the process's design flow."""
    flow = case.process.design.flow
    whole, grounds = inlet_density(case) * flow, {name: ground(case, name) for name in names}
    return PartLoad(flow, {name: tuple(here.at_flow(share * whole) for share in SHARES)
                           for name, here in grounds.items()})
