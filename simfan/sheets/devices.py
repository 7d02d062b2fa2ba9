"""Data of actuators, motor and transmitter, as they were run."""

from collections.abc import Iterator, Mapping

from simfan.sheets.known import ALL, Known, elements
from simfan.sheets.sheet import UNIT, Cell, Path, Sheet, na, sheet

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
         ("power_factor", "power factor"))


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
    for name, strategy in known.strategies():
        for element in elements(strategy):
            head = {"Strategy": name, "Device": element.replace("_", " "),
                    "Tag": known.tag(element)}
            for key, what in DRIVE if element == "speed" else ACTUATOR:
                yield _line(known, head, what, ("strategies", name, element, key))


def _line(known: Known, head: Mapping[str, Cell], what: str, path: Path) -> Mapping[str, Cell]:
    value = known.cell(path, "as shut to open")
    unit = na("no number") if isinstance(value, str) else value.unit or "1"
    return {**head, "Field": what, "Value": value, UNIT: unit, "Source": known.where(path)}
