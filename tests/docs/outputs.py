"""Puts what the commands print now into the `console` blocks: `python -m tests.docs outputs`.

Lines are found again by their likeness, numbers aside; `...` stays where it is. Read the difference
before you keep it: words around the block may speak of the old numbers.
"""

import re
from difflib import SequenceMatcher
from pathlib import Path

from sybil import Example

from tests.docs.blocks import (
    ANY_LINES,
    ANY_WORDS,
    NUMBER,
    Shell,
    commands,
    document,
    run_commands,
    same,
)


def alike(one: str, other: str) -> float:
    """0 to 1."""
    masked = (NUMBER.sub("#", re.sub(r"[ ─]+", " ", line)) for line in (one, other))
    return SequenceMatcher(None, *masked, autojunk=False).ratio()


def renewed(shown: list[str], printed: list[str]) -> list[str]:
    """The printed lines that stand for those shown."""
    made: list[str] = []
    at = 0
    for part in _parts(shown):
        if part == [ANY_LINES]:
            made += part
            continue
        whole = ANY_LINES not in shown
        n = len(printed) if whole else len(part)
        starts = range(at, max(at + 1, len(printed) - n + 1))
        best = max(starts, key=lambda k: sum(map(alike, part, printed[k:k + n])))
        made += printed[best:best + n] if whole else [
            old if ANY_WORDS in old and same(new, old) else new
            for old, new in zip(part, printed[best:best + n], strict=False)]
        at = best + n
    return made


def _parts(shown: list[str]) -> list[list[str]]:
    """Lines that stand together, and each `...`."""
    parts: list[list[str]] = [[]]
    for line in shown:
        parts += [[line], []] if line == ANY_LINES else []
        if line != ANY_LINES:
            parts[-1].append(line)
    return [part for part in parts if part]


def renew(page: Path) -> None:
    """Run the page; write the blocks whose commands print something else."""
    text = page.read_text("utf-8")
    for example in document(page):
        if example.region.evaluator is not run_commands:
            example.evaluate()
        elif run_commands(example):
            text = text.replace(example.parsed, _block(example), 1)
    page.write_text(text, "utf-8")


def _block(example: Example) -> str:
    shell, lines = Shell(), []
    for command, shown in commands(example.parsed):
        lines += [f"$ {command}", *renewed(shown, shell.lines(command))]
    return "\n".join(lines) + "\n"
