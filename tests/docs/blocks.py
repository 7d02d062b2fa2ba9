"""Runs the code blocks of a page: commands, Python, files.

* `console`: lines that begin with `$ ` are commands, what follows is what they print; a line `...`
  stands for any lines, `…` in a line for any words. `simfan`, `ls FOLDER` and `echo $?` are known.
  A command that fails must be followed by `echo $?`.
* `python`: run in order, in one namespace for the page; prompts `>>>` are compared by doctest.
* `toml`, `csv`: a first line `# in FILE` says that the rest stands in that file, word for word;
  without it the block is the whole of a file in scenarios/.
"""

import doctest
import re
import shlex
from pathlib import Path

from click.testing import CliRunner
from sybil import Document, Example, Sybil
from sybil.parsers.myst import CodeBlockParser, PythonCodeBlockParser

from simfan.cli import main

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
LAST_DIGIT = 0.01
"""Share by which a printed number may differ: one in the last of three digits. Other platforms have
another mathematical library, and the last bit of it may round the other way."""
ANY_LINES, ANY_WORDS = "...", "…"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def same(printed: str, shown: str) -> bool:
    """Equal but for the last digit of numbers and for the width of gaps."""
    printed, shown = (re.sub(r"[ ─]+", " ", line).strip() for line in (printed, shown))
    if ANY_WORDS in shown:
        first, last = shown.split(ANY_WORDS)
        return printed.startswith(first) and printed.endswith(last)
    if NUMBER.sub("#", printed) != NUMBER.sub("#", shown):
        return False
    pairs = zip(NUMBER.findall(printed), NUMBER.findall(shown), strict=True)
    return all(abs(float(a) - float(b)) <= LAST_DIGIT * abs(float(b)) for a, b in pairs)


def difference(printed: list[str], shown: list[str]) -> str | None:
    """The first line that is not as shown, as far as anything fits; None where all is."""
    return _compared(printed, shown)[1]


def _compared(printed: list[str], shown: list[str]) -> tuple[int, str | None]:
    """(lines that fit, what does not)."""
    if not shown:
        return 0, f"printed, not shown: {printed[0]}" if printed else None
    if shown[0] == ANY_LINES:
        ends = [_compared(printed[k:], shown[1:]) for k in range(len(printed) + 1)]
        return next((end for end in ends if end[1] is None), max(ends, key=lambda end: end[0]))
    if not printed or not same(printed[0], shown[0]):
        return 0, f"shown:   {shown[0]}\nprinted: {printed[0] if printed else 'nothing more'}"
    fit, wrong = _compared(printed[1:], shown[1:])
    return fit + 1, wrong


class Shell:
    """The few commands that the pages use."""

    def __init__(self) -> None:
        self.code = 0

    def lines(self, command: str) -> list[str]:
        """What it prints: the answer or, where it fails, the complaint."""
        name, *words = shlex.split(command)
        if name == "simfan":
            done = CliRunner(env={"COLUMNS": "80"}).invoke(main, words, prog_name="simfan",
                                                           catch_exceptions=False)
            self.code = done.exit_code
            text = done.stdout + (done.stderr if done.exit_code == 2 else "")
            return _without_ends([line.rstrip() for line in text.splitlines()])
        if name == "ls":
            return sorted(path.name for path in Path(words[0]).iterdir())
        if command == "echo $?":
            code, self.code = self.code, 0
            return [str(code)]
        raise ValueError(f"a command that the pages do not use: {command}")


def _without_ends(lines: list[str]) -> list[str]:
    while lines and not lines[-1]:
        lines = lines[:-1]
    return lines


def commands(block: str) -> list[tuple[str, list[str]]]:
    """(command, lines shown) of a console block."""
    found: list[tuple[str, list[str]]] = []
    for line in block.splitlines():
        if line.startswith("$ "):
            found.append((line[2:], []))
        else:
            found[-1][1].append(line)
    return [(command, _without_ends(shown)) for command, shown in found]


def run_commands(example: Example) -> str | None:
    """What is wrong with a console block."""
    shell = Shell()
    for command, shown in commands(example.parsed):
        if shell.code and command != "echo $?":
            return f"it failed with {shell.code} before: {command}"
        if wrong := difference(shell.lines(command), shown):
            return f"{command}\n{wrong}"
    return f"the last command failed with {shell.code}" if shell.code else None


def check_file(example: Example) -> str | None:
    """What is wrong with a block of a file."""
    first, _, rest = example.parsed.partition("\n")
    if first.startswith("# in "):
        file = Path(first.removeprefix("# in "))
        return None if rest.rstrip("\n") in file.read_text("utf-8") else f"not in {file}:\n{rest}"
    whole = [path.read_text("utf-8").rstrip("\n") for path in Path("scenarios").glob("*.toml")]
    return None if example.parsed.rstrip("\n") in whole else "not a file in scenarios/"


_SYBIL = Sybil(parsers=[
    CodeBlockParser("console", run_commands),
    CodeBlockParser("toml", check_file),
    CodeBlockParser("csv", check_file),
    PythonCodeBlockParser(doctest_optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE),
])


def document(page: Path) -> Document:
    """The page, parted into its blocks."""
    return _SYBIL.parse(page)
