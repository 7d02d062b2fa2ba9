"""A catalogue of mistakes that people make, each with the sentence and the line it must get."""

import os
from pathlib import Path

import pytest

from simfan import scenario
from simfan.errors import ScenarioError

BASE = '''\
title = "Drying loft"
[air]
temperature = "30 degC"
barometer = "98.6 kPa"
[fan]
rated = { speed = "990 rpm", density = "1.2 kg/m3" }
flow = { unit = "m3/s", values = [0, 20, 30, 40, 60] }
static_pressure = { unit = "kPa", values = [4.2, 4.7, 4.9, 4.6, 2.9] }
shaft_power = { unit = "kW", values = [
    118, 146,
    184, 221, 243,
] }
inertia = "280 kg m2"
max_safe_speed = "1150 rpm"
[motor]
rating = "315 kW"
poles = 6
[ductwork]
discharge = { length = "20 m", area = "4 m2" }
volume = "600 m3"
[process]
fixed_pressure = "400 Pa"
design = { flow = "45 m3/s", pressure = "3.5 kPa" }
[control]
scan = "250 ms"
[strategies.damper]
controller = { gain = 0.4, reset = "8 s" }
[strategies.damper.outlet_damper]
blades = "opposed"
area = "4 m2"
stroke_time = "12 s"
place = "after volume"
[strategies.drive]
controller = { gain = 0.4, reset = "8 s" }
speed = { ramp_up = "40 s", ramp_down = "60 s", minimum = "30 %" }
[run]
duration = "300 s"
starts_at = "45 m3/s"
[[timeline]]
at = "60 s"
setpoint = "36 m3/s"
[[timeline]]
at = "120 s"
setpoint = "45 m3/s"
over = "20 s"
'''
"""Lines are counted by eye from here; the first is the title's."""

MISTAKES = [
    # what is written, what stands there instead, line, key, words of the sentence
    # -- keys
    ('barometer = "98', 'barometr = "98', 4, "air.barometr", "did you mean barometer?"),
    ("[motor]", "[moter]", 15, "moter", "did you mean motor?"),
    ("[motor]", "[moter]", None, "motor", "a table [motor]; its keys: rating, poles"),
    ('barometer = "98.6 kPa"', 'altitude = "500 m"', 4, "air.altitude",
     "barometer is the pressure of the air there: 101.3 kPa at sea level, 89.9 kPa at 1000 m"),
    ("inertia = ", "barometer = ", 13, "fan.barometer", "barometer belongs to air"),
    ('area = "4 m2" }', 'bore = "2 m" }', 19, "ductwork.discharge.bore", "length, area"),
    ('inertia = "280 kg m2"\n', "", 5, "fan.inertia", 'such as "280 kg m2"'),
    ("poles = 6\n", "", 15, "motor.poles",
     "a whole number, at least 2 and at most 100; poles is missing"),
    (', area = "4 m2" }', " }", 19, "ductwork.discharge.area", 'such as "4 m2"'),
    ('place = "after volume"\n', "", 28, "strategies.damper.outlet_damper.place",
     '"before volume" or "after volume"'),
    ('at = "60 s"\n', "", 39, "timeline#1.at", 'such as "12 s"'),
    # -- kinds and units
    ('"30 degC"', '"30 kPa"', 3, "air.temperature", "kPa is a unit of"),
    ('"30 degC"', "30", 3, "air.temperature", 'write the unit, in quotes: "30 degC"'),
    ('"30 degC"', "true", 3, "air.temperature", "got true"),
    ('"30 degC"', '"-300 degC"', 3, "air.temperature", "at least -100 degC"),
    ('"98.6 kPa"', '"0.4 kPa"', 4, "air.barometer", "at least 20 kPa and at most 200 kPa"),
    ('"98.6 kPa"', '"14 psig"', 4, "air.barometer", "absolute pressure"),
    ('speed = "990 rpm"', 'speed = "50 Hz"', 6, "fan.rated.speed", "Hz is a unit of frequency"),
    ('"280 kg m2"', '"280 kg/m3"', 13, "fan.inertia", "kg/m3 is a unit of density"),
    ('"280 kg m2"', '"280"', 13, "fan.inertia", "the unit is missing"),
    ('"280 kg m2"', '"0 kg m2"', 13, "fan.inertia", "above 0 kg m2"),
    ('"315 kW"', '"0,3 MW"', 16, "motor.rating", "decimals take a point"),
    ("poles = 6", 'poles = "6"', 17, "motor.poles", "without quotes"),
    ("poles = 6", "poles = 5", 17, "motor.poles", "an even number from 2 to 100"),
    ('"30 %"', "0.3", 35, "strategies.drive.speed.minimum", 'quotes: "0.3 %", if % is meant'),
    ('"12 s"', '"0 s"', 31, "strategies.damper.outlet_damper.stroke_time", "above 0 s"),
    ('"opposed"', '"oposed"', 29, "strategies.damper.outlet_damper.blades",
     'did you mean "opposed"?'),
    ("gain = 0.4, reset = \"8 s\" }\n[strategies.damper.", "gain = -0.4, reset = 8 }\n"
     "[strategies.damper.", 27, "strategies.damper.controller.gain", "above 0"),
    ('"Drying loft"', "7", 1, "title", "a text in quotes"),
    # -- the curve
    ('unit = "m3/s", values', 'unit = "kg/s", values', 7, "fan.flow.unit",
     "kg/s is a unit of mass flow"),
    ('{ unit = "m3/s", values = [0, 20, 30, 40, 60] }', "[0, 20, 30, 40, 60]", 7, "fan.flow",
     "a list is given together with its unit"),
    ('unit = "m3/s", values', "values", 7, "fan.flow.unit", "unit is missing"),
    ("[0, 20, 30, 40, 60]", "[0, 20, 20, 40, 60]", 7, "fan.flow.values#3",
     "20 m3/s after 20 m3/s"),
    ("[0, 20, 30, 40, 60]", '[0, "20", 30, nan, 60]', 7, "fan.flow.values#4", "a number"),
    ("[0, 20, 30, 40, 60]", "[-1, 20, 30, 40, 60]", 7, "fan.flow.values#1", "at least 0 m3/s"),
    (" 4.9,", "", 8, "fan.static_pressure.values", "got 4 values; allowed: 5"),
    ("184, 221", "84, 221", 11, "fan.shaft_power.values#3",
     "got 84 kW at point 3; allowed: at least the air power of that point, 147 kW"),
    ('static_pressure = { unit = "kPa"', 'total_pressure = { unit = "kPa"', 5,
     "fan.outlet_area", "total_pressure without outlet_area"),
    ('"1150 rpm"', '"900 rpm"', 14, "fan.max_safe_speed", "at least the rated speed, 990 rpm"),
    ('"1150 rpm"', '"1150 rpm"\nstall_flow = "70 m3/s"', 15, "fan.stall_flow",
     "below the last point, 60 m3/s"),
    # -- what must agree
    ("poles = 6", "poles = 4", 17, "motor.poles", "check motor.poles, motor.frequency"),
    ('pressure = "3.5 kPa"', 'pressure = "300 Pa"', 23, "process.design.pressure",
     "more than fixed_pressure, 400 Pa"),
    ('scan = "250 ms"\n', 'scan = "250 ms"\nmax_sensitivity = 1.4\n', 26,
     "control.max_sensitivity", "where every strategy gives its gains; allowed: no such key, or a "
     "strategy without gains"),
    ('scan = "250 ms"\n', 'scan = "250 ms"\nmax_sensitivity = 4\n', 26,
     "control.max_sensitivity", "a number, at least 1.1 and at most 3"),
    ('scan = "250 ms"\n', 'scan = "250 ms"\ntuning = "by ear"\n', 26, "control.tuning",
     'allowed: "equal robustness"'),
    ('controller = { gain = 0.4, reset = "8 s" }\nspeed', "controller = { gain = 1 }\nspeed", 34,
     "strategies.drive.controller.reset", "reset is missing"),
    ('minimum = "30 %"', 'minimum = "100 %"', 35, "strategies.drive.speed.minimum",
     "less than maximum, 100 %"),
    ('minimum = "30 %"', 'maximum = "120 %"', 35, "strategies.drive.speed.maximum",
     "at most 116.2 %, fan.max_safe_speed over fan.rated.speed"),  # 1150/990
    ('speed = { ramp_up = "40 s", ramp_down = "60 s", minimum = "30 %" }\n', "", 33,
     "strategies.drive", "nothing that moves"),
    ("[strategies.drive]", '[strategies."dr/ive"]', 33, "strategies.dr/ive", "filed under"),
    ("[strategies.drive]", "[strategies.Damper]", 33, "strategies.Damper", "upper and lower case"),
    ('"250 ms"', '"250 ms"\nspan = "40 m3/s"', 39, "run.starts_at", "at most control.span, 40"),
    # -- time
    ('at = "60 s"', 'at = "60.1 s"', 40, "timeline#1.at", "the nearest are 60 s and 60.25 s"),
    ('at = "60 s"', 'at = "130 s"', 43, "timeline#2.at", "120 s after an event at 130 s"),
    ('at = "60 s"', 'at = "120 s"', 43, "timeline#2.at", "a second change of the setpoint"),
    ('at = "120 s"', 'at = "300 s"', 43, "timeline#2.at", "before the end of the run, 300 s"),
    ('over = "20 s"', 'over = "200 s"', 45, "timeline#2.over", "a change that ends at 320 s"),
    ('over = "20 s"', 'fixed_pressure = "1 kPa"', 45, "timeline#2.fixed_pressure",
     "setpoint and fixed_pressure in one event"),
    ('setpoint = "36 m3/s"\n', "", 39, "timeline#1", "got no change"),
    ('setpoint = "36 m3/s"', 'profile = { time = { unit = "s", values = [0, 9, 9] }, '
     'setpoint = { unit = "m3/s", values = [45, 40, 36] } }', 41,
     "timeline#1.profile.time.values#3", "9 s after 9 s"),
    ('duration = "300 s"', 'duration = "300.1 s"', 37, "run.duration",
     "the nearest are 300 s and 300.25 s"),
    ('duration = "300 s"', 'duration = "300 s"\nstep = "40 ms"', 38, "run.step",
     "a divisor of control.scan, 250 ms; the nearest are 35.7143 ms and 41.6667 ms"),
    ('duration = "300 s"', 'duration = "300 s"\nrecord = "500 ms"', 38, "run.record",
     "at most 250 ms"),
    ('duration = "300 s"', 'duration = "300 s"\nstep = "25 ms"\nrecord = "62.5 ms"', 38,
     "run.step", "a divisor of record"),
    ('duration = "300 s"', 'duration = "30 d"\nrecord = "0.1 ms"', 37, "run.duration",
     "at most 2e+07"),
    # -- days, tolerance, part load
    ("[run]", '[days]\ncoldest = { ambient = "-15 degC", ambiant = "1 degC" }\n[run]', 37,
     "days.coldest.ambiant", "did you mean ambient?"),
    ("[run]", '[days]\ncoldest = { gas = "-15 degC" }\n[run]', 37, "days.coldest.ambient",
     "ambient is missing"),
    ("[run]", '[days]\ncoldest = { ambient = "-15 K" }\n[run]', 37, "days.coldest.ambient",
     "at least -100 degC"),
    ("[run]", '[days]\nhottest = { ambient = "36 kPa" }\n[run]', 37, "days.hottest.ambient",
     "kPa is a unit of"),
    ("[run]", '[days]\nhottest = { ambient = "20 degC" }\n[run]', 37, "days.hottest.ambient",
     "at least air.temperature, 30 degC"),
    ("[run]", '[days]\ncoldest = { ambient = "31 degC" }\n[run]', 37, "days.coldest.ambient",
     "at most air.temperature, 30 degC"),
    ("[run]", '[days]\ncoldest = { ambient = "9 degC" }\nhottest = { ambient = "9 degC" }\n[run]',
     37, "days.coldest.ambient", "got 9 degC; allowed: below hottest.ambient, 9 degC"),
    ("[run]", '[days]\ncoldest = "9 degC"\n[run]', 37, "days.coldest", "its keys: ambient, gas"),
    ('inertia = ', 'tolerance = "25 %"\ninertia = ', 13, "fan.tolerance",
     "at least 0 % and at most 20 %"),
    ('inertia = ', 'tolerance = 0.05\ninertia = ', 13, "fan.tolerance", 'quotes: "0.05 %"'),
    ("poles = 6", 'poles = 6\npart_load = { load = { unit = "%", values = [50, 100] }, '
     'efficiency = { unit = "%", values = [96, 95.8] } }', 15, "motor.efficiency",
     'as part_load has it at 100 % load, 95.8 %; such as efficiency = "95.8 %"'),
    ("poles = 6", 'poles = 6\npart_load = { load = { unit = "%", values = [50, 90] }, '
     'efficiency = { unit = "%", values = [95, 95] } }', 18, "motor.part_load.load.values#2",
     "got 90 %; allowed: 100 % or more, the last point"),
    ("poles = 6", 'poles = 6\npart_load = { load = { unit = "%", values = [50, 100] }, '
     'efficiency = { unit = "%", values = [95] } }', 18, "motor.part_load.efficiency.values",
     "got 1 values; allowed: 2, one for each value of load"),
    ("poles = 6", 'poles = 6\npart_load = { load = { unit = "%", values = [100, 50, 100] }, '
     'efficiency = { unit = "%", values = [95, 95, 95] } }', 18, "motor.part_load.load.values#2",
     "50 % after 100 %"),
    ("poles = 6", 'poles = 6\npart_load = { load = { unit = "%", values = [50, 100] }, '
     'efficiency = { unit = "%", values = [95, 195] } }', 18,
     "motor.part_load.efficiency.values#2", "at most 100 %"),
    ('minimum = "30 %" }', 'part_load = { load = { unit = "%", values = [0, 100] }, '
     'efficiency = { unit = "%", values = [90, 97] } } }', 35,
     "strategies.drive.speed.part_load.load.values#1", "above 0 %"),
    ('minimum = "30 %" }', 'part_load = { load = { unit = "%", values = [50, 100] } } }', 35,
     "strategies.drive.speed.part_load.efficiency", "efficiency is missing"),
    # -- the year
    ("[run]", "[year]\nprofile = { demand = { unit = \"m3/s\", values = [45, 30] }, "
     "hours = [3000] }\n[run]", 37, "year.profile.hours", "got 1 values; allowed: 2, one for each"),
    ("[run]", "[year]\nprofile = { demand = { unit = \"m3/s\", values = [45, 30] }, "
     "hours = [3000, -5] }\n[run]", 37, "year.profile.hours#2", "got -5; allowed: a list of "
     "numbers, each at least 0"),
    ("[run]", "[year]\nprofile = { demand = { unit = \"m3/s\", values = [45] }, hours = [0] }\n"
     "[run]", 37, "year.profile.hours", "hours whose sum is above zero"),
    ("[run]", "[year]\nprofile = { demand = { unit = \"kPa\", values = [3] }, hours = [9] }\n"
     "[run]", 37, "year.profile.demand.values#1", 'because of control.holds = "flow"'),
    ("[run]", "[year]\nprofile = { demand = { unit = \"rpm\", values = [3] }, hours = [9] }\n"
     "[run]", 37, "year.profile.demand.unit", "rpm is a unit of rotation speed"),
    ("[run]", "[year]\nprofile = { demand = [45], hours = [9] }\n[run]", 37,
     "year.profile.demand", "a list is given together with its unit"),
    ("[run]", "[year]\nprofile = { hours = [9] }\n[run]", 37, "year.profile.demand",
     "demand is missing"),
    ("[run]", '[year]\nbaseline = "damper"\n[run]', 36, "year", "got no load profile; allowed: "
     "profile or profile_file"),
    ("[run]", "[year]\nprofile = { demand = { unit = \"m3/s\", values = [45] }, hours = [9] }\n"
     'baseline = "dampr"\n[run]', 38, "year.baseline", "did you mean damper?"),
    ("[run]", "[year]\nprofile = { demand = { unit = \"m3/s\", values = [45] }, hours = [9] }\n"
     "co2_per_kw = 1\n[run]", 38, "year.co2_per_kw", "did you mean co2_per_kwh?"),
    ("[run]", "[year]\nprofile = { demand = { unit = \"m3/s\", values = [45] }, hours = [9] }\n"
     'co2_per_kwh = "0.3 kg"\n[run]', 38, "year.co2_per_kwh", "without quotes and without a unit"),
    ("[run]", "[year]\nprofile = { demand = { unit = \"m3/s\", values = [45] }, hours = [9] }\n"
     'profile_file = "demand.csv"\n[run]', 38, "year.profile_file",
     "got both profile and profile_file; allowed: one of the two"),
    ("[strategies.drive]", "[strategies.drive]\ninstalled_cost = -1", 34,
     "strategies.drive.installed_cost", "at least 0"),
    ("[strategies.drive]", '[strategies.drive]\ninstalled_cost = "9000 EUR"', 34,
     "strategies.drive.installed_cost", "without quotes and without a unit"),
    # -- shape
    ("[process]", "process = 3\n[processes]", 21, "ductwork.process", "process belongs to the top"),
    ('rated = { speed = "990 rpm", density = "1.2 kg/m3" }', 'rated = "990 rpm"', 6, "fan.rated",
     "a table"),
]

SYNTAX = [
    # what is written, what stands there instead, line, words of the sentence
    ('speed = "990 rpm"', "speed = 990 rpm", 6, 'a quantity stands in quotes: "990 rpm"'),
    ('"98.6 kPa"', "98.6 kPa", 4, 'a quantity stands in quotes: "98.6 kPa"'),
    ('"98.6 kPa"', '"98.6 kPa', 4, "a text in quotes, all on one line"),
    ("[motor]", "[motor", 15, "[section]"),
    ("[motor]", "[fan]", 15, "a section that was opened before"),
    ("poles = 6", "poles 6", 17, "a key without `=`"),
    ("poles = 6", "poles = six", 17, "something that is no value"),
    ("poles = 6", 'rating = "3 kW"', 17, "a key that was given before"),
    ("poles = 6", "pôles = 6", 17, "letters, digits"),
    (', area = "4 m2" }', ', area = "4 m2"', 19, "a table that is not closed"),
    ("[0, 20, 30, 40, 60]", "[0, 20, 30 40, 60]", 7, "a list that is not closed"),
    ("[[timeline]]\nat = \"120", "[timeline]\nat = \"120", 42, "[[timeline]] with two brackets"),
    ('"Drying loft"', '"C:\\loft"', 1, "one backslash"),
]


def _problems(folder: Path, old: str, new: str) -> list[tuple[int | None, str, str]]:
    """(line, key, sentence) of every mistake in BASE with one text put for another."""
    assert BASE.count(old) >= 1, old
    path = folder / "loft.toml"
    path.write_text(BASE.replace(old, new, 1), "utf-8")
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    return [(p.line, p.key, str(p)) for p in caught.value.problems]


def test_the_base_of_the_catalogue_is_right(tmp_path: Path) -> None:
    """Else every entry below would prove nothing."""
    path = tmp_path / "loft.toml"
    path.write_text(BASE, "utf-8")
    scenario.load(path)


@pytest.mark.parametrize(("old", "new", "line", "key", "words"), MISTAKES,
                         ids=[f"{m[3]} {m[1]}"[:60].replace("\n", " ") for m in MISTAKES])
def test_a_mistake_is_told_with_its_line_key_and_hint(
    tmp_path: Path, old: str, new: str, line: int | None, key: str, words: str
) -> None:
    """One sentence has all three."""
    found = _problems(tmp_path, old, new)
    mine = [sentence for at, name, sentence in found if (at, name) == (line, key)]
    assert any(words in sentence for sentence in mine), found
    assert mine[0].startswith(f"loft.toml, line {line}, {key}: " if line else f"loft.toml, {key}: ")


@pytest.mark.parametrize(("old", "new", "line", "words"), SYNTAX,
                         ids=[m[1][:40].replace("\n", " ") for m in SYNTAX])
def test_a_slip_in_the_writing_is_told_with_its_line_and_the_rule(
    tmp_path: Path, old: str, new: str, line: int, words: str
) -> None:
    """The reading stops at the first slip, so there is one sentence."""
    found = _problems(tmp_path, old, new)
    assert [at for at, _, _ in found] == [line], found
    assert words in found[0][2]


def test_one_mistake_makes_one_sentence(tmp_path: Path) -> None:
    """No echo of the same slip from another check; a misspelt section is missing, too."""
    for old, new, _, _, _ in MISTAKES:
        found = _problems(tmp_path, old, new)
        assert len({key for _, key, _ in found}) == len(found), found


def test_all_mistakes_of_a_file_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    """Within a key, within a section and between sections that are sound in themselves."""
    text = BASE
    for old, new in (('"30 degC"', "30"), ('"1150 rpm"', '"900 rpm"'), ("poles = 6", "poles = 4"),
                     ("184, 221", "84, 221"), ('"opposed"', '"oposed"'), ('"60 s"\nsetpoint',
                     '"60.1 s"\nsetpoint'), ('over = "20 s"', 'ovr = "20 s"')):
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "loft.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    assert [(p.line, p.key) for p in caught.value.problems] == [
        (3, "air.temperature"), (11, "fan.shaft_power.values#3"), (14, "fan.max_safe_speed"),
        (29, "strategies.damper.outlet_damper.blades"), (40, "timeline#1.at"),
        (45, "timeline#2.ovr")]
    assert str(caught.value).count("\n") == 5


# Files that are no scenario ----------------------------------------------------------------------

@pytest.mark.parametrize(("content", "words"), [
    (b"", "an empty file"),
    (b" \n\n", "an empty file"),
    (b"\x89PNG\r\n\x1a\n\0\0\0", "a binary file"),
    ("title = 1".encode("utf-16"), "text in UTF-16"),
    (b'title = "a"\nname = "caf\xe9"\n', "line 2: got a character that is not UTF-8"),
    (b"a = " + b"[" * 5000, "too deep to read"),
    (b"a = " + b"9" * 5000, "a number of thousands of digits"),
    (b"a." * 3000 + b"a = 1", "dots in one line"),
    (b"#" * 300_000, "a file of 300 kB; allowed: a scenario of at most 200 kB"),
    (b"\n".join(b"k%d = 1" % i for i in range(300)), "more mistakes"),
    (b'\xef\xbb\xbftitle = "with a mark of byte order"', "fan: got nothing"),
    (b'title = "Windows"\r\n[air]\r\ntemperature = "30"\r\n', "line 3, air.temperature"),
])
def test_a_file_that_is_no_scenario_is_told_in_a_sentence(
    tmp_path: Path, content: bytes, words: str
) -> None:
    """Empty, binary, in another encoding, much too deep or too large."""
    path = tmp_path / "loft.toml"
    path.write_bytes(content)
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    assert words in str(caught.value)
    assert all(str(p).startswith("loft.toml") for p in caught.value.problems)


def test_a_missing_file_is_told_with_what_stands_there_instead(tmp_path: Path) -> None:
    """And a folder is no file, and a name may be one that no system takes."""
    (tmp_path / "loft.toml").write_text(BASE, "utf-8")
    for path, words in ((tmp_path / "lift.toml", "there is loft.toml"), (tmp_path, "a folder"),
                        (tmp_path / ("x" * 5000), "cannot be read"),
                        (tmp_path / "loft.toml" / "x", "cannot be read"),
                        ("nul\0byte.toml", "cannot be read")):
        with pytest.raises(ScenarioError, match=words):
            scenario.load(path)


def test_a_file_that_would_never_end_is_not_read(tmp_path: Path) -> None:
    """A pipe without a writer would wait for ever."""
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    with pytest.raises(ScenarioError, match="not an ordinary file"):
        scenario.load(pipe)
