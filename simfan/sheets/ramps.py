"""Ramp limits: of drive and setpoint, typed in; and how fast a setpoint was found to be safe."""

from collections.abc import Iterator, Mapping

from simfan.plant.case import Strategy
from simfan.sheets.known import ALL, Known
from simfan.sheets.sheet import UNIT, Cell, Path, Sheet, na, sheet, unit_of
from simfan.sheets.typed import rounded
from simfan.stress_answer import RampRow, stands_for
from simfan.units import convert, preferred

COLUMNS = ("Strategy", "Tag", "Limit", "From", "Value", UNIT, "Source")
DRIVE = (("ramp_up", "drive ramp up, standstill to rated speed"),
         ("ramp_down", "drive ramp down, rated speed to standstill"),
         ("minimum", "lowest speed, of rated"), ("maximum", "highest speed, of rated"),
         ("torque_limit", "torque limit, of rated torque"),
         ("braking_torque", "braking torque, of rated torque"))
SKIP = (("low", "skipped speeds, low end"), ("high", "skipped speeds, high end"))


def ramps(known: Known) -> Sheet:
    """Limits of every drive and setpoint."""
    return sheet("ramps", "Ramp and speed limits",
                 "Limits of the drive, typed in and run; and rates of the setpoint that kept all "
                 "requirements in simulated moves, which are a beginning, to be proved on the "
                 "plant.", COLUMNS, _rows(known), "no strategy to type in")


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    yield {"Strategy": ALL, "Tag": na("of the wheel"), "Limit": "highest safe speed of the wheel",
           "From": na("a limit"), "Value": known.cell(("fan", "max_safe_speed"), "not given"),
           UNIT: "rpm", "Source": "maker, by the scenario"}
    for name, strategy in known.strategies():
        yield from _drive(known, name, strategy)
        yield from _setpoint(known, name)


def _drive(known: Known, name: str, strategy: Strategy) -> Iterator[Mapping[str, Cell]]:
    head = {"Strategy": name, "Tag": known.tag("speed"), "From": na("a limit")}
    if strategy.speed is None:
        yield {**head, "Limit": "drive", "Value": na("the strategy has no drive"),
               UNIT: na("no number"), "Source": "scenario"}
        return
    at: Path = ("strategies", name, "speed")
    paths = [((*at, key), what) for key, what in DRIVE]
    if strategy.speed.skip:
        paths += [((*at, "skip", key), what) for key, what in SKIP]
    for path, what in paths:
        value = known.cell(path, "not given")
        yield {**head, "Limit": what, "Value": value, UNIT: unit_of(value),
               "Source": known.where(path)}


def _setpoint(known: Known, name: str) -> Iterator[Mapping[str, Cell]]:
    """What `stress` found, over the plants of its space where it looked at several; one line for
    each setpoint and way. A way in which nothing broke has no limit to type in."""
    answer = known.stress.get(name)
    head = {"Strategy": name, "Tag": known.tag("loop"), UNIT: f"{known.held_unit} per s"}
    table = (answer.ramp_table_over or answer.ramp_table) if answer else ()
    if answer is None or not table:
        why = (answer.why_no_ramps if answer else None) or "no moves were searched"
        yield {**head, "Limit": "setpoint ramp", "From": na("none searched"), "Value": na(why),
               "Source": "simfan stress"}
        return
    found = answer.ramps_over if answer.ramp_table_over else answer.ramps
    which = f"stress, {stands_for(found)}" if found else "stress"
    for row in table:
        for way in ("up", "down"):
            yield {**head, "Limit": f"setpoint ramp, {way}ward", "From": known.held(row.setpoint),
                   **_rate(known, row, way, which)}
    broken = [v.requirement.name.replace("_", " ") for v in answer.verdicts
              if v.worst.distance < 0.0]
    if broken:
        yield {**head, "Limit": "setpoint moves that break something", "From": "anywhere",
               "Value": na(f"moves other than these broke {', '.join(broken)} in the search"),
               "Source": "stress: see the test record before a ramp limit is set"}


def _rate(known: Known, row: RampRow, way: str, which: str) -> Mapping[str, Cell]:
    value: float | None = getattr(row, way)
    kept, free = getattr(row, f"{way}_kept"), getattr(row, f"{way}_free")
    kind = known.case.control.held_kind
    unit = preferred(kind, known.system)
    fastest = 0.0 if not value else convert(value, kind, unit) - convert(0.0, kind, unit)
    if value is None:
        said = na("no setpoint was searched beyond")
    elif value == 0.0:
        said = na("no ramp that was run keeps all requirements")
    elif free:
        said = na(f"nothing broke up to {_down(fastest)}, faster was not run")
    else:
        said = _down(fastest)
    note = ("each move was run again at this rate" if kept else
            "a move that holds faster breaks here")
    return {"Value": said, "Source": f"{which}{'' if free or not value else f': {note}'}; not part "
            "of the replay"}


def _down(rate: float) -> str:
    """Three digits, never faster than what was run."""
    near = float(f"{rate:.3g}")
    return rounded(near if near <= rate else near - 10.0 ** _place(near), digits=3)


def _place(value: float) -> int:
    """Of the third digit."""
    return int(f"{value:.2e}".split("e")[1]) - 2
