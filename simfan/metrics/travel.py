"""How much each element was moved."""

from simfan.history import History
from simfan.measures import travel as fold
from simfan.metrics.columns import clock, column
from simfan.metrics.results import Travel

DEAD_BAND = 0.005
"""A turn of direction counts from here on, of the stroke. Our choice; no source."""
AT_LIMIT = 0.001
"""How near a limit is at the limit, of the stroke. Our choice; no source."""


def travel(history: History) -> dict[str, Travel]:
    """Element → its travel."""
    return {name: _of(history, i, name) for i, name in enumerate(history.items["element"])}


def limits(history: History, element: str) -> tuple[float, float]:
    """Lowest and highest demand of the element's sequence; 0 to 1 where it has none."""
    demands = [demand for _, demand in history.facts.sequence.get(element, ())]
    return (float(min(demands)), float(max(demands))) if demands else (0.0, 1.0)


def _of(history: History, item: int, name: str) -> Travel:
    time, position = clock(history), column(history, "element_position", item)
    params = fold.Params(DEAD_BAND, *limits(history, name), AT_LIMIT)
    got = fold.result(fold.over(fold.start(params), time[0], time, position))
    return Travel(
        travel_percent=float(100.0 * got.travel),
        reversals=int(got.reversals),
        dead_band_percent=100.0 * DEAD_BAND,
        time_at_limits_s=float(got.at_limits),
    )
