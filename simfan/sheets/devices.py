"""Data of actuators, motor and transmitter, as they were run."""

from collections.abc import Iterator, Mapping

from simfan.sheets.known import ALL, Known, elements
from simfan.sheets.sheet import UNIT, Cell, Path, Sheet, na, sheet, unit_of

COLUMNS = ("Strategy", "Device", "Tag", "Field", "Value", UNIT, "Source")
ACTUATOR = (("stroke_time", "stroke time, shut to open"),
            ("stroke_time_closing", "stroke time, open to shut"), ("lag", "positioner lag"),
            ("dead_time", "dead time"), ("backlash", "play, whole gap"),
            ("resolution", "smallest movement"), ("fails", "without instrument air"))
DRIVE = (("lag", "speed loop lag"), ("dead_time", "dead time"), ("efficiency", "efficiency"))
TRANSMITTER = (("dead_time", "dead time"), ("square_root", "square root in the transmitter"),
               ("low_flow_cutoff", "low flow cut-off, of span"),
               ("density_compensated", "density compensated"), ("noise", "noise, of span"),
               ("resolution", "smallest step, of span"))
OF_A_FLOW = ("square_root", "low_flow_cutoff", "density_compensated")
MOTOR = (("rating", "rating"), ("poles", "poles"), ("frequency", "supply frequency"),
         ("voltage", "voltage"), ("slip", "rated slip"), ("efficiency", "efficiency"),
         ("power_factor", "power factor"), ("start_torque", "torque at standstill, of rated"),
         ("pull_up_torque", "least torque on the way up, of rated"),
         ("breakdown_torque", "breakdown torque, of rated"),
         ("start_current", "current at standstill, of rated"),
         ("locked_rotor_time", "locked-rotor time, hot"),
         ("locked_rotor_time_cold", "locked-rotor time, cold"))
STARTS = (("cold", "starts permitted, the first cold"), ("hot", "starts permitted, the first hot"),
          ("within", "starts are counted within"))
SHUTTERS = ("isolation_damper", "check_damper")
SHUTTER = (("stroke_time", "stroke time"), ("leakage", "open share when shut"))


NOT_GIVEN = {"stroke_time_closing": "as shut to open",
             "locked_rotor_time": "not known: a start's heating is not judged",
             "locked_rotor_time_cold": "not known: the hot one stands for both"}
"""Key → what a missing value means."""


def devices(known: Known) -> Sheet:
    """Everything between the controller and the plant."""
    return sheet("devices", "Actuators, motor and transmitter",
                 "What the run took of each device, to be held against its data sheet.",
                 COLUMNS, _rows(known), "no strategy to type in")


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    control = known.case.control
    head = {"Strategy": ALL, "Device": f"{control.holds} transmitter",
            "Tag": known.tag("transmitter")}
    yield {**head, "Field": "place", "Value": f"at the {control.measured_at}", UNIT: na("a word"),
           "Source": known.where(("control", "measured_at"))}
    for key, what in TRANSMITTER:
        if control.holds == "flow" or key not in OF_A_FLOW:
            yield _line(known, head, what, ("control", "transmitter", key))
    head = {"Strategy": ALL, "Device": "motor", "Tag": known.tag("motor")}
    for key, what in MOTOR:
        yield _line(known, head, what, ("motor", key))
    if known.case.motor.permitted_starts:
        for key, what in STARTS:
            yield _line(known, head, what, ("motor", "permitted_starts", key))
    head = {"Strategy": ALL, "Device": "whole rotor", "Tag": known.tag("fan")}
    yield _line(known, head, "inertia, at the fan's speed", ("fan", "inertia"))
    for shutter in SHUTTERS:
        if getattr(known.case.ductwork, shutter):
            head = {"Strategy": ALL, "Device": shutter.replace("_", " "),
                    "Tag": na("no tag for this damper")}
            for key, what in SHUTTER:
                yield _line(known, head, what, ("ductwork", shutter, key))
    for name, strategy in known.strategies():
        for element in elements(strategy):
            head = {"Strategy": name, "Device": element.replace("_", " "),
                    "Tag": known.tag(element)}
            for key, what in DRIVE if element == "speed" else ACTUATOR:
                yield _line(known, head, what, ("strategies", name, element, key))


def _line(known: Known, head: Mapping[str, Cell], what: str, path: Path) -> Mapping[str, Cell]:
    value = known.cell(path, NOT_GIVEN.get(str(path[-1]), "not given"))
    return {**head, "Field": what, "Value": value, UNIT: unit_of(value),
            "Source": known.where(path)}
