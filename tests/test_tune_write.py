"""Tunings written into a scenario: the file loads, runs, and keeps everything else."""

from pathlib import Path

import pytest

from simfan import api
from simfan.errors import RunError
from simfan.scenario.rewrite_tuning import Typed, with_tuning, write_tunings

SCENARIOS = Path(__file__).parents[1] / "scenarios"
TYPED = Typed(1.23, 4.5, 0.6)


def tuned(tmp_path: Path, source: Path) -> tuple[str, str, dict]:
    """(old text, new text, strategies of the new file), every strategy with a gain of its own."""
    before = api.load(source)
    wanted = {name: Typed(1.0 + 0.01 * k, 3.0 + k) for k, name in enumerate(before.strategies)}
    target = tmp_path / source.name
    assert write_tunings(source, wanted, target) is None
    after = api.load(target)
    for name, typed in wanted.items():
        found = after.control.given(after.strategies[name].controller)
        assert found is not None
        assert found.standard == typed[:3]
    return source.read_text(), target.read_text(), after.strategies


@pytest.mark.parametrize("name", ["kiln-air", "ten-lines", "dryer-us", "bed-air", "furnace-draft"])
def test_every_shipped_scenario_takes_tunings_and_keeps_its_other_lines(
    tmp_path: Path, name: str) -> None:
    old, new, _ = tuned(tmp_path, SCENARIOS / f"{name}.toml")
    kept, added = (set(text.splitlines()) for text in (old, new))
    assert added - kept
    assert all("controller" in line for line in added - kept)
    assert all("controller" in line or line.startswith("strategies.") for line in kept - added)


def as_file(tmp_path: Path, first: str, control: str = "") -> Path:
    """The dryer of ten lines with its first strategy, and its control, written in another way."""
    lines = (SCENARIOS / "ten-lines.toml").read_text().splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("strategies.damper"))
    here = next(k for k, line in enumerate(lines) if line.startswith("control"))
    old = lines.pop(at)
    damper = old[old.index("outlet_damper"):].rstrip(" }") + " }"
    if control:
        lines[here] = control
    path = tmp_path / "dryer.toml"
    moved = [*lines, first.replace("DAMPER", damper)]
    path.write_text("\n".join(moved) + "\n")
    return path


@pytest.mark.parametrize("first", [
    "[strategies.damper]\nDAMPER",
    '[strategies.damper]\nDAMPER\ncontroller = { gain = 0.3, repeats = "9 1/min" }',
    '[strategies.damper]\nDAMPER\ncontroller.gain = 0.3\ncontroller.reset = "9 s"',
    '[strategies.damper]\nDAMPER\n[strategies.damper.controller]\nform = "parallel"\n'
    'gain = 0.3 # by hand\nintegral_gain = "0.1 1/s"',
    '[strategies.damper.outlet_damper]\nblades = "opposed"\narea = "0.5 m2"\n'
    'stroke_time = "15 s"\nplace = "before volume"',
])
def test_a_controller_is_written_wherever_it_stands(tmp_path: Path, first: str) -> None:
    file = as_file(tmp_path, first)
    text = with_tuning(file.read_text(), "damper", TYPED)
    file.write_text(text)
    found = api.load(file).strategies["damper"].controller
    assert found is not None
    assert found.standard == TYPED[:3]


def test_what_else_the_controller_says_stays(tmp_path: Path) -> None:
    file = as_file(tmp_path, "[strategies.damper]\nDAMPER\ncontroller = { proportional_band = "
                             '"90 %", reset = "5 s", setpoint_weight = 0.5, output_low = "10 %" }')
    file.write_text(with_tuning(file.read_text(), "damper", Typed(1.23, 4.5, 0.0, 12.0)))
    found = api.load(file).strategies["damper"].controller
    assert found is not None
    assert (found.gain, found.reset, found.proportional_band) == (1.23, 4.5, None)
    assert (found.setpoint_weight, found.output_low, found.full_travel) == (0.5, 0.1, 12.0)


def test_old_lines_of_a_table_stay_as_comments(tmp_path: Path) -> None:
    file = as_file(tmp_path, '[strategies.damper]\nDAMPER\n[strategies.damper.controller]\n'
                             'gain = 0.3 # by hand\nreset = "9 s"')
    text = with_tuning(file.read_text(), "damper", TYPED)
    assert "# gain = 0.3 # by hand\n# reset = \"9 s\"" in text


def test_a_file_that_stood_there_is_kept(tmp_path: Path) -> None:
    target = tmp_path / "kept.toml"
    target.write_text("old words")
    kept = write_tunings(SCENARIOS / "ten-lines.toml", {"damper": TYPED}, target)
    assert kept is not None
    assert kept.read_text() == "old words"


def test_the_search_is_ended_where_every_strategy_has_its_gains(tmp_path: Path) -> None:
    file = as_file(tmp_path, "[strategies.damper]\nDAMPER\n[control]\nscan = \"250 ms\"\n"
                             "max_sensitivity = 1.4", control="# control below")
    both = {"damper": TYPED, "variable-speed": TYPED}
    target = tmp_path / "new.toml"
    write_tunings(file, both, target)
    assert "# max_sensitivity = 1.4" in target.read_text()
    assert not api.load(target).untuned


def test_a_file_that_cannot_be_read_there_is_not_written(tmp_path: Path) -> None:
    """The measured vanes of this scenario stand beside it, and not beside the new file."""
    source = Path(__file__).parents[1] / "docs" / "examples" / "measured-vanes.toml"
    name = next(iter(api.load(source).strategies))
    with pytest.raises(RunError, match="left as it is"):
        write_tunings(source, {name: TYPED}, tmp_path / "far.toml")
    assert list(tmp_path.iterdir()) == []
