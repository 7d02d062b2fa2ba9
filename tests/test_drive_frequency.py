"""A drive's limits written as frequencies: in proportion to the nameplate's, as shares of speed."""

from pathlib import Path

import pytest

from simfan import api
from simfan.errors import ScenarioError

DRYER = Path(__file__).parents[1] / "scenarios" / "dryer-us.toml"


def test_the_nameplate_frequency_turns_the_fan_at_the_motors_rated_speed() -> None:
    case = api.load(DRYER)
    drive = case.strategies["drive"].speed
    assert drive is not None
    rated = case.motor.rated_speed / case.fan.rated.speed
    assert drive.maximum == pytest.approx(rated)
    assert drive.minimum == pytest.approx(18.0 / 60.0 * rated)


@pytest.mark.parametrize(("old", "new", "key", "allowed"), [
    ('"18 Hz"', '"70 Hz"', "minimum_frequency", "a minimum up to 100 %"),
    ('"60 Hz" }', '"200 Hz" }', "maximum_frequency", "a maximum up to 200 %"),
    ('"18 Hz"', '"60 Hz"', "minimum_frequency", "less than maximum"),
    ('"18 Hz"', '"18 kg"', "minimum_frequency", "a frequency such as"),
    ("minimum_frequency", 'minimum = "20 %", minimum_frequency', "minimum", "no such key beside"),
    ('"60 Hz" }', '"80 Hz" }', "maximum", "at most"),
])
def test_a_limit_that_cannot_be_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, key: str, allowed: str) -> None:
    text = DRYER.read_text()
    at = text.index("minimum_frequency")
    path = tmp_path / "dryer.toml"
    path.write_text(text[:at] + text[at:].replace(old, new, 1))
    with pytest.raises(ScenarioError) as told:
        api.load(path)
    problem = told.value.problems[0]
    assert problem.path[:3] == ("strategies", "drive", "speed")
    assert str(problem.path[3]).startswith(key) and allowed in problem.allowed
