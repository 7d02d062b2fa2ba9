"""The catalogue of mistakes goes on: elements, devices, controllers and events as they are."""

import tomllib
from pathlib import Path

import jsonschema
import pytest

from simfan import scenario
from simfan.errors import ScenarioError

BASE = '''\
title = "Malt floor"
fan.rated = { speed = "990 rpm", density = "1.2 kg/m3" }
fan.flow = { unit = "m3/s", values = [0, 20, 30, 40, 60] }
fan.static_pressure = { unit = "kPa", values = [4.2, 4.7, 4.9, 4.6, 2.9] }
fan.shaft_power = { unit = "kW", values = [118, 146, 184, 221, 243] }
fan.inertia = "280 kg m2"
fan.max_safe_speed = "1150 rpm"
fan.design_flow = "40 m3/s"
[motor]
rating = "315 kW"
poles = 6
[ductwork]
discharge = { length = "20 m", area = "4 m2" }
volume = "600 m3"
inlet_filter = { flow = "45 m3/s", pressure = "200 Pa" }
[process]
design = { flow = "45 m3/s", pressure = "3.5 kPa" }
[control]
holds = "flow"
flow_basis = "mass"
scan = "250 ms"
span = { low = "0 kg/s", high = "72 kg/s" }
measured_at = "process"
controller = { gain = 0.4, reset = "8 s" }
[control.transmitter]
square_root = true
low_flow_cutoff = "2 %"
noise = "0.5 %"
[strategies.damper.outlet_damper]
stroke_time = "12 s"
area = "4 m2"
place = "after volume"
losses = { opening = { unit = "%", values = [0, 50, 100] }, loss = [9000, 20, 0.5] }
[strategies.box.inlet_box_damper]
stroke_time = "12 s"
backlash = "1 %"
fails = "shut"
[strategies.box.inlet_box_damper.linkage]
position = { unit = "%", values = [0, 50, 100] }
opening = { unit = "%", values = [0, 30, 100] }
[strategies.both]
inlet_vanes = { stroke_time = "10 s", swirl = 0.4 }
sequence = { order = "vanes first", split = "50 %", overlap = "10 %" }
[strategies.both.speed]
ramp_up = "40 s"
ramp_down = "60 s"
skip = { low = "60 %", high = "65 %" }
maximum = "110 %"
[strategies.table]
inlet_vanes = { stroke_time = "10 s" }
speed = { ramp_up = "40 s", ramp_down = "60 s" }
[strategies.table.sequence]
output = { unit = "%", values = [0, 50, 100] }
inlet_vanes = { unit = "%", values = [10, 100, 100] }
speed = { unit = "%", values = [40, 40, 100] }
[strategies.measured.inlet_vanes]
stroke_time = "10 s"
[[strategies.measured.inlet_vanes.family]]
opening = "20 %"
flow = { unit = "m3/s", values = [0, 5, 10, 15] }
static_pressure = { unit = "kPa", values = [4.0, 3.2, 1.9, 0.1] }
shaft_power = { unit = "kW", values = [90, 92, 95, 97] }
[[strategies.measured.inlet_vanes.family]]
opening = "60 %"
flow = { unit = "m3/s", values = [0, 15, 30, 45] }
static_pressure = { unit = "kPa", values = [4.1, 4.3, 3.6, 0.8] }
shaft_power = { unit = "kW", values = [100, 120, 150, 160] }
stall_flow = "12 m3/s"
[[strategies.measured.inlet_vanes.family]]
opening = "100 %"
flow = { unit = "m3/s", values = [0, 20, 30, 40, 60] }
static_pressure = { unit = "kPa", values = [4.2, 4.7, 4.9, 4.6, 2.9] }
shaft_power = { unit = "kW", values = [118, 146, 184, 221, 243] }
[run]
duration = "300 s"
starts_at = "54 kg/s"
[criteria]
highest_pressure = "5 kPa"
lowest_pressure = "-1 kPa"
[[timeline]]
at = "20 s"
setpoint = "45 kg/s"
[[timeline]]
at = "40 s"
noise = "2 %"
[[timeline]]
at = "60 s"
manual_output = "40 %"
[[timeline]]
at = "80 s"
automatic = true
[[timeline]]
at = "100 s"
inlet_resistance = "150 %"
over = "20 s"
[[timeline]]
at = "140 s"
instrument_air = "lost"
[[timeline]]
at = "160 s"
instrument_air = "back"
'''
"""Lines are counted from here; the first is the title's."""

PRESSURE = ('holds = "flow"\nflow_basis = "mass"', 'holds = "pressure"')
VANES, FAMILY = "strategies.both.inlet_vanes", "strategies.measured.inlet_vanes.family"
BOX, DAMPER = "strategies.box.inlet_box_damper", "strategies.damper.outlet_damper"
TUNING, SEQUENCE = "control.controller", "strategies.both.sequence"
TABLE = "strategies.table.sequence"

SHORT = """flow = { unit = "m3/s", values = [0, 5, 10#] }
static_pressure = { unit = "kPa", values = [4.0, 3.2, 1.9@] }
shaft_power = { unit = "kW", values = [90, 92, 95~] }
"""

MISTAKES = [
    # what is written, what stands there instead, line, key, words of the sentence
    # -- the fan and its motor
    ('design_flow = "40 m3/s"', 'design_flow = "70 m3/s"', 8, "fan.design_flow",
     "below the last point, 60 m3/s"),
    ('design_flow = "40 m3/s"', 'power_floor = "130 %"', 8, "fan.power_floor", "at most 100 %"),
    ("poles = 6", 'poles = 6\nstart_torque = "70 %"', 9, "motor.pull_up_torque",
     "got 80 %; allowed: at most start_torque, 70 %"),
    ("poles = 6", 'poles = 6\nstart_torque = "300 %"', 12, "motor.start_torque",
     "below breakdown_torque, 250 %"),
    ("poles = 6", 'poles = 6\nstart_current = "300 A"', 12, "motor.start_current",
     "A is a unit of current"),
    ("poles = 6", 'poles = 6\nlocked_rotor_time = "0 s"', 12, "motor.locked_rotor_time",
     "above 0 s"),
    # -- ducts
    ("inlet_filter", "inlet_fliter", 15, "ductwork.inlet_fliter", "did you mean inlet_filter?"),
    ('volume = "600 m3"', 'volume = "600 m3"\nvolume_side = "outlet"', 15, "ductwork.volume_side",
     '"discharge" or "inlet"'),
    ('"after volume"', '"at fan"', 32, f"{DAMPER}.place", '"before volume" or "after volume"'),
    # -- what is held
    ('holds = "flow"', 'holds = "level"', 19, "control.holds", '"flow" or "pressure"'),
    ('"mass"', '"massive"', 20, "control.flow_basis", 'did you mean "mass"?'),
    ('"mass"', '"mass"\nnormal = { temperature = "15 degC" }', 21, "control.normal",
     'flow_basis = "normal"'),
    ('measured_at = "process"', 'measured_at = "volume"', 23, "control.measured_at",
     "a flow is measured in a duct"),
    ('low = "0 kg/s"', 'low = "80 kg/s"', 22, "control.span.low", "less than high, 72 kg/s"),
    ('low = "0 kg/s"', 'low = "5 kg/s"', 22, "control.span.low", "square_root"),
    ('low = "0 kg/s"', 'low = "0 Pa"', 22, "control.span.high",
     "a mass flow where low is a pressure"),
    ('low = "0 kg/s", high = "72 kg/s"', 'low = "0 m3/s", high = "72 m3/s"', 22,
     "control.span.low", "0 m3/s, a volume flow; allowed: a mass flow"),
    ('low = "0 kg/s", ', "", 22, "control.span.low", "low is missing"),
    ('low = "0 kg/s"', 'low = "0 kg/s", bottom = "1 kg/s"', 22, "control.span.bottom",
     "allowed: low, high"),
    ('{ low = "0 kg/s", high = "72 kg/s" }', "72", 22, "control.span", "72 without a unit"),
    ('{ low = "0 kg/s", high = "72 kg/s" }', '"72 Hz"', 22, "control.span",
     "Hz is a unit of frequency"),
    ('{ low = "0 kg/s", high = "72 kg/s" }', '"0 kg/s"', 22, "control.span", "above zero"),
    ('{ low = "0 kg/s", high = "72 kg/s" }', '"50 kg/s"', 76, "run.starts_at",
     "at most control.span, 50 kg/s"),
    ('starts_at = "54 kg/s"', 'starts_at = "45 m3/s"', 76, "run.starts_at",
     "got 45 m3/s, a volume flow; allowed: a mass flow such as \"54 kg/s\"; because of "
     'control.holds = "flow" with flow_basis = "mass"'),
    ('starts_at = "54 kg/s"', 'starts_at = "0 kg/s"', 76, "run.starts_at", "above 0 kg/s"),
    ('starts_at = "54 kg/s"', 'starts_at = "-5 kg/s"', 76, "run.starts_at", "at least 0 kg/s"),
    ('starts_at = "54 kg/s"', 'starts_at = "54"', 76, "run.starts_at", "the unit is missing"),
    ('setpoint = "45 kg/s"', 'setpoint = "2 kPa"', 82, "timeline#1.setpoint",
     "got 2000 Pa, a pressure"),
    ('setpoint = "45 kg/s"', 'setpoint = "80 kg/s"', 82, "timeline#1.setpoint",
     "at most control.span.high, 72 kg/s"),
    ('setpoint = "45 kg/s"', 'profile = { time = { unit = "s", values = [0, 9] }, '
     'setpoint = { unit = "m3/s", values = [45, 40] } }', 82,
     "timeline#1.profile.setpoint.values#1", "a volume flow"),
    ('setpoint = "45 kg/s"', 'profile = { time = { unit = "s", values = [0, 9] }, '
     'setpoint = { unit = "V", values = [45, 40] } }', 82, "timeline#1.profile.setpoint.unit",
     "V is a unit of voltage"),
    # -- the transmitter
    ("square_root = true", 'square_root = "yes"', 26, "control.transmitter.square_root",
     "true or false"),
    ('"2 %"\nnoise', '"60 %"\nnoise', 27, "control.transmitter.low_flow_cutoff", "at most 50 %"),
    ('noise = "0.5 %"', 'noise = "-1 %"', 28, "control.transmitter.noise", "at least 0 %"),
    ('noise = "0.5 %"', 'resolution = 0.1', 28, "control.transmitter.resolution",
     "without a unit"),
    # -- tuning
    ("gain = 0.4", 'gain = 0.4, proportional_band = "250 %"', 24, f"{TUNING}.proportional_band",
     "both gain and proportional_band"),
    ("gain = 0.4, ", "", 24, f"{TUNING}.gain", "gain is missing"),
    ("gain = 0.4", 'proportional_band = "0 %"', 24, f"{TUNING}.proportional_band",
     "at least 0.1 %"),
    ('reset = "8 s"', 'reset = "8 s", repeats = "2 1/min"', 24, f"{TUNING}.repeats",
     "both reset and repeats"),
    ('reset = "8 s"', 'repeats = "8 s"', 24, f"{TUNING}.repeats", "s is a unit of time"),
    ('reset = "8 s"', 'reset = "8 s", form = "ideal"', 24, f"{TUNING}.form",
     '"standard" or "parallel" or "series"'),
    ('reset = "8 s"', 'reset = "8 s", integral_gain = "0.1 1/s"', 24, f"{TUNING}.integral_gain",
     "the parallel form has it"),
    ('reset = "8 s"', 'form = "parallel"', 24, f"{TUNING}.integral_gain",
     "integral_gain is missing"),
    ('reset = "8 s"', 'form = "parallel", integral_gain = "0.1 1/s", derivative = "2 s"', 24,
     f"{TUNING}.derivative", "the standard or series form has it"),
    ('reset = "8 s"', 'reset = "8 s", output_low = "60 %", output_high = "50 %"', 24,
     f"{TUNING}.output_low", "less than output_high, 50 %"),
    ('reset = "8 s"', 'reset = "8 s", output_high = "120 %"', 24, f"{TUNING}.output_high",
     "at most 100 %"),
    ('reset = "8 s"', 'reset = "8 s", full_travel = "0 s"', 24, f"{TUNING}.full_travel",
     "above 0 s"),
    # -- dampers and their linkage
    ("[9000, 20, 0.5]", "[9000, 20, 30]", 33, f"{DAMPER}.losses.loss#3", "30 after 20"),
    ("[9000, 20, 0.5]", "[9000, 20]", 33, f"{DAMPER}.losses.loss", "got 2 values; allowed: 3"),
    ("[9000, 20, 0.5]", "[9000, 20, 0]", 33, f"{DAMPER}.losses.loss#3", "above 0"),
    ("[9000, 20, 0.5]", '"9000"', 33, f"{DAMPER}.losses.loss", "a list of numbers"),
    ("values = [0, 50, 100] }, loss", "values = [5, 50, 100] }, loss", 33,
     f"{DAMPER}.losses.opening.values#1", "got 5 %; allowed: 0 %, the first value"),
    ('place = "after volume"', 'place = "after volume"\nblades = "opposed"', 33,
     f"{DAMPER}.blades", "no such key beside losses"),
    ("losses = {", "# {", 29, f"{DAMPER}.blades", "blades is missing"),
    ('backlash = "1 %"', 'backlash = "1 mm"', 36, f"{BOX}.backlash", "mm is a unit of length"),
    ('backlash = "1 %"', 'resolution = "70 %"', 36, f"{BOX}.resolution", "at most 50 %"),
    ('fails = "shut"', 'fails = "closed"', 37, f"{BOX}.fails", '"open" or "shut" or "stays"'),
    ("[0, 30, 100]", "[0, 30, 20]", 40, f"{BOX}.linkage.opening.values#3", "20 % after 30 %"),
    ("[0, 30, 100]", "[0, 30, 130]", 40, f"{BOX}.linkage.opening.values#3", "at most 100 %"),
    ("[0, 30, 100]", "[0, 100]", 40, f"{BOX}.linkage.opening.values", "got 2 values; allowed: 3"),
    ('values = [0, 50, 100] }\nopening', 'values = [0, 50, 90] }\nopening', 39,
     f"{BOX}.linkage.position.values#3", "100 %, the last value"),
    # -- vanes, and vanes with speed
    ("swirl = 0.4", "swril = 0.4", 42, f"{VANES}.swril", "did you mean swirl?"),
    ("swirl = 0.4", "leakage = 0", 42, f"{VANES}.leakage", "at least 0.001"),
    ("swirl = 0.4", 'family_file = "no.csv"', 42, f"{VANES}.family_file",
     "no file of this name; allowed: a file of curves"),
    ("sequence = {", "# {", 41, "strategies.both.sequence", "sequence is missing"),
    ("inlet_vanes = { stroke_time = \"10 s\", swirl = 0.4 }\n", "", 42, "strategies.both.sequence",
     "a sequence for one element"),
    ("[strategies.both]", '[strategies.both]\noutlet_damper = { blades = "parallel", area = '
     '"4 m2", stroke_time = "9 s", place = "after volume" }', 43, "strategies.both.inlet_vanes",
     "outlet_damper and inlet_vanes and speed together"),
    ('"vanes first"', '"vanes"', 43, f"{SEQUENCE}.order", 'did you mean "vanes first"?'),
    ('order = "vanes first", ', "", 43, f"{SEQUENCE}.order", "neither an order nor a table"),
    ('"vanes first", split = "50 %", overlap = "10 %"', '"together", split = "50 %"', 43,
     f"{SEQUENCE}.split", 'no such key beside order = "together"'),
    ('"50 %", overlap', '"100 %", overlap', 43, f"{SEQUENCE}.split", "below 100 %"),
    ('overlap = "10 %"', 'overlap = "-100 %"', 43, f"{SEQUENCE}.overlap", "above -100 %"),
    ('"50 %", overlap = "10 %"', '"90 %", overlap = "-30 %"', 43, f"{SEQUENCE}.overlap",
     "leaves room for both elements"),
    ('overlap = "10 %"', 'least_opening = "120 %"', 43, f"{SEQUENCE}.least_opening",
     "at most 100 %"),
    ("[0, 50, 100] }\ninlet_vanes", "[0, 50, 50] }\ninlet_vanes", 53, f"{TABLE}.output.values#3",
     "50 % after 50 %"),
    ("[0, 50, 100] }\ninlet_vanes", "[0, 50, 90] }\ninlet_vanes", 53, f"{TABLE}.output.values#3",
     "100 %, the last value"),
    ("[10, 100, 100]", "[10, 100]", 54, f"{TABLE}.inlet_vanes.values", "got 2 values; allowed: 3"),
    ("[10, 100, 100]", "[10, 110, 100]", 54, f"{TABLE}.inlet_vanes.values#2", "at most 100 %"),
    ("[40, 40, 100]", "[20, 40, 100]", 55, f"{TABLE}.speed.values#1",
     "from speed.minimum, 30 %, to speed.maximum, 100 %"),
    ('speed = { unit = "%", values = [40, 40, 100] }\n', "", 52, f"{TABLE}.speed",
     "speed is missing: a table has"),
    ("[strategies.table.sequence]", '[strategies.table.sequence]\norder = "together"', 53,
     f"{TABLE}.order", "no such key beside a table"),
    ('low = "60 %", high = "65 %"', 'low = "70 %", high = "65 %"', 47,
     "strategies.both.speed.skip.low", "less than high, 65 %"),
    ('low = "60 %", high = "65 %"', 'low = "20 %", high = "65 %"', 47,
     "strategies.both.speed.skip", "a band between minimum, 30 %"),
    ('maximum = "110 %"', 'maximum = "120 %"', 48, "strategies.both.speed.maximum",
     "at most 116.2 %"),  # 1150/990
    # -- measured curves
    ('opening = "20 %"', 'opening = "60 %"', 64, f"{FAMILY}#2.opening", "60 % after 60 %"),
    ('opening = "100 %"', 'opening = "95 %"', 70, f"{FAMILY}#3.opening", "100 %, the last"),
    ("[0, 5, 10, 15]", "[0, 5, 5, 15]", 60, f"{FAMILY}#1.flow.values#3", "5 m3/s after 5 m3/s"),
    (SHORT.replace("#", ", 15").replace("@", ", 0.1").replace("~", ", 97"),
     SHORT.replace("#", "").replace("@", "").replace("~", ""), 60, f"{FAMILY}#1.flow.values",
     "4 to 1000 points"),
    ("[4.0, 3.2, 1.9, 0.1]", "[4.0, 3.2, 1.9]", 61, f"{FAMILY}#1.static_pressure.values",
     "got 3 values; allowed: 4"),
    ("[4.0, 3.2, 1.9, 0.1]", "[4.0, 4.6, 1.9, 0.1]", 61,
     f"{FAMILY}#1.static_pressure.values#2",
     "got 4600 Pa at 5 m3/s, 20 % open; allowed: at most 4167 Pa, the curve at 60 % open there; "
     "curves must not cross"),  # 4100 + 5/15·200
    ("[4.0, 3.2, 1.9, 0.1]", "[-4.0, -3.2, -1.9, -0.1]", 61,
     f"{FAMILY}#1.static_pressure.values", "no value above zero"),
    ("[90, 92, 95, 97]", "[90, 12, 95, 97]", 62, f"{FAMILY}#1.shaft_power.values#2",
     "at least the air power of that point, 16 kW (5 m3/s times 3200 Pa)"),
    ('stall_flow = "12 m3/s"', 'stall_flow = "45 m3/s"', 68, f"{FAMILY}#2.stall_flow",
     "below the last point, 0 m3/s to 45 m3/s"),
    ('stall_flow = "12 m3/s"', 'stall_flow = "12 kg/s"', 68, f"{FAMILY}#2.stall_flow",
     "kg/s is a unit of mass flow"),
    ("[4.1, 4.3, 3.6, 0.8]", "[4.3, 4.3, 3.6, 0.8]", 66, f"{FAMILY}#2.static_pressure.values#1",
     "got 4300 Pa at 0 m3/s, 60 % open; allowed: at most 4200 Pa, the curve at 100 % open"),
    ('static_pressure = { unit = "kPa", values = [4.2, 4.7, 4.9, 4.6, 2.9] }\nshaft_power = '
     '{ unit = "kW", values = [118, 146, 184, 221, 243] }\n[run]', 'static_pressure = { unit = '
     '"kPa", values = [5.2, 5.7, 5.9, 5.6, 3.9] }\nshaft_power = { unit = "kW", values = '
     '[118, 146, 184, 230, 243] }\n[run]', 72, f"{FAMILY}#3.static_pressure.values#1",
     "near 4200 Pa, the fan's own curve"),
    ('stroke_time = "10 s"\n[[', 'stroke_time = "10 s"\nturn = 0.75\n[[', 58,
     "strategies.measured.inlet_vanes.turn", "no such key beside measured curves"),
    # -- events and criteria
    ('noise = "2 %"', 'noise = "2 %"\nover = "5 s"', 86, "timeline#2.over",
     "no such key beside noise; it happens at once"),
    ("automatic = true", "automatic = false", 91, "timeline#4.automatic",
     "got false; allowed: true"),
    ('manual_output = "40 %"', 'manual_output = "140 %"', 88, "timeline#3.manual_output",
     "at most 100 %"),
    ('manual_output = "40 %"', 'gas_temperature = "90 degC"', 91, "timeline#4.automatic",
     "an earlier event with manual_output"),
    ('manual_output = "40 %"', 'ambient_temperature = "9 kPa"', 88,
     "timeline#3.ambient_temperature", "kPa is a unit of"),
    ('at = "80 s"', 'at = "60 s"', 90, "timeline#4.at", "a second change of the manual output"),
    ('noise = "2 %"', 'barometer = "1 kPa"', 85, "timeline#2.barometer", "at least 20 kPa"),
    ('instrument_air = "lost"', 'instrument_air = "off"', 98, "timeline#6.instrument_air",
     '"lost" or "back"'),
    ('instrument_air = "lost"', 'fixed_pressure = "1 kPa"', 101, "timeline#7.instrument_air",
     '"back" without a loss before'),
    ('inlet_filter = { flow = "45 m3/s", pressure = "200 Pa" }\n', "", 93,
     "timeline#5.inlet_resistance", "a filter: ductwork.inlet_filter"),
    ('inlet_resistance = "150 %"', 'inlet_resistance = "0 %"', 94, "timeline#5.inlet_resistance",
     "at least 1 %"),
    ('inlet_resistance = "150 %"', 'inlet_resistnace = "150 %"', 94, "timeline#5.inlet_resistnace",
     "did you mean inlet_resistance?"),
    ('lowest_pressure = "-1 kPa"', 'lowest_pressure = "6 kPa"', 79, "criteria.lowest_pressure",
     "less than highest_pressure, 5000 Pa"),
]

HOLDING_PRESSURE = [
    # the same, in a file whose loop holds a pressure
    ('span = { low = "-500 Pa", high = "1 kPa" }\n', "", 18, "control.span",
     "span is missing: where a pressure is held there is no default for it"),
    ('span = { low = "-500 Pa", high = "1 kPa" }', 'span = "-500 Pa"', 21, "control.span",
     'a span that ends at zero is { low = "-500 Pa", high = "0 Pa" }'),
    ('span = { low = "-500 Pa", high = "1 kPa" }', 'span = "40 m3/s"', 21, "control.span",
     'a volume flow; allowed: a pressure such as "3.5 kPa"; because of control.holds = "pressure"'),
    ('holds = "pressure"', 'holds = "pressure"\nflow_basis = "mass"', 20, "control.flow_basis",
     "flow_basis where a pressure is held"),
    ('noise = "0.5 %"', "square_root = true", 25, "control.transmitter.square_root",
     "square_root where a pressure is held"),
    ('starts_at = "-100 Pa"', 'starts_at = "-0.6 kPa"', 73, "run.starts_at",
     "at least the low end of control.span, -500 Pa"),
    ('starts_at = "-100 Pa"', 'starts_at = "45 m3/s"', 73, "run.starts_at", "a volume flow"),
]


def _holding_pressure() -> str:
    """BASE with a furnace's draft to hold."""
    text = BASE
    for old, new in ((PRESSURE), ('span = { low = "0 kg/s", high = "72 kg/s" }',
                                  'span = { low = "-500 Pa", high = "1 kPa" }'),
                     ('square_root = true\nlow_flow_cutoff = "2 %"\n', ""),
                     ('starts_at = "54 kg/s"', 'starts_at = "-100 Pa"'),
                     ('setpoint = "45 kg/s"', 'setpoint = "50 Pa"')):
        assert old in text
        text = text.replace(old, new, 1)
    return text


CATALOGUE = [(BASE, *m) for m in MISTAKES] + [(_holding_pressure(), *m) for m in HOLDING_PRESSURE]


def _problems(folder: Path, text: str) -> list[tuple[int | None, str, str]]:
    """(line, key, sentence) of every mistake."""
    path = folder / "malt.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    return [(p.line, p.key, str(p)) for p in caught.value.problems]


@pytest.mark.parametrize("text", [BASE, _holding_pressure()])
def test_the_bases_of_the_catalogue_are_right(tmp_path: Path, text: str) -> None:
    """Else every entry would prove nothing."""
    path = tmp_path / "malt.toml"
    path.write_text(text, "utf-8")
    scenario.load(path)


@pytest.mark.parametrize("text", [BASE, _holding_pressure()])
def test_the_bases_of_the_catalogue_fit_the_schema(text: str) -> None:
    """So that an editor takes every key that the reader takes."""
    jsonschema.Draft202012Validator(scenario.schema()).validate(tomllib.loads(text))


@pytest.mark.parametrize("text", [BASE, _holding_pressure()])
def test_the_bases_of_the_catalogue_tell_what_they_assume(tmp_path: Path, text: str) -> None:
    """Of a pressure loop nothing that only a flow feels, of measured curves no model."""
    path = tmp_path / "malt.toml"
    path.write_text(text, "utf-8")
    keys = {line.split(" ")[0] for line in scenario.assumed(scenario.load(path))}
    assert "strategies.both.inlet_vanes.turn" in keys
    assert f"{FAMILY}#1.stall_flow" in keys and f"{FAMILY}#2.stall_flow" not in keys
    assert not {"strategies.measured.inlet_vanes.turn", f"{DAMPER}.shut_loss",
                "control.normal.pressure", "control.flow_basis"} & keys
    assert ("control.transmitter.density_compensated" in keys) == (text == BASE)


@pytest.mark.parametrize(("base", "old", "new", "line", "key", "words"), CATALOGUE,
                         ids=[f"{m[4]} {m[2]}"[:60].replace("\n", " ") for m in CATALOGUE])
def test_a_mistake_makes_one_sentence_with_its_line_key_and_hint(
    tmp_path: Path, base: str, old: str, new: str, line: int, key: str, words: str
) -> None:
    """And nothing else is told beside it: no echo from another check."""
    assert base.count(old) >= 1, old
    found = _problems(tmp_path, base.replace(old, new, 1))
    assert [(at, name) for at, name, _ in found] == [(line, key)], found
    assert words in found[0][2]
    assert found[0][2].startswith(f"malt.toml, line {line}, {key}: got ")


def test_a_volume_before_the_fan_asks_for_its_damper_and_its_process(tmp_path: Path) -> None:
    found = _problems(tmp_path, BASE.replace('volume = "600 m3"',
                                             'volume = "600 m3"\nvolume_side = "inlet"', 1))
    said = {key: words for _, key, words in found}
    assert set(said) == {f"{DAMPER}.place", "process.design.pressure"}
    assert 'allowed: "at fan"' in said[f"{DAMPER}.place"]
    assert "less than fixed_pressure" in said["process.design.pressure"]
