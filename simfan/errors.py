"""Everything simfan raises on purpose.

    SimfanError
    ├── ScenarioError   a scenario that cannot be run; carries every mistake found, with its place
    ├── RunError        a call that asks for something that is not there
    └── UnitError       a text that is not a quantity of the wanted kind (also a ValueError)

    Mistakes            a ValueError by which a description tells several mistakes at once;
                        it never leaves simfan: the reader turns it into a ScenarioError
"""

from collections.abc import Iterable
from dataclasses import dataclass

PathPart = str | int


class SimfanError(Exception):
    """The root: catch this to catch all of them."""


@dataclass(frozen=True)
class Problem:
    """One mistake: where it stands, what was given, what is allowed, and a hint."""

    path: tuple[PathPart, ...]
    """Keys from the top of the file to the one at fault; places in a list count from 0."""
    got: str
    allowed: str
    hint: str = ""
    line: int | None = None
    file: str | None = None

    @property
    def key(self) -> str:
        """The path as a person writes it: `timeline#2.at` is the second event's `at`."""
        words = ""
        for part in self.path:
            if isinstance(part, int):
                words += f"#{part + 1}"
            else:
                words += f".{part}" if words else part
        return words

    def __str__(self) -> str:
        place = [self.file, f"line {self.line}" if self.line else None, self.key]
        said = [f"got {self.got}", f"allowed: {self.allowed}" if self.allowed else "", self.hint]
        where = ", ".join(part for part in place if part)
        return (f"{where}: " if where else "") + "; ".join(part for part in said if part)


class ScenarioError(SimfanError):
    """A scenario that cannot be run. `problems` holds every mistake of the stage, never none."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = list(problems)
        super().__init__(self.problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


class RunError(SimfanError):
    """A call that asks for something that is not there, such as an unknown strategy."""


class UnitError(SimfanError, ValueError):
    """A text that is not a quantity of the wanted kind."""

    def __init__(self, got: str, allowed: str, hint: str = "") -> None:
        self.got, self.allowed, self.hint = got, allowed, hint
        super().__init__(got, allowed, hint)

    def __str__(self) -> str:
        return "; ".join(
            part for part in (f"got {self.got}", f"allowed: {self.allowed}", self.hint) if part
        )


class Mistakes(ValueError):
    """Several mistakes of one description, each with a path relative to that description."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = list(problems)
        super().__init__(self.problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)
