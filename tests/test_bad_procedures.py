"""Mistakes that people make about procedures: the sentence, the line and the key each must get."""

from pathlib import Path

import pytest

from simfan import scenario
from simfan.errors import ScenarioError
from simfan.plant.procedure_steps import lines
from tests.test_bad_files import BASE

STANDS = 'starts_at = "standstill"\nsetpoint = "40 m3/s"'
GOOD = BASE.replace('starts_at = "45 m3/s"', STANDS) + '''\
[[timeline]]
at = "200 s"
procedure = "stop"
[procedures.start]
speed_within = "25 s"
setpoint = "40 m3/s"
[procedures.start.purge]
output = "40 %"
flow = "15 m3/s"
lasts = "60 s"
[procedures.stop]
over = "10 s"
[procedures.restart]
wait = "30 s"
[[procedures.run_back]]
load_above = "95 %"
setpoint = "30 m3/s"
'''
MISTAKES = [
    ("speed_within", "sped_within", "procedures.start.sped_within", "did you mean speed_within?"),
    ('speed_within = "25 s"\n', "", "procedures.start.speed_within", "speed_within is missing"),
    ('speed_within = "25 s"', "speed_within = 25", "procedures.start.speed_within",
     "write the unit"),
    ('setpoint = "40 m3/s"\n[procedures.start', 'setpoint = "2 kPa"\n[procedures.start',
     "procedures.start.setpoint", "volume flow"),
    ('lasts = "60 s"', 'lasts = "0 s"', "procedures.start.purge.lasts", "above 0 s"),
    ('procedure = "stop"', 'procedure = "halt"', "timeline#3.procedure", '"start" or "stop"'),
    ('[procedures.stop]\nover = "10 s"\n', "", "timeline#3.procedure", "a table procedures.stop"),
    ('procedure = "stop"', 'procedure = "stop"\nover = "5 s"', "timeline#3.over",
     "it happens at once"),
    ('load_above = "95 %"\n', "", "procedures.run_back#1", "one of load_above"),
    ('load_above = "95 %"\n', 'load_above = "95 %"\npressure_above = "3 kPa"\n',
     "procedures.run_back#1.pressure_above", "two conditions are two run-backs"),
    ('setpoint = "30 m3/s"', 'setpoint = "-3 m3/s"', "procedures.run_back#1.setpoint",
     "at least 0 m3/s"),
    ("poles = 6", "poles = 6\npermitted_starts = { cold = 1, hot = 2 }",
     "motor.permitted_starts.hot", "at most cold, 1"),
    ("poles = 6", 'poles = 6\nlocked_rotor_time = "10 s"\nlocked_rotor_time_cold = "5 s"',
     "motor.locked_rotor_time_cold", "at least locked_rotor_time, 10 s"),
]


def told(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "it.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    return [str(problem) for problem in caught.value.problems]


def test_the_base_is_right_and_its_steps_are_told(tmp_path: Path) -> None:
    path = tmp_path / "it.toml"
    path.write_text(GOOD, "utf-8")
    steps = scenario.load(path).procedure_steps
    assert list(steps) == ["start", "stop", "restart", "run-back 1"]
    assert lines(steps["stop"]) == [
        "1. controller to manual, output to 0 % over 10 s, elements there (within 0.5 % "
        "of stroke, besides play and stick); at most 130 s, then on all the same",
        "2. motor off",
        "3. wait for standstill, below 2 % of rated speed; at most 1800 s, then on all the same"]
    assert lines(steps["start"])[1].startswith("2. permissives; only if: no more starts than")
    assert lines(steps["run-back 1"]) == ["1. setpoint to 30 m3/s; only if: motor load above 95 %"]


@pytest.mark.parametrize(("written", "instead", "key", "words"), MISTAKES)
def test_a_mistake_gets_its_key_and_a_hint(tmp_path: Path, written: str, instead: str, key: str,
                                           words: str) -> None:
    assert written in GOOD
    said = told(tmp_path, GOOD.replace(written, instead, 1))
    assert any(key in line and words in line for line in said), said


def test_a_start_ends_in_automatic_and_so_needs_gains(tmp_path: Path) -> None:
    path = tmp_path / "it.toml"
    path.write_text(GOOD.replace('controller = { gain = 0.4, reset = "8 s" }\n', ""), "utf-8")
    case = scenario.load(path)
    assert case.untuned == ("damper", "drive")
    assert not case.by_hand


def test_a_restart_needs_a_start(tmp_path: Path) -> None:
    start = GOOD.index("[procedures.start]")
    text = GOOD[:start] + GOOD[GOOD.index("[procedures.stop]"):]
    assert any("procedures.start" in line and "takes the steps of the start" in line
               for line in told(tmp_path, text))
