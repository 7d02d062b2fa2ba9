"""Limits of a drive's speed written as shares, as speeds of the fan, or as frequencies."""

from math import pi
from pathlib import Path

import pytest

from simfan import api
from simfan.errors import ScenarioError
from simfan.plant.case import Case
from simfan.plant.drive import SpeedDrive
from tests.plants import plain

DRYER = Path(__file__).parents[1] / "scenarios" / "dryer-us.toml"
DRIVE = {"ramp_up": 40.0, "ramp_down": 60.0}
GAINS = {"gain": 0.4, "reset": 8.0}


def drive(case: Case, name: str) -> SpeedDrive:
    found = case.strategies[name].speed
    assert found is not None
    return found


def test_the_nameplate_frequency_turns_the_fan_at_the_motors_rated_speed() -> None:
    """On its nameplate's frequency a motor turns at rated speed; here 4 poles on 60 Hz with 1 % of
    slip and a belt of .83: 1800·.99·.83 = 1479.06 rpm; 18 Hz is .3 of it [calc]."""
    dryer = drive(api.load(DRYER), "drive")
    assert dryer.maximum == pytest.approx(1479.06 / 1480.0, rel=1e-12)
    assert dryer.minimum == pytest.approx(0.3 * 1479.06 / 1480.0, rel=1e-12)


def test_share_speed_and_frequency_say_the_same() -> None:
    """6 poles on 50 Hz: 990 rpm rated, 495 rpm at 25 Hz; fan B turns at 990 rpm [calc]."""
    ways = {"share": (0.5, 0.6, 0.7, 1.1), "frequency": ("25 Hz", "30 Hz", "35 Hz", "55 Hz"),
            "speed": ("495 rpm", "594 rpm", "693 rpm", "1089 rpm"),
            "mixed": ("25 Hz", 0.6, "693 rpm", "55 Hz")}
    case = plain(motor={"rating": 315e3, "poles": 6, "slip": 0.01}, strategies={
        way: {"controller": GAINS, "speed": {
            **DRIVE, "minimum": least, "maximum": most, "skip": {"low": low, "high": high}}}
        for way, (least, low, high, most) in ways.items()})
    for way in ways:
        found = drive(case, way)
        assert found.skip is not None
        assert (found.minimum, found.skip.low, found.skip.high, found.maximum) == pytest.approx(
            (0.5, 0.6, 0.7, 1.1), rel=1e-12), way


def test_a_case_built_again_from_its_own_numbers_keeps_its_limits() -> None:
    case = api.load(DRYER)
    again = Case.model_validate(case.model_dump(exclude_unset=True))
    assert drive(again, "drive").minimum == drive(case, "drive").minimum


def test_a_limit_as_a_frequency_is_written_and_the_one_left_out_is_assumed() -> None:
    case = plain(strategies={"it": {"controller": GAINS, "speed": {**DRIVE, "maximum": "50 Hz"}}})
    told = [line for line in api.assumed(case) if line.startswith("strategies.it.speed.m")]
    assert [line.split(" (")[0] for line in told] == ["strategies.it.speed.minimum = 30 %"]


def test_a_speed_from_python_is_a_share() -> None:
    assert SpeedDrive(**DRIVE, minimum=0.4).minimum == 0.4
    assert float(SpeedDrive(**DRIVE, minimum="594 rpm").minimum) == pytest.approx(59.4 * pi / 3.0)


LIMITS = 'minimum = "18 Hz", maximum = "60 Hz"'


@pytest.mark.parametrize(("written", "key", "words"), [
    ('minimum = "70 Hz", maximum = "60 Hz"', "minimum",
     "got 70 Hz, 116.6 %; allowed: at least 0 % and at most 100 % of the fan's rated speed"),
    ('minimum = "18 Hz", maximum = "200 Hz"', "maximum",
     "got 200 Hz, 333.1 %; allowed: above 0 % and at most 200 % of the fan's rated speed"),
    ('minimum = "18 Hz", maximum = "80 Hz"', "maximum",
     "got 80 Hz, 133.2 %; allowed: at most 120.3 %, fan.max_safe_speed over fan.rated.speed"),
    ('minimum = "1200 rpm", maximum = "30 Hz"', "minimum",
     "got 1200 rpm, 81.08 %; allowed: less than maximum, 30 Hz, 49.97 %"),
    ('minimum = "50 Hz", maximum = "50 Hz"', "minimum",
     "got 50 Hz, 83.28 %; allowed: less than maximum, 50 Hz"),
    ('minimum = "18 kg"', "minimum", 'got "18 kg"; allowed: a share of the fan\'s rated '
     'speed such as "30 %", a speed of the fan such as "990 rpm" or a frequency'),
    ('minimum = "18"', "minimum", "the unit is missing"),
    ("minimum = 18", "minimum", 'got 18 without a unit; allowed: a share of the fan\'s rated speed '
     'such as "30 %", a speed of the fan such as "990 rpm" or a frequency of the drive'),
    ('minimum = "-18 Hz"', "minimum", "at least 0 Hz"),
    ('maximum = "2 m3/s"', "maximum", "m3/s is a unit of volume flow"),
    ('skip = { low = "30 Hz", high = "25 Hz" }', "skip.low",
     "got 30 Hz; allowed: less than high, 25 Hz"),
    ('minimum = "18 Hz", skip = { low = "16 Hz", high = "20 Hz" }', "skip",
     "got 16 Hz, 26.65 % to 20 Hz, 33.31 %; allowed: a band between minimum, 18 Hz, 29.98 %"),
    ('skip = { low = "900 rpm", high = "25 Hz" }', "skip",
     "got 900 rpm, 60.81 % to 25 Hz, 41.64 %; allowed: a band between minimum, 30 %"),
])
def test_a_limit_that_cannot_be_is_told_with_its_line(tmp_path: Path, written: str, key: str,
                                                      words: str) -> None:
    """And nothing else beside it."""
    text = DRYER.read_text("utf-8")
    assert LIMITS in text
    path = tmp_path / "dryer.toml"
    path.write_text(text.replace(LIMITS, written, 1), "utf-8")
    with pytest.raises(ScenarioError) as caught:
        api.load(path)
    (problem,) = caught.value.problems
    assert problem.key == f"strategies.drive.speed.{key}" and problem.line == 61
    assert words in str(problem)


def test_a_sequence_beyond_limits_written_as_frequencies_is_told(tmp_path: Path) -> None:
    text = DRYER.read_text("utf-8")
    table = """sequence.output = { unit = "%", values = [0, 100] }
sequence.inlet_vanes = { unit = "%", values = [10, 100] }
sequence.speed = { unit = "%", values = [20, 99] }
inlet_vanes = { stroke_time = "10 s" }
speed = {"""
    path = tmp_path / "dryer.toml"
    path.write_text(text.replace("speed = { ramp_up", f"{table} ramp_up", 1), "utf-8")
    with pytest.raises(ScenarioError) as caught:
        api.load(path)
    (problem,) = caught.value.problems
    assert problem.key == "strategies.drive.sequence.speed.values#1"
    assert "got 20 %; allowed: from speed.minimum, 30 %" in str(problem)
