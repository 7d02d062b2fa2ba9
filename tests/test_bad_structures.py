"""The catalogue of mistakes: structures of loops that contradict themselves or the plant."""

import tomllib
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from simfan import scenario
from simfan.cli import main
from simfan.errors import ScenarioError

BASE = '''\
title = "Hop kiln"
fan.rated = { speed = "990 rpm", density = "1.2 kg/m3" }
fan.flow = { unit = "m3/s", values = [0, 20, 30, 40, 60] }
fan.static_pressure = { unit = "kPa", values = [4.2, 4.7, 4.9, 4.6, 2.9] }
fan.shaft_power = { unit = "kW", values = [118, 146, 184, 221, 243] }
fan.inertia = "280 kg m2"
fan.max_safe_speed = "1150 rpm"
[motor]
rating = "315 kW"
poles = 6
[ductwork]
discharge = { length = "20 m", area = "4 m2" }
volume = "600 m3"
[process]
design = { flow = "45 m3/s", pressure = "3.5 kPa" }
[control]
scan = "250 ms"
span = "60 m3/s"
controller = {gain=0.4, reset="8 s", setpoint_full_span = "60 s", gap = "1 %", gap_gain = "20 %"}
[strategies.mid]
inlet_vanes = { stroke_time = "10 s" }
speed = { ramp_up = "40 s", ramp_down = "60 s" }
mid_ranging = { target = "70 %", controller = { gain = 0.3, reset = "60 s" } }
[strategies.casc]
speed = { ramp_up = "40 s", ramp_down = "60 s" }
[strategies.casc.cascade]
holds = "speed"
transmitter = { lag = "0.2 s" }
controller = { gain = 1.0, reset = "5 s" }
[strategies.two]
outlet_damper = { blades = "opposed", stroke_time = "12 s", area = "4 m2", place = "after volume" }
speed = { ramp_up = "40 s", ramp_down = "60 s" }
[strategies.two.second_loop]
holds = "pressure"
measured_at = "volume"
span = "8 kPa"
setpoint = "2.5 kPa"
moves = "speed"
controller = { gain = 0.5, reset = "10 s" }
[strategies.limits]
speed = { ramp_up = "40 s", ramp_down = "60 s" }
feedforward = { share = "90 %", lag = "2 s" }
stall_floor = { margin = "5 %" }
[[strategies.limits.overrides]]
motor_load = "90 %"
controller = { gain = 0.5, reset = "10 s" }
[[strategies.limits.overrides]]
highest_pressure = "3 kPa"
controller = { gain = 0.5, reset = "10 s" }
[strategies.damper]
outlet_damper = { blades = "opposed", stroke_time = "12 s", area = "4 m2", place = "before volume" }
stall_floor = { margin = "5 %" }
[run]
duration = "2 min"
starts_at = "45 m3/s"
'''
MID, CASC, TWO, LIMITS = (f"strategies.{name}" for name in ("mid", "casc", "two", "limits"))

MISTAKES = [
    # (what stands there, what is written instead, line, key, words)
    # -- setpoint rate, gap
    ('setpoint_full_span = "60 s"', 'setpoint_full_span = "0 s"', 19,
     "control.controller.setpoint_full_span", "above 0 s"),
    ('gap = "1 %", ', "", 19, "control.controller.gap_gain", "gap_gain without a gap"),
    ('gap = "1 %"', 'gap = "60 %"', 19, "control.controller.gap", "at most 50 %"),
    ('gap = "1 %"', 'gap = "1 m3/s"', 19, "control.controller.gap", "m3/s is a unit of"),
    ('gap_gain = "20 %"', 'gap_gain = "120 %"', 19, "control.controller.gap_gain",
     "at most 100 %"),
    # -- mid-ranging
    ('inlet_vanes = { stroke_time = "10 s" }\nspeed', "speed", 22, f"{MID}.mid_ranging",
     "got mid-ranging for variable speed alone; allowed: inlet_vanes and speed together"),
    ('mid_ranging = {', 'sequence = { order = "vanes first" }\nmid_ranging = {', 23,
     f"{MID}.sequence", "got a sequence beside mid_ranging; allowed: one of the two"),
    ('target = "70 %", ', "", 23, f"{MID}.mid_ranging.target", "nothing"),
    ('target = "70 %"', 'target = "100 %"', 23, f"{MID}.mid_ranging.target", "below 100 %"),
    ('controller = { gain = 0.3, reset = "60 s" }', "controller = {}", 23,
     f"{MID}.mid_ranging.controller", "gains are sought for the first loop alone"),
    ('gain = 0.3, reset = "60 s"', 'gain = 0.3', 23, f"{MID}.mid_ranging.controller.reset",
     "reset is missing"),
    ('mid_ranging = {', 'feedforward = { share = "50 %" }\nmid_ranging = {', 23,
     f"{MID}.feedforward", "got feedforward beside mid_ranging; allowed: one of the two"),
    ('mid_ranging = {', 'cascade = { holds = "speed", controller = { gain = 1, reset = "5 s" } }\n'
     'mid_ranging = {', 23, f"{MID}.cascade", "got cascade beside another structure"),
    ('mid_ranging = {', 'second_loop = { holds = "flow", setpoint = "9 m3/s", moves = "speed", '
     'controller = { gain = 1, reset = "5 s" } }\nmid_ranging = {', 23, f"{MID}.second_loop",
     "two loops would move the speed"),
    # -- cascade
    ('holds = "speed"\n', 'holds = "load"\n', 27, f"{CASC}.cascade.holds",
     'allowed: "speed" or "flow" or "pressure"'),
    ('holds = "speed"\n', 'holds = "speed"\nspan = "60 m3/s"\n', 28, f"{CASC}.cascade.span",
     "got a span for a speed; allowed: no such key"),
    ('holds = "speed"\n', 'holds = "speed"\nmeasured_at = "process"\n', 28,
     f"{CASC}.cascade.measured_at", "no such key"),
    ('holds = "speed"\n', 'holds = "pressure"\n', 26, f"{CASC}.cascade.span", "span is missing"),
    ('holds = "speed"\n', 'holds = "flow"\nmeasured_at = "volume"\n', 28,
     f"{CASC}.cascade.measured_at", "a flow is measured in a duct"),
    ('holds = "speed"\n', 'holds = "flow"\nspan = "5 kPa"\n', 28, f"{CASC}.cascade.span",
     "got 5000 Pa, a pressure; allowed: a volume flow"),
    ('[strategies.casc]\nspeed = { ramp_up = "40 s", ramp_down = "60 s" }',
     '[strategies.casc]\ninlet_vanes = { stroke_time = "10 s" }', 27, f"{CASC}.cascade.holds",
     'got "speed" without a drive'),
    # -- two loops
    ('outlet_damper = { blades = "opposed", stroke_time = "12 s", area = "4 m2", place = "after '
     'volume" }\n', "", 32, f"{TWO}.second_loop",
     "two loops on one element need a selector: see overrides"),
    ('moves = "speed"', 'moves = "inlet vanes"', 38, f"{TWO}.second_loop.moves",
     'got "inlet vanes"; allowed: "outlet damper" or "speed"'),
    ('span = "8 kPa"\n', "", 33, f"{TWO}.second_loop.span", "span is missing"),
    ('setpoint = "2.5 kPa"', 'setpoint = "20 m3/s"', 37, f"{TWO}.second_loop.setpoint",
     'allowed: a pressure such as "3.5 kPa"; because of strategies.two.second_loop.holds'),
    ('setpoint = "2.5 kPa"', 'setpoint = "12 kPa"', 37, f"{TWO}.second_loop.setpoint",
     "at most strategies.two.second_loop.span, 8000 Pa"),
    ("[strategies.two.second_loop]", 'sequence = { order = "vanes first" }\n'
     "[strategies.two.second_loop]", 33, f"{TWO}.sequence", "got a sequence"),
    # -- overrides
    ('motor_load = "90 %"\n', 'motor_load = "90 %"\nstall_margin = "5 %"\n', 46,
     f"{LIMITS}.overrides#1.stall_margin",
     "got motor_load and stall_margin; allowed: one of motor_load, stall_margin"),
    ('motor_load = "90 %"\n', "", 44, f"{LIMITS}.overrides#1", "got no limit; allowed: one of"),
    ('motor_load = "90 %"', 'motor_lode = "90 %"', 45, f"{LIMITS}.overrides#1.motor_lode",
     "did you mean motor_load?"),
    ('highest_pressure = "3 kPa"', 'highest_pressure = "3 m3/s"', 48,
     f"{LIMITS}.overrides#2.highest_pressure", "m3/s is a unit of"),
    ('motor_load = "90 %"\ncontroller = { gain = 0.5, reset = "10 s" }',
     'motor_load = "90 %"\ncontroller = {}', 46, f"{LIMITS}.overrides#1.controller",
     "gains are sought for the first loop alone"),
    # -- feedforward, stall floor
    ('share = "90 %"', 'share = "160 %"', 42, f"{LIMITS}.feedforward.share", "at most 150 %"),
    ('lag = "2 s" }\nstall', 'lags = "2 s" }\nstall', 42, f"{LIMITS}.feedforward.lags",
     "did you mean lag?"),
    ('place = "before volume" }\nstall', 'place = "after volume" }\nstall', 52,
     "strategies.damper.stall_floor", "got a stall floor for a damper after the volume"),
]


def _problems(folder: Path, text: str) -> list[tuple[int | None, str, str]]:
    """(line, key, sentence) of every mistake."""
    path = folder / "hops.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    return [(p.line, p.key, str(p)) for p in caught.value.problems]


def test_the_base_of_the_catalogue_is_right_and_fits_the_schema(tmp_path: Path) -> None:
    """Else every entry would prove nothing; and an editor takes every key that the reader takes."""
    path = tmp_path / "hops.toml"
    path.write_text(BASE, "utf-8")
    scenario.load(path)
    jsonschema.Draft202012Validator(scenario.schema()).validate(tomllib.loads(BASE))


@pytest.mark.parametrize(("old", "new", "line", "key", "words"), MISTAKES,
                         ids=[f"{m[3]} {m[1]}"[:60].replace("\n", " ") for m in MISTAKES])
def test_a_contradiction_makes_one_sentence_with_its_line_key_and_hint(
    tmp_path: Path, old: str, new: str, line: int, key: str, words: str
) -> None:
    """And nothing else is told beside it: no echo from another check."""
    assert BASE.count(old) >= 1, old
    found = _problems(tmp_path, BASE.replace(old, new, 1))
    assert [(at, name) for at, name, _ in found] == [(line, key)], found
    assert words in found[0][2]
    assert found[0][2].startswith(f"hops.toml, line {line}, {key}: got ")


TOGETHER = """\
[strategies.alone]
speed = { ramp_up = "40 s", ramp_down = "60 s" }
[strategies.mid]
inlet_vanes = { stroke_time = "10 s" }
speed = { ramp_up = "40 s", ramp_down = "60 s" }
[strategies.mid.second_loop]
holds = "pressure"
measured_at = "volume"
span = "8 kPa"
setpoint = "2.5 kPa"
moves = "speed"
controller = { gain = 0.5, reset = "10 s" }
"""
"""Vanes and speed before a fixed process, asked for a flow and a pressure."""
ANSWERS = ("check", "compare", "map", "tune", "map --at 36m3/s", "run --strategy mid",
           "bump --strategy mid --at 36m3/s", "relay --strategy mid --at 36m3/s")


@pytest.fixture
def together(tmp_path: Path) -> Path:
    path = tmp_path / "hops.toml"
    first, last = BASE.index("[strategies.mid]"), BASE.index("[run]")
    path.write_text(BASE[:first] + TOGETHER + BASE[last:], "utf-8")
    return path


@pytest.mark.parametrize("command", ANSWERS)
def test_two_values_that_go_together_are_refused_by_every_command(command: str, together: Path
                                                                  ) -> None:
    """With file, line and key, as any mistake of a file; it takes the plant at rest to see it."""
    name, *options = command.split()
    result = CliRunner().invoke(main, [name, str(together), *options])
    words = " ".join(result.stderr.split())
    assert result.exit_code == 2
    assert "1 mistake in hops.toml" in words
    assert "hops.toml, line 25, strategies.mid.second_loop" in words
    assert "two values that are nowhere held together" in words
    assert "flow and pressure go together" in words
    assert "Traceback" not in words and "fault of simfan" not in words


def test_a_strategy_beside_it_can_still_be_asked_for(together: Path) -> None:
    result = CliRunner().invoke(main, ["run", str(together), "--strategy", "alone", "--quiet"])
    assert result.exit_code == 0, result.stderr
