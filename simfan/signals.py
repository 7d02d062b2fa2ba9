"""The glossary of recorded signals: one name for code, plots, files and docs.

Inside simfan every signal is SI; `kind` names the row of `units` that shows it to people.
"""

from typing import Literal, NamedTuple

HELD_UNITS = {"volume flow": "m3/s", "mass flow": "kg/s", "pressure": "Pa"}
"""SI unit of signals of kind "held", by the kind of quantity that the loop holds."""


class Signal(NamedTuple):
    """One recorded quantity; the array of a run has one column for each item of `per`."""

    name: str
    symbol: str
    unit: str
    kind: str
    per: Literal["loop", "element", "shutter", "fan", "branch", "node"]
    meaning: str


SIGNALS: dict[str, Signal] = {
    s.name: s
    for s in (
        Signal("setpoint", "SP", "m3/s", "held", "loop", "wanted value of what the loop holds"),
        Signal("measured_value", "PV", "m3/s", "held", "loop",
               "what the transmitter shows the controller: lagged, delayed"),
        Signal("true_value", "PV*", "m3/s", "held", "loop",
               "what a perfect, immediate transmitter at the same place would show"),
        Signal("controller_output", "CO", "1", "fraction", "loop",
               "output of the controller, 0 to 1"),
        Signal("element_demand", "u", "1", "fraction", "element",
               "wanted position after the sequence table; for a drive, share of rated speed"),
        Signal("element_position", "y", "1", "fraction", "element",
               "where the element stands; for a drive, the ramped reference, share of rated speed"),
        Signal("element_pressure", "Δp_d", "Pa", "pressure", "element",
               "pressure the element takes from the air; zero for a drive"),
        Signal("shutter_position", "y", "1", "fraction", "shutter",
               "open share of the stroke of an isolation or a check damper"),
        Signal("fan_flow", "Q", "m3/s", "volume flow", "fan",
               "actual volume flow at the wheel's inlet"),
        Signal("fan_pressure", "Δp", "Pa", "pressure", "fan", "static pressure rise of the wheel"),
        Signal("fan_density", "ρ", "kg/m3", "density", "fan", "density at the wheel's inlet"),
        Signal("stall_flow", "Q_stall", "m3/s", "volume flow", "fan",
               "flow of the stall line (or the peak) at the present speed and inlet setting; "
               "nan where there is no line"),
        Signal("speed_ratio", "n", "1", "fraction", "fan", "speed over rated speed"),
        Signal("shaft_power", "P", "W", "power", "fan", "power the wheel takes from the shaft"),
        Signal("motor_load", "T/T_r", "1", "fraction", "fan",
               "motor torque over what the motor may give for good at this speed: rated torque up "
               "to base speed, rated power above it"),
        Signal("electrical_power", "P_el", "W", "power", "fan", "power drawn from the supply"),
        Signal("mass_flow", "ṁ", "kg/s", "mass flow", "branch", "mass flow from the branch's first "
               "node to its last"),
        Signal("node_pressure", "p", "Pa", "absolute pressure", "node", "absolute static pressure"),
    )
}
