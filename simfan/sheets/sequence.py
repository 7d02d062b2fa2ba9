"""The sequence table: where each element stands for a controller output."""

from collections.abc import Iterator, Mapping

from simfan.plant.case import Strategy
from simfan.sheets.known import Known, elements
from simfan.sheets.sheet import Cell, Path, Sheet, na, sheet
from simfan.sheets.typed import rounded

ELEMENTS = {"outlet_damper": "Outlet damper [%]", "inlet_box_damper": "Inlet box damper [%]",
            "inlet_vanes": "Inlet vanes [%]", "speed": "Speed [% of rated]"}
"""Key of an element → its column; 100 % of a damper or of vanes is open."""
OUTPUT, BEHIND = "Controller output [%]", "Behind the characteriser [%]"
COLUMNS = ("Strategy", "Table", OUTPUT, BEHIND, *ELEMENTS.values(), "Note")
NO_TABLE = "straight from end to end"
NOT_THERE = "not in this strategy"


def sequence(known: Known) -> Sheet:
    """Breakpoints, straight lines between them."""
    return sheet("sequence", "Sequence",
                 "Where each element stands for a controller output, straight lines between the "
                 "lines of a table. Speed is in percent of the fan's rated speed.",
                 COLUMNS, _rows(known), "no strategy to type in")


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    for name, strategy in known.strategies():
        if strategy.characteriser:
            yield from _characteriser(known, name, strategy)
        if strategy.sequence and strategy.sequence.output:
            yield from _table(known, name, strategy)
        else:
            yield from _straight(known, name, strategy)


def _table(known: Known, name: str, strategy: Strategy) -> Iterator[Mapping[str, Cell]]:
    assert strategy.sequence and strategy.sequence.output
    at: Path = ("strategies", name, "sequence")
    for k in range(len(strategy.sequence.output)):
        def cell(key: str, place: int = k) -> Cell:
            return known.cell((*at, key, place), "not given")

        yield {"Strategy": name, "Table": "sequence", OUTPUT: cell("output"),
               BEHIND: na("the table's own output"), **_without(strategy),
               ELEMENTS["inlet_vanes"]: cell("inlet_vanes"), ELEMENTS["speed"]: cell("speed"),
               "Note": "split range of two elements"}


def _characteriser(known: Known, name: str, strategy: Strategy) -> Iterator[Mapping[str, Cell]]:
    assert strategy.characteriser
    at: Path = ("strategies", name, "characteriser")
    for k in range(len(strategy.characteriser.output)):
        yield {"Strategy": name, "Table": "characteriser",
               OUTPUT: known.cell((*at, "output", k), "not given"),
               BEHIND: known.cell((*at, "element", k), "not given"),
               **dict.fromkeys(ELEMENTS.values(), na("see the table behind it")),
               "Note": "between the controller and what moves"}


def _straight(known: Known, name: str, strategy: Strategy) -> Iterator[Mapping[str, Cell]]:
    """An element alone, or one that has a loop of its own: from end to end."""
    apart = strategy.mid_ranging or strategy.second_loop
    note = "each element has a loop of its own" if apart else NO_TABLE
    for output, share in (("0", 0.0), ("100", 1.0)):
        ends = {ELEMENTS[e]: _end(strategy, e, share) for e in elements(strategy)}
        yield {"Strategy": name, "Table": "none", OUTPUT: output,
               BEHIND: na("no characteriser") if not strategy.characteriser else output,
               **_without(strategy), **ends, "Note": note}


def _end(strategy: Strategy, element: str, share: float) -> str:
    if element != "speed" or strategy.speed is None:
        return rounded(100.0 * share)
    drive = strategy.speed
    return rounded(100.0 * (drive.minimum + share * (drive.maximum - drive.minimum)))


def _without(strategy: Strategy) -> dict[str, Cell]:
    return {column: na(NOT_THERE) for key, column in ELEMENTS.items()
            if getattr(strategy, key) is None}
