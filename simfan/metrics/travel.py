"""How much each element was moved."""

from simfan.measures import travel as fold
from simfan.metrics.columns import Folded, Run, blocks, clock, column
from simfan.metrics.results import Travel

DEAD_BAND = 0.005
"""A turn of direction counts from here on, of the stroke. Our choice; no source."""
AT_LIMIT = 0.001
"""How near a limit is at the limit, of the stroke. Our choice; no source."""


def travel(run: Run) -> dict[str, Travel]:
    """Element → its travel."""
    folds = {name: Folded(fold, fold.start(fold.Params(DEAD_BAND, *limits(run, name), AT_LIMIT)))
             for name in run.items["element"]}
    for block in blocks(run):
        time = clock(block)
        for i, one in enumerate(folds.values()):
            one.take(time, column(block, "element_position", i))
    return {name: _told(one.result()) for name, one in folds.items()}


def limits(run: Run, element: str) -> tuple[float, float]:
    """Lowest and highest demand of the element's sequence; 0 to 1 where it has none."""
    demands = [demand for _, demand in run.facts.sequence.get(element, ())]
    return (float(min(demands)), float(max(demands))) if demands else (0.0, 1.0)


def _told(got: fold.Result) -> Travel:
    return Travel(
        travel_percent=float(100.0 * got.travel),
        reversals=int(got.reversals),
        dead_band_percent=100.0 * DEAD_BAND,
        time_at_limits_s=float(got.at_limits),
    )
