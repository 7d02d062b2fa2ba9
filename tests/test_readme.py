"""The README's scenario and its two commands. What its blocks print is held in tests/docs."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SCENARIO = ROOT / "scenarios" / "ten-lines.toml"
BLOCKS = re.findall(r"```(\w*)\n(.*?)\n```", README, re.S)


def block(beginning: str) -> str:
    """The one block of the README that begins so."""
    found = [text for _, text in BLOCKS if text.startswith(beginning)]
    assert len(found) == 1
    return found[0]


def test_the_scenario_shown_is_the_file_and_has_ten_lines() -> None:
    assert block("title = ") == SCENARIO.read_text(encoding="utf-8").rstrip("\n")
    assert len(block("title = ").splitlines()) == 10


def test_each_of_the_two_commands_is_one_line_that_sets_everything_up() -> None:
    commands = block("python3 -m venv").splitlines()
    assert len(commands) == 2
    for command in commands:
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert commands[0].endswith("simfan compare scenarios/kiln-air.toml")
    assert "-m pytest " in commands[1]


def test_everything_in_one_go_runs_the_tests_as_the_readme_says() -> None:
    whole = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    _, _, *parts = block("python3 -m venv").splitlines()[1].replace(".venv/bin/", "").split(" && ")
    assert len(parts) == 2
    for part in ("pip install", *parts):
        assert part in whole
