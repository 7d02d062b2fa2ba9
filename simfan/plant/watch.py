"""A row that looks at one quantity: run-backs and the cause-and-effect table."""

from collections.abc import Iterator, Mapping
from typing import ClassVar

from simfan.errors import Problem
from simfan.plant.quantities import Description


class Watch(Description):
    """Of the keys that may be watched, one is given, with its limit."""

    causes: ClassVar[Mapping[str, str | None]]
    """Key → kind of its limit; None for a number."""

    @property
    def cause(self) -> str:
        """Which of `causes`."""
        return next(name for name in self.causes if getattr(self, name) is not None)

    @property
    def limit(self) -> float:
        """Of the cause [1 or Pa]."""
        return float(getattr(self, self.cause))

    def causes_amiss(self, hint: str) -> Iterator[Problem]:
        """None of them, or more than one."""
        given = [name for name in self.causes if getattr(self, name) is not None]
        if len(given) != 1:
            yield Problem((given[1],) if given else (), " and ".join(given) or "nothing watched",
                          f"one of {', '.join(self.causes)}", hint)
