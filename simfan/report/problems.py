"""The mistakes of a scenario, one paragraph each; and the word that there are none."""

from collections.abc import Sequence

from rich.console import Group, RenderableType

from simfan.errors import Problem, ScenarioError
from simfan.report.items import hanging, item
from simfan.report.terminal import Words


def told(error: ScenarioError) -> RenderableType:
    """Every mistake with its place, what was given, what is allowed and a hint."""
    count = len(error.problems)
    files = {p.file for p in error.problems if p.file}
    where = f" in {files.pop()}" if len(files) == 1 else ""
    head = f"{count} mistake{'s' if count > 1 else ''}{where}. Nothing was run."
    return Group(Words(head), *(_paragraph(problem) for problem in error.problems))


def _paragraph(problem: Problem) -> RenderableType:
    place = ", ".join(
        part for part in (
            problem.file or "", f"line {problem.line}" if problem.line else "", problem.key,
        ) if part
    )  # fmt: skip
    lines = [("got", problem.got), ("allowed", problem.allowed), ("hint", problem.hint)]
    said = [hanging(name, words, width=8) for name, words in lines if words]
    return Group(Words(""), Words(place, style="bold"), *said)


def clean(file: str, described: Sequence[str], assumed: Sequence[str]) -> RenderableType:
    """No mistakes: what the plant came to, and what was assumed."""
    parts: list[RenderableType] = [Words(f"{file}: no mistakes found.")]
    for title, lines in (("The plant", described), ("Assumed, for want of a word", assumed)):
        if lines:
            parts += ["", Words(title, style="bold"), *(item(line) for line in lines)]
    return Group(*parts)
