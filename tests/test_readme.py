"""What the README shows is what there is."""

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def block(language: str) -> str:
    """The first fenced block of a language."""
    found = re.search(rf"```{language}\n(.*?)```", README, re.DOTALL)
    assert found
    return found.group(1).strip()


def test_the_scenario_shown_is_the_one_in_the_folder() -> None:
    assert block("toml") == (ROOT / "scenarios" / "ten-lines.toml").read_text("utf-8").strip()


def test_the_output_shown_is_what_the_command_prints() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from simfan.cli import main; main()", "compare",
         "scenarios/ten-lines.toml"],
        cwd=ROOT, env={**os.environ, "COLUMNS": "80"}, capture_output=True, text=True, check=True)
    printed = "\n".join(line.rstrip() for line in done.stdout.splitlines())
    assert block("text") in printed


def test_the_files_named_exist() -> None:
    for name in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / name).exists(), name
