"""What the numbers rest on: the model, every default with its source, and what was not modelled."""

from collections.abc import Iterator, Mapping

from simfan.scenario.assumed import assumed
from simfan.sheets.known import ALL, Known
from simfan.sheets.sheet import Cell, Sheet, sheet
from simfan.units import show

COLUMNS = ("Subject", "Strategy", "Statement", "Source")
NOT_MODELLED = (
    "flame, heat and their pressure excursions (loss of flame, puffs)",
    "strength of ducts, casing and supports; fatigue; imbalance and vibration",
    "noise",
    "rotating stall: surge is a lumped model's surge",
    "failures of instruments, voting and the control system itself, but for faults in the timeline",
    "the drive's harmonics, the supply's faults and the motor's protection relay",
    "wear, fouling and corrosion of the wheel",
    "the plant: nothing here was validated on it",
)
RULES = "the maker's curve and stall line, local codes and licensed practice rule"


def basis(known: Known) -> Sheet:
    """A line for each statement."""
    return sheet("basis", "Model basis",
                 "What the numbers of these sheets rest on, and what they know nothing of.",
                 COLUMNS, _rows(known), "nothing")


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    case = known.case
    for statement, source in (
        (f"fan curve: {len(case.fan.flow)} points at "
         f"{show(case.fan.rated.speed, 'rotation speed', known.system)} and "
         f"{show(case.fan.rated.density, 'density', known.system, 4)}", "scenario"),
        (f"air {show(case.air.temperature, 'temperature', known.system)} at the fan", "scenario"),
        ("one volume flow through inlet, fan, duct and process; the volume stores air, the duct "
         "has its inertance", "simfan's model page"),
    ):
        yield {"Subject": "modelled", "Strategy": ALL, "Statement": statement, "Source": source}
    for name, lines in _assumptions(known).items():
        for line in lines:
            statement, _, source = line.partition(" (default: ")
            yield {"Subject": "assumed", "Strategy": name, "Statement": statement,
                   "Source": source.removesuffix(")") or "told by the run"}
    for statement in NOT_MODELLED:
        yield {"Subject": "not modelled", "Strategy": ALL, "Statement": statement, "Source": RULES}


def _assumptions(known: Known) -> dict[str, list[str]]:
    """Strategy → what was assumed for it; of all, said once."""
    found = {name: list(r.history.facts.assumed) for name, r in known.results.items()
             if name in known.names}
    if not found:
        others = tuple(f"strategies.{n}." for n in known.case.strategies if n not in known.names)
        return {ALL: [line for line in assumed(known.case) if not line.startswith(others)]}
    first = next(iter(found.values()))
    common = [line for line in first if all(line in lines for lines in found.values())]
    own = {name: [x for x in lines if x not in common] for name, lines in found.items()}
    return {ALL: common, **own}
