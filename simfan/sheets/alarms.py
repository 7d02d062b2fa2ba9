"""The alarm and trip list, and the same as a matrix of causes and effects.

Fields as an alarm's master record has them (ANSI/ISA-18.2, IEC 62682; from memory). Priorities are
the outcome of a site's rationalisation and are never made up here.
"""

from collections.abc import Iterator, Mapping

from simfan.plant.protection import CAUSES, Protection
from simfan.sheets.known import NO_TAG, Known
from simfan.sheets.sheet import UNIT, Cell, Sheet, na, sheet, unit_of

COLUMNS = ("Tag", "Type", "Watches", "Setpoint", UNIT, "On-delay [s]", "Window [s]",
           "Reset", "Off-delay [s]", "Deadband", "Bypass at start [s]", "Time constant [s]",
           "Output on it [%]", "Priority", "Class", "Probable cause", "Consequence",
           "Operator's action", "Time to respond", "Automatic action")
NONE = "the scenario has no [[protection]]; the fan still needs its protection"
BY_THE_SITE = na("by the site's rationalisation")
RATIONALISED = ("Priority", "Class", "Probable cause", "Operator's action", "Time to respond")
WATCHES = {"overload": "motor's heat, of a continuous load", "speed": "fan speed, high",
           "stall_margin": "stall margin, low", "surge_cycles": "surge cycles in the window",
           "highest_pressure": "pressure of the volume, high",
           "lowest_pressure": "pressure of the volume, low"}
CONSEQUENCE = {
    "overload": "the motor's winding overheats",
    "speed": "the wheel is stressed beyond what its maker allows",
    "stall_margin": "stall and surge: vibration, reverse flow, damage",
    "surge_cycles": "surge: vibration, reverse flow, damage",
    "highest_pressure": "casing, duct or process beyond its pressure",
    "lowest_pressure": "duct or process drawn in",
}
"""Common practice, no source."""
EFFECTS = ("Alarm", "Motor loses its supply", "Output goes to a value by hand")


def alarms(known: Known) -> Sheet:
    """One line for each row of the scenario's protection."""
    return sheet("alarms", "Alarms and trips",
                 "What is watched, and what happens then. The model watches the plant itself, at "
                 "every scan; instruments, their failures and voting are the site's to add. This "
                 "list is no protection system.", COLUMNS, _rows(known), NONE)


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    for k, row in enumerate(known.case.protection):
        setpoint = known.cell(("protection", k, row.cause), "not given")
        yield {
            "Tag": _tag(known, k), "Type": row.effect, "Watches": WATCHES[row.cause],
            "Setpoint": setpoint, UNIT: unit_of(setpoint),
            "On-delay [s]": na("it takes the heat's own time")
            if row.overload is not None else na("its window rules")
            if row.surge_cycles is not None else known.cell(("protection", k, "after"), "at once"),
            "Window [s]": known.cell(("protection", k, "window"), "for surge cycles alone"),
            "Reset": row.reset_words,
            "Off-delay [s]": na("it stays until the motor is started again")
            if row.reset == "by hand" else known.cell(("protection", k, "reset_after"), "at once"),
            "Deadband": na("the model has none: by the site"),
            "Bypass at start [s]": known.cell(("protection", k, "bypass_at_start"), "none"),
            "Time constant [s]": known.cell(("protection", k, "time_constant"),
                                            "for overload alone"),
            "Output on it [%]": known.cell(("protection", k, "output"), "the output stays"),
            **dict.fromkeys(RATIONALISED, BY_THE_SITE), "Consequence": CONSEQUENCE[row.cause],
            "Automatic action": row.words[1]}


def cause_and_effect(known: Known) -> Sheet:
    """Causes down, effects across."""
    return sheet("cause-and-effect", "Cause and effect",
                 "X: the cause on the left brings this about, at the scan after it. A motor that "
                 "is tripped stays off until it is started again.",
                 ("Tag", "Cause", *EFFECTS, "Reset"),
                 _matrix(known), NONE)


def _matrix(known: Known) -> Iterator[Mapping[str, Cell]]:
    for k, row in enumerate(known.case.protection):
        yield {"Tag": _tag(known, k), "Cause": row.words[0],
               **dict(zip(EFFECTS, _marks(row), strict=True)),
               "Reset": row.reset_words}


def _marks(row: Protection) -> tuple[str, str, str]:
    output = f"X: {100.0 * row.output:g} %" if row.output is not None else ""
    return ("X" if row.effect == "alarm" else "X: in the log",
            "X" if row.effect == "trip" else na("another effect"),
            output or na("the output stays"))


def _tag(known: Known, k: int) -> str:
    tags = known.case.tags.alarms
    return tags[k] if tags else na(NO_TAG)


assert set(WATCHES) == set(CONSEQUENCE) == set(CAUSES)
