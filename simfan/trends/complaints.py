"""What is wrong with a file, by kind: the first places of each, and how many more there are."""

from dataclasses import dataclass, field

from simfan.errors import Problem, ScenarioError

FIRST = 5
"""Places told of one kind; the rest is counted."""


@dataclass
class Complaints:
    """Collects problems of a file while it is read."""

    file: str
    kinds: dict[str, list[Problem]] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)

    def add(self, kind: str, line: int | None, got: str, allowed: str, hint: str = "") -> None:
        """One problem; kinds with the same name are counted together."""
        self.counts[kind] = self.counts.get(kind, 0) + 1
        told = self.kinds.setdefault(kind, [])
        if len(told) < FIRST:
            told.append(Problem((), got, allowed, hint, line, self.file))

    def more(self, kind: str, count: int) -> None:
        """So many more of a kind, uncounted so far."""
        self.counts[kind] = self.counts.get(kind, 0) + count

    def refuse(self) -> None:
        """Raise ScenarioError with all that was found, if anything was."""
        if not self.kinds:
            return
        problems = []
        for kind, told in self.kinds.items():
            more = self.counts[kind] - len(told)
            *first, last = told
            hint = f"{more} more like it in the file" if more else ""
            said = "; ".join(filter(None, (last.hint, hint)))
            problems += [*first, Problem((), last.got, last.allowed, said, last.line, last.file)]
        raise ScenarioError(sorted(problems, key=lambda p: p.line or 0))
