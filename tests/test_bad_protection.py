"""The catalogue of mistakes goes on: standstill, dampers behind the fan, faults, protection."""

import tomllib
from pathlib import Path

import jsonschema
import pytest

from simfan import scenario
from simfan.errors import ScenarioError
from tests.test_bad_files import BASE as PLAIN

HEAD = PLAIN[:PLAIN.index("[process]")]
BASE = HEAD + '''\
isolation_damper = { stroke_time = "20 s", area = "4 m2", open_loss = 0.3, leakage = "0.2 %" }
check_damper = { stroke_time = "2 s" }
[process]
fixed_pressure = "400 Pa"
design = { flow = "45 m3/s", pressure = "3.5 kPa" }
[control]
scan = "250 ms"
lost_signal = { answer = "go to output", output = "30 %" }
[strategies.drive]
controller = { gain = 0.4, reset = "8 s" }
speed = { ramp_up = "40 s", ramp_down = "60 s", minimum = "30 %" }
[run]
duration = "300 s"
starts_at = "standstill"
setpoint = "40 m3/s"
[criteria]
bypass_at_start = "30 s"
[[protection]]
surge_cycles = 3
window = "30 s"
effect = "trip"
[[protection]]
stall_margin = "0 %"
after = "5 s"
effect = "run back"
output = "40 %"
reset = "by itself"
reset_after = "60 s"
[[timeline]]
at = "10 s"
motor = "restart"
[[timeline]]
at = "20 s"
isolation = "open"
[[timeline]]
at = "40 s"
automatic = true
[[timeline]]
at = "60 s"
fault = { of = "transmitter", state = "noisy", by = "3 %", lasts = "20 s" }
[[timeline]]
at = "100 s"
fault = { of = "check damper", state = "stuck" }
'''
"""Line 21 is that of the isolation damper."""
ISOLATION, CHECK = "ductwork.isolation_damper", "ductwork.check_damper"

MISTAKES = [
    # -- dampers behind the fan
    ('stroke_time = "20 s"', 'stroke_time = "0 s"', 21, f"{ISOLATION}.stroke_time", "above 0 s"),
    ("open_loss = 0.3", "open_los = 0.3", 21, f"{ISOLATION}.open_los", "did you mean open_loss?"),
    ('stroke_time = "20 s", area', "area", 21, f"{ISOLATION}.stroke_time",
     "stroke_time is missing"),
    ('leakage = "0.2 %"', 'leakage = "0 %"', 21, f"{ISOLATION}.leakage", "at least 0.001 %"),
    ('leakage = "0.2 %"', 'leakage = "40 %"', 21, f"{ISOLATION}.leakage", "at most 20 %"),
    ('leakage = "0.2 %"', 'leakage = "2 m3/s"', 21, f"{ISOLATION}.leakage",
     "m3/s is a unit of volume flow"),
    ("open_loss = 0.3", "open_loss = -1", 21, f"{ISOLATION}.open_loss", "at least 0"),
    ('check_damper = { stroke_time = "2 s" }', 'check_damper = "2 s"', 22, CHECK, "a table"),
    # -- standstill
    ('setpoint = "40 m3/s"\n[criteria]', "[criteria]", 32, "run.setpoint",
     'setpoint is missing: starts_at = "standstill" tells none'),
    ('"standstill"', '"40 m3/s"', 35, "run.setpoint",
     'no such key without starts_at = "standstill"'),
    ('"standstill"', '"stand still"', 34, "run.starts_at", 'or "standstill"'),
    ('setpoint = "40 m3/s"', 'setpoint = "2 kPa"', 35, "run.setpoint", "a pressure"),
    ('setpoint = "40 m3/s"', 'setpoint = "-4 m3/s"', 35, "run.setpoint", "at least 0 m3/s"),
    # -- events of them
    ('isolation = "open"', 'isolation = "50 %"', 54, "timeline#2.isolation", '"open" or "shut"'),
    ('isolation = "open"', 'isolation = "open"\nover = "5 s"', 55, "timeline#2.over",
     "no such key beside isolation; it happens at once"),
    ('isolation_damper = { stroke_time = "20 s", area = "4 m2", open_loss = 0.3, '
     'leakage = "0.2 %" }\n', "", 53, "timeline#2.isolation",
     "no isolation damper; allowed: one: ductwork.isolation_damper"),
    ('check_damper = { stroke_time = "2 s" }\n', "", 62, "timeline#5.fault",
     "no check damper; allowed: one: ductwork.check_damper"),
    # -- faults
    ('state = "stuck"', 'state = "slow", by = "300 %"', 63, "timeline#5.fault.state",
     '"slow" of the check damper; allowed: "stuck", "well"'),
    ('state = "noisy", by = "3 %"', 'state = "noisy"', 60, "timeline#4.fault.by",
     'a percentage such as "5 %"'),
    ('by = "3 %"', 'by = "-3 %"', 60, "timeline#4.fault.by", "0 % to 50 %"),
    ('lasts = "20 s"', 'lasts = "400 s"', 60, "timeline#4.fault", "an end within the run"),
    ('lasts = "20 s"', 'lasts = "20.1 s"', 60, "timeline#4.fault.lasts",
     "a multiple of control.scan"),
    ('state = "noisy", by = "3 %"', 'state = "well"', 60, "timeline#4.fault.lasts",
     'no such key with state = "well"'),
    ('output = "30 %" }', 'output = "130 %" }', 28, "control.lost_signal.output", "at most 100 %"),
    (', output = "30 %" }', " }", 28, "control.lost_signal.output",
     'with answer = "go to output"'),
    ('"go to output"', '"manual"', 28, "control.lost_signal.output",
     'with answer = "go to output"'),
    ('"go to output"', '"hold"', 28, "control.lost_signal.answer",
     '"hold output" or "go to output" or "manual"'),
    # -- protection
    ("surge_cycles = 3", "surge_cycles = 0", 39, "protection#1.surge_cycles", "at least 1"),
    ("surge_cycles = 3", "surge_cycles = 2.5", 39, "protection#1.surge_cycles", "whole number"),
    ('window = "30 s"\n', "", 38, "protection#1.window",
     'a time such as "60 s", with surge_cycles'),
    ('window = "30 s"', 'window = "30 s"\nafter = "5 s"', 41, "protection#1.after",
     "no such key with surge_cycles"),
    ("surge_cycles = 3", 'speed = "110 %"', 40, "protection#1.window", "with surge_cycles"),
    ('reset = "by itself"', 'reset = "itself"', 47, "protection#2.reset",
     '"by hand" or "by itself"'),
    ('reset = "by itself"\n', "", 47, "protection#2.reset_after",
     'no such key without reset = "by itself"'),
    ('output = "40 %"\n', "", 42, "protection#2.output", "output is missing"),
    ('stall_margin = "0 %"', 'stall_margin = "0 %"\nspeed = "110 %"', 43,
     "protection#2.stall_margin", "two causes are two rows"),
    ('bypass_at_start = "30 s"', 'bypass_at_start = "-1 s"', 37, "criteria.bypass_at_start",
     "at least 0 s"),
]


def _problems(folder: Path, text: str) -> list[tuple[int | None, str, str]]:
    path = folder / "loft.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    return [(p.line, p.key, str(p)) for p in caught.value.problems]


def test_the_base_of_the_catalogue_is_right_and_fits_the_schema(tmp_path: Path) -> None:
    """Else every entry would prove nothing."""
    path = tmp_path / "loft.toml"
    path.write_text(BASE, "utf-8")
    assert scenario.load(path).run.first_setpoint == 40.0
    jsonschema.Draft202012Validator(scenario.schema()).validate(tomllib.loads(BASE))


@pytest.mark.parametrize(("old", "new", "line", "key", "words"), MISTAKES,
                         ids=[f"{m[3]} {m[1]}"[:60].replace("\n", " ") for m in MISTAKES])
def test_a_mistake_makes_one_sentence_with_its_line_key_and_hint(
    tmp_path: Path, old: str, new: str, line: int, key: str, words: str
) -> None:
    assert BASE.count(old) >= 1, old
    found = _problems(tmp_path, BASE.replace(old, new, 1))
    assert [(at, name) for at, name, _ in found] == [(line, key)], found
    assert words in found[0][2]
