"""The held values that a strategy reaches within its limits, as a range to tune over."""

from simfan.errors import RunError
from simfan.plant.case import Case
from simfan.steady.path import ground, range_points, turndown
from simfan.units import show

POINTS = 31
INSIDE = 0.01
"""The range is drawn in by so much at either end, of its width: at an element's stop there is no
gain."""


def reach(case: Case, name: str) -> tuple[float, float]:
    """Lowest and highest held value within the strategy's limits. RunError where none is."""
    here = ground(case, name)
    ends = turndown(here, range_points(here, POINTS))
    if ends.highest is None or ends.lowest is None:
        raise RunError(f"it has no point within its limits ({ends.ended_above_by})")
    low, high = sorted((ends.highest.held, ends.lowest.held))
    if not low < high:
        raise RunError(f"it has a single point within its limits, at "
                       f"{show(low, case.control.held_kind, digits=4)}")
    return low, high


def drawn_in(low: float, high: float) -> tuple[float, float]:
    """The range that is common to all, a little inside its ends."""
    inset = INSIDE * (high - low)
    return low + inset, high - inset
